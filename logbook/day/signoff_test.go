package day_test

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/day"
	"flaskside/timers/simclock"
)

// signer works on a book of one flask and signs days off.
type signer struct {
	t     testing.TB
	b     *logbook.Book
	ck    *simclock.Hand
	n     int
	start time.Time
}

func newSigner(t testing.TB, dir string) *signer {
	start := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	ck := simclock.At(start, "b")
	b, err := logbook.Open(filepath.Join(dir, "bench.db"), ck)
	if err != nil {
		t.Fatal(err)
	}
	return &signer{t: t, b: b, ck: ck, start: start}
}

func (s *signer) say(by string, at time.Time, body action.Body) (logbook.Saved, error) {
	s.n++
	return s.b.Append(action.Action{ID: fmt.Sprint("s", s.n), At: at, By: by, Body: body, Why: "1"})
}

func (s *signer) must(body action.Body) logbook.Saved {
	s.t.Helper()
	s.ck.Run(time.Minute)
	r, err := s.say("KT", s.ck.Read().Wall, body)
	if err != nil {
		s.t.Fatal(err)
	}
	return r
}

// day gives the midnights of a day, counted from the first.
func (s *signer) day(n int) (from, until time.Time) {
	return time.Date(2026, 11, 25+n, 0, 0, 0, 0, time.UTC), time.Date(2026, 11, 26+n, 0, 0, 0, 0, time.UTC)
}

func (s *signer) sheet(n int) day.Sheet {
	s.t.Helper()
	from, until := s.day(n)
	b, err := day.Gather(s.b, from, until)
	if err != nil {
		s.t.Fatal(err)
	}
	return day.Sheet{Bench: b, Head: s.b.State().Head.String(), From: from, Until: until}
}

func (s *signer) text(n int) string {
	s.t.Helper()
	var out bytes.Buffer
	if err := s.sheet(n).Text(&out); err != nil {
		s.t.Fatal(err)
	}
	return out.String()
}

// A day is signed off by somebody, once, when there is something to look at; what changed
// since stands on every form of the sheet.
func TestSignOff(t *testing.T) {
	s := newSigner(t, t.TempDir())
	defer func() { _ = s.b.Close() }()
	refused := func(by string, n int, why string) {
		t.Helper()
		if _, err := s.say(by, s.ck.Read().Wall, action.SignOffOf(s.day(n))); err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%v, want %q", err, why)
		}
	}
	refused("MR", 0, "nothing was recorded on 2026-11-25")
	s.must(action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	note := s.must(action.Note{Flask: 1, Text: "first"})
	refused("", 0, "somebody")
	refused("MR", 1, "2026-11-26 has not begun")
	refused("MR", -1, "nothing was recorded on 2026-11-24")
	if strings.Contains(s.text(0), "igned off") {
		t.Error("signed off before anybody did")
	}
	s.ck.Run(time.Minute)
	if _, err := s.say("MR", s.start, action.SignOffOf(s.day(0))); err == nil || !strings.Contains(err.Error(), "sign off as of now") {
		t.Errorf("signed off before what was done: %v", err)
	}
	if _, err := s.say("MR", s.ck.Read().Wall, action.SignOffOf(s.day(0))); err != nil {
		t.Fatal(err)
	}
	refused("KT", 0, "was signed off by MR, Wed 25 Nov 08:03:00, and nothing was recorded since")
	want := "Signed off by MR, Wed 25 Nov 2026 08:03:00 +00:00.\nNothing on this sheet was entered or changed since.\n"
	if got := s.text(0); !strings.Contains(got, want) {
		t.Errorf("the sheet does not say who signed it off:\n%s", got)
	}
	// A day later something is set right: the sheet of the first day tells it.
	s.ck.Run(24 * time.Hour)
	s.must(action.Correct{Of: note.Action.ID, Set: []byte(`{"text":"second"}`)})
	for form, write := range map[string]func(day.Sheet, *bytes.Buffer) error{
		"text": func(d day.Sheet, b *bytes.Buffer) error { return d.Text(b) },
		"html": func(d day.Sheet, b *bytes.Buffer) error { return d.HTML(b) },
	} {
		var out bytes.Buffer
		if err := write(s.sheet(0), &out); err != nil {
			t.Fatal(err)
		}
		if got := out.String(); !strings.Contains(got, "Signed off by MR") || !strings.Contains(got, "CHANGED SINCE THE SIGN-OFF, by 1 record:") || strings.Contains(got, "Nothing on this sheet") || !strings.Contains(got, "record 4, Thu 26 Nov 08:04") {
			t.Errorf("%s:\n%s", form, got)
		}
	}
	// The next morning the lead signs the first day off anew; the sheet of the second day has
	// the record, and is not signed off by it.
	s.ck.Run(time.Minute)
	if _, err := s.say("LB", s.ck.Read().Wall, action.SignOffOf(s.day(0))); err != nil {
		t.Fatal(err)
	}
	if got := s.text(0); !strings.Contains(got, "Signed off before by MR") || !strings.Contains(got, "Signed off by LB, Thu 26 Nov 2026 08:05:00 +00:00.\nNothing") {
		t.Errorf("signed off anew:\n%s", got)
	}
	if got := s.text(1); strings.Contains(got, "Signed off") || !strings.Contains(got, "OTHER DAYS SIGNED OFF\n  08:05  LB  sheet of Wed 25 Nov 2026 signed off") {
		t.Errorf("the second day:\n%s", got)
	}
}

// Whatever is entered, set right, undone or signed off in whatever order: a sheet that says
// "Signed off" says that nothing changed since only where no record about the day follows the
// last sign-off that counts, and counts those that do.
func TestSheetNeverSignedOffInSilence(t *testing.T) {
	dirs := 0
	root := t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		dirs++
		s := newSigner(t, filepath.Join(root, fmt.Sprint(dirs)))
		defer func() { _ = s.b.Close() }()
		s.must(action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
		type done struct {
			id     string
			at     time.Time
			signs  int    // of the day, -1 for no sign-off
			of     string // what it takes back
			undone bool
		}
		all := []done{{id: "s1", at: s.ck.Read().Wall, signs: -1}}
		for range rapid.IntRange(1, 14).Draw(rt, "steps") {
			s.ck.Run(time.Duration(rapid.IntRange(1, 900).Draw(rt, "min")) * time.Minute)
			now := s.ck.Read().Wall
			d := done{at: now, signs: -1}
			var body action.Body
			switch rapid.IntRange(0, 4).Draw(rt, "what") {
			case 0:
				body = action.TimerStart{Label: "late", Count: "up"}
				d.at = now.Add(-time.Duration(rapid.IntRange(0, 2000).Draw(rt, "late")) * time.Minute)
			case 1, 2:
				d.signs = rapid.IntRange(0, 3).Draw(rt, "day")
				body = action.SignOffOf(s.day(d.signs))
			case 3:
				body = action.TakeBack{Of: all[rapid.IntRange(0, len(all)-1).Draw(rt, "of")].id}
			default:
				body = action.TimerStart{Label: "now", Count: "up"}
			}
			r, err := s.say("MR", d.at, body)
			if err != nil {
				continue
			}
			d.id = r.Action.ID
			if tb, ok := body.(action.TakeBack); ok {
				d.of = tb.Of
			}
			all = append(all, d)
			// The last first: a taking back that was itself undone takes nothing back.
			undone := map[string]bool{}
			for i := len(all) - 1; i >= 0; i-- {
				if all[i].undone = undone[all[i].id]; !all[i].undone && all[i].of != "" {
					undone[all[i].of] = true
				}
			}
		}
		for n := range 4 {
			from, until := s.day(n)
			last := -1
			for i, d := range all {
				if d.signs == n && !d.undone {
					last = i
				}
			}
			text := s.text(n)
			if (last >= 0) != strings.Contains(text, "Signed off by ") {
				rt.Fatalf("day %d, last sign-off %d of %+v:\n%s", n, last, all, text)
			}
			if last < 0 {
				continue
			}
			since := 0
			for _, d := range all[last+1:] {
				if d.signs != n && !d.at.Before(from) && d.at.Before(until) {
					since++
				}
			}
			if quiet := strings.Contains(text, "Nothing on this sheet was entered or changed since."); quiet && since > 0 || quiet == strings.Contains(text, "CHANGED SINCE THE SIGN-OFF") {
				rt.Fatalf("day %d: %d records since, and the sheet says\n%s", n, since, text)
			}
		}
	})
}

// The sign-off of one day that is undone on the next is told on the sheet of that one, also where it was signed off
// before.
func TestSignOffUndoneOnAnotherDay(t *testing.T) {
	s := newSigner(t, t.TempDir())
	defer func() { _ = s.b.Close() }()
	s.must(action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	s.ck.Run(time.Hour)
	first := s.must(action.SignOffOf(s.day(0)))
	s.ck.Run(24 * time.Hour)
	s.must(action.TimerStart{Label: "stone", Count: "up"})
	s.ck.Run(time.Hour)
	s.must(action.SignOffOf(s.day(1)))
	s.ck.Run(time.Hour)
	s.must(action.TakeBack{Of: first.Action.ID})
	got := s.text(1)
	for _, want := range []string{"CHANGED SINCE THE SIGN-OFF, by 1 record:", "UNDONE", "sheet of Wed 25 Nov 2026 signed off"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not on the second day's sheet:\n%s", want, got)
		}
	}
	if got := s.text(0); strings.Contains(got, "Signed off by") {
		t.Errorf("the first day is signed off:\n%s", got)
	}
}
