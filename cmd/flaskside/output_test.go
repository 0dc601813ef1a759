package main

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"flaskside/logbook/asked"
	"flaskside/logbook/disk"
)

// TestSave writes a file whole or not at all.
func TestSave(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "out.csv")
	text := func(s string) func(io.Writer) error {
		return func(w io.Writer) error { _, err := io.WriteString(w, s); return err }
	}
	check := func(want string) {
		t.Helper()
		got, err := os.ReadFile(path)
		if err != nil || string(got) != want {
			t.Errorf("the file holds %q, %v; want %q", got, err, want)
		}
		left, err := os.ReadDir(dir)
		if err != nil || len(left) != 1 {
			t.Errorf("in the folder are %v, %v", left, err)
		}
	}
	if err := disk.Save(path, text("one")); err != nil {
		t.Fatal(err)
	}
	check("one")
	broken := errors.New("broken")
	err := disk.Save(path, func(w io.Writer) error {
		if err := text("half")(w); err != nil {
			return err
		}
		return broken
	})
	if !errors.Is(err, broken) {
		t.Errorf("the error is %v", err)
	}
	check("one")
	if err := disk.Save(path, text("two")); err != nil {
		t.Fatal(err)
	}
	check("two")
	if runtime.GOOS == "windows" {
		return // links want a right of their own there
	}
	link := filepath.Join(t.TempDir(), "link.csv")
	if err := os.Symlink(path, link); err != nil {
		t.Fatal(err)
	}
	if err := disk.Save(link, text("three")); err != nil {
		t.Fatal(err)
	}
	check("three")
	if fi, err := os.Lstat(link); err != nil || fi.Mode()&os.ModeSymlink == 0 {
		t.Errorf("the link is not a link any more: %v, %v", fi, err)
	}
}

// TestDate reads the dates that can be asked for, around a change of the clocks.
func TestDate(t *testing.T) {
	loc, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 10, 26, 0, 30, 0, 0, loc) // the day after one of 25 h
	for _, c := range []struct{ arg, from, until string }{
		{"", "2026-10-26T00:00:00+01:00", "2026-10-27T00:00:00+01:00"},
		{"today", "2026-10-26T00:00:00+01:00", "2026-10-27T00:00:00+01:00"},
		{"yesterday", "2026-10-25T00:00:00+02:00", "2026-10-26T00:00:00+01:00"},
		{"2026-03-29", "2026-03-29T00:00:00+01:00", "2026-03-30T00:00:00+02:00"},
	} {
		var args []string
		if c.arg != "" {
			args = []string{c.arg}
		}
		from, until, err := date(args, now, loc)
		if err != nil || from.Format(time.RFC3339) != c.from || until.Format(time.RFC3339) != c.until {
			t.Errorf("%q is %s to %s, %v; want %s to %s", c.arg, from.Format(time.RFC3339), until.Format(time.RFC3339), err, c.from, c.until)
		}
	}
	for _, bad := range []string{"2026-02-30", "2026-13-01", "26-11-25", "1026-11-25", "tomorrow", "2026-11-25T00:00:00Z", ""} {
		var wrong asked.Wrong
		if _, _, err := date([]string{bad}, now, loc); !errors.As(err, &wrong) {
			t.Errorf("%q is taken, %v", bad, err)
		}
	}
}

// A new file is its owner's alone, for a day names cases; one that stood there keeps who may
// read it.
func TestSavedForItsOwner(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("access lists say who may read there")
	}
	path := filepath.Join(t.TempDir(), "sheet.html")
	for _, mode := range []os.FileMode{0o600, 0o644} {
		if mode != 0o600 {
			if err := os.Chmod(path, mode); err != nil {
				t.Fatal(err)
			}
		}
		if err := disk.Save(path, func(w io.Writer) error { _, err := io.WriteString(w, "x"); return err }); err != nil {
			t.Fatal(err)
		}
		if fi, err := os.Stat(path); err != nil || fi.Mode().Perm() != mode {
			t.Errorf("saved as %v (%v), want %v", fi.Mode(), err, mode)
		}
	}
}
