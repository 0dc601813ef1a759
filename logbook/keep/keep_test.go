package keep

import (
	"crypto/rand"
	"errors"
	"fmt"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/timers"
	_ "flaskside/timers/longrun" // room for the collector, scratch folders in memory
	"flaskside/timers/simclock"
)

var start = time.Date(2026, 11, 25, 8, 0, 0, 0, time.FixedZone("", 3600))

// desktop is a hub on a book in a scratch folder.
type desktop struct {
	t interface {
		Helper()
		Fatal(...any)
		Fatalf(string, ...any)
		Errorf(string, ...any)
	}
	ck   *simclock.Hand
	book *logbook.Book
	hub  *Hub
	path string
}

func newDesktop(t *testing.T) *desktop {
	t.Helper()
	d := &desktop{t: t, ck: simclock.At(start, "boot-1"), path: filepath.Join(t.TempDir(), "b.db")}
	d.open(t)
	return d
}

func (d *desktop) open(t *testing.T) {
	t.Helper()
	book, err := logbook.Open(d.path, d.ck)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = book.Close() })
	d.book, d.hub = book, New(book, d.ck, rand.Text)
}

func (d *desktop) join(p Person) *Screen {
	d.t.Helper()
	s, err := d.hub.Join(p)
	if err != nil {
		d.t.Fatal(err)
	}
	return s
}

// act is an action as a screen sends it.
func (d *desktop) act(by string, body action.Body) action.Action {
	return action.Action{ID: rand.Text(), At: d.ck.Read().Wall, By: by, Body: body, Why: "8"}
}

func (d *desktop) do(s *Screen, body action.Body) logbook.Saved {
	d.t.Helper()
	saved, err := s.Append(d.act(s.Me().By, body))
	if err != nil {
		d.t.Fatalf("%s, %s: %v", s.Me().By, body.Kind(), err)
	}
	return saved
}

// people gives the house its people.
func (d *desktop) people(ps ...house.Person) {
	d.t.Helper()
	h := d.book.State().Bench.House
	h.People = ps
	if _, err := d.book.Append(d.act("LL", action.Settings{House: h})); err != nil {
		d.t.Fatal(err)
	}
}

// trio are a lead, somebody who works, and somebody who looks.
var trio = []house.Person{{By: "LL", Role: "lead"}, {By: "KT", Role: "work"}, {By: "MB", Role: "work"}, {By: "SV", Role: "see"}}

// allKinds is who may record what: the least role, "" where the bench records it itself.
// Each kind is decided here by hand, so that a new one must be thought about.
var allKinds = map[action.Kind]string{
	"flask-open": "work", "flask-move": "work", "coat": "work", "mix": "work", "mix-serve": "work", "mix-dough": "work", "mix-stiff": "work",
	"press-in": "work", "press-at": "work", "press-open": "work", "flash": "work", "flash-more": "work", "dough-add": "work", "inspect": "work",
	"flask-lots": "work", "sheet-out": "work", "metal-to-metal": "work", "clamp": "work", "bath-load": "work", "bath-reading": "work",
	"bath-unload": "work", "cool-water": "work", "deflask": "work", "remount": "work", "outcome": "work", "note": "work",
	"timer-start": "work", "timer-stop": "work", "alarm-heard": "work", "alarm-shelve": "work", "crew": "work", "caution": "work", "seen": "work",
	"lot-in": "work", "case-in": "work", "case-off": "work", "case-delivered": "work", "day-plan": "work", "case-step": "work",
	// Whoever sees a crack takes the thing out of use.
	"equip-in": "work", "equip-check": "work", "equip-water": "work", "equip-out": "work",
	"correct": "own", "take-back": "own", // one's own; those of others want a lead
	"settings": "lead", "lot-out": "lead", "sign-off": "lead",
	"clock": "", "restored": "", "screen": "",
}

// TestRolesByKind holds who may record what to the table, for every kind that there is.
func TestRolesByKind(t *testing.T) {
	for _, k := range action.Kinds() {
		least, decided := allKinds[k]
		if !decided {
			t.Errorf("nobody has decided who may record %q", k)
			continue
		}
		for i, role := range action.Roles {
			for _, away := range []bool{false, true} {
				for _, whose := range []string{"KT", "MB", ""} {
					p := Person{By: "KT", Role: role, Away: away}
					own := whose == "KT"
					want := map[string]bool{"": false, "work": i >= 1, "lead": i == 2, "own": i == 2 || i == 1 && own}[least]
					if away && (k == "alarm-heard" || k == "alarm-shelve") {
						want = false
					}
					err := p.may(k, whose)
					if (err == nil) != want {
						t.Errorf("%s as %s, away %v, record of %q: %v", k, role, away, whose, err)
					}
					if err != nil && strings.ContainsAny(err.Error(), "\n") {
						t.Errorf("%q is no line", err)
					}
				}
			}
		}
	}
	for k := range allKinds {
		found := false
		for _, kk := range action.Kinds() {
			found = found || kk == k
		}
		if !found {
			t.Errorf("%q is no kind", k)
		}
	}
}

// TestRolesMeet: of what a key gives and what the settings give the lower holds, and nobody
// is more than the settings say.
func TestRolesMeet(t *testing.T) {
	h := house.Default()
	for _, c := range []struct {
		people []house.Person
		p      Person
		role   string
		away   bool
	}{
		{nil, Person{By: "KT"}, "lead", false},
		{nil, Person{By: "KT", Role: "see"}, "see", false},
		{trio, Person{By: "KT"}, "work", false},
		{trio, Person{By: "KT", Role: "lead"}, "work", false},
		{trio, Person{By: "LL", Role: "see"}, "see", false},
		{trio, Person{By: "XX", Role: "lead"}, "see", false},
		{trio, Person{}, "see", false},
		{[]house.Person{{By: "LL", Role: "lead"}, {By: "KT", Role: "work", Away: true}}, Person{By: "KT"}, "work", true},
	} {
		h.People = c.people
		if got := c.p.in(h); got.Role != c.role || got.Away != c.away {
			t.Errorf("%+v with %d people is %s, away %v; want %s, %v", c.p, len(c.people), got.Role, got.Away, c.role, c.away)
		}
	}
}

// TestOnesOwnInitials: whatever initials an action comes with, it stands in the book under
// those of the screen's person; who signs on at one screen is nobody at another.
func TestOnesOwnInitials(t *testing.T) {
	d := newDesktop(t)
	kt, mb := d.join(Person{By: "KT", Own: true}), d.join(Person{By: "MB"})
	if s := d.do(kt, action.TimerStart{Label: "a", Count: "up"}); s.Action.By != "KT" {
		t.Errorf("KT's record is by %q", s.Action.By)
	}
	saved, err := mb.Append(d.act("KT", action.TimerStart{Label: "b", Count: "up"}))
	if err != nil || saved.Action.By != "MB" {
		t.Errorf("MB wrote as %q, %v", saved.Action.By, err)
	}
	d.do(mb, action.Crew{Initials: "ZZ"})
	if kt.Me().By != "KT" || mb.Me().By != "ZZ" {
		t.Errorf("after ZZ signed on at the second screen they are %q and %q", kt.Me().By, mb.Me().By)
	}
	if s := d.do(kt, action.TimerStart{Label: "c", Count: "up"}); s.Action.By != "KT" {
		t.Errorf("KT's record is by %q after another signed on elsewhere", s.Action.By)
	}
}

// TestNobodyBecomesALead: a screen that is somebody's own, by a key or by name, is nobody
// else's.
func TestNobodyBecomesALead(t *testing.T) {
	d := newDesktop(t)
	d.people(trio...)
	for _, p := range []Person{{By: "KT", Key: "SHA256:x", Role: "work"}, {By: "KT", Named: true}} {
		s := d.join(p)
		if _, err := s.Append(d.act("LL", action.Crew{Initials: "LL"})); err == nil || !strings.Contains(err.Error(), "is KT's") {
			t.Errorf("%+v: LL signed on: %v", p, err)
		}
		if _, err := s.Append(d.act("LL", action.Settings{House: d.book.State().Bench.House})); err == nil {
			t.Errorf("%+v changed the settings in the name of LL", p)
		}
		if _, err := s.Append(d.act("LL", action.SignOff{Day: "2026-11-25", From: start.Add(-8 * time.Hour).Format(time.RFC3339), Until: start.Add(16 * time.Hour).Format(time.RFC3339)})); err == nil {
			t.Errorf("%+v signed the day off in the name of LL", p)
		}
		d.do(s, action.Crew{Initials: "KT", Handover: true})
	}
	open := d.join(Person{})
	if _, err := open.Append(d.act("", action.TimerStart{Label: "a", Count: "up"})); err == nil {
		t.Error("nobody is signed on, and it was recorded")
	}
	d.do(open, action.Crew{Initials: "MB"})
	d.do(open, action.TimerStart{Label: "a", Count: "up"})
}

// TestOthersRecords: only a lead undoes what somebody else recorded.
func TestOthersRecords(t *testing.T) {
	d := newDesktop(t)
	d.people(trio...)
	kt, mb, ll := d.join(Person{By: "KT", Named: true}), d.join(Person{By: "MB", Named: true}), d.join(Person{By: "LL", Named: true})
	a := d.do(mb, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	if _, err := kt.Append(d.act("KT", action.TakeBack{Of: a.Action.ID})); err == nil || !strings.Contains(err.Error(), "by MB") {
		t.Errorf("KT undid what MB recorded: %v", err)
	}
	d.do(mb, action.TakeBack{Of: a.Action.ID})
	b := d.do(kt, action.FlaskOpen{Place: 1, Case: "4418", Base: "upper", Size: "medium"})
	d.do(ll, action.TakeBack{Of: b.Action.ID})
}

// TestAwayLooks: from a desk away from the bench alarms are seen and not answered.
func TestAwayLooks(t *testing.T) {
	d := newDesktop(t)
	at, away := d.join(Person{By: "KT"}), d.join(Person{By: "LL", Away: true})
	d.do(away, action.TimerStart{Label: "soak", Count: "down", AimS: 60})
	d.ck.Run(2 * time.Minute)
	al := d.book.State().Bench.Alarms(d.book.Now())
	if len(al) != 1 {
		t.Fatalf("%d alarms, want 1", len(al))
	}
	for _, body := range []action.Body{action.AlarmHeard{Alarm: al[0].Key}, action.AlarmShelve{Alarm: al[0].Key, ForS: 60}} {
		if _, err := away.Append(d.act("LL", body)); err == nil || !strings.Contains(err.Error(), "away from the bench") {
			t.Errorf("%s from away: %v", body.Kind(), err)
		}
	}
	d.do(at, action.AlarmHeard{Alarm: al[0].Key})
	if al := away.State().Bench.Alarms(d.book.Now()); al[0].State != timers.Acknowledged {
		t.Errorf("acknowledged at the bench it is %s away", al[0].State)
	}
}

// TestComeAndGo: whoever joins and leaves is in the book, and that of the keeper is not; who
// comes back is told since when they were away, and what they typed stands there again, once.
func TestComeAndGo(t *testing.T) {
	d := newDesktop(t)
	own := d.join(Person{By: "KT", Own: true})
	if n := d.book.State().Head.Seq; n != 0 {
		t.Errorf("a bench alone has %d records", n)
	}
	mb := d.join(Person{By: "MB", From: "pts/3", Role: "work", Key: "SHA256:x"})
	if got := mb.Absence(); got != (Absence{}) {
		t.Errorf("who never was here was away since %v", got.Since.At)
	}
	d.ck.Run(time.Hour)
	mb.Leave(Drafts{"new flask": {"case": "4417"}})
	left := d.ck.Read().Wall
	d.ck.Run(8 * time.Hour)
	again := d.join(Person{By: "MB", Key: "SHA256:x"})
	if got := again.Absence(); !got.Since.At.Equal(left) || got.Closed {
		t.Errorf("away since %v (closed %v), want %v", got.Since.At, got.Closed, left)
	}
	if got := again.Drafts(); got["new flask"]["case"] != "4417" {
		t.Errorf("what was typed is gone: %v", got)
	}
	if got := again.Drafts(); len(got) != 0 {
		t.Errorf("and stands there twice: %v", got)
	}
	second := d.join(Person{By: "MB"})
	if got := second.Absence(); got != (Absence{}) {
		t.Errorf("at another screen of the same person: away since %v", got.Since.At)
	}
	second.Leave(nil)
	again.Leave(nil)
	own.Leave(nil)
	var told []string
	err := d.book.Each(1, func(r record.Record) (bool, error) {
		b := r.Action.Body.(action.Screen)
		told = append(told, fmt.Sprint(r.Action.By, " ", b.What, " ", b.Role, " ", b.From, b.Key))
		return true, nil
	})
	want := []string{"MB joined work pts/3SHA256:x", "MB left work pts/3SHA256:x", "MB joined lead SHA256:x", "MB joined lead ", "MB left lead ", "MB left lead SHA256:x"}
	if err != nil || !reflect.DeepEqual(told, want) {
		t.Errorf("the book tells %q, %v; want %q", told, err, want)
	}
	if d.hub.Others() != 0 || len(d.hub.Screens()) != 0 {
		t.Errorf("%d screens are left", len(d.hub.Screens()))
	}
}

// TestNewestWins: a screen that fetches nothing holds nobody up, and finds the newest when it
// does; others hear of everything.
func TestNewestWins(t *testing.T) {
	d := newDesktop(t)
	deaf, good := d.join(Person{By: "KT", Own: true}), d.join(Person{By: "MB"})
	for i := range 300 {
		d.do(good, action.TimerStart{Label: fmt.Sprint("t", i), Count: "up"})
		d.hub.Tell(fmt.Sprint("line ", i))
		if n := good.Take(); n.State.Head != d.book.State().Head || len(n.Lines) == 0 {
			t.Fatalf("the good screen is at %s, the book at %s", n.State.Head, d.book.State().Head)
		}
	}
	n := deaf.Take()
	if n.State.Head != d.book.State().Head || len(n.Lines) != mostLines || n.Lines[mostLines-1].Text != "line 299" {
		t.Errorf("at %s with %d lines, the book at %s", n.State.Head, len(n.Lines), d.book.State().Head)
	}
	if n := deaf.Take(); len(n.Lines) != 0 {
		t.Errorf("lines are told twice: %v", n.Lines)
	}
}

// TestTroubleIsToldToLateComers: what is wrong with the disk is no secret of the first screen.
func TestTroubleIsToldToLateComers(t *testing.T) {
	d := newDesktop(t)
	d.hub.Trouble("the disk is full")
	d.hub.Trouble("the disk is full")
	if n := d.join(Person{By: "KT", Own: true}).Take(); !reflect.DeepEqual(n.Lines, []Notice{{"the disk is full", true}}) {
		t.Errorf("told %v", n.Lines)
	}
}

// TestSentAway: whose screens are picked are told to end, and why; the bench takes no more when
// it ends.
func TestSentAway(t *testing.T) {
	d := newDesktop(t)
	kt, mb := d.join(Person{By: "KT", Own: true}), d.join(Person{By: "MB", Key: "SHA256:x"})
	d.hub.Dismiss(func(p Person) bool { return p.Key == "SHA256:x" }, "the key was taken out")
	if kt.Take().Out != "" || mb.Take().Out != "the key was taken out" {
		t.Errorf("told %q and %q", kt.Take().Out, mb.Take().Out)
	}
	d.hub.End()
	if _, err := d.hub.Join(Person{}); err == nil {
		t.Error("a screen joined a bench that ends")
	}
}

// TestFull: there is a bound on screens.
func TestFull(t *testing.T) {
	d := newDesktop(t)
	for range maxScreens {
		d.join(Person{By: "KT", Own: true})
	}
	if _, err := d.hub.Join(Person{}); !errors.Is(err, errFull) {
		t.Errorf("one more: %v", err)
	}
}

// TestOneWatch: with any number of screens one step of the clock is one record, an alarm is
// told once a rise, the count of a flood is one for all, a late screen's too.
func TestOneWatch(t *testing.T) {
	d := newDesktop(t)
	var screens []*Screen
	for range 3 {
		screens = append(screens, d.join(Person{By: "KT", Own: true}))
	}
	told := make(chan string, 100)
	w := &Watch{Tick: time.Second, Words: func(_ logbook.Snapshot, _ timers.Now, al timers.Alarm) string { return al.Key }, OnAlarm: func(s string) { told <- s }}
	w.On(d.hub)
	tick := func() {
		d.ck.Run(time.Second)
		w.Look()
	}
	tick()
	d.ck.Step(time.Hour)
	tick()
	if n := d.book.State().Head.Seq; n != 1 {
		t.Errorf("one step of the clock made %d records", n)
	}
	d.do(screens[0], action.TimerStart{Label: "alone", Count: "down", AimS: 60})
	for range 65 {
		tick()
	}
	if got := <-told; !strings.HasPrefix(got, "timer/1/") || len(told) > 0 {
		t.Errorf("told %q, and %d more", got, len(told))
	}
	d.do(screens[1], action.TimerStop{Timer: 1})
	d.ck.Run(time.Hour)
	for i := range 12 {
		d.do(screens[0], action.TimerStart{Label: fmt.Sprint("t", i), Count: "down", AimS: 60})
	}
	for range 70 {
		tick()
	}
	late := d.join(Person{By: "KT", Own: true})
	for _, s := range append(screens, late) {
		if n := s.Take(); n.Flood != (AlarmRate{12, true}) {
			t.Errorf("the flood is %+v", n.Flood)
		}
	}
}

// TestWatchGoesOn: a fault in what is watched is kept, told, and ends nothing.
func TestWatchGoesOn(t *testing.T) {
	d := newDesktop(t)
	s := d.join(Person{By: "KT", Own: true})
	w := &Watch{Tick: time.Second, Fault: func(trace string) string {
		if !strings.Contains(trace, "bad luck") {
			t.Errorf("the trace is %q", trace)
		}
		return "FILE"
	}}
	w.On(d.hub)
	w.safely(func() { panic("bad luck") })
	w.safely(w.Look)
	if n := s.Take(); len(n.Lines) != 1 || !strings.Contains(n.Lines[0].Text, "Details in FILE") {
		t.Errorf("told %v", n.Lines)
	}
}

// TestPressOnce: of one bench at one time there is one press order for all screens.
func TestPressOnce(t *testing.T) {
	d := newDesktop(t)
	a, b := d.join(Person{By: "KT", Own: true}), d.join(Person{By: "MB"})
	d.do(a, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	first, err := a.Press(a.Now(), "")
	if err != nil {
		t.Fatal(err)
	}
	was := d.hub.desk.at
	d.ck.Run(5 * time.Second)
	second, err := b.Press(b.Now(), "")
	if err != nil || !reflect.DeepEqual(first, second) || d.hub.desk.at != was {
		t.Errorf("worked out twice: %v", err)
	}
	if _, err := b.Press(b.Now(), "medium"); err != nil || d.hub.desk.press.Mix == nil {
		t.Errorf("another mix was not weighed: %v", err)
	}
	d.ck.Run(PressFor)
	if _, err := a.Press(a.Now(), ""); err != nil || d.hub.desk.at == was {
		t.Errorf("it holds for ever: %v", err)
	}
}

// TestWhatNoScreenCanDo: whatever several screens send, with whatever initials, roles and
// claims, in any order: no record stands under initials that are not those of the screen it
// came from; nobody who looks records; no lead's record comes from somebody who is none; and
// what is recorded is what every screen then sees.
func TestWhatNoScreenCanDo(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		d := newDesktop(t)
		d.people(trio...)
		names := []string{"LL", "KT", "MB", "SV", "XX", ""}
		roles := map[string]string{"LL": "lead", "KT": "work", "MB": "work", "SV": "see"}
		var screens []*Screen
		for range rapid.IntRange(1, 4).Draw(rt, "screens") {
			screens = append(screens, d.join(Person{By: rapid.SampledFrom(names).Draw(rt, "by"), Named: rapid.Bool().Draw(rt, "named"),
				Role: rapid.SampledFrom([]string{"", "see", "work", "lead"}).Draw(rt, "role"), Away: rapid.Bool().Draw(rt, "away")}))
		}
		var ids []string
		for range rapid.IntRange(1, 30).Draw(rt, "acts") {
			s := rapid.SampledFrom(screens).Draw(rt, "screen")
			var body action.Body
			switch rapid.IntRange(0, 6).Draw(rt, "what") {
			case 0:
				body = action.Crew{Initials: rapid.SampledFrom(names[:5]).Draw(rt, "on")}
			case 1:
				h := d.book.State().Bench.House
				h.Lab = rapid.SampledFrom([]string{"a", "b", "c"}).Draw(rt, "lab")
				body = action.Settings{House: h}
			case 2:
				if len(ids) == 0 {
					continue
				}
				body = action.TakeBack{Of: rapid.SampledFrom(ids).Draw(rt, "of")}
			case 3:
				body = action.ClockEvent{What: "slept", ByS: 9}
			case 4:
				body = action.Screen{What: action.Joined, Role: "lead"}
			default:
				body = action.TimerStart{Label: "t", Count: "up"}
			}
			before, me := d.book.State().Head.Seq, s.Me()
			saved, err := s.Append(d.act(rapid.SampledFrom(names).Draw(rt, "claims"), body))
			if err != nil {
				if d.book.State().Head.Seq != before {
					rt.Fatalf("refused (%v), and recorded", err)
				}
				continue
			}
			ids = append(ids, saved.Action.ID)
			by := saved.Action.By
			switch body := body.(type) {
			case action.Crew:
				if me.Named && body.Initials != me.By {
					rt.Fatalf("%s signed on at the screen of %s", body.Initials, me.By)
				}
				if s.Me().By != body.Initials {
					rt.Fatalf("%s signed on, and the screen is %s's", body.Initials, s.Me().By)
				}
				continue
			case action.Settings:
				if roles[by] != "lead" {
					rt.Fatalf("the settings were changed by %q", by)
				}
			case action.TakeBack:
				if r, ok, err := d.book.ByID(body.Of); err != nil || !ok || r.Action.By != by && roles[by] != "lead" {
					rt.Fatalf("%q undid a record of %q", by, r.Action.By)
				}
			case action.ClockEvent, action.Screen:
				rt.Fatalf("a screen recorded a %s", body.Kind())
			}
			if by != me.By {
				rt.Fatalf("recorded by %q at the screen of %q", by, me.By)
			}
			if roles[by] == "" || roles[by] == "see" {
				rt.Fatalf("%q may look, and recorded", by)
			}
		}
		for _, s := range screens {
			if got := s.Take().State.Head; got != d.book.State().Head {
				rt.Fatalf("a screen is at %s, the book at %s", got, d.book.State().Head)
			}
		}
	})
}
