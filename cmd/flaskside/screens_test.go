//go:build !windows

package main

import (
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/record"
	"flaskside/timers/sysclock"
)

// TestTwoScreens: a second start joins the bench that runs; each sees what the other records,
// each under the initials of their own; leaving says that the bench runs on; the keeper is
// killed, the screen says so and waits, comes back by itself, and what it showed as saved is in
// the book.
func TestTwoScreens(t *testing.T) {
	t.Parallel() // it waits more than it works
	book := filepath.Join(t.TempDir(), "bench.db")
	kt := openAs(t, book, "KT")
	kt.sees("new flask on place 1")
	mb := openAs(t, book, "MB")
	mb.sees("new flask on place 1")
	kt.types("\r4417\r12")
	kt.sees("record 2")
	mb.sees("4417")
	mb.types("\r1")
	mb.sees("record 3")
	kt.sees("separator drying")

	if err := kt.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = kt.ended()
	mb.sees("THE BENCH IS NOT RUNNING")
	mb.types("2\r44")
	kt = openAs(t, book, "KT")
	kt.sees("separator drying")
	mb.sees("the bench is running again")
	mb.types("18\r12")
	mb.sees("record 5")
	kt.sees("4418")

	mb.types("+9")
	mb.sees("The bench runs on without this screen")
	mb.types("1")
	if err := mb.ended(); err != nil {
		t.Errorf("left by hand, the second screen ended with %v", err)
	}
	if err := kt.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := kt.ended(); err != nil {
		t.Errorf("the bench ended with %v", err)
	}
	var got []string
	for _, r := range recordsOf(t, book) {
		got = append(got, r.Action.By+" "+string(r.Action.Body.Kind()))
	}
	if want := "MB screen,KT flask-open,MB coat,MB screen,MB flask-open,MB screen"; strings.Join(got, ",") != want {
		t.Errorf("the book has %q, want %q", got, want)
	}
}

// TestTheFirstScreenLeaves: the bench runs on for the others until they have left, too.
func TestTheFirstScreenLeaves(t *testing.T) {
	t.Parallel() // it waits more than it works
	book := filepath.Join(t.TempDir(), "bench.db")
	kt := openAs(t, book, "KT")
	kt.sees("new flask on place 1")
	mb := openAs(t, book, "MB")
	mb.sees("new flask on place 1")
	kt.types("+9")
	kt.sees("The bench runs on without this screen")
	kt.types("1")
	kt.sees("the bench runs on here for the other screens")
	mb.types("\r4417\r12")
	mb.sees("record 2")
	mb.types("+91")
	if err := mb.ended(); err != nil {
		t.Error(err)
	}
	if err := kt.ended(); err != nil {
		t.Errorf("after the last screen it ended with %v", err)
	}
	if n := len(recordsOf(t, book)); n != 3 {
		t.Errorf("%d records, want 3", n)
	}
}

// recordsOf reads all records of a book that nobody has.
func recordsOf(t *testing.T, path string) (out []record.Record) {
	t.Helper()
	var b *logbook.Book
	var err error
	for range 50 { // who had it is about to let go
		if b, err = logbook.OpenReading(path, sysclock.New()); err == nil {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = b.Close() }() // only read from
	if err := b.Each(1, func(r record.Record) (bool, error) { out = append(out, r); return true, nil }); err != nil {
		t.Fatal(err)
	}
	return out
}
