//go:build !windows

package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"flaskside/logbook/keep"
	"flaskside/timers/simclock"
)

// A book that is deleted under the running bench is missed when the bench is left, whether
// anything was recorded since or not: it ends with 1 and says so.
func TestBookDeletedUnderTheBench(t *testing.T) {
	t.Parallel() // it waits more than it works
	book := filepath.Join(t.TempDir(), "bench.db")
	tm := open(t, book)
	tm.sees("new flask on place 1")
	tm.types("\r4417\r12")
	tm.sees("record 1")
	if err := os.Remove(book); err != nil {
		t.Fatal(err)
	}
	tm.types("+91")
	var exit *exec.ExitError
	if err := tm.ended(); !errors.As(err, &exit) || exit.ExitCode() != 1 {
		t.Errorf("the bench ended with %v, want exit 1", err)
	}
	// The lines may be broken where the terminal ends.
	if said := strings.Join(strings.Fields(tm.screen()), ""); !strings.Contains(said, "thefileofthelogbookwastakenaway") {
		t.Errorf("it said\n%s", tm.screen())
	}
}

// What another laid in the place of the traces of a fault is neither followed nor waited on.
func TestLinksAndPipesAtTheFaultFile(t *testing.T) {
	dir := t.TempDir()
	book, target := filepath.Join(dir, "bench.db"), filepath.Join(dir, "target")
	if err := os.WriteFile(target, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	clock := simclock.At(time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC), "b")
	name := book + ".fault-20261125-080000.txt"
	for what, lay := range map[string]func() error{
		"a link to a file":  func() error { return os.Symlink(target, name) },
		"a link to nothing": func() error { return os.Symlink(filepath.Join(dir, "none"), name) },
		"a pipe":            func() error { return syscall.Mkfifo(name, 0o600) },
	} {
		if err := lay(); err != nil {
			t.Fatal(err)
		}
		if said := keep.FaultFile(book, clock, 0)("trace"); said != name {
			t.Errorf("%s: %s", what, said)
		}
		if fi, err := os.Lstat(name); err != nil || !fi.Mode().IsRegular() || fi.Mode().Perm() != 0o600 {
			t.Errorf("%s: the traces are in %v, %v; want a new file of our own", what, fi, err)
		}
		if b, err := os.ReadFile(target); err != nil || string(b) != "mine" {
			t.Errorf("%s: the target holds %q, %v", what, b, err)
		}
		if _, err := os.Lstat(filepath.Join(dir, "none")); err == nil {
			t.Errorf("%s was followed", what)
		}
		if err := os.Remove(name); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(name, 0o700); err != nil {
		t.Fatal(err)
	}
	if said := keep.FaultFile(book, clock, 0)("trace"); said == name {
		t.Error("a folder in its place: the traces were written")
	}
}
