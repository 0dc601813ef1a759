package logbook

import (
	"bytes"
	"encoding/binary"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
	"unsafe"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

var (
	damages    = flag.Int("damages", longrun.Times(25, 500), "how many damaged books to try")
	damageSeed = flag.Uint64("damage-seed", 1, "the first of the damages to try")
)

// victim is a book to be damaged, with all that is known of it.
type victim struct {
	path   string // of the closed book, its journal beside it
	file   []byte // up to its last page in use
	older  [][]byte
	recs   []record.Record
	places [][2]int // of the live bytes of each record in the file, from and until
	pages  int
}

const pageBytes = 4096

// How a page of the store is laid out, in bytes; see check/pages.go.
const (
	pageHeader, entryHeader = 16, 16
	branchPage              = 1
)

// newVictim records the invented shift and keeps what the file was on the way.
func newVictim(t testing.TB) *victim {
	t.Helper()
	v := &victim{}
	b := shift(t)
	v.path, v.recs = b.Path(), records(t, b)
	h := hands{t: &testing.T{}, b: b, ck: b.clock.(*simclock.Hand)}
	whole := func() []byte {
		f, err := os.ReadFile(v.path)
		if err != nil {
			t.Fatal(err)
		}
		c, err := check.ContentsOf(bytes.NewReader(f), int64(len(f)))
		if err != nil {
			t.Fatal(err)
		}
		return f[:c.Used()]
	}
	v.older = append(v.older, whole())
	for i := range 6 {
		if _, err := h.try(minute, action.Note{Flask: 3, Text: fmt.Sprintf("note %d", i)}); err != nil {
			t.Fatal(err)
		}
		v.older = append(v.older, whole())
	}
	v.recs = records(t, b)
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	v.file = whole()
	v.pages = len(v.file) / pageBytes
	db, err := bolt.Open(v.path, 0o600, &bolt.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	err = db.View(func(tx *bolt.Tx) error {
		return tx.Bucket(layout.Log).ForEach(func(_, raw []byte) error {
			at := int(uintptr(unsafe.Pointer(unsafe.SliceData(raw))) - db.Info().Data) // where in the map, so where in the file
			v.places = append(v.places, [2]int{at, at + len(raw)})
			return nil
		})
	})
	if err != nil || len(v.places) != len(v.recs) {
		t.Fatalf("%d records at %d places, %v", len(v.recs), len(v.places), err)
	}
	for i, p := range v.places {
		if !bytes.Equal(v.file[p[0]:p[1]], v.recs[i].Raw) {
			t.Fatalf("record %d does not stand where it should", i+1)
		}
	}
	return v
}

// changed lists the live records whose bytes are others in a damaged copy.
func (v *victim) changed(file []byte) (seqs []uint64) {
	for i, p := range v.places {
		if p[1] > len(file) || !bytes.Equal(file[p[0]:p[1]], v.recs[i].Raw) {
			seqs = append(seqs, uint64(i+1))
		}
	}
	return seqs
}

// damage spoils a copy of the file in one of the ways files are spoilt.
func (v *victim) damage(seed uint64) (what string, file []byte) {
	r := rand.New(rand.NewPCG(seed, 5))
	file = bytes.Clone(v.file)
	page := func(from int) int { return from + r.IntN(v.pages-from) }
	switch r.IntN(10) {
	case 0, 1: // anywhere
		for range 1 + r.IntN(3) {
			at := r.IntN(len(file))
			file[at] ^= 1 << r.IntN(8)
			what += fmt.Sprintf("bit of byte %d (page %d) ", at, at/pageBytes)
		}
	case 2, 3: // in the live bytes of a record
		for range 1 + r.IntN(3) {
			i := r.IntN(len(v.places))
			at := v.places[i][0] + r.IntN(v.places[i][1]-v.places[i][0])
			file[at] ^= 1 << r.IntN(8)
			what += fmt.Sprintf("bit of record %d ", i+1)
		}
	case 4: // in the head of a page or of its entries
		p := page(0)
		at := p*pageBytes + r.IntN(160)
		file[at] ^= 1 << r.IntN(8)
		what = fmt.Sprintf("bit of byte %d of page %d", at%pageBytes, p)
	case 5:
		p, n := page(0), 1+r.IntN(3)
		clear(file[p*pageBytes : min(len(file), (p+n)*pageBytes)])
		what = fmt.Sprintf("%d pages from %d zeroed", n, p)
	case 6: // torn: some sectors of another time or of nothing
		p := page(0)
		from := v.older[r.IntN(len(v.older))]
		for s := range 8 {
			at := p*pageBytes + s*512
			switch r.IntN(3) {
			case 0:
				if at+512 <= len(from) {
					copy(file[at:at+512], from[at:])
				}
			case 1:
				clear(file[at : at+512])
			}
		}
		what = fmt.Sprintf("page %d torn", p)
	case 7: // stale: the page as it was, or another page in its place
		p := page(0)
		from, q := v.older[r.IntN(len(v.older))], p
		if r.IntN(2) == 0 {
			q = page(0)
		}
		if (q+1)*pageBytes <= len(from) {
			copy(file[p*pageBytes:(p+1)*pageBytes], from[q*pageBytes:])
		}
		what = fmt.Sprintf("page %d holds page %d of another time", p, q)
	case 8:
		n := r.IntN(len(file))
		if r.IntN(2) == 0 {
			n -= n % pageBytes
		}
		file = file[:n]
		what = fmt.Sprintf("cut to %d bytes", n)
	default: // a branch that leads elsewhere: to itself, above itself, twice to the same
		var branches []int
		for p := 2; p < v.pages; p++ {
			if binary.LittleEndian.Uint16(file[p*pageBytes+8:]) == branchPage {
				branches = append(branches, p)
			}
		}
		p := branches[r.IntN(len(branches))]
		n := int(binary.LittleEndian.Uint16(file[p*pageBytes+10:]))
		to := page(2)
		if r.IntN(2) == 0 {
			to = branches[r.IntN(len(branches))]
		}
		i := r.IntN(n)
		binary.LittleEndian.PutUint64(file[p*pageBytes+pageHeader+i*entryHeader+8:], uint64(to))
		what = fmt.Sprintf("branch %d leads to page %d", p, to)
	}
	return what, file
}

// within fails the test when f does not end: a hang is a defect, not a slow test.
func within(t *testing.T, d time.Duration, what string, f func()) {
	t.Helper()
	done := make(chan struct{})
	go func() {
		defer close(done)
		f()
	}()
	select {
	case <-done:
	case <-time.After(d):
		t.Errorf("%s: not done within %v", what, d)
	}
}

// tally counts what a run of damages came to.
type tally struct {
	mu sync.Mutex

	tried, hurt, silent, opened, refused, whole, partly int
}

func (s *tally) add(n *int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	*n++
}

// TestDamage damages a book again and again. Every live record whose bytes were
// changed is named; nothing panics or hangs, neither looking nor opening; with the
// journal all records are brought back, without it all that still stand in the file.
// Where nothing is found, nothing is wrong.
func TestDamage(t *testing.T) {
	v := newVictim(t)
	if last, err := lastJournaled(v.path); err != nil || last == nil || last.Seq != uint64(len(v.recs)) {
		t.Fatalf("the journal ends with %v, %v", last, err)
	}
	journals, err := check.Journals(v.path)
	if err != nil {
		t.Fatal(err)
	}
	var sum tally
	dir := t.TempDir()
	next := make(chan uint64)
	var wg sync.WaitGroup
	for range 4 { // most of the time is spent waiting for the disk
		wg.Go(func() {
			for seed := range next {
				what, file := v.damage(seed)
				what = fmt.Sprintf("-damage-seed %d -damages 1: %s", seed, what)
				path := filepath.Join(dir, fmt.Sprintf("%d.db", seed)) // a file of its own: a store that gave up keeps its lock
				if err := os.WriteFile(path, file, 0o600); err != nil {
					t.Error(err)
					continue // who ended here would leave the others waiting
				}
				within(t, 3*time.Minute, what, func() { v.check(t, what, seed, path, file, journals, &sum) })
				if err := os.Remove(path); err != nil {
					t.Error(err)
				}
			}
		})
	}
	for seed := *damageSeed; seed < *damageSeed+uint64(*damages) && !t.Failed(); seed++ {
		next <- seed
	}
	close(next)
	wg.Wait()
	t.Logf("%d damaged books: %d with changed live records, all of them named; %d without a fault. %d opened, %d refused. With the journal all records brought back from each; without it from %d, from %d in part",
		sum.tried, sum.hurt, sum.silent, sum.opened, sum.refused, sum.whole, sum.partly)
	// A run that was ended by a fault has not tried everything: that fault is what counts.
	if !t.Failed() && *damages >= 500 && (sum.hurt < *damages/5 || sum.silent == 0 || sum.opened == 0 || sum.refused == 0 || sum.partly == 0) {
		t.Error("the damages do not try everything")
	}
}

func (v *victim) check(t *testing.T, what string, seed uint64, path string, file []byte, journals []string, sum *tally) {
	sum.add(&sum.tried)
	ask := check.Verifying{Patience: 5 * time.Second, PageByPage: seed%3 == 0}
	if seed%2 == 0 {
		ask.Journals = beside(t, v.path)
	}
	rep, err := Verify(path, ask)
	if err != nil {
		t.Errorf("%s: %v", what, err)
		return
	}
	hurt := v.changed(file)
	if len(hurt) > 0 {
		sum.add(&sum.hurt)
	}
	for _, seq := range hurt {
		if same(file, v.recs[seq-1]) {
			continue // another copy of it stands in its place
		}
		if ask.Journals == nil && seq > rep.Head.Seq && len(rep.Faults) > 0 && !hasHead(file) {
			continue // the book's note of its head is lost: nobody can say how many records there were
		}
		if !slices.ContainsFunc(rep.Faults, func(f check.Fault) bool { return f.Names(seq) }) {
			t.Errorf("%s: the changed record %d is not named:\n%s", what, seq, lines(rep.Faults))
		}
	}
	b, err := Open(path, simclock.At(start.AddDate(0, 0, 3), "boot-9"))
	if err == nil {
		sum.add(&sum.opened)
		n := 0
		err = b.Each(1, func(record.Record) (bool, error) { n++; return true, nil })
		if _, e := b.Whole(start, start.AddDate(0, 0, 2)); err == nil {
			err = e
		}
		_ = b.Close()
	} else {
		sum.add(&sum.refused)
	}
	if len(rep.Faults) == 0 {
		sum.add(&sum.silent)
		if err != nil || len(hurt) > 0 || rep.Records != uint64(len(v.recs)) {
			t.Errorf("%s: nothing was found, but it reads with %v; %d records, changed %v", what, err, rep.Records, hurt)
		}
		return
	}
	v.salvage(t, what, path, file, journals, sum)
}

// hasHead tells whether the book's note of its head can be reached.
func hasHead(file []byte) bool {
	for _, at := range []int64{0, pageBytes} {
		one := bytes.Clone(file[:min(len(file), 2*pageBytes)])
		for i := range one {
			if int64(i)/pageBytes != at/pageBytes {
				one[i] = 0
			}
		}
		if _, err := check.ContentsOf(bytes.NewReader(one), int64(len(file))); err != nil {
			return false // what the book was before may count now
		}
	}
	c, err := check.ContentsOf(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		return false
	}
	_, ok := c.Find(layout.Meta, layout.KeyHead)
	return ok
}

// same tells whether a record can be read by its number as it was.
func same(file []byte, r record.Record) bool {
	c, err := check.ContentsOf(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		return false
	}
	raw, ok := c.Find(layout.Log, layout.SeqKey(r.Seq))
	return ok && bytes.Equal(raw, r.Raw)
}

func (v *victim) salvage(t *testing.T, what, path string, file []byte, journals []string, sum *tally) {
	clock := simclock.At(start.AddDate(0, 0, 3), "boot-9")
	get := func(journals []string) (map[uint64][]byte, check.Salvaged, error) {
		to := path + ".salvaged"
		defer os.Remove(to)
		s, err := Salvage(path, journals, to, nil, clock, nil)
		if err != nil {
			return nil, s, err
		}
		for _, b := range s.Branches {
			defer os.Remove(b.File)
		}
		got := map[uint64][]byte{}
		b, err := OpenReading(to, clock)
		if err != nil {
			return nil, s, err
		}
		err = b.Each(1, func(r record.Record) (bool, error) { got[r.Seq] = r.Raw; return true, nil })
		_ = b.Close()
		if err == nil {
			// What is lost is missing or not proven in the new book too; it has no other faults.
			rep, verr := Verify(to, check.Verifying{})
			odd := slices.DeleteFunc(rep.Faults, func(f check.Fault) bool { return follows(f, s) })
			if verr != nil || len(odd) > 0 {
				err = fmt.Errorf("the book salvaged: %v\n%s", verr, lines(odd))
			}
		}
		return got, s, err
	}
	got, s, err := get(journals)
	// Where the book's note of its head is lost, nothing vouches for the last record.
	odd := slices.ContainsFunc(s.Lost, func(f check.Fault) bool {
		if strings.Contains(f.What, errNewer.Error()) {
			return false // a bit of the format
		}
		return f.Kind != check.FaultHead && (f.Kind != check.FaultUnproven || f.Seq != uint64(len(v.recs)))
	})
	if err != nil || odd || len(got) != len(v.recs) {
		t.Errorf("%s: with the journal %d records of %d, %v\n%s", what, len(got), len(v.recs), err, lines(s.Lost))
	}
	for _, r := range v.recs {
		if err == nil && !bytes.Equal(got[r.Seq], r.Raw) {
			t.Errorf("%s: with the journal record %d came back as\n%s, want\n%s", what, r.Seq, got[r.Seq], r.Raw)
		}
	}
	got, s, err = get(nil)
	if err != nil {
		if slices.ContainsFunc(v.recs, func(r record.Record) bool { return bytes.Contains(file, r.Raw) }) {
			t.Errorf("%s: without the journal: %v", what, err)
		}
		return
	}
	if len(got) == len(v.recs) {
		sum.add(&sum.whole)
	} else {
		sum.add(&sum.partly)
	}
	for _, r := range v.recs {
		stands := bytes.Contains(file, r.Raw)
		if stands && !bytes.Equal(got[r.Seq], r.Raw) {
			t.Errorf("%s: record %d stands in the file, but came back as %q\n%s", what, r.Seq, got[r.Seq], lines(s.Lost))
		}
		if !stands && !slices.ContainsFunc(s.Lost, func(f check.Fault) bool {
			return f.Names(r.Seq) || f.Kind == check.FaultHead && f.Seq <= r.Seq // nobody can say how many there were
		}) {
			t.Errorf("%s: record %d is lost, and that is not said:\n%s", what, r.Seq, lines(s.Lost))
		}
	}
}

// follows tells whether a fault of a salvaged book follows from what was lost: a record
// that is missing there too, or that nothing proves.
func follows(f check.Fault, s check.Salvaged) bool {
	lost := func(seq uint64) bool {
		return slices.ContainsFunc(s.Lost, func(l check.Fault) bool { return l.Names(seq) })
	}
	switch f.Kind {
	case check.FaultMissing:
		for seq := f.Seq; seq <= max(f.Seq, f.To); seq++ {
			if !lost(seq) {
				return false
			}
		}
		return true
	case check.FaultUnproven:
		return lost(f.Seq) || lost(f.Seq+1)
	case check.FaultChanged: // the last two contradict each other, and nothing says which is spoilt
		return f.Seq+1 == s.Head.Seq && lost(f.Seq) && lost(f.Seq+1)
	case check.FaultFile: // the name of the book was lost, too: the new one has one of its own
		return len(s.Lost) > 0 && strings.HasPrefix(f.What, "the book is not called what it was")
	case check.FaultBench:
		return len(s.Lost) > 0 && strings.HasPrefix(f.What, "it cannot be held against its records")
	}
	return false
}
