//go:build unix

package logbook

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/disk"
	"flaskside/timers/simclock"
)

// What somebody else put in the place of a file of the book's own is never followed, never
// waited for: nothing is written through a link, a pipe stops nobody, and the record is
// saved all the same.
func TestLinksAndPipesBesideTheBook(t *testing.T) {
	const theirs = "the owner's login script"
	for _, name := range []string{"bench.journal-2026-11.jsonl", "bench.reserve", "bench.reserve.part", "bench.db.who"} {
		for _, how := range []string{"link", "link to nothing", "pipe"} {
			t.Run(name+" is a "+how, func(t *testing.T) {
				dir := inMemory(t)
				target := filepath.Join(dir, "profile")
				var err error
				switch how {
				case "link":
					err = errors.Join(os.WriteFile(target, []byte(theirs), 0o600), os.Symlink(target, filepath.Join(dir, name)))
				case "link to nothing":
					err = os.Symlink(target, filepath.Join(dir, name))
				case "pipe":
					err = syscall.Mkfifo(filepath.Join(dir, name), 0o600)
				}
				if err != nil {
					t.Fatal(err)
				}
				path := filepath.Join(dir, "bench.db")
				ck := simclock.At(start, "boot-1")
				b, err := Open(path, ck)
				if err != nil {
					t.Fatal(err)
				}
				done := b.Announce("the bench")
				if strings.Contains(name, "reserve") {
					b.KeepReserve()
				}
				if _, err := b.Append(action.Action{ID: "a", At: ck.Read().Wall, By: "KT", Body: action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"}}); err != nil {
					t.Error(err)
				}
				b.mu.Lock()
				b.reserve.give()
				b.mu.Unlock()
				if err := b.Beat(); err != nil {
					t.Error(err)
				}
				if err := b.Close(); err != nil {
					t.Error(err)
				}
				done()
				got, err := os.ReadFile(target)
				if how == "link" && string(got) != theirs || how != "link" && !errors.Is(err, os.ErrNotExist) {
					t.Errorf("written through the link: %d bytes, %v", len(got), err)
				}
				if _, err := Verify(path, check.Verifying{}); err != nil && how != "link to nothing" {
					t.Logf("verify: %v", err)
				}
			})
		}
	}
}

// A backup of the day is not taken for made where a link stands in its place.
func TestLinkIsNoBackup(t *testing.T) {
	h := newHands(t)
	h.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	look := func(path string) (check.Report, error) { return Verify(path, check.Verifying{}) }
	dir := filepath.Dir(h.b.Path())
	made, err := BackupDaily(h.b, "backups", 7, start, look)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(os.Rename(made, filepath.Join(dir, "x.db")), os.Symlink(filepath.Join(dir, "x.db"), made)); err != nil {
		t.Fatal(err)
	}
	if _, err := BackupDaily(h.b, "backups", 7, start, look); err == nil || !strings.Contains(err.Error(), "not a plain file") {
		t.Errorf("%v", err)
	}
}

// The folder of the book is refused where others may write in it, unless it is sticky and
// the file is ours.
func TestFolderThatOthersMayWriteIn(t *testing.T) {
	for _, c := range []struct {
		mode os.FileMode
		fine bool
	}{{0o700, true}, {0o755, true}, {0o777, false}, {0o757, false}, {0o777 | os.ModeSticky, true}} {
		dir := filepath.Join(inMemory(t), "lab")
		if err := errors.Join(os.Mkdir(dir, 0o700), os.Chmod(dir, c.mode)); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, "bench.db")
		b, err := Open(path, simclock.At(start, "boot-1"))
		if (err == nil) != c.fine {
			t.Errorf("%v: %v", c.mode, err)
		}
		if err != nil {
			if strings.Contains(err.Error(), "\n") || !strings.Contains(err.Error(), "chmod") {
				t.Errorf("%v: told as %q", c.mode, err)
			}
			if _, err := os.Lstat(path); err == nil {
				t.Errorf("%v: a book was made", c.mode)
			}
			continue
		}
		_ = b.Close()
	}
}

// A pipe, a device and a file of 2 TB of holes are refused as a book, a backup and a source
// of salvage before a byte is waited for: by what the system tells of them.
func TestStrangeSources(t *testing.T) {
	dir := inMemory(t)
	pipe, sparse := filepath.Join(dir, "pipe"), filepath.Join(dir, "sparse")
	if err := errors.Join(syscall.Mkfifo(pipe, 0o600), os.WriteFile(sparse, []byte("x"), 0o600), os.Truncate(sparse, 2<<40)); err != nil {
		t.Fatal(err)
	}
	ck := simclock.At(start, "boot-1")
	look := func(path string) (check.Report, error) { return Verify(path, check.Verifying{}) }
	for _, src := range []string{pipe, "/dev/zero", "/dev/tty", sparse} {
		for what, do := range map[string]func() error{
			"book":           func() error { _, err := openAnywhere(src, ck); return err },
			"book only read": func() error { _, err := OpenReading(src, ck); return err },
			"verify":         func() error { _, err := look(src); return err },
			"backup to restore": func() error {
				_, err := Restore(src, filepath.Join(dir, "new.db"), start, true, "KT", look)
				return err
			},
			"source of salvage": func() error {
				_, err := Salvage(src, nil, filepath.Join(dir, "to.db"), nil, ck, nil)
				return err
			},
			"journal to salvage": func() error {
				_, err := Salvage(filepath.Join(dir, "none.db"), []string{src}, filepath.Join(dir, "to.db"), nil, ck, nil)
				return err
			},
		} {
			if err := do(); err == nil || strings.Contains(err.Error(), "\n") {
				t.Errorf("%s as %s: %v", src, what, err)
			}
		}
	}
	if _, err := CommitTimes(context.Background(), filepath.Join(dir, "bench.db"), 1, ck); err != nil {
		t.Error(err)
	}
}

// What a killed run left beside its file is found by its name, and taken away by the next
// run of what made it; what a running program makes, and a file of another name, stays.
func TestLeftByAKill(t *testing.T) {
	h := newHands(t)
	h.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	look := func(path string) (check.Report, error) { return Verify(path, check.Verifying{}) }
	dir := inMemory(t)
	to := filepath.Join(dir, "copy.db")
	left, working, other := to+".new-999999999", to+".new-1", to+".new-old"
	for _, name := range []string{left, working, other} {
		if err := os.WriteFile(name, []byte("half"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if got := disk.Unfinished(to); len(got) != 1 || got[0] != left {
		t.Errorf("found %q, want %s", got, left)
	}
	if _, err := Backup(h.b.Path(), to, h.b.Snapshot, look); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]bool{left: false, working: true, other: true} {
		if there(name) != want {
			t.Errorf("%s is there: %v", name, !want)
		}
	}
}

// The folder for backups is made where only its last element is missing; what should hold
// it is a disk that is not there.
func TestBackupFolderOfAStickThatIsNotThere(t *testing.T) {
	h := newHands(t)
	h.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	look := func(path string) (check.Report, error) { return Verify(path, check.Verifying{}) }
	media := filepath.Join(inMemory(t), "media")
	if _, err := BackupDaily(h.b, filepath.Join(media, "STICK", "flaskside"), 7, start, look); err == nil || !strings.Contains(err.Error(), "plugged in") {
		t.Errorf("%v", err)
	}
	if there(media) {
		t.Error("a folder was made in the place of the stick")
	}
	if err := os.MkdirAll(filepath.Join(media, "STICK"), 0o700); err != nil {
		t.Fatal(err)
	}
	said := troubles(h.b)
	for range 2 { // told when it is made, and not again
		if _, err := BackupDaily(h.b, filepath.Join(media, "STICK", "flaskside"), 7, start, look); err != nil {
			t.Errorf("the stick is there: %v", err)
		}
		if len(*said) != 1 || !strings.Contains((*said)[0], filepath.Join("STICK", "flaskside")+" was not there and is new") {
			t.Errorf("said %q of the new folder", *said)
		}
	}
	if _, err := BackupDaily(h.b, "backups", 7, start, look); err != nil || len(*said) != 1 {
		t.Errorf("a folder beside the book is what everybody has: %v, said %q", err, *said)
	}
}
