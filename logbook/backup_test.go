package logbook

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/layout"
)

// looked looks through a book in this process.
func looked(path string) (check.Report, error) { return Verify(path, check.Verifying{}) }

func names(t testing.TB, dir string) (out []string) {
	t.Helper()
	all, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range all {
		out = append(out, e.Name())
	}
	return out
}

// A backup is whole, of the moment, and of its owner alone; one that fails leaves the
// older one as it was.
func TestBackup(t *testing.T) {
	h := opened(t)
	h.notes(4)
	dir := t.TempDir()
	to := filepath.Join(dir, "copy.db")
	head := h.b.State().Head
	rep, err := Backup(h.b.Path(), to, h.b.Snapshot, func(path string) (check.Report, error) {
		if fi, err := os.Stat(path); err != nil || fi.Mode().Perm()&0o077 != 0 {
			t.Errorf("others may read the copy: %v, %v", fi, err)
		}
		if _, err := os.Stat(to); !errors.Is(err, fs.ErrNotExist) {
			t.Error("it has its name before it was looked through")
		}
		return looked(path)
	})
	if err != nil || rep.Head != head || rep.Book != h.b.ID() {
		t.Fatalf("%+v, %v", rep, err)
	}
	h.notes(2)
	for what, c := range map[string]struct {
		snapshot func(io.Writer) error
		check    Check
	}{
		"the bench goes away": {func(w io.Writer) error {
			_, err := w.Write(make([]byte, 5000))
			return errors.Join(err, errors.New("gone"))
		}, looked},
		"half a copy":         {func(w io.Writer) error { return h.b.Snapshot(&half{w, 9000}) }, looked},
		"a fault":             {h.b.Snapshot, func(string) (check.Report, error) { return check.Report{Faults: []check.Fault{{What: "x"}}}, nil }},
		"cannot be looked at": {h.b.Snapshot, func(string) (check.Report, error) { return check.Report{}, errors.New("no") }},
	} {
		if _, err := Backup(h.b.Path(), to, c.snapshot, c.check); err == nil {
			t.Errorf("%s: taken for a backup", what)
		}
		if _, got, err := check.Peek(to); err != nil || got != head {
			t.Errorf("%s: the older backup is now %v, %v", what, got, err)
		}
		if got := names(t, dir); len(got) != 1 {
			t.Errorf("%s: left behind: %v", what, got)
		}
	}
	early, err := os.ReadFile(to)
	if err != nil {
		t.Fatal(err)
	}
	if rep, err = Backup(h.b.Path(), to, h.b.Snapshot, looked); err != nil || rep.Head != h.b.State().Head {
		t.Errorf("the second backup: %+v, %v", rep, err)
	}
	// A copy that holds more is not lost to an older state of the book.
	older := func(w io.Writer) error { _, err := w.Write(early); return err }
	if _, err := Backup(h.b.Path(), to, older, looked); !errors.Is(err, errAhead) {
		t.Errorf("over a copy that holds more: %v", err)
	}
	if _, got, err := check.Peek(to); err != nil || got != rep.Head || len(names(t, dir)) != 1 {
		t.Errorf("the copy that holds more is now %v, %v; %v", got, err, names(t, dir))
	}
}

// A copy in the place of the book itself would take the book from under the bench.
func TestBackupOntoItself(t *testing.T) {
	h := opened(t)
	link := filepath.Join(t.TempDir(), "link.db")
	if err := os.Symlink(h.b.Path(), link); err != nil {
		t.Skip("no links here")
	}
	before, err := os.Stat(h.b.Path())
	if err != nil {
		t.Fatal(err)
	}
	for _, to := range []string{h.b.Path(), link, filepath.Dir(h.b.Path()) + "/./bench.db"} {
		if _, err := Backup(h.b.Path(), to, h.b.Snapshot, looked); err == nil || !strings.Contains(err.Error(), "is the logbook itself") {
			t.Errorf("to %s: %v", to, err)
		}
	}
	if after, err := os.Stat(h.b.Path()); err != nil || !os.SameFile(before, after) {
		t.Errorf("the book is another file now: %v", err)
	}
}

// half writes so many bytes and drops the rest without a word.
type half struct {
	w    io.Writer
	left int
}

func (h *half) Write(b []byte) (int, error) {
	n := min(len(b), h.left)
	h.left -= n
	if _, err := h.w.Write(b[:n]); err != nil {
		return 0, err
	}
	return len(b), nil
}

// The last backups of as many days are kept, and nothing else in the folder touched.
func TestBackupDaily(t *testing.T) {
	h := opened(t)
	folder := filepath.Join(filepath.Dir(h.b.Path()), "backups")
	if made, err := BackupDaily(h.b, "backups", 0, start, looked); err != nil || made != "" || there(folder) {
		t.Errorf("with keep 0: %q, %v", made, err)
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	others := []string{"bench-2026-01-01.txt", "bench-old.db", "letter.txt", "other-2026-01-01.db"}
	for _, name := range others {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(name), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for day := range 6 {
		for range 2 { // twice a day: the later one counts
			h.notes(1)
			made, err := BackupDaily(h.b, "backups", 3, start.AddDate(0, 0, day), looked)
			if err != nil || filepath.Base(made) != fmt.Sprintf("bench-2026-11-%02d.db", 25+day) {
				t.Fatalf("day %d: %q, %v", day, made, err)
			}
		}
	}
	want := append([]string{"bench-2026-11-28.db", "bench-2026-11-29.db", "bench-2026-11-30.db"}, others...)
	slices.Sort(want)
	if got := names(t, folder); !slices.Equal(got, want) {
		t.Errorf("kept %v, want %v", got, want)
	}
	if _, head, err := check.Peek(filepath.Join(folder, "bench-2026-11-30.db")); err != nil || head != h.b.State().Head {
		t.Errorf("the last backup ends with %v, %v", head, err)
	}
	// Where nothing was recorded since, nothing is done.
	none := func(string) (check.Report, error) { return check.Report{}, errors.New("looked at") }
	if made, err := BackupDaily(h.b, "backups", 3, start.AddDate(0, 0, 5), none); err != nil || filepath.Base(made) != "bench-2026-11-30.db" {
		t.Errorf("again with nothing new: %q, %v", made, err)
	}
	// Under a clock that stands far back, the one just made stays, and no later one goes.
	if _, err := BackupDaily(h.b, "backups", 3, start.AddDate(-1, 0, 0), looked); err != nil {
		t.Fatal(err)
	}
	if got := names(t, folder); !slices.Contains(got, "bench-2025-11-25.db") || !slices.Contains(got, "bench-2026-11-28.db") {
		t.Errorf("kept %v", got)
	}
	// Those of a book that had this name before stay.
	o := opened(t)
	theirs := filepath.Join(folder, "bench-2020-01-01.db")
	if _, err := Backup(o.b.Path(), theirs, o.b.Snapshot, looked); err != nil {
		t.Fatal(err)
	}
	h.notes(1)
	if _, err := BackupDaily(h.b, "backups", 3, start.AddDate(0, 0, 6), looked); err != nil {
		t.Fatal(err)
	}
	if got := names(t, folder); !slices.Contains(got, filepath.Base(theirs)) || slices.Contains(got, "bench-2025-11-25.db") {
		t.Errorf("kept %v", got)
	}
	// One that fails removes nothing.
	before := names(t, folder)
	bad := func(string) (check.Report, error) { return check.Report{Faults: []check.Fault{{What: "x"}}}, nil }
	if _, err := BackupDaily(h.b, "backups", 1, start.AddDate(0, 1, 0), bad); err == nil {
		t.Error("a copy with a fault was taken for a backup")
	}
	if got := names(t, folder); !slices.Equal(got, before) {
		t.Errorf("kept %v, had %v", got, before)
	}
}

// Where the book was put back to an older state, the day's earlier backup stays under
// another name.
func TestBackupDailyAhead(t *testing.T) {
	h := opened(t)
	early, err := os.ReadFile(h.b.Path())
	if err != nil {
		t.Fatal(err)
	}
	h.notes(2)
	made, err := BackupDaily(h.b, "backups", 3, start, looked)
	if err != nil {
		t.Fatal(err)
	}
	given := h.b.State().Head
	if err := errors.Join(h.b.Close(), os.WriteFile(h.b.Path(), early, 0o600), h.more(1)); err != nil {
		t.Fatal(err)
	}
	if h.b, err = OpenReading(h.b.Path(), h.ck); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = h.b.Close() }() // only read from
	if again, err := BackupDaily(h.b, "backups", 3, start, looked); err != nil || again != made {
		t.Fatalf("%q, %v", again, err)
	}
	if _, head, err := check.Peek(made); err != nil || head != h.b.State().Head {
		t.Errorf("the backup ends with %v, %v", head, err)
	}
	aside, err := filepath.Glob(made + ".replaced-*")
	if err != nil || len(aside) != 1 {
		t.Fatalf("set aside: %v, %v", aside, err)
	}
	if _, head, err := check.Peek(aside[0]); err != nil || head != given {
		t.Errorf("what was set aside ends with %v, %v", head, err)
	}
}

// A backup is put back where nothing is lost by that, or where it is said that it may
// be; what it replaces is kept.
// forkEnds lays the records of the longer history at the end of the journal, as where the
// older copy was worked on in between.
func forkEnds(h *hands) error {
	js, err := check.Journals(h.b.Path())
	if err != nil {
		return err
	}
	b, err := os.ReadFile(js[0])
	if err != nil {
		return err
	}
	all := strings.SplitAfter(strings.TrimSuffix(string(b), "\n"), "\n")
	for i, l := range all[:len(all)-1] {
		if strings.Contains(l, `"seq":8,`) {
			return os.WriteFile(js[0], []byte(strings.Join(all, "")+"\n"+all[i]), 0o600)
		}
	}
	return errors.New("the longer history is not in the journal")
}

func TestRestore(t *testing.T) {
	now := start.AddDate(0, 0, 1)
	cut := func(h *hands) error { return os.Truncate(h.b.Path(), 9000) }
	for _, c := range []struct {
		what    string
		then    func(h *hands) error // after the backup was made, the book closed
		refused string               // without --discard-newer
	}{
		{"the same", nil, ""},
		{"removed", func(h *hands) error {
			js, err := check.Journals(h.b.Path())
			return errors.Join(err, os.Remove(h.b.Path()), os.Remove(js[0]))
		}, ""},
		{"removed, its journal there", func(h *hands) error { return os.Remove(h.b.Path()) }, ""},
		{"cut short", cut, ""},
		{"filled with zeros", func(h *hands) error { return os.WriteFile(h.b.Path(), make([]byte, 50000), 0o600) }, ""},
		{"longer", func(h *hands) error { return h.more(2) }, "records up to 7, the backup ends with 5"},
		{"longer and cut short", func(h *hands) error { return errors.Join(h.more(2), cut(h)) }, "records up to 7, the backup ends with 5"},
		{"longer and removed", func(h *hands) error { return errors.Join(h.more(2), os.Remove(h.b.Path())) }, "records up to 7, the backup ends with 5"},
		{"longer, then an older one in its place", func(h *hands) error {
			b, err := os.ReadFile(h.b.Path())
			return errors.Join(err, h.more(2), os.WriteFile(h.b.Path(), b, 0o600))
		}, "records up to 7, the backup ends with 5, in its journal"},
		{"longer, and an older one in its place worked on", func(h *hands) error {
			b, err := os.ReadFile(h.b.Path())
			return errors.Join(err, h.more(3), os.WriteFile(h.b.Path(), b, 0o600), h.more(1), forkEnds(h))
		}, "records up to 6, the backup ends with 5"},
		{"another book", func(h *hands) error {
			o := opened(h.t)
			o.notes(1)
			b, err := os.ReadFile(o.b.Path())
			return errors.Join(err, os.WriteFile(h.b.Path(), b, 0o600))
		}, "it is another book"},
		{"another record", func(h *hands) error {
			db, err := bolt.Open(h.b.Path(), 0o600, nil)
			if err != nil {
				return err
			}
			return errors.Join(db.Update(func(tx *bolt.Tx) error { return tx.Bucket(layout.Meta).Put(layout.KeyHead, Head{Seq: 5}.Bytes()) }), db.Close())
		}, "another record 5"},
	} {
		for _, discard := range []bool{false, true} {
			h := opened(t)
			h.notes(4)
			backup := filepath.Join(t.TempDir(), "backup.db")
			rep, err := Backup(h.b.Path(), backup, h.b.Snapshot, looked)
			if err != nil {
				t.Fatal(err)
			}
			if err := h.b.Close(); err != nil {
				t.Fatal(err)
			}
			if c.then != nil {
				if err := c.then(h); err != nil {
					t.Fatalf("%s: %v", c.what, err)
				}
			}
			was, werr := os.ReadFile(h.b.Path())
			r, err := Restore(backup, h.b.Path(), now, discard, "KT", looked)
			if !discard && c.refused != "" {
				var newer *Newer
				if !errors.As(err, &newer) || !strings.Contains(newer.What, c.refused) || strings.Contains(c.what, "worked on") && !strings.Contains(newer.What, "its journal another history, records up to 8") {
					t.Errorf("%s: %v, want it refused: %s", c.what, err, c.refused)
				}
				if is, ierr := os.ReadFile(h.b.Path()); string(is) != string(was) || (ierr == nil) != (werr == nil) {
					t.Errorf("%s: refused, but the book is changed", c.what)
				}
				continue
			}
			if err != nil {
				t.Errorf("%s, discard %v: %v", c.what, discard, err)
				continue
			}
			if got := verified(t, h.b.Path(), check.Verifying{}); got.Head != rep.Head && (c.refused == "" || got.Head.Seq != rep.Head.Seq+1) || len(got.Faults) > 0 {
				t.Errorf("%s: the book now ends with %v, %v; the backup with %v", c.what, got.Head, got.Faults, rep.Head)
			}
			if js, err := check.Journals(h.b.Path()); err != nil || discard && c.refused != "" && (len(r.Aside) == 0 && c.what != "another book" || len(js) > 0 && c.what != "another book") {
				t.Errorf("%s: journals kept as %q, left %q, %v", c.what, r.Aside, js, err)
			}
			if werr == nil {
				if kept, err := os.ReadFile(r.Kept); err != nil || string(kept) != string(was) {
					t.Errorf("%s: the book replaced is not kept: %q, %v", c.what, r.Kept, err)
				}
			} else if r.Kept != "" {
				t.Errorf("%s: kept %q of nothing", c.what, r.Kept)
			}
			// The work goes on, and the journal with it.
			b, err := Open(h.b.Path(), h.ck)
			if err != nil {
				t.Fatal(err)
			}
			h.b = b
			said := troubles(b)
			h.notes(2)
			// Where its journal was removed too, that is so, and told where the file has the number of the old one.
			if gone := len(*said) == 1 && strings.Contains((*said)[0], "is gone") && c.what == "removed"; len(*said) > 0 && !gone && c.what != "another book" {
				t.Errorf("%s, discard %v: %q", c.what, discard, *said)
			}
			if discard {
				sameAsBook(t, h)
			}
			_ = b.Close()
		}
	}
}

// more opens the book again and records notes.
func (h *hands) more(n int) error {
	b, err := Open(h.b.Path(), h.ck)
	if err != nil {
		return err
	}
	h.b = b
	h.notes(n)
	return b.Close()
}

// A backup that is spoilt is not put back; nothing is put in the place of a book that
// another program has.
func TestRestoreRefuses(t *testing.T) {
	h := opened(t)
	h.notes(2)
	backup := filepath.Join(t.TempDir(), "backup.db")
	if _, err := Backup(h.b.Path(), backup, h.b.Snapshot, looked); err != nil {
		t.Fatal(err)
	}
	if _, err := Restore(backup, h.b.Path(), start, true, "KT", looked); !errors.Is(err, ErrHeld) {
		t.Errorf("while the book is open: %v", err)
	}
	if err := h.b.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Restore(h.b.Path(), h.b.Path(), start, true, "KT", looked); err == nil {
		t.Error("the book was put in its own place")
	}
	spoil(t, backup, func(tx *bolt.Tx) error { return tx.Bucket(layout.Log).Delete(layout.SeqKey(2)) })
	if _, err := Restore(backup, h.b.Path(), start, true, "KT", looked); !errors.Is(err, ErrDamaged) {
		t.Errorf("a spoilt backup: %v", err)
	}
	if _, err := Restore(filepath.Join(t.TempDir(), "none.db"), h.b.Path(), start, true, "KT", looked); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a backup that is not there: %v", err)
	}
	if got := names(t, filepath.Dir(h.b.Path())); len(got) != 2 {
		t.Errorf("left behind: %v", got)
	}
}

// Who waits for a book that is replaced meanwhile does not write into the old one.
func TestOpenWhileReplaced(t *testing.T) {
	h := opened(t)
	other := copyOf(t, h.b.Path())
	got := make(chan error)
	go func() {
		b, err := Open(h.b.Path(), h.ck)
		if err == nil {
			_ = b.Close()
		}
		got <- err
	}()
	time.Sleep(lockPatience / 4)
	if err := os.Rename(other, h.b.Path()); err != nil {
		t.Fatal(err)
	}
	if err := h.b.Close(); err == nil || !strings.Contains(err.Error(), "was taken away") {
		t.Fatalf("left over a replaced book: %v", err)
	}
	if err := <-got; !errors.Is(err, ErrHeld) || !strings.Contains(err.Error(), "was replaced meanwhile") {
		t.Errorf("opened over a replaced book: %v", err)
	}
	b, err := Open(h.b.Path(), h.ck)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.Append(action.Action{ID: "x", At: h.ck.Read().Wall, Body: action.Note{Flask: 1, Text: "x"}}); err != nil {
		t.Error(err)
	}
	_ = b.Close()
}
