package mirrortest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	"flaskside/logbook/mirror"
)

// Suite is what every kind of place must do and never do. open gives a new, empty place, and
// what opens the same one once more, as another machine would.
func Suite(t *testing.T, open func(t *testing.T) (p mirror.Remote, again func() mirror.Remote)) {
	for _, c := range []struct {
		name string
		test func(t *testing.T, p mirror.Remote, again func() mirror.Remote)
	}{
		{"an empty place says so", empty},
		{"a book and its mirror are the same record by record", whole},
		{"a record longer than a run goes alone, and runs keep their bounds", bounds},
		{"a fork is refused and hides behind nothing", fork},
		{"an older copy of the book is told from a fork", older},
		{"an older copy that goes on is a fork", wentOn},
		{"behind another end than was expected nothing is written", stale},
		{"of two writers at the same moment one loses", twoWriters},
		{"two benches of one history bring the same mirror up to date", twoHands},
		{"another generation stands beside the first", generations},
		{"notes stay in the house, their hashes do not", notes},
		{"a book comes back from its mirror alone", back},
		{"many books in one place do not mix", many},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, again := open(t)
			defer func() { _ = p.Close() }()
			c.test(t, p, again)
		})
	}
}

// since shows of a place only the books that came since it was opened.
type since struct {
	mirror.Remote

	before map[mirror.Stream]bool
}

func (p since) Streams(ctx context.Context) ([]mirror.Stream, error) {
	all, err := p.Remote.Streams(ctx)
	return slices.DeleteFunc(all, func(s mirror.Stream) bool { return p.before[s] }), err
}

// Since lets a case of a suite have a place in which others were: it is shown the books that come
// from now on. For places of which a new one for each case takes long.
func Since(t *testing.T, open func() mirror.Remote) (p mirror.Remote, again func() mirror.Remote) {
	t.Helper()
	p, before := open(), map[mirror.Stream]bool{}
	all, err := p.Streams(ctx)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range all {
		before[s] = true
	}
	return since{p, before}, func() mirror.Remote { return since{open(), before} }
}

var ctx = context.Background()

// bring brings and expects what was asked for to be there.
func bring(t *testing.T, p mirror.Remote, b *Invented) mirror.Done {
	t.Helper()
	d, err := mirror.Bring(ctx, p, b, mirror.BringOptions{Bench: "bench 1", At: Start})
	if err != nil {
		t.Fatalf("bring: %v", err)
	}
	if h := b.State().Head; d.End.Seq != h.Seq || h.Seq > 0 && d.End.Hash != h.Hash {
		t.Fatalf("brought up to %s, the book ends with %s", d.End, h)
	}
	return d
}

func compared(t *testing.T, p mirror.Remote, b *Invented, gen int) mirror.Comparison {
	t.Helper()
	c, err := mirror.Compare(ctx, p, b, mirror.Stream{Book: b.Name, Generation: gen})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func same(t *testing.T, p mirror.Remote, b *Invented) {
	t.Helper()
	if c := compared(t, p, b, 1); !c.Equal() || c.Alike != uint64(len(b.Recs)) {
		t.Fatalf("the mirror is not the same: %+v", c)
	}
}

// all reads every byte of a stream.
func all(t *testing.T, p mirror.Remote, s mirror.Stream) string {
	t.Helper()
	var out bytes.Buffer
	if err := p.Read(ctx, s, 1, func(pc mirror.Object) error {
		fmt.Fprintf(&out, "%s\n%s", pc.Name, pc.Raw)
		return pc.Err
	}); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

func empty(t *testing.T, p mirror.Remote, _ func() mirror.Remote) {
	s, err := p.Streams(ctx)
	if err != nil || len(s) > 0 {
		t.Errorf("streams %v, %v", s, err)
	}
	end, err := p.Last(ctx, mirror.Stream{Book: "NOBODY", Generation: 1})
	if err != nil || end.Seq != 0 {
		t.Errorf("last %v, %v", end, err)
	}
	b := NewBook("EMPTY", 0, "")
	bring(t, p, b)
	if c := compared(t, p, b, 1); !c.Equal() {
		t.Errorf("an empty book and no mirror: %+v", c)
	}
	b.Add(1, "x")
	if c := compared(t, p, b, 1); c.Equal() || c.Behind != 1 || !c.OnlyBehind() {
		t.Errorf("a record that was never brought: %+v", c)
	}
}

func whole(t *testing.T, p mirror.Remote, again func() mirror.Remote) {
	b := NewBook("BOOK", 0, "a")
	for _, n := range []int{1, 0, 499, 500, 501, 3} {
		b.Add(n, "a")
		bring(t, p, b)
		same(t, p, b)
	}
	if d := bring(t, p, b); d.Runs != 0 {
		t.Errorf("brought again in %d runs what is there", d.Runs)
	}
	q := again()
	defer func() { _ = q.Close() }()
	same(t, q, b)
	s, err := q.Streams(ctx)
	if err != nil || !slices.Equal(s, []mirror.Stream{{Book: "BOOK", Generation: 1}}) {
		t.Errorf("streams %v, %v", s, err)
	}
	// From a number on: that record is in what is read.
	for _, from := range []uint64{1, 2, 500, 501, 1000, 1504} {
		found := false
		if err := q.Read(ctx, mirror.Stream{Book: "BOOK", Generation: 1}, from, func(pc mirror.Object) error {
			run, err := mirror.ParseRun(pc.Raw)
			for _, e := range run.Entries {
				found = found || e.Seq == from
			}
			return err
		}); err != nil || !found {
			t.Errorf("record %d is not read: %v", from, err)
		}
	}
}

func bounds(t *testing.T, p mirror.Remote, _ func() mirror.Remote) {
	b := NewBook("LONG", 2, "a")
	b.Add(1, "coat")
	b.Add(1, strings.Repeat("w", mirror.RunBytes-10))
	b.Add(1200, "a")
	bring(t, p, b)
	same(t, p, b)
	if err := p.Read(ctx, mirror.Stream{Book: "LONG", Generation: 1}, 1, func(pc mirror.Object) error {
		run, err := mirror.ParseRun(pc.Raw)
		if n := len(run.Entries); n > mirror.RunRecords || n > 1 && len(pc.Raw) > mirror.RunBytes+1024 {
			t.Errorf("a run of %d records, %d bytes", n, len(pc.Raw))
		}
		return err
	}); err != nil {
		t.Error(err)
	}
}

func fork(t *testing.T, p mirror.Remote, _ func() mirror.Remote) {
	for i, c := range []struct{ common, theirs, ours int }{{100, 20, 5}, {100, 20, 35}, {100, 20, 20}, {0, 3, 3}, {1, 1, 1}, {499, 2, 3}} {
		id := fmt.Sprintf("FORK%d", i)
		first := NewBook(id, c.common, "both")
		ours := first.Upto(c.common)
		first.Add(c.theirs, "theirs")
		ours.Add(c.ours, "ours")
		bring(t, p, first)
		before := all(t, p, mirror.Stream{Book: id, Generation: 1})
		for range 2 {
			_, err := mirror.Bring(ctx, p, ours, mirror.BringOptions{})
			var f *mirror.Fork
			if !errors.As(err, &f) {
				t.Fatalf("%+v: a fork is answered with %v", c, err)
			}
			if f.Common != uint64(c.common) || f.Mirror.Seq != uint64(c.common+c.theirs) || f.Book.Seq != uint64(c.common+c.ours) {
				t.Errorf("%+v: the fork is told as %v", c, err)
			}
		}
		if all(t, p, mirror.Stream{Book: id, Generation: 1}) != before {
			t.Error("a refused fork wrote something")
		}
		if x := compared(t, p, ours, 1); x.Equal() || x.OnlyBehind() || x.Alike != uint64(c.common) {
			t.Errorf("%+v: compared as %+v", c, x)
		}
		same(t, p, first)
	}
}

func older(t *testing.T, p mirror.Remote, _ func() mirror.Remote) {
	b := NewBook("OLD", 120, "a")
	bring(t, p, b)
	for _, n := range []int{0, 1, 100, 119} {
		_, err := mirror.Bring(ctx, p, b.Upto(n), mirror.BringOptions{})
		var o *mirror.Older
		if !errors.As(err, &o) || o.Mirror.Seq != 120 {
			t.Errorf("a copy of %d records is answered with %v", n, err)
		}
		if c := compared(t, p, b.Upto(n), 1); c.Equal() || c.Beyond != uint64(120-n) {
			t.Errorf("a copy of %d records compared as %+v", n, c)
		}
	}
	same(t, p, b)
}

func wentOn(t *testing.T, p mirror.Remote, _ func() mirror.Remote) {
	b := NewBook("WENT", 50, "a")
	bring(t, p, b)
	b2 := b.Upto(40)
	for range 8 {
		b2.Add(1, "b")
		_, err := mirror.Bring(ctx, p, b2, mirror.BringOptions{})
		var f *mirror.Fork
		if !errors.As(err, &f) || f.Common != 40 {
			t.Fatalf("with %d records: %v", len(b2.Recs), err)
		}
	}
}

// runOf makes the run of some records of a book.
func runOf(b *Invented, first, last int) mirror.Run {
	r := mirror.Run{Header: mirror.Header{Mirror: 1, Book: b.Name, Generation: 1, First: uint64(first), Last: uint64(last), Prev: b.Head(first - 1).Hash, Hash: b.Head(last).Hash, Head: uint64(len(b.Recs)), At: Start}}
	for _, rec := range b.Recs[first-1 : last] {
		r.Entries = append(r.Entries, mirror.RunRecord{Seq: rec.Seq, Prev: rec.Prev, Hash: rec.Hash(), Raw: rec.Raw})
	}
	return r
}

func stale(t *testing.T, p mirror.Remote, _ func() mirror.Remote) {
	b := NewBook("STALE", 30, "a")
	s := mirror.Stream{Book: "STALE", Generation: 1}
	if err := p.Append(ctx, s, mirror.StreamEnd{}, runOf(b, 1, 10)); err != nil {
		t.Fatal(err)
	}
	ten, err := p.Last(ctx, s)
	if err != nil || ten.Seq != 10 {
		t.Fatal(ten, err)
	}
	other := b.Upto(10)
	other.Add(10, "b")
	if err := p.Append(ctx, s, mirror.StreamEnd{}, runOf(b, 1, 10)); err != nil && !errors.Is(err, mirror.ErrMoved) {
		t.Errorf("the same run again: %v", err)
	}
	if err := p.Append(ctx, s, ten, runOf(b, 11, 20)); err != nil {
		t.Fatal(err)
	}
	for name, r := range map[string]mirror.Run{"another history": runOf(other, 11, 20), "another history, longer": runOf(other, 11, 15), "from the beginning": runOf(b, 1, 30)} {
		for _, e := range []mirror.StreamEnd{{}, ten} {
			if err := p.Append(ctx, s, e, r); !errors.Is(err, mirror.ErrMoved) {
				t.Errorf("%s, behind %d: %v", name, e.Seq, err)
			}
		}
	}
	if end, err := p.Last(ctx, s); err != nil || end.Seq != 20 || end.Hash != b.Head(20).Hash {
		t.Errorf("ends with %s, %v", end, err)
	}
}

func twoWriters(t *testing.T, p mirror.Remote, again func() mirror.Remote) {
	q := again()
	defer func() { _ = q.Close() }()
	for i := range 4 {
		id := fmt.Sprintf("RACE%d", i)
		a := NewBook(id, 10, "both")
		bring(t, p, a)
		b := a.Upto(10)
		a.Add(7, "a")
		b.Add(9, "b")
		var wg sync.WaitGroup
		errs := make([]error, 2)
		for k, w := range []struct {
			p mirror.Remote
			b *Invented
		}{{p, a}, {q, b}} {
			wg.Go(func() { _, errs[k] = mirror.Bring(ctx, w.p, w.b, mirror.BringOptions{}) })
		}
		wg.Wait()
		won := 0
		for k, w := range []*Invented{a, b} {
			if errs[k] == nil {
				won++
				same(t, p, w)
			} else if f := (*mirror.Fork)(nil); !errors.As(errs[k], &f) {
				t.Errorf("the other one is told %v", errs[k])
			}
		}
		if won != 1 {
			t.Fatalf("%d of two histories were taken: %v", won, errs)
		}
	}
}

func twoHands(t *testing.T, p mirror.Remote, again func() mirror.Remote) {
	q := again()
	defer func() { _ = q.Close() }()
	b := NewBook("HANDS", 0, "a")
	for range 2 {
		b.Add(700, "a")
		var wg sync.WaitGroup
		errs := make([]error, 2)
		for k, w := range []mirror.Remote{p, q} {
			wg.Go(func() { _, errs[k] = mirror.Bring(ctx, w, b.Upto(len(b.Recs)), mirror.BringOptions{}) })
		}
		wg.Wait()
		for _, err := range errs {
			if err != nil {
				t.Errorf("one of two hands: %v", err)
			}
		}
		same(t, p, b)
	}
}

func generations(t *testing.T, p mirror.Remote, _ func() mirror.Remote) {
	first := NewBook("GEN", 60, "both")
	ours := first.Upto(40)
	first.Add(10, "theirs")
	bring(t, p, first)
	before := all(t, p, mirror.Stream{Book: "GEN", Generation: 1})
	ours.Add(5, "ours")
	d, err := mirror.Bring(ctx, p, ours, mirror.BringOptions{Generation: 2})
	if err != nil || d.Stream.Generation != 2 || d.Was.Seq != 0 {
		t.Fatal(d, err)
	}
	if c := compared(t, p, ours, 2); !c.Equal() {
		t.Errorf("the second generation: %+v", c)
	}
	if all(t, p, mirror.Stream{Book: "GEN", Generation: 1}) != before {
		t.Error("the first generation was touched")
	}
	ours.Add(5, "ours")
	if d, err := mirror.Bring(ctx, p, ours, mirror.BringOptions{}); err != nil || d.Stream.Generation != 2 {
		t.Errorf("goes on in %+v, %v", d, err)
	}
	first.Add(1, "theirs")
	var f *mirror.Fork
	if _, err := mirror.Bring(ctx, p, first, mirror.BringOptions{}); !errors.As(err, &f) {
		t.Errorf("the history of the first generation goes on: %v", err)
	}
	if n, err := mirror.Newest(ctx, p, "GEN"); err != nil || n != 2 {
		t.Errorf("newest generation %d, %v", n, err)
	}
}

func notes(t *testing.T, p mirror.Remote, _ func() mirror.Remote) {
	b := NewBook("NOTES", 90, "SECRET")
	d, err := mirror.Bring(ctx, p, b, mirror.BringOptions{NoNotes: true})
	if err != nil || d.End.Seq != 90 {
		t.Fatal(d, err)
	}
	s := mirror.Stream{Book: "NOTES", Generation: 1}
	var text strings.Builder
	if err := p.Read(ctx, s, 1, func(pc mirror.Object) error {
		run, err := mirror.ParseRun(pc.Raw)
		for _, e := range run.Entries {
			text.Write(e.Raw)
		}
		if i := strings.Index(string(pc.Raw), `"text"`); i >= 0 {
			t.Errorf("the words of a note: %.200s", pc.Raw[i:])
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(text.String(), "SECRET 1\"") || !strings.Contains(text.String(), `"act":"coat"`) {
		t.Error("what stays in the house, and what does not, is not as it should be")
	}
	c := compared(t, p, b, 1)
	if !c.Equal() || len(c.Withheld) != 60 {
		t.Errorf("compared as %+v", c)
	}
	var out bytes.Buffer
	cp, err := mirror.Fetch(ctx, p, s, &out)
	if err != nil || cp.Whole() || len(cp.Withheld) != 60 || len(cp.Lacks()) == 0 {
		t.Errorf("a mirror without notes comes back as %+v, %v", cp, err)
	}
	// One altered hash of a withheld note is seen.
	b2 := NewBook("NOTES", 90, "OTHER")
	if c := compared(t, p, b2, 1); c.Equal() || c.Alike != 0 {
		t.Errorf("another book compared as %+v", c)
	}
}

func back(t *testing.T, p mirror.Remote, _ func() mirror.Remote) {
	b := NewBook("BACK", 1300, "a")
	bring(t, p, b)
	var out bytes.Buffer
	c, err := mirror.Fetch(ctx, p, mirror.Stream{Book: "BACK", Generation: 1}, &out)
	if err != nil || !c.Whole() || c.End().Seq != 1300 || c.Newest.Hash != b.Head(1300).Hash || c.Newest.Bench != "bench 1" {
		t.Fatalf("%+v, %v", c, err)
	}
	lines := bytes.Split(bytes.TrimSuffix(out.Bytes(), []byte("\n")), []byte("\n"))[1:]
	if len(lines) != len(b.Recs) {
		t.Fatalf("%d lines for %d records", len(lines), len(b.Recs))
	}
	for i, l := range lines {
		if !bytes.Equal(l, b.Recs[i].Raw) {
			t.Fatalf("record %d comes back as %s", i+1, l)
		}
	}
}

func many(t *testing.T, p mirror.Remote, _ func() mirror.Remote) {
	var books []*Invented
	for i := range 5 {
		books = append(books, NewBook(fmt.Sprintf("MANY%d", i), 0, "a"))
	}
	for i := range 15 {
		b := books[i*7%5]
		b.Add(1+i*13%40, fmt.Sprint(i))
		bring(t, p, b)
	}
	for _, b := range books {
		same(t, p, b)
	}
	if s, err := p.Streams(ctx); err != nil || len(s) != 5 {
		t.Errorf("streams %v, %v", s, err)
	}
	if _, err := p.Last(ctx, mirror.Stream{Book: "MANY", Generation: 1}); err != nil {
		t.Error(err)
	}
}
