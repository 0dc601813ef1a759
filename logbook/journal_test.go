package logbook

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/record"
	"flaskside/timers/simclock"
)

// journaled reads the records of all journals beside a book, whole lines only.
func journaled(t testing.TB, path string) (out []record.Record) {
	t.Helper()
	files, err := check.Journals(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range files {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for line := range bytes.Lines(b) {
			line, whole := bytes.CutSuffix(line, []byte("\n"))
			if r, err := record.Decode(line); err == nil && whole {
				out = append(out, r)
			}
		}
	}
	return out
}

// lastJournaled gives the last record in the journals beside a book, whosever they are.
func lastJournaled(path string) (*Head, error) {
	last, _, err := check.LastJournaled(path, "")
	return last, err
}

// sameAsBook holds the journals against the book.
func sameAsBook(t *testing.T, h *hands) {
	t.Helper()
	want, got := records(t, h.b), journaled(t, h.b.Path())
	if len(got) != len(want) {
		t.Fatalf("%d records in the journals, %d in the book", len(got), len(want))
	}
	for i := range want {
		if !bytes.Equal(got[i].Raw, want[i].Raw) {
			t.Errorf("the journal says\n%s, the book\n%s", got[i].Raw, want[i].Raw)
		}
	}
}

// troubles notes what the book says of its journal.
func troubles(b *Book) *[]string {
	var said []string
	b.OnTrouble(func(err error) { said = append(said, err.Error()) })
	return &said
}

func (h *hands) notes(n int) {
	h.t.Helper()
	for i := range n {
		h.do(minute, action.Note{Flask: 1, Text: fmt.Sprintf("note %d of %d", i+1, n)})
	}
}

func (h *hands) again() {
	h.t.Helper()
	if err := h.b.Close(); err != nil {
		h.t.Fatal(err)
	}
	b, err := Open(h.b.Path(), h.ck)
	if err != nil {
		h.t.Fatal(err)
	}
	h.b = b
	h.t.Cleanup(func() { _ = b.Close() })
}

// opened is a book with a flask on it, to be spoilt: nobody looks at it in the end.
func opened(t *testing.T) *hands {
	t.Helper()
	ck := simclock.At(start, "boot-1")
	b, err := Open(filepath.Join(t.TempDir(), "bench.db"), ck)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() }) // many tests have closed it already
	h := &hands{t: t, b: b, ck: ck}
	h.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	return h
}

func TestJournal(t *testing.T) {
	h := opened(t)
	said := troubles(h.b)
	h.notes(3)
	month := func(m string) string { return strings.TrimSuffix(h.b.Path(), ".db") + ".journal-" + m + ".jsonl" }
	november, err := os.ReadFile(month("2026-11"))
	if err != nil {
		t.Fatal(err)
	}
	first, _, _ := bytes.Cut(november, []byte("\n"))
	var head check.JournalHead
	if err := json.Unmarshal(first, &head); err != nil || head.Journal != 1 || head.Book != h.b.ID() || head.Book == "" {
		t.Errorf("the journal begins with %s, %v; the book is %s", first, err, h.b.ID())
	}
	if fi, err := os.Stat(month("2026-11")); err != nil || fi.Mode().Perm()&0o077 != 0 {
		t.Errorf("others may read the journal: %v, %v", fi.Mode(), err)
	}
	h.do(7*24*time.Hour, action.Note{Flask: 1, Text: "in December"})
	if err := h.b.Beat(); err != nil {
		t.Fatal(err)
	}
	h.again()
	h.notes(1)
	sameAsBook(t, h)
	if fs, err := check.Journals(h.b.Path()); err != nil || len(fs) != 2 || fs[0] != month("2026-11") || fs[1] != month("2026-12") {
		t.Errorf("journals %v, %v", fs, err)
	}
	// Said again, nothing is written twice; a batch is written whole.
	r := records(t, h.b)[2]
	if s, err := h.b.Append(r.Action); err != nil || !s.Already {
		t.Errorf("%+v, %v", s, err)
	}
	at := h.ck.Read().Wall
	if _, err := h.b.AppendAll([]action.Action{
		{ID: "b1", At: at, Body: action.Note{Flask: 1, Text: "one"}}, {ID: "b2", At: at, Body: action.Note{Flask: 1, Text: "two"}},
	}); err != nil {
		t.Fatal(err)
	}
	sameAsBook(t, h)
	if len(*said) > 0 {
		t.Errorf("said of a good journal: %q", *said)
	}
}

// What a power cut takes from a journal is written again from the book.
func TestJournalCatchesUp(t *testing.T) {
	h := opened(t)
	h.notes(6)
	name := strings.TrimSuffix(h.b.Path(), ".db") + ".journal-2026-11.jsonl"
	for _, lost := range []int64{1, 40, 400, 1500, 1 << 40} {
		if err := h.b.Close(); err != nil {
			t.Fatal(err)
		}
		fi, err := os.Stat(name)
		if err != nil {
			t.Fatal(err)
		}
		keep := max(0, fi.Size()-lost)
		if err := os.Truncate(name, keep); err != nil {
			t.Fatal(err)
		}
		if h.b, err = Open(h.b.Path(), h.ck); err != nil {
			t.Fatal(err)
		}
		said := troubles(h.b)
		h.notes(1)
		sameAsBook(t, h)
		if want := "its end was cut off"; len(*said) > 1 || lost > 1 && len(*said) == 0 || len(*said) == 1 && !strings.Contains((*said)[0], want) && keep > 0 {
			t.Errorf("cut to %d bytes: %q", keep, *said)
		}
	}
	if err := os.Remove(name); err != nil {
		t.Fatal(err)
	}
	h.again()
	h.notes(1)
	sameAsBook(t, h)
	_ = h.b.Close()
}

// Whatever is wrong with the journal, records are taken; it is said once.
func TestJournalNeverStops(t *testing.T) {
	name := func(h *hands) string {
		return strings.TrimSuffix(h.b.Path(), ".db") + ".journal-2026-11.jsonl"
	}
	for _, c := range []struct {
		what  string
		spoil func(h *hands) error
		say   string
		whole bool // afterwards the journals hold all again
	}{
		{"a folder in its place", func(h *hands) error {
			if err := os.Remove(name(h)); err != nil {
				return err
			}
			return os.Mkdir(name(h), 0o700)
		}, "is a folder", false},
		{"taken away while it is open", func(h *hands) error {
			if err := os.Remove(name(h)); err != nil {
				return err
			}
			return h.b.Beat()
		}, "was taken away", true},
		{"of another book", func(h *hands) error {
			o := opened(h.t)
			o.notes(2)
			b, err := os.ReadFile(name(o))
			if err != nil {
				return err
			}
			return os.WriteFile(name(h), b, 0o600)
		}, "bytes and should have", false}, // it is left alone, and a new one goes on
		{"ahead of the book", func(h *hands) error {
			b, err := os.ReadFile(h.b.Path())
			if err != nil {
				return err
			}
			h.notes(3)
			if err := h.b.Close(); err != nil {
				return err
			}
			return os.WriteFile(h.b.Path(), b, 0o600)
		}, "was an older copy put in its place?", false},
		{"full of something else", func(h *hands) error {
			return os.WriteFile(name(h), bytes.Repeat([]byte("lorem ipsum "), 1<<16), 0o600)
		}, "bytes and should have", true},
	} {
		h := opened(t)
		h.notes(3)
		early := troubles(h.b)
		if err := c.spoil(h); err != nil {
			t.Fatalf("%s: %v", c.what, err)
		}
		_ = h.b.Close() // some ways of spoiling have closed it
		b, err := Open(h.b.Path(), h.ck)
		if err != nil {
			t.Fatalf("%s: %v", c.what, err)
		}
		h.b = b
		said := troubles(h.b)
		before := h.b.State().Head.Seq
		h.notes(3)
		if got := h.b.State().Head.Seq; got != before+3 {
			t.Errorf("%s: %d records more, want 3", c.what, got-before)
		}
		all := strings.Join(append(*early, *said...), "; ")
		if len(*early) > 1 || len(*said) > 1 || (c.say == "") != (all == "") || !strings.Contains(all, c.say) {
			t.Errorf("%s: said %q and %q, want %q once each time it is opened", c.what, *early, *said, c.say)
		}
		if c.whole {
			sameAsBook(t, h)
		}
		if err := h.b.Close(); err != nil {
			t.Errorf("%s: %v", c.what, err)
		}
		if rep := verified(t, h.b.Path(), check.Verifying{}); len(rep.Faults) > 0 {
			t.Errorf("%s: %v", c.what, rep.Faults)
		}
	}
}

// A book that is only looked at leaves no journal, and reading one writes none.
func TestJournalOnlyOfRecords(t *testing.T) {
	h := newHands(t)
	h.again()
	b, err := OpenReading(copyOf(t, h.b.Path()), h.ck)
	if err != nil {
		t.Fatal(err)
	}
	_ = b.Close()
	for _, path := range []string{h.b.Path(), b.Path()} {
		if fs, err := check.Journals(path); err != nil || len(fs) > 0 {
			t.Errorf("journals of a book without records: %v, %v", fs, err)
		}
	}
	if _, err := check.Journals(filepath.Join(t.TempDir(), "none", "bench.db")); err != nil {
		t.Errorf("journals in a folder that is not there: %v", err)
	}
}

// Where very much is lacking, it is said, and the journal goes on from there.
func TestJournalLacksMuch(t *testing.T) {
	path := longFile(t, catchUp+100)
	h := &hands{t: t, ck: simclock.At(start.AddDate(1, 0, 0), "boot-1"), n: 1 << 20}
	var err error
	if h.b, err = Open(path, h.ck); err != nil {
		t.Fatal(err)
	}
	said := troubles(h.b)
	h.do(0, action.Crew{Initials: "KT"})
	want := fmt.Sprintf("lacks the records 1 to %d and goes on with %d", catchUp+100, catchUp+101)
	if len(*said) != 1 || !strings.Contains((*said)[0], want) {
		t.Errorf("said %q, want %q", *said, want)
	}
	if got := journaled(t, path); len(got) != 1 || got[0].Seq != catchUp+101 {
		t.Errorf("%d records in the journal", len(got))
	}
	if err := h.b.Close(); err != nil {
		t.Fatal(err)
	}
}
