package main

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"testing"

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
