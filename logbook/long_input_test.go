package logbook

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"iter"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"
	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/check"
	"flaskside/logbook/layout"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

// each gives actions in turn.
func each(as []action.Action) iter.Seq2[action.Action, error] {
	return func(yield func(action.Action, error) bool) {
		for _, a := range as {
			if !yield(a, nil) {
				return
			}
		}
	}
}

// toldOf makes up what a bench tells in the course of some days.
func toldOf(t testing.TB, seed uint64, n int) []action.Action {
	t.Helper()
	ck := simclock.At(start, "boot-1")
	b, err := Open(filepath.Join(inMemory(t), "shift.db"), ck)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = b.Close() }() // thrown away
	s := newBusy(b, ck, seed)
	var out []action.Action
	for len(out) < n {
		a := s.next()
		if _, err := b.Append(a); err != nil {
			t.Fatal(err)
		}
		out = append(out, a)
		if s.rnd.IntN(40) == 0 { // something long gone is taken back
			back := action.Action{ID: fmt.Sprint("back-", len(out)), At: a.At, By: "KT", Why: "8", Body: action.TakeBack{Of: out[s.rnd.IntN(len(out))].ID}}
			if _, err := b.Append(back); err == nil {
				out = append(out, back)
			}
		}
	}
	return out[:n]
}

// parts gives all that stands in some parts of a book.
func partsOf(t testing.TB, b *Book, names ...[]byte) map[string]string {
	t.Helper()
	out := map[string]string{}
	if err := b.view(func(tx *bolt.Tx) error {
		for _, name := range names {
			if err := tx.Bucket(name).ForEach(func(k, v []byte) error {
				out[string(name)+" "+string(k)] = string(v)
				return nil
			}); err != nil {
				return err
			}
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return out
}

// copyTo copies a file.
func copyTo(t testing.TB, to, from string) {
	t.Helper()
	b, err := os.ReadFile(from)
	if err == nil {
		err = os.WriteFile(to, b, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// An input recorded in parts leaves the very records, index and bench that the same input in
// one transaction does, whatever part of it was in the book before.
func TestLongInputInParts(t *testing.T) {
	t.Parallel()
	dir := inMemory(t)
	var shifts [][]action.Action
	for seed := range longrun.Times(3, 40) {
		shifts = append(shifts, toldOf(t, uint64(seed), 300))
	}
	rapid.Check(t, func(rt *rapid.T) {
		as := slices.Clone(rapid.SampledFrom(shifts).Draw(rt, "shift")[:rapid.IntRange(1, 300).Draw(rt, "actions")])
		own := filepath.Dir(bookIn(t, dir))
		at := func(s string) string { return filepath.Join(own, s+".db") }
		ck := simclock.At(as[len(as)-1].At.Add(time.Minute), "boot-2")
		open := func(path string) *Book {
			b, err := Open(path, ck)
			if err != nil {
				rt.Fatal(err)
			}
			return b
		}
		before := open(at("before"))
		had := rapid.IntRange(0, len(as)-1).Draw(rt, "there before")
		if _, err := before.AppendAll(as[:had]); err != nil {
			rt.Fatal(err)
		}
		if err := before.Close(); err != nil {
			rt.Fatal(err)
		}
		copyTo(t, at("one"), at("before"))
		copyTo(t, at("long"), at("before"))
		one, long := open(at("one")), open(at("long"))
		defer func() { _ = one.Close() }() // only read from by then
		long.part = rapid.SampledFrom([]int{1, 2, 7, 64, 500}).Draw(rt, "part")
		// The same said twice, too.
		as = slices.Insert(as, rapid.IntRange(had, len(as)).Draw(rt, "again at"), as[rapid.IntRange(0, had).Draw(rt, "again")])
		_, werr := one.AppendAll(as)
		told, gerr := long.AppendLong(each(as))
		if fmt.Sprint(werr) != fmt.Sprint(gerr) {
			rt.Fatalf("in parts %v, in one %v", gerr, werr)
		}
		if werr != nil {
			return
		}
		if told.Recorded+told.Repeated != len(as) || told.Head != long.State().Head {
			rt.Fatalf("%+v of %d actions, head %s", told, len(as), long.State().Head)
		}
		want, got := partsOf(t, one, layout.Log, layout.Index), partsOf(t, long, layout.Log, layout.Index)
		if !maps.Equal(got, want) {
			rt.Fatal("the records or the index differ")
		}
		now := one.Now()
		if d := benchtest.Difference(benchtest.DumpWork(long.State().Bench, now), benchtest.DumpWork(one.State().Bench, now)); d != "" {
			rt.Fatal(d)
		}
		if err := long.Close(); err != nil {
			rt.Fatal(err)
		}
		again := open(at("long"))
		defer func() { _ = again.Close() }()
		if d := benchtest.Difference(benchtest.DumpWork(again.State().Bench, now), benchtest.DumpWork(one.State().Bench, now)); d != "" {
			rt.Fatalf("opened again: %s", d)
		}
		if err := again.Close(); err != nil {
			rt.Fatal(err)
		}
		rep, err := Verify(at("long"), check.Verifying{})
		if err != nil || len(rep.Faults) > 0 {
			rt.Fatalf("%v %v", err, rep.Faults)
		}
	})
}

// Where one action of a long input is refused, or the input cannot be read to its end, the
// book and its folder keep every byte.
func TestLongInputIsCheckedBeforeItIsWritten(t *testing.T) {
	t.Parallel()
	path := filepath.Join(inMemory(t), "bench.db")
	as := toldOf(t, 3, 200)
	ck := simclock.At(as[199].At.Add(time.Minute), "boot-2")
	b, err := Open(path, ck)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.AppendAll(as[:50]); err != nil {
		t.Fatal(err)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	files := func() map[string]string {
		out := map[string]string{}
		names, err := filepath.Glob(filepath.Join(filepath.Dir(path), "*"))
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range names {
			raw, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			out[filepath.Base(name)] = string(raw)
		}
		return out
	}
	before := files()
	broken := errors.New("the pipe broke")
	other := as[20]
	other.Why = "another reason"
	for name, c := range map[string]struct {
		in    iter.Seq2[action.Action, error]
		index int
	}{
		"not possible":                     {each(append(slices.Clone(as), action.Action{ID: "x", At: as[199].At, By: "KT", Body: action.PressOpen{Flask: 4711}})), 200},
		"another under an old id":          {each(append(slices.Clone(as), other)), 200},
		"another under an id of the input": {each(append(slices.Clone(as), func() action.Action { a := as[150]; a.By = "MN"; return a }())), 200},
		"broken off": {func(yield func(action.Action, error) bool) {
			for i, a := range as {
				if err := map[bool]error{true: broken}[i == 170]; !yield(a, err) {
					return
				}
			}
		}, 170},
	} {
		b, err := Open(path, ck)
		if err != nil {
			t.Fatal(err)
		}
		b.part = 10
		for _, do := range []func() error{
			func() error { _, err := b.AppendLong(c.in); return err },
			func() error { return b.RehearseLong(c.in, nil) },
		} {
			var bad *BadLine
			if err := do(); !errors.As(err, &bad) || bad.Index != c.index {
				t.Errorf("%s: %v, want action %d named", name, err, c.index+1)
			}
		}
		if got := b.State().Head.Seq; got != 50 {
			t.Errorf("%s: record %d is the last", name, got)
		}
		if err := b.Close(); err != nil {
			t.Fatal(err)
		}
		after := files()
		for f := range after {
			if after[f] != before[f] {
				t.Errorf("%s: %s was changed or is new", name, f)
			}
		}
	}
}

// writeLongInput is the child that records a long input and is killed at it.
func writeLongInput(path string) error {
	var as []action.Action
	at := start
	for i := range 600 {
		at = at.Add(time.Minute)
		body := action.Body(action.Note{Flask: 1 + i/40, Text: fmt.Sprint("note ", i)})
		switch i % 40 {
		case 0:
			body = action.FlaskOpen{Place: 1, Case: fmt.Sprint(i), Base: "upper", Size: "medium"}
		case 39:
			body = action.Outcome{Flask: 1 + i/40, Outcome: "remake"}
		}
		as = append(as, action.Action{ID: fmt.Sprint("in-", i), At: at, By: "KT", Why: "8", Body: body})
	}
	b, err := Open(path, simclock.At(at.Add(time.Minute), "boot-1"))
	if err != nil {
		return err
	}
	b.part = 5
	fmt.Println("open")
	told, err := b.AppendLong(each(as))
	if err != nil {
		return err
	}
	if err := b.Close(); err != nil {
		return err
	}
	fmt.Println("recorded", told.Recorded, told.Repeated)
	return nil
}

var longKills = flag.Int("book-long-kills", longrun.Times(2, 60), "how often the process that records a long input is killed")

// A process that records a long input is killed at random instants. What is in the book is
// whole parts of the input, from its beginning on, and the same input given again goes on from
// there: no record is lost and none doubled.
func TestLongInputKilled(t *testing.T) {
	t.Parallel()
	rnd := rand.New(rand.NewPCG(5, 6))
	dir := t.TempDir()
	ended, between := 0, 0
	began := time.Now()
	if err := spawn(t, "long", filepath.Join(dir, "whole.db"), 1).Run(); err != nil {
		t.Fatal(err)
	}
	whole := time.Since(began) // kills fall into about as long as one takes here
	for round := range *longKills {
		path := filepath.Join(dir, fmt.Sprint(round, ".db"))
		last := 0
		for try := 0; ; try++ {
			c := spawn(t, "long", path, 1)
			var out bytes.Buffer
			c.Stdout, c.Stderr = &out, &out
			if err := c.Start(); err != nil {
				t.Fatal(err)
			}
			if try < 4 {
				time.Sleep(time.Duration(rnd.Float64() * float64(whole)))
				_ = c.Process.Kill() // it may have ended
			}
			err := c.Wait()
			if _, serr := os.Stat(path); serr != nil {
				continue // killed while it made the book
			}
			recs := wholeBook(t, path)
			for i, r := range recs {
				if want := fmt.Sprint("in-", i); r.Action.ID != want {
					t.Fatalf("round %d: record %d is %s, want %s", round, r.Seq, r.Action.ID, want)
				}
			}
			if len(recs)%5 != 0 || len(recs) < last {
				t.Fatalf("round %d: %d records after %d: no whole parts", round, len(recs), last)
			}
			if len(recs) > 0 && len(recs) < 600 {
				between++
			}
			if err == nil {
				if want := fmt.Sprintf("open\nrecorded %d %d\n", 600-last, last); out.String() != want || len(recs) != 600 {
					t.Fatalf("round %d: %q with %d records, want %q", round, out.String(), len(recs), want)
				}
				ended++
				break
			}
			last = len(recs)
		}
		if left, err := filepath.Glob(path + "*input*"); err != nil || len(left) > 0 {
			t.Errorf("round %d: %v is left %v", round, left, err)
		}
	}
	t.Logf("%d inputs, each recorded in the end; killed between two parts %d times", ended, between)
	if between == 0 && *longKills > 10 {
		t.Error("no kill fell between two parts: the test hardly tried")
	}
}

// A disk that fails in the middle of a long input leaves whole parts, and says how far they go.
func TestLongInputOnAFailingDisk(t *testing.T) {
	t.Parallel()
	as := toldOf(t, 9, 120)
	path := filepath.Join(inMemory(t), "bench.db")
	b, err := Open(path, simclock.At(as[119].At.Add(time.Minute), "boot-2"))
	if err != nil {
		t.Fatal(err)
	}
	b.part = 10
	away := path + ".away"
	b.OnProgress(func(done, of int) {
		if of == 120 && done == 40 {
			if err := os.Rename(path, away); err != nil {
				t.Error(err)
			}
		}
	})
	told, err := b.AppendLong(each(as))
	var parted *Parted
	if !errors.As(err, &parted) || parted.Recorded != 40 || told.Recorded != 40 || !errors.Is(err, ErrUnknown) {
		t.Fatalf("%+v, %v: want the first 40 and a file that was taken away", told, err)
	}
	_ = b.Close() // it is gone: told above
	if err := os.Rename(away, path); err != nil {
		t.Fatal(err)
	}
	if b, err = Open(path, simclock.At(as[119].At.Add(time.Minute), "boot-2")); err != nil {
		t.Fatal(err)
	}
	if got := b.State().Head.Seq; got != 40 {
		t.Fatalf("%d records", got)
	}
	b.part = 10
	b.OnProgress(func(done, of int) { // what was there before counts with what is there
		if of == 80 && done == 20 {
			if err := os.Rename(path, away); err != nil {
				t.Error(err)
			}
		}
	})
	if told, err = b.AppendLong(each(as)); !errors.As(err, &parted) || parted.Recorded != 60 || told.Recorded != 20 || told.Repeated != 40 {
		t.Fatalf("%+v, %v: want the first 60, 20 of them new", told, err)
	}
	_ = b.Close() // it is gone: told above
	if err := os.Rename(away, path); err != nil {
		t.Fatal(err)
	}
	if b, err = Open(path, simclock.At(as[119].At.Add(time.Minute), "boot-2")); err != nil {
		t.Fatal(err)
	}
	if told, err = b.AppendLong(each(as)); err != nil || told.Recorded != 60 || told.Repeated != 60 {
		t.Fatalf("given again: %+v, %v", told, err)
	}
	got, now := b.State().Bench, b.Now()
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	if d := benchtest.Difference(benchtest.DumpWork(got, now), benchtest.DumpWork(bench.Fold(wholeBook(t, path), bench.Counters{}), now)); d != "" {
		t.Errorf("the bench is not that of its records: %s", d)
	}
}

// What a kill left beside the book goes with the next long input.
func TestLongInputSweepsWhatAKillLeft(t *testing.T) {
	b, err := Open(filepath.Join(t.TempDir(), "bench.db"), simclock.At(start, "boot-1"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = b.Close() }()          // nothing is asked of it afterwards
	left := b.Path() + ".input.new-999999999" // more than any system numbers processes
	if err := os.WriteFile(left, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := b.AppendLong(each(nil)); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Lstat(left); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("%s is still there: %v", left, err)
	}
}

// A logbook made for a long input has its name from when all of that was checked: nothing is left of one that is
// refused, and one that another program made meanwhile stays as it is.
func TestALogbookIsMadeWithItsLongInput(t *testing.T) {
	t.Parallel()
	as := toldOf(t, 1, 50)
	ck := simclock.At(as[len(as)-1].At.Add(time.Minute), "boot-2")
	other := filepath.Join(inMemory(t), "other.db")
	if b, err := Open(other, ck); err != nil || b.Close() != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		as   []action.Action
		made bool // by another program, while it is checked
		want int
	}{
		{"good", as, false, 50},
		{"bad", append(slices.Clone(as), action.Action{ID: "bad", At: ck.Read().Wall, Body: action.Note{Flask: 999, Text: "x"}}), false, 0},
		{"made", as, true, 0},
	} {
		made := filepath.Join(inMemory(t), "not", "there")
		dir := filepath.Join(made, "yet")
		path := filepath.Join(dir, "bench.db")
		b, err := OpenUnmade(path, ck)
		if err != nil {
			t.Fatal(err)
		}
		told, err := b.AppendLong(func(yield func(action.Action, error) bool) {
			if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
				t.Errorf("%s: it has its name before its input was checked: %v", c.name, err)
			}
			each(c.as)(yield)
			if c.made {
				copyTo(t, path, other)
			}
		})
		if told.Recorded != c.want || (err == nil) != (c.want > 0) {
			t.Errorf("%s: %d recorded, %v", c.name, told.Recorded, err)
		}
		if err := b.Close(); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		left, err := filepath.Glob(filepath.Join(dir, "*"))
		for i := range left {
			left[i] = filepath.Base(left[i])
		}
		want := map[string]string{"good": "[bench.db bench.journal-2026-11.jsonl]", "bad": "[]", "made": "[bench.db]"}[c.name]
		if err != nil || fmt.Sprint(left) != want {
			t.Errorf("%s: left are %v, want %s (%v)", c.name, left, want, err)
		}
		if _, err := os.Stat(filepath.Dir(made)); errors.Is(err, fs.ErrNotExist) == (len(left) > 0) {
			t.Errorf("%s: the folders made for it: %v", c.name, err)
		}
		if c.want+len(left) > 0 {
			if recs, faults := faultsOf(path); len(recs) != c.want || len(faults) > 0 {
				t.Errorf("%s: %d records, %v", c.name, len(recs), faults)
			}
		}
	}
}
