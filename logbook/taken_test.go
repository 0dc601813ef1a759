package logbook

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/timers/simclock"
)

// A file of the logbook that is deleted, moved or replaced under a running bench is missed
// before the next record is called saved and at the next sign of life; what is in it can be
// copied until the bench is left, and put back it goes on.
func TestFileTakenAway(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("a file in use cannot be taken away there")
	}
	copyTo := func(t *testing.T, from, to string) {
		b, err := os.ReadFile(from)
		if err == nil {
			err = os.WriteFile(to, b, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	move := func(t *testing.T, from, to string) {
		if err := os.Rename(from, to); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		what string
		take func(t *testing.T, path string)
		back func(t *testing.T, path string) // nil: it cannot be
	}{
		{"deleted", func(t *testing.T, path string) {
			if err := os.Remove(path); err != nil {
				t.Fatal(err)
			}
		}, nil},
		{"moved", func(t *testing.T, path string) { move(t, path, path+".away") }, func(t *testing.T, path string) { move(t, path+".away", path) }},
		{"replaced by a copy of itself", func(t *testing.T, path string) {
			copyTo(t, path, path+".copy")
			move(t, path, path+".away")
			move(t, path+".copy", path)
		}, func(t *testing.T, path string) { move(t, path+".away", path) }},
		{"its folder moved", func(t *testing.T, path string) { move(t, filepath.Dir(path), filepath.Dir(path)+".away") },
			func(t *testing.T, path string) { move(t, filepath.Dir(path)+".away", filepath.Dir(path)) }},
	} {
		for _, first := range []string{"a record", "several records", "a sign of life", "leaving"} {
			t.Run(c.what+", then "+first, func(t *testing.T) {
				dir := filepath.Join(inMemory(t), "lab")
				path := filepath.Join(dir, "bench.db")
				ck := simclock.At(start, "boot-1")
				b, err := Open(path, ck)
				if err != nil {
					t.Fatal(err)
				}
				n := 0
				note := func() action.Action {
					n++
					ck.Run(minute)
					body := action.Body(action.Note{Flask: 1, Text: "x"})
					if n == 1 {
						body = action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"}
					}
					return action.Action{ID: fmt.Sprint("n", n), At: ck.Read().Wall, By: "KT", Body: body}
				}
				if _, err := b.Append(note()); err != nil {
					t.Fatal(err)
				}
				told := 0
				b.OnTrouble(func(err error) {
					if errors.Is(err, ErrTaken) {
						told++
					}
				})
				before := b.State().Head
				c.take(t, path)
				switch first {
				case "a record":
					_, err = b.Append(note())
				case "several records":
					_, err = b.AppendAll([]action.Action{note(), note()})
				case "a sign of life":
					err = b.Beat()
				case "leaving":
					if err := b.Close(); !errors.Is(err, ErrTaken) {
						t.Errorf("left with %v", err)
					}
					return
				}
				if !errors.Is(err, ErrUnknown) || !errors.Is(err, ErrTaken) || told != 1 {
					t.Errorf("%v, told %d times", err, told)
				}
				if b.State().Head != before {
					t.Errorf("shown up to %v, was %v", b.State().Head, before)
				}
				if _, err := b.Append(note()); !errors.Is(err, ErrUnknown) {
					t.Errorf("one more: %v", err)
				}
				// What was saved can still be copied.
				kept := filepath.Join(inMemory(t), "kept.db")
				rep, err := Backup(path, kept, b.Snapshot, func(path string) (check.Report, error) { return Verify(path, check.Verifying{}) })
				if err != nil || rep.Head != before {
					t.Errorf("a copy of what is known: %v up to %v, want %v", err, rep.Head, before)
				}
				if err := b.Reopen(); !errors.Is(err, ErrTaken) {
					t.Errorf("tried again: %v", err)
				}
				if c.back == nil {
					if err := b.Close(); !errors.Is(err, ErrTaken) {
						t.Errorf("left with %v", err)
					}
					return
				}
				if c.what != "moved" && c.what != "its folder moved" {
					if err := os.Remove(path); err != nil {
						t.Fatal(err)
					}
				}
				_ = os.RemoveAll(dir + "/none")
				c.back(t, path)
				if err := b.Reopen(); err != nil {
					t.Fatalf("put back: %v", err)
				}
				if _, err := b.Append(note()); err != nil {
					t.Errorf("put back: %v", err)
				}
				if err := b.Close(); err != nil {
					t.Errorf("put back and left: %v", err)
				}
				wholeBook(t, path)
			})
		}
	}
}

// A book that is opened again after a failed commit is not taken from another file that
// stands in its place meanwhile.
func TestAnotherFileIsNotOpenedAgain(t *testing.T) {
	dir := inMemory(t)
	path, other := filepath.Join(dir, "bench.db"), filepath.Join(dir, "other.db")
	ck := simclock.At(start, "boot-1")
	old := filepath.Join(dir, "old.db")
	b, err := Open(path, ck)
	if err != nil {
		t.Fatal(err)
	}
	if err := writeSynced(old, b.Snapshot); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Append(action.Action{ID: "a", At: ck.Read().Wall, By: "KT", Body: action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"}}); err != nil {
		t.Fatal(err)
	}
	o, err := Open(other, ck)
	if err != nil {
		t.Fatal(err)
	}
	if err := o.Close(); err != nil {
		t.Fatal(err)
	}
	for _, in := range []string{other, old} {
		b.mu.Lock()
		b.lost = errors.New("input/output error, then input/output error") // as recover leaves it
		b.mu.Unlock()
		if err := os.Rename(in, path); err != nil {
			t.Fatal(err)
		}
		if err := b.Reopen(); !errors.Is(err, ErrTaken) {
			t.Errorf("%s in its place: %v", filepath.Base(in), err)
		}
	}
}

// A book that was only looked at by its bench is missed too when the bench is left.
func TestTakenUnused(t *testing.T) {
	path := filepath.Join(inMemory(t), "bench.db")
	b, err := Open(path, simclock.At(start, "boot-1"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(path); err != nil {
		t.Skip(err) // a file in use cannot be taken away here
	}
	if err := b.Close(); !errors.Is(err, ErrTaken) {
		t.Errorf("left with %v", err)
	}
	if err := b.Close(); err == nil {
		t.Error("closed twice")
	}
}
