package mirrortest

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook"
	"flaskside/logbook/check"
	"flaskside/logbook/mirror"
	"flaskside/logbook/record"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

// Stored is one part of a stream as its place keeps it, and what the place itself says of it.
type Stored struct {
	First, Last uint64 // as they were when it was put there
	Hash        string
	Raw         []byte
}

// Tampered is a place whose keeper may do anything to what is there.
type Tampered struct {
	mirror.Remote

	Put func(s mirror.Stream, parts []Stored) // has a stream hold these parts, in this order
}

// tampering is what was done to a mirror, and what stands there by every line of it.
type tampering struct {
	t     *rapid.T
	p     Tampered
	b     *Invented
	s     mirror.Stream
	parts []Stored
	did   []string
}

// Tamper holds a kind of place to what may be said of a mirror that was tampered with at random:
// a byte, a part that is gone, two that changed places, an older copy, another bench's parts.
func Tamper(outer *testing.T, p Tampered) {
	longrun.Checks(outer, 40, 100)
	dir, runs, rebuilt, refused := scratch(outer), 0, 0, 0
	rapid.Check(outer, func(t *rapid.T) {
		runs++
		w := &tampering{t: t, p: p, b: NewBook(fmt.Sprint("TAMPER", runs), 0, "a"), s: mirror.Stream{Book: fmt.Sprint("TAMPER", runs), Generation: 1}}
		for range rapid.IntRange(1, 6).Draw(t, "runs") {
			w.b.Add(rapid.SampledFrom([]int{1, 2, 7}).Draw(t, "n"), "a")
			if _, err := mirror.Bring(ctx, p, w.b, mirror.BringOptions{Bench: "b", At: Start}); err != nil {
				t.Fatal(err)
			}
		}
		w.take()
		before := slices.Clone(w.parts)
		for range rapid.IntRange(0, 3).Draw(t, "times") {
			w.tamper(before)
		}
		p.Put(w.s, w.parts)
		w.compared()
		if w.rebuild(filepath.Join(dir, fmt.Sprint(runs, ".db"))) {
			rebuilt++
		} else {
			refused++
		}
		w.bring()
	})
	if rebuilt == 0 || refused == 0 {
		outer.Errorf("%d rebuilt, %d refused: not all was tried", rebuilt, refused)
	}
}

func scratch(t *testing.T) string {
	if dir, err := os.MkdirTemp("/dev/shm", "flaskside-test-"); err == nil {
		t.Cleanup(func() { _ = os.RemoveAll(dir) })
		t.Setenv("TMPDIR", dir)
		return dir
	}
	return t.TempDir()
}

// take reads what is there.
func (w *tampering) take() {
	err := w.p.Read(ctx, w.s, 1, func(pc mirror.Object) error {
		run, err := mirror.ParseRun(pc.Raw)
		w.parts = append(w.parts, Stored{run.Header.First, run.Header.Last, run.Header.Hash.String(), bytes.Clone(pc.Raw)})
		return err
	})
	if err != nil {
		w.t.Fatal(err)
	}
}

// tamper does one thing to what is there.
func (w *tampering) tamper(before []Stored) {
	if len(w.parts) == 0 {
		return
	}
	at := rapid.IntRange(0, len(w.parts)-1).Draw(w.t, "part")
	part := w.parts[at]
	what := rapid.SampledFrom([]string{"byte", "gone", "pair", "lines", "older copy", "cut", "twice", "another bench", "another bench by our name", "line gone", "changed and signed"}).Draw(w.t, "what")
	w.did = append(w.did, fmt.Sprint(what, " ", at))
	lines := bytes.SplitAfter(bytes.Clone(part.Raw), []byte("\n"))
	lines = lines[:len(lines)-1]
	switch what {
	case "byte":
		if len(part.Raw) > 0 {
			part.Raw = bytes.Clone(part.Raw)
			part.Raw[rapid.IntRange(0, len(part.Raw)-1).Draw(w.t, "at")] ^= byte(rapid.IntRange(1, 255).Draw(w.t, "bits"))
		}
	case "gone":
		w.parts = slices.Delete(slices.Clone(w.parts), at, at+1)
		return
	case "pair":
		other := rapid.IntRange(0, len(w.parts)-1).Draw(w.t, "other")
		w.parts = slices.Clone(w.parts)
		w.parts[at].Raw, w.parts[other].Raw = w.parts[other].Raw, w.parts[at].Raw
		return
	case "lines":
		if n := len(lines); n > 2 {
			i := rapid.IntRange(1, n-2).Draw(w.t, "line")
			lines[i], lines[i+1] = lines[i+1], lines[i]
			part.Raw = slices.Concat(lines...)
		}
	case "older copy":
		w.parts = slices.Clone(before[:rapid.IntRange(0, len(before)).Draw(w.t, "n")])
		return
	case "cut":
		part.Raw = part.Raw[:rapid.IntRange(0, len(part.Raw)).Draw(w.t, "at")]
	case "twice":
		free := uint64(100)
		for slices.ContainsFunc(w.parts, func(p Stored) bool { return p.First == free }) {
			free++
		}
		w.parts = append(slices.Clone(w.parts), Stored{free, free, part.Hash, part.Raw})
		return
	case "another bench", "another bench by our name":
		b := NewBook("ANOTHER", int(part.Last), "b")
		r := runOf(b, int(part.First), int(part.Last))
		raw, err := r.Bytes()
		if err != nil {
			w.t.Fatal(err)
		}
		if part.Raw = raw; what == "another bench by our name" {
			part.Raw = bytes.Replace(raw, []byte(`"ANOTHER"`), fmt.Appendf(nil, "%q", w.b.Name), 1)
		}
	case "line gone":
		if n := len(lines); n > 1 {
			part.Raw = slices.Concat(slices.Delete(lines, n-1, n)...)
		}
	case "changed and signed": // whoever changes words and the hashes of that part with them
		if int(part.Last) <= len(w.b.Recs) {
			b := w.b.Upto(int(part.First) - 1)
			b.Add(int(part.Last-part.First)+1, "changed")
			raw, err := runOf(b, int(part.First), int(part.Last)).Bytes()
			if err != nil {
				w.t.Fatal(err)
			}
			part.Raw = raw
		}
	}
	w.parts = slices.Clone(w.parts)
	w.parts[at] = part
}

// there tells of each record whether its very line stands in a part that is whole, and whether
// it stands anywhere.
func (w *tampering) there() (whole, anywhere map[uint64]bool) {
	whole, anywhere = map[uint64]bool{}, map[uint64]bool{}
	for _, p := range w.parts {
		run, err := mirror.ParseRun(p.Raw)
		ok := err == nil && run.Header.Book == w.s.Book && run.Header.Generation == 1
		for _, r := range w.b.Recs {
			if bytes.Contains(p.Raw, slices.Concat([]byte("\n"), r.Raw, []byte("\n"))) {
				anywhere[r.Seq] = true
				whole[r.Seq] = whole[r.Seq] || ok
			}
		}
	}
	return whole, anywhere
}

// compared: what is not there is named by its number, what is there is not, and each part that
// is spoilt is named.
func (w *tampering) compared() {
	c, err := mirror.Compare(ctx, w.p, w.b, w.s)
	if err != nil {
		w.t.Fatalf("%v: %v", w.did, err)
	}
	whole, anywhere := w.there()
	in := func(s []mirror.Span, n uint64) bool {
		return slices.ContainsFunc(s, func(s mirror.Span) bool { return s.From <= n && n <= s.To })
	}
	ends := uint64(len(w.b.Recs))
	for n := uint64(1); n <= ends; n++ {
		named := in(c.Missing, n) || in(c.Other, n) || n > ends-c.Behind
		switch {
		case !whole[n] && !named:
			w.t.Fatalf("%v: record %d is not there and not named: %+v", w.did, n, c)
		case whole[n] && (in(c.Missing, n) || n > ends-c.Behind):
			w.t.Fatalf("%v: record %d is there and called missing: %+v", w.did, n, c)
		case !whole[n] && c.Alike >= n:
			w.t.Fatalf("%v: alike up to %d, and record %d is not there", w.did, c.Alike, n)
		case !anywhere[n] && c.Equal():
			w.t.Fatalf("%v: called the same, and record %d is not there", w.did, n)
		}
	}
	spoilt := 0
	for _, p := range w.parts {
		if _, err := mirror.ParseRun(p.Raw); err != nil {
			spoilt++
		}
	}
	if told := len(c.Spoilt) + len(c.Foreign); told < spoilt {
		w.t.Fatalf("%v: %d parts are spoilt, %d named: %+v", w.did, spoilt, told, c)
	}
	if spoilt == 0 && len(c.Spoilt) > 0 {
		w.t.Fatalf("%v: nothing is spoilt: %+v", w.did, c)
	}
	if len(w.did) == 0 && !c.Equal() {
		w.t.Fatalf("nothing was done to it: %+v", c)
	}
	if text := strings.Join(c.Lines(), "\n"); strings.HasPrefix(text, "the same") != c.Equal() {
		w.t.Fatalf("%v: %s", w.did, text)
	}
}

// rebuild: what is brought back is one chain from the beginning of this very book to the end
// that is named, or nothing is.
func (w *tampering) rebuild(to string) bool {
	c, err := mirror.Rebuild(ctx, w.p, w.s, to, simclock.At(Start.Add(24*time.Hour), "boot-1"))
	if err != nil {
		if _, serr := os.Lstat(to); serr == nil {
			w.t.Fatalf("%v: %v, and a logbook was made", w.did, err)
		}
		if len(w.did) == 0 {
			w.t.Fatalf("nothing was done to it: %v", err)
		}
		return false
	}
	defer func() { _ = os.Remove(to) }()
	rep, err := logbook.Verify(to, check.Verifying{})
	if err != nil || len(rep.Faults) > 0 || rep.Head.Seq != c.End().Seq || rep.Head.Hash != c.End().Hash {
		w.t.Fatalf("%v: brought back up to %s: %+v, %v", w.did, c.End(), rep, err)
	}
	made, err := logbook.OpenReading(to, simclock.At(Start.Add(24*time.Hour), "boot-1"))
	if err != nil {
		w.t.Fatal(err)
	}
	defer func() { _ = made.Close() }()
	if made.ID() != w.b.Name {
		w.t.Fatalf("%v: brought back as the book %s", w.did, made.ID())
	}
	at, next := record.Genesis(w.b.Name), uint64(1)
	err = made.Each(1, func(r record.Record) (bool, error) {
		if r.Seq != next || r.Prev != at {
			w.t.Fatalf("%v: record %d of what was brought back does not follow", w.did, next)
		}
		at, next = r.Hash(), next+1
		return true, nil
	})
	if err != nil || next != c.End().Seq+1 || at != c.End().Hash {
		w.t.Fatalf("%v: %d records were brought back of %s, %v", w.did, next-1, c.End(), err)
	}
	return true
}

// bring: whoever brings more takes away nothing of what is there, however spoilt, and is not told
// that all is there where the last record is not.
func (w *tampering) bring() {
	w.b.Add(2, "later")
	_, err := mirror.Bring(ctx, w.p, w.b, mirror.BringOptions{Bench: "b", At: Start})
	left := map[string]int{}
	var all []byte
	if rerr := w.p.Read(ctx, w.s, 1, func(pc mirror.Object) error {
		left[string(pc.Raw)]++
		all = append(append(all, '\n'), pc.Raw...)
		return nil
	}); rerr != nil {
		w.t.Fatal(rerr)
	}
	for _, p := range w.parts {
		if left[string(p.Raw)]--; left[string(p.Raw)] < 0 {
			w.t.Fatalf("%v: bringing took a part away, or changed it (%v)", w.did, err)
		}
	}
	last := w.b.Recs[len(w.b.Recs)-1].Raw
	if there := bytes.Contains(all, slices.Concat([]byte("\n"), last, []byte("\n"))); err == nil && !there {
		w.t.Fatalf("%v: brought, and the last record is not there", w.did)
	}
	var fork *mirror.Fork
	var older *mirror.Older
	var spoilt *mirror.Spoilt
	if err != nil && !errors.As(err, &fork) && !errors.As(err, &older) && !errors.As(err, &spoilt) && !errors.Is(err, mirror.ErrMoved) {
		w.t.Fatalf("%v: %v", w.did, err)
	}
}
