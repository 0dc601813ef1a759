package check

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// link is a record as it stands in a book.
type link struct {
	key   uint64 // the number it stands under
	raw   []byte
	hash  record.Hash
	rec   record.Record
	err   error       // it cannot be read
	prev  record.Hash // what it says of the one before; also where it cannot be read
	knows bool        // prev is known
}

// chain judges the records of a book one after the other. A record is as it was
// written when the next one, itself as it was written, names its hash; the head that
// the book keeps stands for the one after the last.
type chain struct {
	tell func(Fault)
	bad  []span // numbers whose record is missing, changed or cannot be read

	slots   [3]link
	last    *link
	accused *link     // the one before last, whose hash last does not name
	waiting []span    // missing records whose day is not known yet
	at      time.Time // of the last record that could be read
	dated   bool      // there was one
	seen    bool      // some record was
}

// span is a run of numbers.
type span struct{ from, to uint64 }

// isBad tells, once all records were taken, whether one is missing, changed or
// cannot be read.
func (c *chain) isBad(seq uint64) bool {
	i, ok := slices.BinarySearchFunc(c.bad, seq, func(s span, seq uint64) int {
		switch {
		case s.to < seq:
			return -1
		case s.from > seq:
			return 1
		}
		return 0
	})
	return ok && i < len(c.bad)
}

func newChain(genesis record.Hash, tell func(Fault)) *chain {
	return &chain{tell: tell, last: &link{hash: genesis}}
}

// add takes the next record.
func (c *chain) add(l *link) {
	if l.err == nil && l.rec.Seq != l.key {
		l.err = fmt.Errorf("it says that it is record %d", l.rec.Seq)
	}
	if c.seen && l.key <= c.last.key || l.key == 0 {
		c.spoilt(Fault{Kind: FaultPages, Seq: l.key, Day: dayOf(l), What: "stands where it does not belong"})
		return
	}
	switch {
	case l.key > c.last.key+1:
		gap := span{c.last.key + 1, l.key - 1}
		c.bad = append(c.bad, gap)
		c.judge(false, gap.from)
		c.accused = nil
		c.waiting = append(c.waiting, gap)
	case l.knows && l.prev == c.last.hash:
		c.judge(true, 0)
		c.accused = nil
	case l.knows:
		was := c.last
		c.judge(false, 0)
		c.accused = was
	default:
		c.judge(false, l.key)
		c.accused = nil
	}
	if l.err == nil {
		if len(c.waiting) > 0 {
			c.settle(c.day(), dayOf(l))
		}
		c.at, c.dated = l.rec.Stamp.At, true
	}
	if l.err != nil {
		c.spoilt(Fault{Kind: FaultChanged, Seq: l.key, Day: c.about(), What: "cannot be read: " + l.err.Error()})
	}
	c.last, c.seen = c.keep(l), true
}

// keep copies a link, for whoever gave it goes on to use its place.
func (c *chain) keep(l *link) *link {
	for i := range c.slots {
		if s := &c.slots[i]; s != c.last && s != c.accused {
			*s = *l
			return s
		}
	}
	panic("three links of a chain are looked at")
}

// judge says what is known now of the last record: vouched tells whether the one
// after names its hash; lost is the number of that one where it cannot be asked, 0
// where it says otherwise and is judged first.
func (c *chain) judge(vouched bool, lost uint64) {
	l := c.last
	if a := c.accused; a != nil {
		switch {
		case a.key == 0 && vouched:
			c.tell(Fault{Kind: FaultFile, What: "the book is not called what it was when record 1 was written, or it is another"})
		case a.key == 0 || a.err != nil: // told already
		case vouched:
			c.spoilt(Fault{Kind: FaultChanged, Seq: a.key, Day: dayOf(a), What: fmt.Sprintf("was changed after it was written: record %d was written on other bytes", l.key)})
		default:
			c.tell(Fault{Kind: FaultUnproven, Seq: a.key, Day: dayOf(a), What: fmt.Sprintf("nothing shows that it is as it was written: record %d, which would, is spoilt itself", l.key)})
		}
	}
	if lost != 0 && c.seen && l.err == nil {
		c.tell(Fault{Kind: FaultUnproven, Seq: l.key, Day: dayOf(l), What: fmt.Sprintf("nothing shows that it is as it was written: record %d, which would, is missing or spoilt", lost)})
	}
}

// end takes the head that the book keeps of itself, or nil where it keeps none, and
// gives the head as it is.
func (c *chain) end(kept *layout.Head) layout.Head {
	l := c.last
	switch {
	case kept == nil && c.seen:
		c.judge(false, 0)
		c.tell(Fault{Kind: FaultHead, Seq: l.key, Day: dayOf(l), What: "nothing shows that it is as it was written: the book does not say what its last record is"})
	case kept == nil:
	case kept.Seq != l.key && kept.Hash == l.hash: // the hash binds the number
		c.judge(true, 0)
		c.tell(Fault{Kind: FaultHead, What: fmt.Sprintf("the book's note of its last record has the hash of record %d and the number %d, which is spoilt", l.key, kept.Seq)})
	case kept.Seq > l.key:
		gap := span{l.key + 1, kept.Seq}
		c.bad = append(c.bad, gap)
		c.judge(false, gap.from)
		c.waiting = append(c.waiting, gap)
	case kept.Seq < l.key:
		c.judge(false, 0)
		c.tell(Fault{Kind: FaultHead, Seq: kept.Seq + 1, To: l.key, Day: dayOf(l), What: fmt.Sprintf("beyond the end of the book, which says that its last record is %d", kept.Seq)})
	default:
		c.judge(kept.Hash == l.hash, 0)
		if kept.Hash != l.hash {
			c.spoilt(Fault{Kind: FaultChanged, Seq: l.key, Day: dayOf(l), What: "was changed after it was written: the book says of its last record that it had other bytes"})
		}
	}
	c.settle(c.day(), "")
	slices.SortFunc(c.bad, func(a, b span) int { return cmp.Compare(a.from, b.from) })
	return layout.Head{Seq: l.key, Hash: l.hash}
}

// settle tells of missing records, now that the day after them is known; since is that before them.
func (c *chain) settle(since, until string) {
	for _, s := range c.waiting {
		day := since
		switch {
		case since == "" && until != "":
			day = "on " + until + " or before"
		case since == "":
		case until == "":
			day = "on " + since + " or after"
		case until != since:
			day = "from " + since + " to " + until
		}
		c.tell(Fault{Kind: FaultMissing, Seq: s.from, To: s.to, Day: day, What: "not there"})
	}
	c.waiting = nil
}

// about is the day of a record that cannot be read, from the one before.
func (c *chain) about() string {
	day := c.day()
	if day == "" {
		return ""
	}
	return "on " + day + " or after"
}

// day is that of the last record that could be read, "" before there was one.
func (c *chain) day() string {
	if !c.dated {
		return ""
	}
	return c.at.Format(dayFormat)
}

func (c *chain) spoilt(f Fault) {
	c.bad = append(c.bad, span{f.Seq, f.Seq})
	c.tell(f)
}

func dayOf(l *link) string {
	if l.err != nil {
		return ""
	}
	return l.rec.Stamp.At.Format(dayFormat)
}

// read fills in what a record says; q is the reader's own.
func (l *link) read(q *record.Reader) {
	l.hash = record.HashOf(l.raw)
	l.rec, l.err = q.Decode(l.raw)
	if l.err == nil {
		l.prev, l.knows = l.rec.Prev, true
		return
	}
	// What stands of a spoilt record may still name the one before.
	_, l.prev, l.knows = record.Begins(l.raw)
}
