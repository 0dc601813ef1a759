package logbook

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flaskside/logbook/check"
)

// besides looks through a book with the journals beside it, as the command does.
func besides(t *testing.T, path string) check.Report {
	t.Helper()
	files, err := check.JournalFiles(path)
	if err != nil {
		t.Fatal(err)
	}
	return verified(t, path, check.Verifying{Journals: files, Beside: path})
}

func theJournal(h *hands) string {
	return strings.TrimSuffix(h.b.Path(), ".db") + ".journal-2026-11.jsonl"
}

func (h *hands) closed() {
	h.t.Helper()
	if err := h.b.Close(); err != nil {
		h.t.Fatal(err)
	}
}

// A book knows that it had a journal: where all are gone, or the beginning, or the end of
// them, that is said when it is looked through and when it is opened.
func TestJournalGoneIsToldOf(t *testing.T) {
	for _, c := range []struct {
		what  string
		spoil func(name string, lines []string) error
		fault string
		open  string // what is said when it is opened
	}{
		{"all of it", func(name string, _ []string) error { return os.Remove(name) }, "records 1 to 7: the journal beside the book held them and is gone", "is gone: it held records from 1 on"},
		{"its beginning", func(name string, lines []string) error {
			return os.WriteFile(name, []byte(lines[0]+strings.Join(lines[4:], "")), 0o600)
		}, "records 1 to 3, 2026-11-25: stands in the book and not in the journal", ""},
		{"its end", func(name string, lines []string) error {
			return os.WriteFile(name, []byte(strings.Join(lines[:5], "")), 0o600)
		}, "records 5 to 7, 2026-11-25: stands in the book and not in the journal", "ends with record 4 and held them up to 7"},
	} {
		h := opened(t)
		h.notes(6)
		h.closed()
		if rep := besides(t, h.b.Path()); len(rep.Faults) > 0 {
			t.Fatalf("before: %v", rep.Faults)
		}
		if check.JournalsGone(h.b.Path()) {
			t.Fatal("gone before it was taken")
		}
		b, err := os.ReadFile(theJournal(h))
		if err != nil {
			t.Fatal(err)
		}
		if err := c.spoil(theJournal(h), strings.SplitAfter(string(b), "\n")); err != nil {
			t.Fatal(err)
		}
		if rep := besides(t, h.b.Path()); len(rep.Faults) != 1 || rep.Faults[0].Kind != check.FaultJournal || !strings.Contains(rep.Faults[0].String(), c.fault) {
			t.Errorf("%s: %v, want %q", c.what, rep.Faults, c.fault)
		}
		if check.JournalsGone(h.b.Path()) != (c.what == "all of it") {
			t.Errorf("%s: gone is %v", c.what, c.what != "all of it")
		}
		if h.b, err = Open(h.b.Path(), h.ck); err != nil {
			t.Fatal(err)
		}
		said := troubles(h.b)
		h.notes(1)
		if (c.open == "") != (len(*said) == 0) || !strings.Contains(strings.Join(*said, "; "), c.open) {
			t.Errorf("%s: said %q when it was opened, want %q", c.what, *said, c.open)
		}
		h.closed()
		rep := besides(t, h.b.Path())
		if want := c.open == ""; want != (len(rep.Faults) > 0) { // what was written again is no fault; a lost beginning stays one
			t.Errorf("%s: after the next record %v", c.what, rep.Faults)
		}
	}
}

// A copy of a book has no journal of its own and is not asked for one, whatever its name.
func TestCopyHasNoJournal(t *testing.T) {
	h := opened(t)
	h.notes(3)
	h.closed()
	dir := t.TempDir()
	for _, name := range []string{"bench.db", "other.db"} {
		b, err := os.ReadFile(h.b.Path())
		if err != nil {
			t.Fatal(err)
		}
		to := filepath.Join(dir, name)
		if err := os.WriteFile(to, b, 0o600); err != nil {
			t.Fatal(err)
		}
		if rep := besides(t, to); len(rep.Faults) > 0 || check.JournalsGone(to) {
			t.Errorf("a copy called %s: %v", name, rep.Faults)
		}
	}
}

// What others do to the journal between two records is noticed with the next one, is told,
// and takes no record out of the journals.
func TestJournalIsHeldAtEachRecord(t *testing.T) {
	for what, spoil := range map[string]func(h *hands, other []byte) error{
		"replaced by that of another book": func(h *hands, other []byte) error {
			tmp := theJournal(h) + ".x"
			if err := os.WriteFile(tmp, other, 0o600); err != nil {
				return err
			}
			return os.Rename(tmp, theJournal(h))
		},
		"that of another book copied over it": func(h *hands, other []byte) error { return os.WriteFile(theJournal(h), other, 0o600) },
		"that of another book added to it": func(h *hands, other []byte) error {
			b, err := os.ReadFile(theJournal(h))
			if err != nil {
				return err
			}
			return os.WriteFile(theJournal(h), append(b, other...), 0o600)
		},
		"moved away": func(h *hands, _ []byte) error { return os.Rename(theJournal(h), theJournal(h)+".away") },
		"emptied":    func(h *hands, _ []byte) error { return os.Truncate(theJournal(h), 0) },
	} {
		h, o := opened(t), opened(t)
		h.notes(4)
		o.notes(9)
		other, err := os.ReadFile(theJournal(o))
		if err != nil {
			t.Fatal(err)
		}
		said := troubles(h.b)
		if err := spoil(h, other); err != nil {
			t.Fatal(err)
		}
		h.notes(3)
		if len(*said) != 1 {
			t.Errorf("%s: said %q", what, *said)
		}
		h.closed()
		var mine int
		for _, r := range journaled(t, h.b.Path()) {
			if want, err := h.recordOf(r.Seq); err == nil && bytes.Equal(want, r.Raw) {
				mine++
			}
		}
		if mine < 8 {
			t.Errorf("%s: %d of 8 records stand in the journals", what, mine)
		}
		if rep := besides(t, h.b.Path()); len(rep.Faults) > 0 {
			t.Errorf("%s: %v", what, rep.Faults)
		}
	}
}

func (h *hands) recordOf(seq uint64) ([]byte, error) {
	r, ok, err := check.PeekRecord(h.b.Path(), seq)
	if err != nil || !ok {
		return nil, fmt.Errorf("record %d: %v, %w", seq, ok, err)
	}
	return r.Raw, nil
}
