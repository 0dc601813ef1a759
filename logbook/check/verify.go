// Package check looks through a book from outside, and repairs nothing: the pages of its
// file, the chain of its records, everything they are found by, the journals beside it;
// and it finds what is left of a damaged one. It reads by hand, with plain reads: what only
// the store can tell it asks of a [Store] that is lent to it. It never writes.
package check

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"hash/maphash"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/disk"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// Report is what [Verify] found.
type Report struct {
	Book    string       `json:"book"`    // identity
	Format  string       `json:"format"`  // version of the file
	Created string       `json:"created"` // RFC 3339
	Bytes   int64        `json:"bytes"`
	Records uint64       `json:"records"` // how many are there
	First   string       `json:"first"`   // day of the first record
	Last    string       `json:"last"`    // and of the last
	Head    layout.Head  `json:"head"`
	Proven  []Pin        `json:"proven"`            // of the heads told before, those that were found, all before them as it was
	Journal *layout.Head `json:"journal,omitempty"` // the last record in the journals beside the book
	Others  []string     `json:"others,omitempty"`  // journals beside it that are of another book
	Faults  []Fault      `json:"faults"`
}

// Pin is a head that was told, printed or sealed before: the number of a record and
// the beginning of its hash.
type Pin struct {
	Seq   uint64 `json:"seq"`
	Start string `json:"start"` // at least 8 hexadecimal digits, in lower case
}

// minPin is how many digits of a hash are asked for: with fewer, another book could
// be made to fit.
const minPin = 8

// ParsePin reads a head as it is printed, 48213:9f3a00c1…
func ParsePin(s string) (Pin, error) {
	no, start, ok := strings.Cut(s, ":")
	seq, err := strconv.ParseUint(no, 10, 64)
	if !ok || err != nil {
		return Pin{}, fmt.Errorf("%q is not a head: write it as it is printed, number and hash, as in 48213:9f3a00c1", s)
	}
	start = strings.ToLower(start)
	if strings.Trim(start, "0123456789abcdef") != "" || len(start) > 64 {
		return Pin{}, fmt.Errorf("the hash of a head is at most 64 digits 0-9 and a-f, not %q", start)
	}
	if len(start) < minPin {
		return Pin{}, fmt.Errorf("give at least %d digits of the hash, not %d", minPin, len(start))
	}
	return Pin{seq, start}, nil
}

func (p Pin) String() string { return fmt.Sprintf("%d:%s", p.Seq, p.Start) }

// Verifying is what [Verify] is asked.
type Verifying struct {
	Pins     []Pin         // heads that must be in the book
	Journals []JournalFile // the journals beside the book, to be held against it
	Beside   string        // path of the book itself where journals must be held against it, also if none is left
	Book     string        // identity that the book must have, "" for any
	Tell     func(Fault)   // called with each fault as it is found
	Walked   func(Report)  // called before the store's own check, which may end the process
	Patience time.Duration // for the store's own check of its pages; 0 for a minute

	PageByPage bool // a small file is not held in memory either
}

// verifier goes through one book.
type verifier struct {
	Verifying
	rep    *Report
	pages  *pageFile
	parts  map[string]tree
	chain  *chain
	found  []Pin                    // heads told before that stand in the chain
	shorts []short                  // the records, for the journals to be held against
	last   time.Time                // the instant of the last record that could be read
	sound  bool                     // the store can walk the trees too
	newer  bool                     // the book says that it is of a later format
	mark   uint64                   // the record that index and list of live records end with
	after  map[string]record.Record // those behind it, by their ids
	q      *record.Reader           // for looking single records up
}

// Store is the store itself, for what only it can tell. Nothing is asked of it before the
// pages were found sound, and it is never asked to write.
type Store interface {
	// View calls f with one state of the file, and comes back with an error where the
	// store gives up over a damaged page.
	View(f func(Within) error) error
}

// Within is one state of a store's file.
type Within interface {
	// Refold begins to fold the whole book anew.
	Refold() Refold
	// Bench is the bench as opening the book gives it.
	Bench() (*bench.Bench, error)
	// Check has the store check its own pages; the faults end when it has. It may not
	// end, and may even end the process, where a page is damaged in a way not seen before.
	Check() <-chan error
}

// Refold takes every record of a book in order and gives the bench that they make.
type Refold interface {
	Add(r record.Record)
	End() (*bench.Bench, error)
}

// Verify goes through the whole book at path and repairs nothing: the pages, the
// numbers and hashes of the records, every index entry, the list of live records and
// the bench folded from it. Until the pages were found sound it only reads the file,
// without the store; then the store is asked too, where there is one, so that a suspect
// file is best looked at in a process of its own, with a time limit. closed is why the
// store did not open the file. ended is false while the store still reads. The error says
// that the file cannot be read; faults are no error.
func Verify(path string, ask Verifying, store Store, closed error) (rep Report, ended bool, err error) {
	rep, ended = Report{Faults: []Fault{}}, true
	f, err := disk.OpenSource(path)
	if err != nil {
		return rep, true, fmt.Errorf("verify: %w", err)
	}
	defer func() { _ = f.Close() }() // only read from
	fi, err := f.Stat()
	if err != nil {
		return rep, true, fmt.Errorf("verify: %w", err)
	}
	// A book read in the order of its keys is read all over the disk; once through from
	// its beginning and it is in the machine's memory (20 times faster where cold).
	var held []byte
	if rep.Bytes = fi.Size(); rep.Bytes <= holdUpTo && !ask.PageByPage {
		held = make([]byte, rep.Bytes)
		_, err = io.ReadFull(f, held)
	} else {
		rep.Bytes, err = io.Copy(struct{ io.Writer }{io.Discard}, f)
	}
	if err != nil {
		return rep, true, fmt.Errorf("verify: %w", err)
	}
	v := &verifier{Verifying: ask, rep: &rep, q: record.NewReader()}
	if v.open(f, held) {
		if v.sound && closed != nil {
			v.tell(Fault{Kind: FaultPages, What: "its pages can be read, but the store does not open it: " + closed.Error()})
		}
		if v.sound && store != nil {
			err := store.View(func(in Within) error {
				v.walk(in)
				if v.Walked != nil {
					v.Walked(rep)
				}
				ended = v.check(in)
				return nil
			})
			if err != nil {
				v.tell(Fault{Kind: FaultPages, What: err.Error()})
			}
		} else {
			v.walk(nil)
		}
	}
	if rep.Records == 0 && len(rep.Faults) > 0 && !v.newer {
		v.unreached(path)
	}
	return rep, ended, nil
}

// holdUpTo is the size of a file that is held in memory while it is looked through.
const holdUpTo = 256 << 20

// unreached says how many records are out of reach where none could be read.
func (v *verifier) unreached(path string) {
	if v.chain == nil {
		j := &journals{v: v, foreign: map[string]uint64{}}
		for _, f := range v.Journals {
			_ = f.eachLine(func(l journalLine) { j.line(filepath.Base(f.Name), l) }) // what cannot be read cannot be told of
		}
		if v.rep.Journal != nil {
			v.tell(Fault{Kind: FaultJournal, Seq: 1, To: v.rep.Journal.Seq, What: "the journal beside the book holds them, the book cannot be read"})
		}
	}
	s, err := Gather(path, nil)
	if err != nil {
		v.file("%v", err)
		return
	}
	defer s.Close()
	if left := s.Choose(); len(left) > 0 {
		v.tell(Fault{Kind: FaultMissing, Seq: 1, To: left[len(left)-1].seq, What: fmt.Sprintf("cannot be reached; %d of them still stand in the file", len(left))})
	}
}

func (v *verifier) tell(f Fault) {
	v.rep.Faults = append(v.rep.Faults, f)
	if v.Tell != nil {
		v.Tell(f)
	}
}

// file tells of a fault of the whole file.
func (v *verifier) file(format string, a ...any) {
	v.tell(Fault{Kind: FaultFile, What: fmt.Sprintf(format, a...)})
}

// open finds the trees of the file and what it says of itself.
func (v *verifier) open(f *os.File, held []byte) bool {
	p, err := openPages(f, v.rep.Bytes, v.file)
	if err != nil {
		v.file("%v", err)
		return false
	}
	p.held = held
	v.pages, v.sound = p, true
	if err := p.freeList(); err != nil {
		v.sound = false
		v.tell(Fault{Kind: FaultPages, What: err.Error()})
	}
	w := p.walker(func(page uint64, what string) {
		v.sound = false
		v.tell(Fault{Kind: FaultPages, What: pageText(page, what)})
	})
	v.parts = w.buckets()
	for _, name := range layout.Parts() {
		t, ok := v.parts[string(name)]
		if !ok {
			v.sound = false
			v.file("the part %q of the book cannot be reached", name)
			continue
		}
		w.walk(t, func(e entry) bool {
			if e.bucket {
				w.fault(t.root, fmt.Sprintf("has a bucket within %q", name))
			}
			return true
		})
	}
	get := func(key string) string {
		b, _ := p.find(v.parts[string(layout.Meta)], []byte(key))
		return string(b)
	}
	v.rep.Format, v.rep.Book, v.rep.Created = get("format"), get("book"), get("created")
	v.mark, v.after = math.MaxUint64, map[string]record.Record{}
	if b, ok := p.find(v.parts[string(layout.Meta)], layout.KeyIndexed); ok {
		v.mark = layout.Number(b)
	}
	if v.parts[string(layout.Meta)].empty() {
		return true
	}
	if err := layout.Readable(v.rep.Format); errors.Is(err, layout.ErrNewer) {
		v.newer = true
		v.file("%v", err)
		return false
	} else if err != nil {
		v.file("the book does not say its format, but %q", v.rep.Format)
	}
	if v.Book != "" && v.Book != v.rep.Book {
		v.file("this is the book %s; the seal is of the book %s", v.rep.Book, v.Book)
	}
	if _, err := time.Parse(time.RFC3339, v.rep.Created); err != nil {
		v.file("the book does not say when it was made")
	}
	return true
}

// batch is a run of records on their way from the file to the chain.
type batch struct {
	links []link
	sums  []uint64
	read  chan struct{} // closed when the links are read
}

func newBatch() *batch {
	return &batch{make([]link, 0, batchLength), make([]uint64, batchLength), make(chan struct{})}
}

const (
	batchLength  = 256
	batchesAhead = 24 // more records than a fold of the store takes at once: they are read meanwhile
)

// readApart has the records read by all processors and gives them in order, in batches. Those
// that nobody looks at any more may be given back to it.
func (v *verifier) readApart(seed maphash.Seed) (<-chan *batch, chan<- *batch) {
	todo, order := make(chan *batch, 4), make(chan *batch, batchesAhead)
	used := make(chan *batch, cap(order))
	for range runtime.GOMAXPROCS(0) {
		go func() {
			q, s := record.NewReader(), &summer{seed: seed}
			for b := range todo {
				for i := range b.links {
					l := &b.links[i]
					l.read(q)
					if l.err == nil && l.key <= v.mark && !action.IsAmendment(l.rec.Action.Body) {
						b.sums[i] = s.sumOf(&l.rec, nil)
					}
				}
				close(b.read)
			}
		}()
	}
	go func() {
		b := newBatch()
		send := func() {
			todo <- b
			order <- b
			select {
			case b = <-used:
				clear(b.sums)
				b.links, b.read = b.links[:0], make(chan struct{})
			default:
				b = newBatch()
			}
		}
		v.log(func(key uint64, raw []byte) {
			if b.links = append(b.links, link{key: key, raw: raw}); len(b.links) == batchLength {
				send()
			}
		})
		send()
		close(todo)
		close(order)
	}()
	return order, used
}

// walk judges the records in order; reading them apart is shared by all processors.
// The fold of the store is given them too, where it can be asked.
func (v *verifier) walk(in Within) {
	var whole Refold
	if in != nil {
		whole = in.Refold()
	}
	seed := maphash.MakeSeed()
	v.chain = newChain(record.Genesis(v.rep.Book), v.tell)
	pins := map[uint64][]Pin{}
	for _, p := range v.Pins {
		pins[p.Seq] = append(pins[p.Seq], p)
	}
	order, used := v.readApart(seed)
	sum := v.sumIndex(seed)
	amended := &summer{seed: seed}
	v.pinned(pins, &link{hash: record.Genesis(v.rep.Book)})
	var want uint64
	for b := range order {
		<-b.read
		for i := range b.links {
			l := &b.links[i]
			v.judge(l, pins)
			if l.err != nil {
				continue
			}
			switch {
			case l.key > v.mark && len(v.after) >= layout.MostBehind: // told in the end
			case l.key > v.mark:
				v.after[l.rec.Action.ID] = l.rec
			case action.IsAmendment(l.rec.Action.Body):
				b.sums[i] = amended.sumOf(&l.rec, v.byID)
			}
			want += b.sums[i]
			if whole != nil {
				whole.Add(l.rec)
			}
		}
		select {
		case used <- b:
		default:
		}
	}
	if v.rep.First != "" {
		v.rep.Last = v.last.Format(dayFormat)
	}
	v.end(pins)
	v.reached()
	v.indexed()
	v.index(seed, want, sum)
	v.beat()
	if whole != nil {
		v.bench(whole, in)
	}
}

// judge takes one record to the chain and to what is reported of all.
func (v *verifier) judge(l *link, pins map[uint64][]Pin) {
	v.rep.Records++
	v.chain.add(l)
	v.pinned(pins, l)
	if len(v.Journals) > 0 || v.Beside != "" {
		v.shorts = append(v.shorts, short{l.key, shortOf(l.hash)})
	}
	if l.err == nil {
		v.last = l.rec.Stamp.At
		if v.rep.First == "" {
			v.rep.First = v.last.Format(dayFormat)
		}
	}
}

// dayFormat is how a day is told.
const dayFormat = "2006-01-02"

// log reads the records as they stand, each with the number it stands under, 0 where
// that is none.
func (v *verifier) log(each func(key uint64, raw []byte)) {
	quiet := v.pages.walker(func(uint64, string) {}) // told already
	quiet.walk(v.parts[string(layout.Log)], func(e entry) bool {
		each(layout.Number(e.key), e.value)
		return true
	})
}

// reached tells, where pages are spoilt, of records that stand in the book and are not
// found by their number: those who look one up would miss it.
func (v *verifier) reached() {
	if v.sound {
		return
	}
	log := v.parts[string(layout.Log)]
	v.log(func(key uint64, raw []byte) {
		if key == 0 || v.chain.isBad(key) {
			return
		}
		if found, ok := v.pages.find(log, layout.SeqKey(key)); !ok || !bytes.Equal(found, raw) {
			v.tell(Fault{Kind: FaultPages, Seq: key, What: "stands in the book and is not found by its number"})
		}
	})
}

// pinned holds a record against the heads that were told of it.
func (v *verifier) pinned(pins map[uint64][]Pin, l *link) {
	for _, p := range pins[l.key] {
		if strings.HasPrefix(l.hash.String(), p.Start) {
			v.found = append(v.found, p)
		} else {
			v.tell(Fault{Kind: FaultTold, Seq: l.key, What: fmt.Sprintf("its hash begins with %s; the head told before is %s", l.hash.Short(), p)})
		}
	}
	delete(pins, l.key)
}

// end judges the end of the chain.
func (v *verifier) end(pins map[uint64][]Pin) {
	kept, ok := v.kept()
	if ok {
		v.rep.Head = v.chain.end(&kept)
	} else {
		v.rep.Head = v.chain.end(nil)
	}
	for _, ps := range pins {
		for _, p := range ps {
			v.tell(Fault{Kind: FaultTold, Seq: p.Seq, What: fmt.Sprintf("it is not there; the head told before is %s", p)})
		}
	}
	v.rep.Proven = slices.DeleteFunc(v.found, v.refuted)
	v.journals()
}

// refuted tells whether not all up to a head that was found is as it was.
func (v *verifier) refuted(p Pin) bool {
	return slices.ContainsFunc(v.rep.Faults, func(f Fault) bool {
		switch f.Kind {
		case FaultFile:
			return true
		case FaultMissing, FaultChanged:
			return f.Seq <= p.Seq
		case FaultUnproven:
			return f.Seq < p.Seq // the head itself proves its own record
		}
		return false
	})
}

// kept reads the head that the book keeps of itself; a book without records has none.
func (v *verifier) kept() (layout.Head, bool) {
	b, _ := v.pages.find(v.parts[string(layout.Meta)], layout.KeyHead)
	return layout.ParseHead(b)
}

// indexed holds how far the index goes, as the book says it, against its records.
func (v *verifier) indexed() {
	if v.mark == math.MaxUint64 {
		return
	}
	last := v.rep.Head.Seq
	if kept, ok := v.kept(); ok { // records that are missing at the end were told of
		last = max(last, kept.Seq)
	}
	if v.mark > last || last-v.mark >= layout.MostBehind {
		v.tell(Fault{Kind: FaultIndex, What: fmt.Sprintf("the book says that its index ends with record %d, and its last record is %d", v.mark, last)})
	}
}

// beat looks at the sign of life.
func (v *verifier) beat() {
	b, ok := v.pages.find(v.parts[string(layout.Beat)], layout.KeyLast)
	if !ok {
		return // nothing was written yet
	}
	var beat timers.Beat
	if err := json.Unmarshal(b, &beat); err != nil {
		v.file("the sign of life cannot be read")
	}
}

// byID finds a record by its id.
func (v *verifier) byID(id string) (record.Record, bool) {
	if r, ok := v.after[id]; ok {
		return r, true
	}
	no, ok := v.pages.find(v.parts[string(layout.Index)], layout.IDKey(id))
	if !ok || len(no) != 8 {
		return record.Record{}, false
	}
	raw, ok := v.pages.find(v.parts[string(layout.Log)], no)
	if !ok {
		return record.Record{}, false
	}
	r, err := v.q.Decode(raw)
	return r, err == nil && r.Action.ID == id
}

// defaultPatience is for the store's own check of its pages: half a second for
// 5,000,000 records.
const defaultPatience = time.Minute

// check has the store check its own pages. It may not end, and may even end the
// process, where a page is damaged in a way not seen before. ended is false where it
// still goes on.
func (v *verifier) check(in Within) (ended bool) {
	patience := v.Patience
	patience = cmp.Or(patience, defaultPatience)
	over := time.NewTimer(patience)
	defer over.Stop()
	faults := in.Check()
	for {
		select {
		case err, more := <-faults:
			if !more {
				return true
			}
			v.tell(Fault{Kind: FaultPages, What: err.Error()})
		case <-over.C:
			v.tell(Fault{Kind: FaultPages, What: fmt.Sprintf("the store's own check of its pages did not end within %v", patience)})
			return false
		}
	}
}
