package logbook

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"flaskside/logbook/action"
	"flaskside/logbook/disk"
	"flaskside/timers/simclock"
)

// fill leaves a disk without room; it gives the file that holds it.
func fill(t *testing.T, dir string) string {
	t.Helper()
	name := filepath.Join(dir, "filler")
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o600)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, n := range []int{1 << 20, 4096} {
		for err = nil; err == nil; {
			_, err = f.Write(make([]byte, n))
		}
		if !errors.Is(err, syscall.ENOSPC) {
			t.Fatal(err)
		}
	}
	return name
}

// TestReserve lets the disk run full under a bench that keeps a reserve: its work is
// recorded to the end, also when what is given up is taken by the program that filled
// the disk; when nothing is left that is said; with room again all is as before.
func TestReserve(t *testing.T) {
	t.Parallel()
	dir := smallDisk(t, 2*reserveBytes+reserveSpare)
	path := filepath.Join(dir, "bench.db")
	ck := simclock.At(start, "boot-1")
	b, err := Open(path, ck)
	if err != nil {
		t.Fatal(err)
	}
	h := &hands{t: t, b: b, ck: ck}
	var told []string
	b.OnTrouble(func(err error) { told = append(told, err.Error()) })
	said := func(what string) bool {
		return slices.ContainsFunc(told, func(s string) bool { return strings.Contains(s, what) })
	}
	size := func() int64 {
		fi, err := os.Stat(reserveFile(path))
		if err != nil {
			return 0
		}
		return fi.Size()
	}
	b.KeepReserve()
	if size() != reserveBytes {
		t.Fatalf("the reserve has %d bytes; told %q", size(), told)
	}
	if !said("little space") {
		t.Errorf("of little room nothing was said: %q", told)
	}

	h.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	var ids []string
	steps := 0
	for size() > 0 {
		filler, had := fill(t, dir), size() // whatever filled the disk takes what was given up
		for size() == had {                 // the next step is wanted by the book or by its journal
			s, err := h.try(second, action.Note{Flask: 1, Text: strings.Repeat("x", 300)})
			if err != nil {
				t.Fatalf("with %d bytes of reserve: %v", had, err)
			}
			ids = append(ids, s.Action.ID)
		}
		if steps++; steps > 2*reserveBytes/reserveStep {
			t.Fatalf("the reserve does not come to its end: %s", filler)
		}
	}
	if steps != reserveBytes/reserveStep {
		t.Errorf("given up in %d steps", steps)
	}
	if !said("the disk is full: 4.2 MB left of the reserve") {
		t.Errorf("told %q", told)
	}
	have(t, h, ids)
	if said("not written") {
		t.Errorf("the journal was given no room: %q", told)
	}
	if last, err := lastJournaled(path); err != nil || last == nil || last.Seq != b.State().Head.Seq {
		t.Errorf("the journal ends with %v, the book with %v; %v", last, b.State().Head, err)
	}

	filler := fill(t, dir)
	more, refused := notes(h, 5000)
	ids = append(ids, more...)
	if !errors.Is(refused, ErrNotSaved) || !disk.Full(refused) {
		t.Errorf("with nothing left: %v", refused)
	}
	have(t, h, ids)

	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	if err := b.Beat(); err != nil {
		t.Fatal(err)
	}
	if size() != reserveBytes {
		t.Errorf("with room again the reserve has %d bytes", size())
	}
	more, err = notes(h, 10)
	ids = append(ids, more...)
	if err != nil {
		t.Errorf("with room again: %v", err)
	}
	have(t, h, ids)
	if err := b.Close(); err != nil {
		t.Error(err)
	}
	wholeBook(t, path)
}

// A file of another kind where the reserve would be is left alone, and that is said.
func TestReserveOfAnother(t *testing.T) {
	h := newHands(t)
	name := reserveFile(h.b.Path())
	if err := os.WriteFile(name, []byte("letters"), 0o600); err != nil {
		t.Fatal(err)
	}
	var told []string
	h.b.OnTrouble(func(err error) { told = append(told, err.Error()) })
	h.b.KeepReserve()
	if err := h.b.Beat(); err != nil {
		t.Fatal(err)
	}
	if _, ok := h.b.reserve.give(); ok {
		t.Error("it was given up")
	}
	got, err := os.ReadFile(name)
	if err != nil || string(got) != "letters" {
		t.Errorf("it holds %q now, %v", got, err)
	}
	if len(told) != 1 || !strings.Contains(told[0], "of another kind") {
		t.Errorf("told %q", told)
	}
}

// A book that was only opened, by a command say, makes no reserve.
func TestNoReserveUnasked(t *testing.T) {
	h := newHands(t)
	h.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	if err := h.b.Beat(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(reserveFile(h.b.Path())); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("there is a reserve: %v", err)
	}
}

// What is wrong with the disk when the bench is opened is told to a screen that is there
// a moment later.
func TestTroubleBeforeTheScreen(t *testing.T) {
	h := newHands(t)
	if err := os.WriteFile(reserveFile(h.b.Path()), []byte("letters"), 0o600); err != nil {
		t.Fatal(err)
	}
	h.b.KeepReserve()
	var told []string
	for range 2 { // the second was not waited for
		h.b.OnTrouble(func(err error) { told = append(told, err.Error()) })
	}
	if len(told) != 1 || !strings.Contains(told[0], "of another kind") {
		t.Errorf("told %q", told)
	}
}

// TestReserveIsForRecords: where there is no room for the copy of a book whose format is to
// go up, that record is not saved and the reserve is left alone; others go through.
func TestReserveIsForRecords(t *testing.T) {
	t.Parallel()
	dir := smallDisk(t, reserveBytes+reserveSpare+8<<20)
	path := filepath.Join(dir, "bench.db")
	ck := simclock.At(start, "boot-1")
	b, err := Open(path, ck)
	if err != nil {
		t.Fatal(err)
	}
	h := &hands{t: t, b: b, ck: ck}
	defer func() { _ = h.b.Close() }() // nothing more is wanted of it
	b.KeepReserve()
	h.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	fill(t, dir)
	if _, err := h.try(second, action.Crew{Initials: "AB", Handover: true}); !errors.Is(err, ErrNotSaved) || !disk.Full(err) {
		t.Errorf("a handover on a full disk: %v", err)
	}
	if n, ours := b.reserve.size(); n != reserveBytes || !ours {
		t.Errorf("the reserve has %d bytes", n)
	}
	if left, err := filepath.Glob(filepath.Join(dir, "*.format-*")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
	if got := formatOf(t, b); got != "1" {
		t.Errorf("the format is %q", got)
	}
	if ids, err := notes(h, 200); err != nil || len(ids) != 200 {
		t.Errorf("%d notes, then %v", len(ids), err)
	}
}
