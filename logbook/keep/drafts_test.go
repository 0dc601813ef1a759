package keep

import (
	"crypto/rand"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/timers/simclock"
)

// typist is one screen of the history below, and what stands on it.
type typist struct {
	*Screen
	typed Drafts
}

// history is a bench on which people type, send, leave and come again, while its keeper is killed.
type history struct {
	*rapid.T
	ck      *simclock.Hand
	path    string
	book    *logbook.Book
	hub     *Hub
	screens []*typist

	kept map[string]left // what each person is to be offered for a day
	// The file as it was last written, and who has recorded since.
	file     map[string]left
	recorded map[string]bool
}

func (h *history) open() {
	book, err := logbook.Open(h.path, h.ck)
	if err != nil {
		h.Fatal(err)
	}
	h.book, h.hub, h.screens = book, New(book, h.ck, rand.Text), nil
	h.hub.typed.every = time.Hour // the history says when it is written
}

func (h *history) by() string { return rapid.SampledFrom([]string{"KT", "MB", "LL"}).Draw(h.T, "by") }

// offered is what a person is to be offered now.
func (h *history) offered(by string) Drafts {
	if l := h.kept[by]; h.ck.Read().Wall.Sub(l.at) <= draftsHold {
		return l.d
	}
	return nil
}

// all is what everybody typed, by all screens.
func (h *history) all() map[string]left {
	out := map[string]left{}
	for by, l := range h.kept {
		if d := h.offered(by); len(d) > 0 {
			out[by] = left{at: l.at, d: d.clone()}
		}
	}
	for _, s := range h.screens {
		if by := s.Me().By; len(s.typed) > 0 {
			d := out[by].d
			if d == nil {
				d = Drafts{}
			}
			maps.Copy(d, s.typed)
			out[by] = left{at: h.ck.Read().Wall, d: d}
		}
	}
	return out
}

func (h *history) wrote() { h.file, h.recorded = h.all(), map[string]bool{} }

func (h *history) append(s *typist, by string, body action.Body) {
	a := action.Action{ID: rand.Text(), At: h.ck.Read().Wall, By: by, Body: body}
	var saved logbook.Saved
	var err error
	if s != nil {
		saved, err = s.Append(a)
	} else {
		saved, err = h.book.Append(a)
	}
	if err != nil {
		h.Fatal(err)
	}
	h.recorded[saved.Action.By] = true // a sign-on is signed with who was there
}

// join has somebody join, and holds what is offered to what they typed last.
func (h *history) join() {
	by := h.by()
	s, err := h.hub.Join(Person{By: by, Key: rapid.SampledFrom([]string{"", "SHA256:x" + by, "SHA256:y" + by}).Draw(h.T, "key")})
	if err != nil {
		h.Fatal(err)
	}
	got := s.Drafts()
	if want := h.offered(by); len(got)+len(want) > 0 && !reflect.DeepEqual(got, want) {
		h.Fatalf("%s is offered %v, and typed %v", by, got, want)
	}
	if again := s.Drafts(); len(again) > 0 {
		h.Fatalf("%s is offered twice: %v", by, again)
	}
	delete(h.kept, by)
	t := &typist{s, got.clone()}
	s.Typing(t.typed)
	h.screens = append(h.screens, t)
}

// types has something stand on a screen.
func (h *history) types(s *typist) {
	title := rapid.SampledFrom([]string{"new flask on place 1", "note on case 4417", "today"}).Draw(h.T, "title")
	if text := rapid.SampledFrom([]string{"", "4417", "70,5", "näht – „x“", "<b>"}).Draw(h.T, "text"); text == "" {
		delete(s.typed, title)
	} else {
		s.typed[title] = map[string]string{"case": text}
	}
	s.Typing(s.typed)
}

// sends has a question answered: it stands no more, and then it is recorded.
func (h *history) sends(s *typist) {
	for title := range s.typed {
		delete(s.typed, title)
		break
	}
	s.Typing(s.typed)
	h.append(s, s.Me().By, action.TimerStart{Label: "x", Count: "up"})
}

// leave has a screen end, with what stands on it kept.
func (h *history) leave(s *typist) {
	by := s.Me().By
	s.Leave(s.typed)
	if len(s.typed) > 0 {
		h.kept[by] = left{at: h.ck.Read().Wall, d: s.typed}
	}
	h.screens = slices.DeleteFunc(h.screens, func(o *typist) bool { return o == s })
}

// again has the program begin anew: after a kill with what the file has, else with all.
func (h *history) again(killed bool) {
	if killed {
		h.hub.typed.mu.Lock()
		if h.hub.typed.timer != nil {
			h.hub.typed.timer.Stop()
		}
		h.hub.typed.over = true
		h.hub.typed.mu.Unlock()
	} else {
		due := h.hub.typed.timer != nil
		for len(h.screens) > 0 {
			due = due || len(h.screens[0].typed) > 0
			h.leave(h.screens[0])
			due = due || h.hub.typed.timer != nil
		}
		h.hub.End()
		h.hub.Close()
		if due {
			h.wrote()
		}
	}
	if err := h.book.Close(); err != nil {
		h.Fatal(err)
	}
	if !killed && rapid.IntRange(0, 3).Draw(h.T, "spoilt") == 0 {
		junk := rapid.SampledFrom([]string{"", "{", `{"drafts":1,"book":"other","people":{"KT":{"at":"2026-11-25T08:00:00Z","typed":{"a":{"b":"c"}}}}}`, strings.Repeat("x", mostFile+9)}).Draw(h.T, "junk")
		if err := os.WriteFile(h.path+draftsName, []byte(junk), 0o600); err != nil {
			h.Fatal(err)
		}
		h.file = nil
	}
	h.kept = map[string]left{}
	for by, l := range h.file {
		if !h.recorded[by] {
			h.kept[by] = l
		}
	}
	h.open()
}

// TestWhatStandsAgain: whatever people do, and whenever the keeper is killed, a person is offered
// exactly what they typed last and did not send, as far as it was written, or nothing; and nobody
// what another typed.
func TestWhatStandsAgain(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp(t.TempDir(), "")
		if err != nil {
			rt.Fatal(err)
		}
		h := &history{T: rt, ck: simclock.At(start, "boot-1"), path: filepath.Join(dir, "b.db"), kept: map[string]left{}, recorded: map[string]bool{}}
		h.open()
		defer func() { _ = h.book.Close() }()
		for range rapid.IntRange(1, 40).Draw(rt, "acts") {
			act := rapid.IntRange(0, 13).Draw(rt, "act")
			if len(h.screens) == 0 && act < 8 {
				act = 8
			}
			var s *typist
			if act < 8 {
				s = rapid.SampledFrom(h.screens).Draw(rt, "screen")
			}
			switch act {
			case 0, 1, 2, 3:
				h.types(s)
			case 4, 5:
				h.sends(s)
			case 6:
				h.leave(s)
			case 7: // another signs on where the screen is nobody's own
				if s.Me().Fixed {
					continue
				}
				was, by := s.Me().By, h.by()
				if by == was {
					continue
				}
				h.append(s, by, action.Crew{Initials: by})
				if len(s.typed) > 0 {
					h.kept[was] = left{at: h.ck.Read().Wall, d: s.typed}
				}
				s.typed = s.Drafts().clone()
				if want := h.offered(by); len(s.typed)+len(want) > 0 && !reflect.DeepEqual(s.typed, want) {
					rt.Fatalf("%s, who signs on, is offered %v, and typed %v", by, s.typed, want)
				}
				delete(h.kept, by)
				s.Typing(s.typed)
			case 8, 9:
				h.join()
			case 10:
				h.hub.typed.write()
				h.wrote()
			case 11:
				h.append(nil, h.by(), action.Seen{})
			case 12:
				h.ck.Run(time.Duration(rapid.Int64Range(0, int64(14*time.Hour)).Draw(rt, "while")))
			case 13:
				h.again(rapid.Bool().Draw(rt, "killed"))
			}
		}
		h.again(true)
		h.join()
	})
}

// TestDraftFileIsOfItsOwner: the file can be read by its owner alone, holds what stands in fields
// and nothing else of a person, and goes with the last of them.
func TestDraftFileIsOfItsOwner(t *testing.T) {
	d := newDesktop(t)
	s := d.join(Person{By: "KT", Key: "SHA256:secret", From: "192.0.2.7"})
	s.Typing(Drafts{"new flask on place 1": {"case": "4417"}})
	d.hub.typed.write()
	path := d.path + draftsName
	fi, err := os.Lstat(path)
	if err != nil || fi.Mode().Perm() != 0o600 {
		t.Fatalf("%v, %v", fi, err)
	}
	b, err := os.ReadFile(path)
	if err != nil || strings.Contains(string(b), "secret") || strings.Contains(string(b), "192.0.2.7") || !strings.Contains(string(b), "4417") {
		t.Errorf("it holds %s, %v", b, err)
	}
	s.Typing(nil)
	d.hub.typed.write()
	if left, _ := filepath.Glob(d.path + draftsName + "*"); len(left) > 0 {
		t.Errorf("left are %v", left)
	}
}

// TestTypedHoldsForADay: what was left is offered for a day, also where the keeper runs on, where
// others type, and where it is killed after they did.
func TestTypedHoldsForADay(t *testing.T) {
	const title = "new flask on place 1"
	for _, c := range []struct {
		killed bool
		passes time.Duration
		offers bool
	}{{false, 23 * time.Hour, true}, {true, 23 * time.Hour, true}, {false, 25 * time.Hour, false}, {true, 25 * time.Hour, false}} {
		d := newDesktop(t)
		s := d.join(Person{By: "KT"})
		s.Leave(Drafts{title: {"case": "4417"}})
		d.ck.Run(c.passes)
		other := d.join(Person{By: "MB"})
		other.Typing(Drafts{title: {"case": "4418"}})
		d.hub.typed.write()
		if c.killed {
			d.hub = New(d.book, d.ck, rand.Text)
		}
		if got := d.join(Person{By: "KT"}).Drafts(); (len(got) > 0) != c.offers {
			t.Errorf("killed %v, %v later: %v is offered", c.killed, c.passes, got)
		}
	}
}
