package reach_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/door"
	"flaskside/logbook/keep"
	"flaskside/logbook/reach"
	"flaskside/logbook/record"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

var start = time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)

// at is a logbook that is not there yet, and what is told of it.
func at(t interface {
	Fatal(...any)
}, dir string) (reach.At, *[]string) {
	told := &[]string{}
	return reach.At{Path: filepath.Join(dir, "bench.db"), Clock: simclock.At(start, "boot-1"), Tell: func(line string) { *told = append(*told, line) }}, told
}

// things are actions of which some are refused: a place may be taken, a flask not be there.
func things(t *rapid.T, name string) (as []action.Action) {
	for i := range rapid.IntRange(0, 6).Draw(t, name) {
		a := action.Action{ID: fmt.Sprintf("%s-%d", name, i), At: start, By: "KT", Body: action.Note{Flask: rapid.IntRange(1, 3).Draw(t, "flask"), Text: "x"}}
		if rapid.Bool().Draw(t, "open") {
			a.Body = action.FlaskOpen{Place: rapid.IntRange(1, 4).Draw(t, "place"), Case: "4417", Base: "upper", Size: "large"}
		}
		as = append(as, a)
	}
	return as
}

// held has a bench hold the logbook while f runs.
func held(t *rapid.T, a reach.At, f func()) {
	book, err := logbook.Open(a.Path, a.Clock)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	stop, err := door.Serve(context.Background(), keep.New(book, a.Clock, func() string { n++; return fmt.Sprint("k", n) }))
	if err != nil {
		t.Fatal(err)
	}
	f()
	stop()
	if err := book.Close(); err != nil {
		t.Fatal(err)
	}
}

func heads(t *rapid.T, a reach.At) (state, read logbook.Head) {
	st, err := a.State()
	if err != nil {
		t.Fatal(err)
	}
	read, err = reach.Read(a, func(b *logbook.Book) (logbook.Head, error) { return b.State().Head, nil })
	if err != nil {
		t.Fatal(err)
	}
	return st.Head, read
}

// Whoever has a logbook, the same is read, the same is taken and the same refused, and nothing is left
// behind of what was refused.
func TestWhoeverHasIt(t *testing.T) {
	longrun.Checks(t, 25, 200)
	rapid.Check(t, func(t *rapid.T) {
		dir, err := os.MkdirTemp("", "reach")
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = os.RemoveAll(dir) }()
		var end [2][]string
		first, second := things(t, "a"), things(t, "b")
		for i, door := range []bool{false, true} {
			if err := os.Mkdir(filepath.Join(dir, fmt.Sprint(i)), 0o700); err != nil {
				t.Fatal(err)
			}
			a, told := at(t, filepath.Join(dir, fmt.Sprint(i)))
			_, err := a.Record(first)
			end[i] = append(end[i], fmt.Sprint(err))
			if a.Made() != (err == nil) {
				t.Fatalf("after %v: made is %v", err, a.Made())
			}
			if !a.Made() {
				if _, err := a.State(); err == nil || !strings.HasPrefix(err.Error(), "there is no logbook at ") {
					t.Fatal(err)
				}
				if h, err := a.House(); err != nil || len(h.Resins) == 0 {
					t.Fatal(h, err)
				}
				continue
			}
			goOn := func() {
				was, _ := heads(t, a)
				sum, err := a.RecordAll(second)
				var bad *logbook.BadLine
				if err != nil && !errors.As(err, &bad) {
					t.Fatal(err)
				}
				state, read := heads(t, a)
				if state != read || err != nil && state != was || err == nil && state.Seq != was.Seq+uint64(sum.Recorded) {
					t.Fatalf("%v, %v after %v (%v, %+v)", state, read, was, err, sum)
				}
				if err != nil {
					end[i] = append(end[i], fmt.Sprint(bad.Index, bad.Err))
				}
				recs, err := reach.Read(a, func(b *logbook.Book) (all []string, err error) {
					return all, b.Each(1, func(r record.Record) (bool, error) {
						all = append(all, fmt.Sprint(r.Seq, r.Action.ID, r.Action.Kind()))
						return true, nil
					})
				})
				if err != nil {
					t.Fatal(err)
				}
				end[i] = append(end[i], recs...)
				rep, err := a.Look(check.Verifying{}, logbook.Verify)
				if err != nil || rep.Head != state || rep.Sound("") != nil {
					t.Fatalf("looked through: %+v, %v", rep, err)
				}
			}
			if door {
				held(t, a, goOn)
			} else {
				goOn()
			}
			if len(*told) > 0 {
				t.Fatalf("told of a sound logbook: %q", *told)
			}
		}
		if fmt.Sprint(end[0]) != fmt.Sprint(end[1]) {
			t.Fatalf("free:\n%q\nheld:\n%q", end[0], end[1])
		}
	})
}

// Of a damaged logbook what is left is read, and that is told before anything is shown of it.
func TestWhatIsLeftIsTold(t *testing.T) {
	a, told := at(t, t.TempDir())
	var as []action.Action
	for i := range 5 {
		as = append(as, action.Action{ID: fmt.Sprint("a", i), At: start, By: "KT", Body: action.FlaskOpen{Place: i + 1, Case: "4417", Base: "upper", Size: "large"}})
	}
	if _, err := a.Record(as); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(a.Path)
	if err != nil {
		t.Fatal(err)
	}
	for _, spoil := range [][]byte{whole[:5000], make([]byte, len(whole)), []byte("hello")} {
		*told = nil
		if err := os.WriteFile(a.Path, spoil, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, _, err := a.Undamaged(); err == nil {
			t.Error("a damaged logbook counts as whole")
		}
		st, err := a.State()
		if err != nil || len(st.Bench.Flasks) != 5 { // from the journal beside it
			t.Errorf("%v, %v", st.Head, err)
		}
		if len(*told) != 2 || !strings.HasPrefix((*told)[1], "what follows is read from what is left; records left: 5, lost: 0") {
			t.Errorf("told: %q", *told)
		}
		if got, err := os.ReadFile(a.Path); err != nil || string(got) != string(spoil) {
			t.Errorf("the damaged file was changed: %v", err)
		}
	}
}
