package tui

import (
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/logbook/keep"
	"flaskside/logbook/words"
)

// peopled is a desk with roles, and a screen of somebody on it.
func peopled(t *testing.T, p keep.Person) *desk {
	t.Helper()
	d := newDesk(t, 80, 24)
	h := d.book.State().Bench.House
	h.People = []house.Person{{By: "LL", Role: "lead"}, {By: "KT", Role: "work"}, {By: "MB", Role: "work"}, {By: "SV", Role: "see"}, {By: "HM", Role: "work", Away: true}}
	d.by("LL", action.Settings{House: h})
	d.start(d.join(p))
	return d
}

// by records something as another person does at another screen.
func (d *desk) by(who string, body action.Body) {
	d.t.Helper()
	d.n++
	a := action.Action{ID: "by-" + who + time.Duration(d.n).String(), At: d.ck.Read().Wall, By: who, Body: body, Why: "8"}
	if _, err := d.book.Append(a); err != nil {
		d.t.Fatal(err)
	}
	d.heard()
}

// TestUndoIsOnesOwn: 0 is about the last record of whoever presses it, however many others
// recorded since.
func TestUndoIsOnesOwn(t *testing.T) {
	d := peopled(t, keep.Person{By: "KT", Named: true})
	d.by("MB", action.FlaskOpen{Place: 3, Case: "4419", Base: "upper", Size: "medium"})
	d.press("0")
	d.sees("nothing of yours to undo")
	d.openFlask(1, "4417", 1, 2)
	d.by("MB", action.FlaskOpen{Place: 2, Case: "4418", Base: "upper", Size: "medium"})
	d.press("0")
	d.sees("undo your last record?", "4417", "by KT")
	if strings.Contains(d.screen(), "the last record of all") {
		t.Errorf("the record of another is offered to KT:\n%s", d.screen())
	}
	d.press("enter 1")
	b := d.book.State().Bench
	if b.OnPlace(1) != nil || b.OnPlace(2) == nil {
		t.Error("KT undid what MB recorded")
	}
}

// TestLeadUndoesOthers: a lead is offered the record of another with its initials, and only
// when asking for it.
func TestLeadUndoesOthers(t *testing.T) {
	d := peopled(t, keep.Person{By: "LL", Named: true})
	d.openFlask(1, "4417", 1, 2)
	d.by("MB", action.FlaskOpen{Place: 2, Case: "4418", Base: "upper", Size: "medium"})
	d.press("0")
	d.sees("undo your last record?", "4417", "by LL", "- shows the last record of all, by MB")
	d.press("-")
	d.sees("undo the last record of MB?", "4418", "by MB")
	d.press("enter 1")
	b := d.book.State().Bench
	if b.OnPlace(1) == nil || b.OnPlace(2) != nil {
		t.Error("not the one that was shown")
	}
}

// TestWhoLooksRecordsNothing: keys that would record say why they do not, before anything is
// typed; whoever is away cannot answer an alarm.
func TestWhoLooksRecordsNothing(t *testing.T) {
	d := peopled(t, keep.Person{By: "SV", Named: true})
	before := d.book.State().Head
	for _, key := range []string{"enter", "0"} {
		d.press(key)
		d.sees("SV looks on and records nothing")
	}
	d.press("+ 8 2")
	d.sees("SV looks on and records nothing")
	d.press("+ 1 4417 enter 1 2")
	d.sees("SV looks on and records nothing")
	if got := d.book.State().Head; got != before {
		t.Errorf("the book went from %s to %s", before, got)
	}

	d = peopled(t, keep.Person{By: "HM", Named: true})
	d.by("KT", action.TimerStart{Label: "soak", Count: "down", AimS: 60})
	d.wait(2 * time.Minute)
	d.sees("SOAK: TIME IS UP")
	if strings.Contains(d.screen(), "got it") {
		t.Errorf("away, the alarm can be answered:\n%s", d.screen())
	}
	d.press(".")
	d.sees("away from the bench")
	d.press("enter")
	if d.m.form() == nil {
		t.Errorf("away, nothing can be recorded:\n%s", d.screen())
	}
}

// TestSignOnIsOnesOwn: a screen without a person asks for one; a screen that is somebody's
// own asks for nobody else.
func TestSignOnIsOnesOwn(t *testing.T) {
	d := peopled(t, keep.Person{})
	d.press("enter")
	d.sees("nobody is signed on at this screen: + 6 signs on")
	d.press("+ 6 1")
	d.press("2 MB enter")
	if got := d.m.by(); got != "MB" {
		t.Errorf("signed on as %q:\n%s", got, d.screen())
	}
	d = peopled(t, keep.Person{By: "KT", Key: "SHA256:x"})
	d.press("+ 6 1")
	if s := d.screen(); !strings.Contains(s, "1 KT") || strings.Contains(s, "type initials") {
		t.Errorf("others are offered at the screen of KT:\n%s", s)
	}
	d.press("1")
	if d.m.by() != "KT" {
		t.Errorf("signed on as %q", d.m.by())
	}
}

// TestFirstInitialsOfALogbook: where the logbook knows nobody yet, initials are typed at once.
func TestFirstInitialsOfALogbook(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.start(d.join(keep.Person{}))
	d.press("+ 6 1")
	d.sees("type or scan")
	d.press("7 enter")
	if got := d.m.by(); got != "7" {
		t.Errorf("signed on as %q:\n%s", got, d.screen())
	}
	d.press("+ 6 1")
	d.sees("1 7", "2 type initials")
	d.press("2 8 enter")
	if got := d.m.by(); got != "8" {
		t.Errorf("signed on as %q:\n%s", got, d.screen())
	}
}

// TestToldPerPerson: whoever comes back is told what fell due since they left, and not who was
// there all the while.
func TestToldPerPerson(t *testing.T) {
	d := peopled(t, keep.Person{By: "KT", Named: true})
	mb := d.join(keep.Person{By: "MB", Named: true})
	d.by("KT", action.TimerStart{Label: "soak", Count: "down", AimS: 600})
	mb.Leave(nil)
	d.ck.Run(time.Hour)
	d.start(d.join(keep.Person{By: "KT", Named: true}))
	if d.m.reading() {
		t.Errorf("KT never left, and is told:\n%s", d.screen())
	}
	d.start(d.join(keep.Person{By: "MB", Named: true}))
	d.sees("While you were away, since", "SOAK: TIME IS UP")
	d.press("enter")
	if it := d.book.State().Bench.Items; it[len(it)-1].Action.By != "MB" || it[len(it)-1].Body.Kind() != "seen" {
		t.Errorf("that MB read it is not recorded")
	}
	d.start(d.join(keep.Person{By: "XX", Named: true}))
	if d.m.reading() {
		t.Errorf("who never was here is told:\n%s", d.screen())
	}
}

// TestTypedStandsThereAgain: a link is lost in the middle of a question; its person joins
// again, and what was typed stands in it.
func TestTypedStandsThereAgain(t *testing.T) {
	d := peopled(t, keep.Person{By: "KT", Named: true})
	d.press("enter 4417")
	s := d.at0
	s.Leave(d.m.Typed())
	d.start(d.join(keep.Person{By: "MB", Named: true}))
	d.press("enter")
	if strings.Contains(d.screen(), "4417") {
		t.Errorf("what KT typed stands at the screen of MB:\n%s", d.screen())
	}
	d.start(d.join(keep.Person{By: "KT", Named: true}))
	d.press("enter")
	d.sees("4417", "what you typed before is still here")
}

// TestTypedIsTheirs: what was sent stands nowhere again, also when the link is lost before the
// answer; what stood there when others signed on stays with whoever typed it; and what was typed
// about one flask does not stand in the same question about another.
func TestTypedIsTheirs(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.press("enter 4417 enter 1 2") // a flask is opened
	if typed := d.m.Typed(); len(typed) > 0 {
		t.Errorf("what is on the disk is kept as typed: %v", typed)
	}
	d.press("2 enter 55")
	f := d.m.form()
	f.sent = true // its record is on the way
	if typed := d.m.Typed(); len(typed) > 0 {
		t.Errorf("what was sent is kept as typed: %v", typed)
	}
	f.sent = false
	d.settle()
	if _, err := d.at0.Append(action.Action{ID: "on", At: d.ck.Read().Wall, By: "MB", Body: action.Crew{Initials: "MB"}}); err != nil {
		t.Fatal(err)
	}
	if got := d.join(keep.Person{By: "MB"}).Drafts(); len(got) > 0 {
		t.Errorf("MB is offered %v", got)
	}
	if got := d.join(keep.Person{By: "KT"}).Drafts(); got["new flask on place 2"]["case"] != "55" {
		t.Errorf("KT is offered %v", got)
	}
	m := d.m
	m.shut()
	fl := m.selected()
	if fl == nil {
		d.press("1")
		fl = m.selected()
	}
	m.grams(fl)
	m.form().get("g").typed = "1.5"
	m.leave()
	other := *fl
	other.Place, other.Case = 7, "4420"
	m.grams(&other)
	if got := m.form().get("g").typed; got != "" {
		t.Errorf("%q stands in a question about another flask", got)
	}
	m.shut()
	m.grams(fl)
	if got := m.form().get("g").typed; got != "1.5" {
		t.Errorf("%q stands there again, want 1.5", got)
	}
}

// TestAnotherAnsweredIt: while a question about a flask stands there somebody else records
// something of that flask; the question says so, and says nothing of other flasks.
func TestAnotherAnsweredIt(t *testing.T) {
	d := peopled(t, keep.Person{By: "KT", Named: true})
	d.by("KT", action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	d.by("KT", action.FlaskOpen{Place: 2, Case: "4420", Base: "upper", Size: "medium"})
	at := d.at0
	d.press("1 enter")
	d.sees("painted on")
	d.by("MB", action.Coat{Flask: 2, Half: "both"})
	d.feed(heard(at.Take()))
	if s := d.screen(); strings.Contains(s, "has just recorded") {
		t.Errorf("it tells of another flask:\n%s", s)
	}
	d.by("MB", action.Coat{Flask: 1, Half: "both"})
	d.feed(heard(at.Take()))
	d.sees("painted on", "MB has just recorded: separator on both halves")
}

// TestLeavingSaysWhatRunsOn: the last screen says that nothing rings, any other that the bench
// runs on.
func TestLeavingSaysWhatRunsOn(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.by("KT", action.TimerStart{Label: "soak", Count: "down", AimS: 600})
	d.press("+ 9")
	d.sees("nothing rings until you open it again")
	d.press("0")
	other := d.hub
	s, err := other.Join(keep.Person{By: "MB"})
	if err != nil {
		t.Fatal(err)
	}
	d.press("+ 9")
	d.sees("The bench runs on without this screen")
	d.press("0")
	d.m.cfg.Keeper = s
	d.press("+ 9")
	d.sees("The bench runs on without this screen")
}

// TestBenchGone: when the bench ends under a screen it says so in words of its own, and that
// it is back; what is tried meanwhile is not shown as saved.
func TestBenchGone(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.feed(heard(keep.News{State: d.book.State(), Lost: keep.ErrGone}))
	d.sees("THE BENCH IS NOT RUNNING · waiting for it")
	d.press("enter")
	if d.m.form() == nil {
		t.Errorf("ENTER does something else:\n%s", d.screen())
	}
	d.feed(heard(keep.News{State: d.book.State()}))
	d.sees("the bench is running again")
}

// TestTheQuickerHand: who acknowledges or snoozes what another one has just answered, and their screen still shows, is told who
// has it, and nothing more is recorded.
func TestTheQuickerHand(t *testing.T) {
	for key, body := range map[string]func(alarm string) action.Body{
		".": func(alarm string) action.Body { return action.AlarmHeard{Alarm: alarm} },
		"+ 7": func(alarm string) action.Body {
			return action.AlarmShelve{Alarm: alarm, ForS: house.Default().Alarms.ShelveS}
		},
	} {
		d := peopled(t, keep.Person{By: "KT", Named: true})
		d.by("MB", action.TimerStart{Label: "soak", Count: "down", AimS: 60})
		d.wait(2 * time.Minute)
		d.sees("SOAK: TIME IS UP")
		answer := body(d.m.alarms[0].Key)
		quicker := action.Action{ID: "quicker", At: d.ck.Read().Wall, By: "MB", Body: answer}
		if _, err := d.book.Append(quicker); err != nil {
			t.Fatal(err)
		}
		before := d.book.State().Head
		d.press(key)
		d.sees("already: " + words.Kind(answer.Kind()) + " by MB at 08:02:")
		if got := d.book.State().Head; got.Seq != before.Seq {
			t.Errorf("%s: the book went from record %d to %d", key, before.Seq, got.Seq)
		}
		d.heard()
	}
}

// Whoever is away from the bench does not take it over, is not told as standing at it, and is
// offered no key that would answer an alarm.
func TestAwayTakesNothingOver(t *testing.T) {
	d := peopled(t, keep.Person{By: "HM", Named: true})
	d.by("KT", action.Crew{Initials: "KT"})
	d.by("KT", action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	d.by("KT", action.TimerStart{Label: "soak", Count: "down", AimS: 60})
	d.wait(2 * time.Minute)
	d.press("* *")
	d.sees("SOAK", "at the bench: KT")
	d.hides("got it")
	d.press("+")
	d.sees("HM is away from the bench: whoever stands at it takes it over")
	d.hides("who takes over")
	if d.book.State().Bench.TookOver {
		t.Error("the bench was taken over by somebody who is away")
	}
	d.press("0 + 3")
	d.hides("got it")

	// At a screen of the bench anybody may sign on: the initials are looked at when they are given.
	d.start(d.join(keep.Person{By: "KT", Own: true}))
	s := d.at0
	if _, err := s.Append(action.Action{ID: "away", At: d.ck.Read().Wall, Body: action.Crew{Initials: "HM", Handover: true}}); err == nil {
		t.Error("HM took over at the screen of KT")
	}
	if _, err := s.Append(action.Action{ID: "there", At: d.ck.Read().Wall, Body: action.Crew{Initials: "MB", Handover: true}}); err != nil {
		t.Error(err)
	}
}

// The handover names whoever took over, on every screen.
func TestTheHandoverNamesWhoTookOver(t *testing.T) {
	d := peopled(t, keep.Person{By: "MB", Named: true})
	d.by("KT", action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	d.by("KT", action.Crew{Initials: "KT", Handover: true})
	d.press("* *")
	d.sees("read and taken over by KT")
}
