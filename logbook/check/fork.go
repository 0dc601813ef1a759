package check

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"fmt"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/logbook/words"
)

// short is a record of the book as the journals are held against it: with its 8 bytes of
// hash a book of a million records takes 16 MB.
type short struct {
	seq  uint64
	hash uint64
}

func shortOf(h record.Hash) uint64 { return binary.BigEndian.Uint64(h[:]) }

// outside is a record that stands in a journal and not in the book.
type outside struct {
	seq        uint64
	prev, hash record.Hash
	rec        record.Record
	file       string
	line       int
}

// spoiltLine is a line that cannot be read.
type spoiltLine struct {
	file string
	no   int
	seq  uint64 // the record that must have stood there, by those before and after; 0 where that cannot be told
}

// journals holds whole journals against the book.
type journals struct {
	v       *verifier
	held    []bool // of v.shorts: it stands in a journal
	out     []outside
	spoilt  []spoiltLine    // lines that cannot be read, and are no cut-off ones that were written again
	pending []spoiltLine    // lines that cannot be read, until the next that can
	told    map[uint64]bool // records of which a fault of their line says that no journal holds them
	before  uint64          // number of the last record read
	some    bool            // any record of this book was found
	foreign map[string]uint64
}

// journals holds every line of the journals beside the book against it: what is in one of
// them and not in the other, which history that is, and which lines are spoilt.
func (v *verifier) journals() {
	if len(v.Journals) == 0 && v.Beside == "" {
		return
	}
	j := &journals{v: v, held: make([]bool, len(v.shorts)), told: map[uint64]bool{}, foreign: map[string]uint64{}}
	for _, f := range v.Journals {
		if err := f.eachLine(func(l journalLine) { j.line(filepath.Base(f.Name), l) }); err != nil {
			v.tell(Fault{Kind: FaultJournal, What: err.Error()})
		}
		j.readOn(0) // nothing follows
	}
	for name, n := range j.foreign {
		v.rep.Others = append(v.rep.Others, fmt.Sprintf("%s is of another book, with %s", name, words.Count(int(n), "record", "records")))
	}
	slices.Sort(v.rep.Others)
	for _, s := range j.spoilt {
		f := Fault{Kind: FaultJournal, What: fmt.Sprintf("line %d of %s cannot be read", s.no, s.file)}
		if i := v.short(s.seq); i >= 0 && !j.held[i] {
			f.Seq, f.Day, j.told[s.seq] = s.seq, j.day(i), true
			f.What += ": the record stands in the book only"
		}
		v.tell(f)
	}
	j.branches()
	raw, _ := v.pages.find(v.parts[string(layout.Meta)], layout.KeyJournal)
	note, had := ReadNote(raw, v.Beside)
	switch {
	case had && !j.some:
		v.tell(Fault{Kind: FaultJournal, Seq: note.From, To: note.To, What: "the journal beside the book held them and is gone: they are in the book only"})
	case had:
		j.missing(note)
	case j.some:
		j.missing(JournalNote{})
	}
}

func (v *verifier) short(seq uint64) int {
	i, ok := slices.BinarySearchFunc(v.shorts, seq, func(s short, seq uint64) int { return cmp.Compare(s.seq, seq) })
	if !ok {
		return -1
	}
	return i
}

// has tells whether the book holds these bytes under a number.
func (v *verifier) has(seq uint64, h record.Hash) bool {
	if seq == 0 {
		return h == record.Genesis(v.rep.Book)
	}
	i := v.short(seq)
	return i >= 0 && v.shorts[i].hash == shortOf(h)
}

func (j *journals) line(file string, l journalLine) {
	if l.owner != "" && l.owner != j.v.rep.Book && j.v.rep.Book != "" {
		j.foreign[file+" ("+l.owner+")"]++
		return
	}
	hash := record.HashOf(l.raw)
	seq, _, known := record.Begins(l.raw)
	if known && j.v.has(seq, hash) {
		j.readOn(seq)
		j.held[j.v.short(seq)], j.some = true, true
		j.last(seq, hash)
		return
	}
	r, err := j.v.q.Decode(bytes.Clone(l.raw))
	if err != nil {
		if !l.last { // a power cut leaves such an end; the next record mends it
			j.pending = append(j.pending, spoiltLine{file: file, no: l.no})
		}
		return
	}
	j.readOn(r.Seq)
	j.last(r.Seq, hash)
	j.out = append(j.out, outside{r.Seq, r.Prev, hash, r, file, l.no})
}

// readOn comes upon a record that can be read. What a power cut cut off before it was
// written again, and then no number is left out.
func (j *journals) readOn(seq uint64) {
	if n := uint64(len(j.pending)); n > 0 && (seq == 0 || seq != j.before+1) {
		if seq == j.before+1+n {
			for k := range j.pending {
				j.pending[k].seq = j.before + 1 + uint64(k)
			}
		}
		j.spoilt = append(j.spoilt, j.pending...)
	}
	j.pending = nil
	if seq != 0 {
		j.before = seq
	}
}

func (j *journals) last(seq uint64, hash record.Hash) {
	if last := j.v.rep.Journal; last == nil || seq >= last.Seq {
		j.v.rep.Journal = &layout.Head{Seq: seq, Hash: hash}
	}
}

// missing tells of records of the book that the journals should hold and do not. Those at
// the end may be on their way, but for those that the book knows to have been there.
func (j *journals) missing(note JournalNote) {
	first, end := slices.Index(j.held, true), len(j.held)
	for end > 0 && !j.held[end-1] && j.v.shorts[end-1].seq > note.To {
		end--
	}
	if note.From > 0 {
		begin, _ := slices.BinarySearchFunc(j.v.shorts, note.From, func(s short, seq uint64) int { return cmp.Compare(s.seq, seq) })
		first = min(first, begin)
	}
	lacks := func(i int) bool { return !j.held[i] && !j.told[j.v.shorts[i].seq] }
	for i := first; i < end; i++ {
		if !lacks(i) || j.v.chain.isBad(j.v.shorts[i].seq) {
			continue
		}
		from := i
		for i+1 < end && lacks(i+1) {
			i++
		}
		f := Fault{Kind: FaultJournal, Seq: j.v.shorts[from].seq, Day: j.day(from), What: "stands in the book and not in the journal beside it, of which lines were changed, taken out or lost"}
		if i > from {
			f.To = j.v.shorts[i].seq
		}
		j.v.tell(f)
	}
}

// day gives the day of a record of the book.
func (j *journals) day(i int) string {
	raw, _ := j.v.pages.find(j.v.parts[string(layout.Log)], layout.SeqKey(j.v.shorts[i].seq))
	if r, err := j.v.q.Decode(raw); err == nil {
		return r.Stamp.At.Format("2006-01-02")
	}
	return ""
}

// branch is a run of records, each written on the one before, of which the book has none.
type branch struct{ recs []outside }

// branches tells of every history that the journals hold and the book does not.
func (j *journals) branches() {
	for _, b := range branchesOf(j.out) {
		first, tip := b.recs[0], b.recs[len(b.recs)-1]
		if j.right(tip) {
			continue // it is the book that lost them, and that is told
		}
		if !slices.ContainsFunc(b.recs, func(o outside) bool { return !j.saidAgain(o.rec) }) {
			continue // all of it was recorded again
		}
		f := Fault{Kind: FaultFork, Seq: first.seq, Day: dayText(first.rec.Stamp.At, tip.rec.Stamp.At), Branch: &layout.Head{Seq: tip.seq, Hash: tip.hash}}
		if tip.seq > first.seq {
			f.To = tip.seq
		}
		own := j.v.rep.Head.Seq - min(j.v.rep.Head.Seq, first.seq-1)
		i := j.v.short(first.seq)
		switch {
		case own == 0 && j.v.has(first.seq-1, first.prev):
			f.Kind, f.What = FaultJournal, "the journal beside the book holds them, the book does not: was an older copy put in its place?"
		case len(b.recs) == 1 && i >= 0 && !j.held[i] && first.seq < j.v.rep.Head.Seq:
			f.Kind, f.What = FaultJournal, fmt.Sprintf("line %d of %s holds it with other bytes than the book", first.line, first.file)
			j.told[first.seq] = true
		case !j.v.has(first.seq-1, first.prev):
			f.What = fmt.Sprintf("%s in %s, on no record of this book", b.text(), first.file)
		default:
			f.What = fmt.Sprintf("another history: %s in %s, which this book does not hold; it goes on from record %d with %d of its own. Was an older copy put in its place? flaskside salvage writes them out, or follows them with --branch %s",
				b.text(), first.file, first.seq-1, own, *f.Branch)
		}
		j.v.tell(f)
	}
}

// saidAgain tells whether the book holds the action of a record under another number.
func (j *journals) saidAgain(r record.Record) bool {
	mine, ok := j.v.byID(r.Action.ID)
	return ok && mine.Seq != r.Seq && sayTheSame(mine, r)
}

// sayTheSame tells whether two records are of one action.
func sayTheSame(a, b record.Record) bool {
	x, y := a.Action, b.Action
	return x.ID == y.ID && x.At.Equal(y.At) && x.By == y.By && x.Why == y.Why && x.Kind() == y.Kind() && reflect.DeepEqual(x.Body, y.Body)
}

// right tells whether the book itself names a record that it does not hold.
func (j *journals) right(o outside) bool {
	if kept, ok := j.v.kept(); ok && kept.Hash == o.hash {
		return true
	}
	raw, ok := j.v.pages.find(j.v.parts[string(layout.Log)], layout.SeqKey(o.seq+1))
	if !ok {
		return false
	}
	_, prev, ok := record.Begins(raw)
	return ok && prev == o.hash
}

// branchesOf puts records that follow on each other together, the longest run first where
// they part.
func branchesOf(out []outside) []branch {
	at := map[record.Hash]int{}
	uniq := out[:0:0]
	for _, o := range out {
		if _, twice := at[o.hash]; !twice {
			at[o.hash] = len(uniq)
			uniq = append(uniq, o)
		}
	}
	order := make([]int, len(uniq))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(cmp.Compare(uniq[b].seq, uniq[a].seq), cmp.Compare(a, b)) })
	used := make([]bool, len(uniq))
	var branches []branch
	for _, i := range order {
		if used[i] {
			continue
		}
		var b branch
		for next, ok := i, true; ok && !used[next]; {
			used[next] = true
			b.recs = append(b.recs, uniq[next])
			was := uniq[next]
			next, ok = at[was.prev]
			ok = ok && uniq[next].seq+1 == was.seq
		}
		slices.Reverse(b.recs)
		branches = append(branches, b)
	}
	slices.SortStableFunc(branches, func(a, b branch) int { return cmp.Compare(a.recs[0].seq, b.recs[0].seq) })
	return branches
}

// text says how many, when and by whom.
func (b branch) text() string {
	by := map[string]bool{}
	var names []string
	for _, o := range b.recs {
		if who := o.rec.Action.By; who != "" && !by[who] {
			by[who] = true
			names = append(names, who)
		}
	}
	slices.Sort(names)
	first, last := b.recs[0].rec.Stamp.At, b.recs[len(b.recs)-1].rec.Stamp.At
	s := fmt.Sprintf("%d records, from %s to %s", len(b.recs), first.Format("2006-01-02 15:04:05"), last.Format("2006-01-02 15:04:05"))
	if len(b.recs) == 1 {
		s = "one record, of " + first.Format("2006-01-02 15:04:05")
	}
	if len(names) > 0 {
		s += ", by " + strings.Join(names, ", ")
	}
	return s
}

func dayText(from, to time.Time) string {
	a, b := from.Format("2006-01-02"), to.Format("2006-01-02")
	if a == b {
		return a
	}
	return a + " to " + b
}
