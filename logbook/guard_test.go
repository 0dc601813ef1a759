package logbook

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
	"unicode"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers/simclock"
)

// oneLine wants an error that is one line for a person and does not tell of the
// insides.
func oneLine(t *testing.T, what string, err error) {
	t.Helper()
	for _, r := range err.Error() {
		if unicode.IsControl(r) {
			t.Errorf("%s: the line %q holds %U", what, err, r)
		}
	}
	if n := len(err.Error()); n > 400 {
		t.Errorf("%s: the line has %d bytes", what, n)
	}
	for _, inside := range []string{"nil pointer", "goroutine", "panic"} {
		if strings.Contains(err.Error(), inside) {
			t.Errorf("%s: the line %q tells of the insides", what, err)
		}
	}
}

// soon runs f and fails the test where it hangs.
func soon(t *testing.T, what string, f func()) {
	t.Helper()
	done := make(chan struct{})
	go func() {
		defer close(done)
		f()
	}()
	select {
	case <-done:
	case <-time.After(30 * time.Second):
		t.Fatalf("%s: hangs", what)
	}
}

// tryOpen opens a file both ways. A refusal is one line and leaves the bytes alone;
// what can be opened can be read to its end, with an error or without, and written,
// with an answer.
func tryOpen(t *testing.T, what, path string) (refused error) {
	t.Helper()
	was, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	clock := simclock.At(start.AddDate(1, 0, 0), "boot-9")
	for _, reading := range []bool{true, false} {
		soon(t, what, func() {
			open := Open
			if reading {
				open = OpenReading
			}
			b, err := open(path, clock)
			if err != nil {
				refused = err
				oneLine(t, what, err)
				if !errors.Is(err, ErrDamaged) && !errors.Is(err, ErrForeign) && !errors.Is(err, ErrHeld) {
					t.Errorf("%s: %v is not an error of the book", what, err)
				}
				is, err := os.ReadFile(path)
				if err != nil || !bytes.Equal(is, was) {
					t.Errorf("%s: a refused file was changed (%v)", what, err)
				}
				return
			}
			readAll(t, what, b)
			if !reading {
				if _, err := b.Append(action.Action{ID: "after", At: clock.Read().Wall, Body: action.TimerStart{Label: "x", Count: "up"}}); err != nil {
					oneLine(t, what, err)
				}
				if errors.Is(b.lost, ErrDamaged) {
					return // its locks may be held: closing could wait for ever
				}
			}
			if err := b.Close(); err != nil {
				oneLine(t, what, err)
			}
		})
		if refused != nil && errors.Is(refused, ErrDamaged) {
			break // what the store held when it gave up may keep the file locked here
		}
	}
	return refused
}

// readAll asks a book everything there is to ask.
func readAll(t *testing.T, what string, b *Book) {
	t.Helper()
	now := b.clock.Read().Wall
	for name, ask := range map[string]func() error{
		"each":     func() error { return b.Each(1, func(record.Record) (bool, error) { return true, nil }) },
		"between":  func() error { _, err := b.Between(start.AddDate(-1, 0, 0), now); return err },
		"of":       func() error { _, err := b.Of(action.Subject{Class: 'f', No: 1}); return err },
		"whole":    func() error { _, err := b.Whole(start, start.AddDate(0, 0, 1)); return err },
		"as of":    func() error { _, err := b.AsOf(start.Add(time.Hour)); return err },
		"by id":    func() error { _, _, err := b.ByID("7-1"); return err },
		"snapshot": func() error { return b.Snapshot(io.Discard) },
	} {
		if err := ask(); err != nil {
			oneLine(t, what+", "+name, err)
		}
	}
}

// A book cut off at any length is refused with one line.
func TestCutShort(t *testing.T) {
	t.Parallel()
	good := pagesOf(t, seedBook(t, 60))
	need := int64(len(good))
	cuts := 0
	for n := int64(0); n < need; n += 512 {
		what := fmt.Sprintf("cut at %d of %d bytes", n, need)
		err := tryOpen(t, what, writeFile(t, good[:n]))
		if err == nil {
			t.Errorf("%s: opened", what)
		} else if n > 2*4096 && !errors.Is(err, ErrDamaged) {
			t.Errorf("%s: %v, want the book called damaged", what, err)
		}
		cuts++
	}
	if err := tryOpen(t, "whole", writeFile(t, good)); err != nil {
		t.Errorf("cut just behind its last page: %v", err)
	}
	t.Logf("%d cuts", cuts)
}

// pagesOf gives the pages in use of a book; its file is made longer than they are,
// and only a cut into them is damage.
func pagesOf(t *testing.T, path string) []byte {
	t.Helper()
	db, err := bolt.Open(path, 0o600, &bolt.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	var v []byte
	err = db.View(func(tx *bolt.Tx) error {
		whole, err := os.ReadFile(path)
		v = whole[:tx.Size()]
		return err
	})
	if cerr := db.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func writeFile(t *testing.T, v []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "book.db")
	if err := os.WriteFile(path, v, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// A book with any one page filled with zeros, or with another page in its place, is
// refused or read as far as it goes; the program never dies and never hangs.
func TestSpoiltPages(t *testing.T) {
	t.Parallel()
	good := pagesOf(t, seedBook(t, 60))
	const page = 4096 // of the machine that made it, which is this one
	if os.Getpagesize() != page {
		t.Skipf("pages of %d bytes here: the pages of the file lie elsewhere", os.Getpagesize())
	}
	high := len(good) / page
	refused, opened := 0, 0
	for i := range high {
		for name, fill := range map[string][]byte{"zeros": make([]byte, page), "the page before": good[max(0, i-1)*page : max(0, i-1)*page+page]} {
			bad := bytes.Clone(good)
			copy(bad[i*page:], fill)
			if err := tryOpen(t, fmt.Sprintf("page %d of %d: %s", i, high, name), writeFile(t, bad)); err != nil {
				refused++
			} else {
				opened++
			}
		}
	}
	t.Logf("%d pages: %d files refused, %d opened", high, refused, opened)
	if refused == 0 {
		t.Error("no spoilt page was ever noticed")
	}
}

// Files that are no books, each with the line it is refused with.
func TestForeignFiles(t *testing.T) {
	text := func(s string) func(t *testing.T) string {
		return func(t *testing.T) string { return writeFile(t, []byte(s)) }
	}
	change := func(f func(tx *bolt.Tx) error) func(t *testing.T) string {
		return func(t *testing.T) string {
			path := seedBook(t, 3)
			db, err := bolt.Open(path, 0o600, nil)
			if err != nil {
				t.Fatal(err)
			}
			if err := db.Update(f); err != nil {
				t.Fatal(err)
			}
			if err := db.Close(); err != nil {
				t.Fatal(err)
			}
			return path
		}
	}
	format := func(v string) func(t *testing.T) string {
		return change(func(tx *bolt.Tx) error { return tx.Bucket(layout.Meta).Put([]byte("format"), []byte(v)) })
	}
	for _, c := range []struct {
		name string
		make func(t *testing.T) string
		is   error
		want string
	}{
		{"empty", text(""), ErrForeign, "this is not a flaskside logbook: "},
		{"one byte", text("x"), ErrForeign, "it is a file of another kind"},
		{"a page of text", text(strings.Repeat("Lorem ipsum. ", 800)), ErrForeign, "it is a file of another kind"},
		{"zeros", text(strings.Repeat("\x00", 1<<20)), ErrForeign, "it is a file of another kind"},
		{"another store", func(t *testing.T) string {
			path := filepath.Join(t.TempDir(), "other.db")
			db, err := bolt.Open(path, 0o600, nil)
			if err != nil {
				t.Fatal(err)
			}
			if err := db.Close(); err != nil {
				t.Fatal(err)
			}
			return path
		}, ErrForeign, `it has no part "meta"`},
		{"a book without its index", change(func(tx *bolt.Tx) error { return tx.DeleteBucket(layout.Index) }), ErrForeign, `it has no part "index"`},
		{"no format", format(""), ErrForeign, `format ""`},
		{"a strange format", format("fancy"), ErrForeign, `format "fancy"`},
		{"an older format that never was", format("0"), ErrForeign, `format "0"`},
		{"the next format", format("4"), errNewer, "the logbook was written by a newer flaskside: format 4, this one reads up to 3: use a newer program"},
		{"a far later format", format("17"), errNewer, "format 17"},
		{"a last record that is none", change(func(tx *bolt.Tx) error { return tx.Bucket(layout.Log).Put(layout.SeqKey(99), []byte("{}")) }), ErrDamaged, "the logbook is damaged: the last record: "},
		{"a live record that is missing", change(func(tx *bolt.Tx) error { return tx.Bucket(layout.Log).Delete(layout.SeqKey(2)) }), ErrDamaged, "record 2 is spoilt: it is missing"},
		{"a list of live records that is none", change(func(tx *bolt.Tx) error { return tx.Bucket(layout.Live).Put([]byte("x"), nil) }), ErrDamaged, "the list of live records"},
		{"a spoilt sign of life", change(func(tx *bolt.Tx) error { return tx.Bucket(layout.Beat).Put(layout.KeyLast, []byte("x")) }), ErrDamaged, "the sign of life"},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := c.make(t)
			was, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			for name, open := range map[string]func() (*Book, error){
				"open":    func() (*Book, error) { return Open(path, simclock.At(start, "boot-1")) },
				"reading": func() (*Book, error) { return OpenReading(path, simclock.At(start, "boot-1")) },
			} {
				soon(t, name, func() {
					_, err := open()
					if err == nil {
						t.Fatalf("%s: opened", name)
					}
					oneLine(t, name, err)
					if !errors.Is(err, c.is) || !strings.Contains(err.Error(), c.want) {
						t.Errorf("%s: %v, want %v: %q", name, err, c.is, c.want)
					}
				})
			}
			if is, err := os.ReadFile(path); err != nil || !bytes.Equal(is, was) {
				t.Errorf("the file was changed (%v)", err)
			}
		})
	}
}

// A folder given as a book, and books that are not there.
func TestNoFile(t *testing.T) {
	dir := t.TempDir()
	clock := simclock.At(start, "boot-1")
	_, err := Open(dir, clock)
	if !errors.Is(err, ErrForeign) || !strings.Contains(err.Error(), "is not a file") {
		t.Errorf("a folder: %v", err)
	}
	if _, err = OpenReading(filepath.Join(dir, "none.db"), clock); !errors.Is(err, os.ErrNotExist) || !strings.HasPrefix(err.Error(), "open logbook: ") {
		t.Errorf("reading a book that is not there: %v", err)
	}
	if _, err := os.Stat(filepath.Join(dir, "none.db")); err == nil {
		t.Error("looking for a book made one")
	}
	if _, err = Open(filepath.Join(writeFile(t, []byte("x")), "sub", "bench.db"), clock); err == nil {
		t.Error("a folder was made inside a file")
	} else {
		oneLine(t, "inside a file", err)
	}
	deep := filepath.Join(dir, "a", "b", "bench.db")
	b, err := Open(deep, clock)
	if err != nil {
		t.Fatalf("a folder that is not there yet: %v", err)
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
	names, err := os.ReadDir(filepath.Dir(deep))
	if err != nil || len(names) != 1 {
		t.Errorf("making a book left %v behind (%v)", names, err)
	}
	if fi, err := os.Stat(deep); runtime.GOOS != "windows" && (err != nil || fi.Mode().Perm() != 0o600) {
		t.Errorf("the book has the mode %v (%v): it is nobody else's", fi.Mode(), err)
	}
	wholeBook(t, deep)
}

// A second bench on the same book gets one line that names the process that has it,
// after a second; when that lets go, it gets the book.
func TestHeldByAnother(t *testing.T) {
	t.Parallel()
	path := seedBook(t, 3)
	c := spawn(t, "hold", path, 0)
	in, err := c.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	word := make([]byte, 5)
	if _, err := io.ReadFull(out, word); err != nil || string(word) != "open\n" {
		t.Fatalf("the child says %q, %v", word, err)
	}
	was, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for name, open := range map[string]func() (*Book, error){
		"open":    func() (*Book, error) { return Open(path, simclock.At(start, "boot-1")) },
		"reading": func() (*Book, error) { return OpenReading(path, simclock.At(start, "boot-1")) },
	} {
		soon(t, name, func() {
			_, err := open()
			if err == nil {
				t.Fatalf("%s: two have the book", name)
			}
			oneLine(t, name, err)
			want := fmt.Sprintf("the logbook is in use: %s (process %d on ", path, c.Process.Pid)
			if !errors.Is(err, ErrHeld) || !strings.HasPrefix(err.Error(), want) || !strings.Contains(err.Error(), ", bench, since 25 Nov 08:00)") {
				t.Errorf("%s: %v, want %q …", name, err, want)
			}
		})
	}
	if is, err := os.ReadFile(path); err != nil || !bytes.Equal(is, was) {
		t.Errorf("the book was changed by who did not get it (%v)", err)
	}
	// Without the note the line names nobody, and is a line all the same.
	if err := os.Remove(whoPath(path)); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenReading(path, simclock.At(start, "boot-1")); !errors.Is(err, ErrHeld) || !strings.Contains(err.Error(), "another program has it open") {
		t.Errorf("without the note: %v", err)
	}
	if err := in.Close(); err != nil {
		t.Fatal(err)
	}
	if err := c.Wait(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(whoPath(path)); err == nil {
		t.Error("the note stays behind")
	}
	b, err := Open(path, simclock.At(start.AddDate(1, 0, 0), "boot-2"))
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
	wholeBook(t, path)
}

// A killed program leaves its note behind; that locks nobody out.
func TestStaleNote(t *testing.T) {
	path := seedBook(t, 3)
	if err := os.WriteFile(whoPath(path), []byte(`{"pid":1,"host":"x","what":"bench"}`), 0o600); err != nil {
		t.Fatal(err)
	}
	b, err := Open(path, simclock.At(start.AddDate(1, 0, 0), "boot-2"))
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
	for _, spoilt := range []string{"", "{", "\x1b[31m", `{"pid":"x"}`} {
		if err := os.WriteFile(whoPath(path), []byte(spoilt), 0o600); err != nil {
			t.Fatal(err)
		}
		if got := holder(path); got != " (another program has it open)" {
			t.Errorf("the note %q reads %q", spoilt, got)
		}
	}
}
