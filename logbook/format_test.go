package logbook

import (
	"bytes"
	"errors"
	"flag"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/check"
	"flaskside/logbook/house"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers/simclock"
)

// writeBook makes the golden book of the format anew. Once a format was given away
// its book stays as it is, and layout.Readable, for ever.
var writeBook = flag.Bool("write-golden-book", false, "make testdata/books anew for the format of this program")

const books = "../testdata/books"

// The book of each format is read to the last byte: its journal, plain text written
// beside it, is what its records must be.
func TestGoldenBooks(t *testing.T) {
	if *writeBook {
		b := shift(t)
		if err := b.Close(); err != nil {
			t.Fatal(err)
		}
		b, err := OpenReading(b.Path(), simclock.At(start, "boot-1"))
		if err != nil {
			t.Fatal(err)
		}
		golden := filepath.Join(books, "format-"+format+".db")
		_ = os.Remove(golden)
		if err := errors.Join(writeSynced(golden, b.Snapshot), b.Close(), os.Chmod(golden, 0o644)); err != nil {
			t.Fatal(err)
		}
		js, err := check.Journals(b.Path())
		if err != nil || len(js) != 1 {
			t.Fatal(js, err)
		}
		raw, err := os.ReadFile(js[0])
		name := strings.Replace(filepath.Base(js[0]), "bench", "format-"+format, 1)
		if err := errors.Join(err, os.WriteFile(filepath.Join(books, name), raw, 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	golden, err := filepath.Glob(filepath.Join(books, "format-*.db"))
	if err != nil || len(golden) == 0 {
		t.Fatalf("golden books: %v, %v", golden, err)
	}
	for _, path := range golden {
		before, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		plain := journaled(t, path)
		rep := verified(t, path, check.Verifying{})
		last := plain[len(plain)-1]
		if len(rep.Faults) > 0 || rep.Head != (Head{Seq: last.Seq, Hash: last.Hash()}) || rep.Records != uint64(len(plain)) {
			t.Errorf("%s: %d records, head %v, want %d:%s\n%s", path, rep.Records, rep.Head, last.Seq, last.Hash().Short(), lines(rep.Faults))
		}
		b, err := OpenReading(path, simclock.At(start.AddDate(0, 0, 1), "boot-1"))
		if err != nil {
			t.Errorf("%s: %v", path, err)
			continue
		}
		for i, r := range records(t, b) {
			if !bytes.Equal(r.Raw, plain[i].Raw) {
				t.Errorf("%s: record %d reads\n%s, want\n%s", path, i+1, r.Raw, plain[i].Raw)
			}
		}
		// The invented shift ends with two flasks in the bath.
		fs := b.State().Bench.Flasks
		if fs[3] == nil || fs[4] == nil || fs[3].Stage != bench.InBath || fs[4].Stage != bench.InBath || b.State().Bench.Places[3] != 3 {
			t.Errorf("%s: flasks 3 and 4 stand at %+v and %+v", path, fs[3], fs[4])
		}
		_ = b.Close()
		if after, err := os.ReadFile(path); err != nil || !bytes.Equal(after, before) {
			t.Errorf("%s was changed by being read: %v", path, err)
		}
	}
}

// A book of the first format is written on by this program: its first lot makes it one of
// the second, in the transaction of that record, and what stood there before stays to the
// last byte. Salvage keeps the format.
func TestFirstFormatGoesOn(t *testing.T) {
	golden := filepath.Join(books, "format-1.db")
	path := copyOf(t, golden)
	plain := journaled(t, golden)
	h := &hands{t: t, ck: simclock.At(start.AddDate(0, 0, 2), "boot-2"), n: 1000}
	var err error
	if h.b, err = Open(path, h.ck); err != nil {
		t.Fatal(err)
	}
	h.do(0, action.Note{Flask: 3, Text: "goes on"})
	if got := formatOf(t, h.b); got != "1" {
		t.Errorf("after a note the format is %q", got)
	}
	h.do(0, action.LotIn{Material: "powder", Lot: "P-1", Expiry: "2030-01-31"})
	if got := formatOf(t, h.b); got != "2" {
		t.Errorf("after a lot the format is %q", got)
	}
	for i, r := range records(t, h.b)[:len(plain)] {
		if !bytes.Equal(r.Raw, plain[i].Raw) {
			t.Errorf("record %d reads\n%s, want\n%s", i+1, r.Raw, plain[i].Raw)
		}
	}
	if err := h.b.Close(); err != nil {
		t.Fatal(err)
	}
	again := filepath.Join(t.TempDir(), "again.db")
	if _, err := Salvage(path, nil, again, nil, h.ck, nil); err != nil {
		t.Fatal(err)
	}
	for _, file := range []string{path, again} {
		if rep := verified(t, file, check.Verifying{}); len(rep.Faults) > 0 || rep.Format != "2" || rep.Records != uint64(len(plain)+2) {
			t.Errorf("%s: format %q, %d records\n%s", file, rep.Format, rep.Records, lines(rep.Faults))
		}
	}
}

// A book of another format is refused with one line, by every way in, and left as it
// is.
func TestOtherFormats(t *testing.T) {
	path, _ := shiftFile(t)
	for format, want := range map[string]error{"4": errNewer, "10": errNewer, "0": ErrForeign, "": ErrForeign, "x": ErrForeign, "1 ": ErrForeign} {
		file := copyOf(t, path)
		spoil(t, file, func(tx *bolt.Tx) error { return tx.Bucket(layout.Meta).Put([]byte("format"), []byte(format)) })
		before, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, open := range []func() (*Book, error){
			func() (*Book, error) { return Open(file, simclock.At(start, "boot-1")) },
			func() (*Book, error) { return OpenReading(file, simclock.At(start, "boot-1")) },
		} {
			b, err := open()
			if !errors.Is(err, want) || strings.Contains(err.Error(), "\n") {
				t.Errorf("format %q: %v, want %v", format, err, want)
			}
			if err == nil {
				_ = b.Close()
			}
		}
		rep := verified(t, file, check.Verifying{})
		if len(rep.Faults) == 0 {
			t.Errorf("format %q: no fault", format)
		}
		// A newer book is not taken for a damaged one, and what salvage would leave behind is told.
		s, _ := salvaged(t, file)
		newer := errors.Is(want, errNewer)
		if newer && len(rep.Faults) != 1 || newer != strings.Contains(lines(s.Lost), "what this one does not know is not brought back") {
			t.Errorf("format %q: verify says\n%ssalvage\n%s", format, lines(rep.Faults), lines(s.Lost))
		}
		if after, err := os.ReadFile(file); err != nil || !bytes.Equal(after, before) {
			t.Errorf("format %q: the file was changed: %v", format, err)
		}
		if js, err := check.Journals(file); len(js) > 0 || err != nil && !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("format %q: journals %v, %v", format, js, err)
		}
	}
}

// A screen that joins makes a book of any format one of the third, and what stood there
// before stays beside it, to the last byte; a taking back lowers nothing.
func TestAScreenRaisesTheFormat(t *testing.T) {
	path := copyOf(t, filepath.Join(books, "format-1.db"))
	h := &hands{t: t, ck: simclock.At(start.AddDate(0, 0, 2), "boot-2"), n: 2000}
	var err error
	if h.b, err = Open(path, h.ck); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = h.b.Close() })
	h.do(0, action.LotIn{Material: "powder", Lot: "P-1", Expiry: "2030-01-31"})
	before := h.b.State().Head
	h.do(0, action.Screen{What: action.Joined, Role: action.RoleLead})
	if got := formatOf(t, h.b); got != "3" {
		t.Errorf("after a screen joined the format is %q", got)
	}
	if _, head, err := check.Peek(asItWas(path, "2")); err != nil || head != before {
		t.Errorf("the copy of format 2 ends at %v, %v, want %v", head, err, before)
	}
	h.do(0, action.LotIn{Material: "powder", Lot: "P-2", Expiry: "2030-01-31"})
	if got := formatOf(t, h.b); got != "3" {
		t.Errorf("after another lot the format is %q", got)
	}
}

// A day plan that was taken does, too; it is there again when the book is opened anew, and
// counts as no step of any flask.
func TestADayPlanIsKept(t *testing.T) {
	path := copyOf(t, filepath.Join(books, "format-1.db"))
	h := &hands{t: t, ck: simclock.At(start.AddDate(0, 0, 2), "boot-2"), n: 2000}
	var err error
	if h.b, err = Open(path, h.ck); err != nil {
		t.Fatal(err)
	}
	due := h.ck.Read().Wall.Add(9 * time.Hour).Format(time.RFC3339)
	h.do(0, action.CaseIn{Case: "4450", Base: "upper", Size: "medium", Due: due})
	was := len(h.b.State().Bench.Flasks)
	h.do(0, action.DayPlan{Day: "2026-11-27", Mixes: []action.PlanMix{{Cases: []string{"4450 upper"}, At: due}}, Cases: []action.PlanCase{{Case: "4450 upper", LatePercent: 5}}})
	h.do(0, action.CaseOff{Case: "4450", Base: "upper", Reason: "withdrawn by the practice"})
	if got := formatOf(t, h.b); got != "3" {
		t.Errorf("the format is %q", got)
	}
	if err := h.b.Close(); err != nil {
		t.Fatal(err)
	}
	if h.b, err = Open(path, h.ck); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = h.b.Close() })
	b := h.b.State().Bench
	if p := b.Planned; p == nil || len(p.Mixes) != 1 || len(p.Withdrawn) != 1 || p.Withdrawn[0] != "4450 upper" || len(b.Flasks) != was {
		t.Errorf("after opening anew: %+v", p)
	}
	h.do(0, action.DayPlan{Day: "2026-11-27", Away: true})
	if b := h.b.State().Bench; b.Planned != nil {
		t.Errorf("put away: %+v", b.Planned)
	}
}

// Settings with the air of the place are not known to a program of format 1.
func TestThePlaceRaisesTheFormat(t *testing.T) {
	for _, place := range []house.Site{{}, {AltitudeM: 1600}, {AirHPa: 840}} {
		s := house.Default()
		s.Place = place
		r := record.Record{Action: action.Action{Body: action.Settings{House: s}}}
		if got, want := newer(r), place != (house.Site{}); got != want {
			t.Errorf("place %+v raises the format: %v, want %v", place, got, want)
		}
	}
}

// Settings with a mirror are not known to a program of format 2.
func TestAMirrorRaisesTheFormat(t *testing.T) {
	for _, m := range []house.Mirror{{}, {To: "/mnt/mirror"}, {Bench: "bench 1"}, {NoNotes: true}} {
		s := house.Default()
		s.Mirror = m
		r := record.Record{Action: action.Action{Body: action.Settings{House: s}}}
		if got, want := newest(r), m != (house.Mirror{}); got != want {
			t.Errorf("mirror %+v raises the format: %v, want %v", m, got, want)
		}
	}
}
