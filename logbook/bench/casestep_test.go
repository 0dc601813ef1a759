package bench_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	ways "flaskside/logbook/route"
	"flaskside/timers"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

// nextStep is the record of the step that comes next for a case, nil where none does or it is
// the work at the bench that goes on.
func nextStep(b *bench.Bench, k bench.Case) action.Body {
	s, ok := b.NextOfCase(k)
	switch {
	case !ok || s.Kind == ways.Flask && k.Flask > 0:
		return nil
	case s.Kind == ways.Flask:
		if b.FreePlace() == 0 {
			return nil
		}
		return action.FlaskOpen{Place: b.FreePlace(), Case: k.Case, Base: k.Base, Size: k.Size}
	case s.Kind == ways.Deliver:
		return action.CaseDelivered{Case: k.Case, Base: k.Base, Done: action.Closing, WetH: 24}
	}
	a := action.CaseStep{Case: k.Case, Base: k.Base, Step: s.Name}
	if s.Kind == ways.Check {
		a.Judged = s.Good[0]
	}
	for _, f := range s.Fields {
		if f.Preset == "" {
			a.Values = append(a.Values, action.StepValue{Name: f.Name, Value: 0.5})
		}
	}
	return a
}

// What a bench says of the steps of its cases, whatever was recorded: it asks no step that is
// switched off; what it names as next is never called out of order, for a repair not for want
// of packing either; a timer runs for the last step of a case alone, and for none that was
// undone, left or handed to the bench.
func TestStepsOfCasesSayWhatIsSo(t *testing.T) {
	longrun.Checks(t, 20, 100)
	rapid.Check(t, func(t *rapid.T) {
		ck := simclock.At(morning, "boot-1")
		var recs []record.Record
		b := bench.Fold(nil, bench.Counters{})
		boots := 1
		for range rapid.IntRange(1, 80).Draw(t, "records") {
			pass(t, ck, &boots)
			r, ok := add(t, b, ck, recs)
			if !ok {
				continue
			}
			recs = append(recs, r)
			b = bench.Fold(recs, top(recs))
			for _, k := range b.Cases() {
				holdsSteps(t, b, k, timers.Now{Reading: ck.Read()})
			}
			holdsTimers(t, b)
		}
	})
}

func holdsSteps(t *rapid.T, b *bench.Bench, k bench.Case, now timers.Now) {
	s, ok := b.NextOfCase(k)
	r, known := b.House.Route(k.Route)
	if !ok {
		if known && !r.Off && k.Flask == 0 && len(k.Steps) == 0 && k.Made == 0 && k.Remakes == 0 && len(r.Tracked()) > 0 {
			t.Fatalf("case %s has just come in for %q and no step is asked", k.Name(), r.Name)
		}
		return
	}
	if !known || r.Off || s.Off || !slices.ContainsFunc(r.Tracked(), func(o ways.Step) bool { return o.Name == s.Name }) {
		t.Fatalf("case %s is asked for the step %q, which is switched off", k.Name(), s.Name)
	}
	if s.Kind == ways.Flask && r.Name == ways.Pot {
		t.Fatalf("a case of the pot is to be packed")
	}
	body := nextStep(b, k)
	if body == nil {
		return
	}
	_, err := b.Check(action.Action{ID: "next", At: now.Wall, By: "KT", Body: body}, timers.StampAt(now.Wall, now.Reading), now)
	var ask *bench.NeedsReason
	if errors.As(err, &ask) {
		for _, o := range ask.Odd {
			if o.Code == "out-of-order" || o.Code == bench.StepOffCode || o.Code == bench.NoFlaskCode {
				t.Fatalf("the next step of case %s is called unusual: %s", k.Name(), o.Text)
			}
		}
	} else if err != nil {
		t.Fatalf("the next step of case %s is refused: %v", k.Name(), err)
	}
}

func holdsTimers(t *rapid.T, b *bench.Bench) {
	last := map[string]string{} // by case: the id of its last step, as the records tell
	for _, it := range b.Items {
		if it.TakenBack != nil {
			continue
		}
		number, base, ok := action.CaseOf(it.Body)
		name := number + " " + base
		switch a := it.Body.(type) {
		case action.CaseStep:
			if a.Event == "" {
				last[name] = it.Action.ID
			}
		default:
			if ok {
				delete(last, name)
			}
		}
	}
	for _, w := range b.Windows() {
		if w.What != bench.CaseTimer {
			continue
		}
		k, d, ok := b.CaseOfKey(w.Key)
		if !ok || d.ID != last[k.Name()] {
			t.Fatalf("a timer %q runs for %s, which is not the last step (%s) of a case on the list", w.Key, w.Case, last[k.Name()])
		}
	}
	for _, s := range b.Signals(timers.Now{}) {
		if !strings.HasPrefix(s.Key, "case/") {
			continue
		}
		k, d, ok := b.CaseOfKey(s.Key)
		run := k.Running()
		if _, end := timers.SplitSignalKey(s.Key); end == bench.LostPressure && (!ok || d.Event != action.PressureLost || run == nil || !run.Pressure) {
			t.Fatalf("%s sounds, and nothing of case %s stands under pressure", s.Key, k.Name())
		}
	}
}

// in takes a case in on paper, due the next evening.
func (p *paper) in(number, name string) {
	p.t.Helper()
	p.do(0, action.CaseIn{Case: number, Base: "upper", Size: "medium", Due: morning.Add(34 * time.Hour).Format(time.RFC3339), Route: name})
}

func (p *paper) step(after time.Duration, number, step string, why ...string) string {
	p.t.Helper()
	a := action.CaseStep{Case: number, Base: "upper", Step: step}
	k, _ := p.b.CaseOnList(number, "upper")
	if r, ok := p.b.House.Route(k.Route); ok {
		if s, _ := r.Step(step); s.Kind == ways.Check {
			a.Judged = s.Good[0]
		}
	}
	return p.do(after, a, why...)
}

// oddOf gives the codes that are asked about; nil where nothing is.
func (p *paper) oddOf(body action.Body) (codes []string) {
	p.t.Helper()
	_, err := p.tryAt(0, body, "")
	var ask *bench.NeedsReason
	if errors.As(err, &ask) {
		for _, o := range ask.Odd {
			codes = append(codes, o.Code)
		}
		return codes
	}
	if err != nil {
		p.t.Errorf("refused: %v", err)
	}
	return nil
}

// Three boil-outs run at once, each told by its case; one is over and acknowledged, and the
// others are not.
func TestThreeBoilOutsAtOnce(t *testing.T) {
	p := newPaper(t)
	for i, number := range []string{"4401", "4402", "4403"} {
		p.in(number, ways.Packed)
		for _, s := range []string{"layer-1", "layer-2", "cap"} {
			p.step(20*minute, number, s)
		}
		_ = i
	}
	p.ck.Run(40 * minute)
	for _, number := range []string{"4401", "4402", "4403"} {
		p.step(minute, number, "boil-out")
	}
	var names []string
	for _, w := range p.b.Windows() {
		if w.What == bench.CaseTimer && w.Label == "boil-out" {
			names = append(names, w.Case)
		}
	}
	if !slices.Equal(names, []string{"4401 upper", "4402 upper", "4403 upper"}) {
		t.Errorf("boil-outs run for %v", names)
	}
	p.ck.Run(2*minute + 10*time.Second)
	als := p.b.Alarms(p.now())
	if len(als) != 1 {
		t.Fatalf("%d alarms after 4 min of the first: %v", len(als), als)
	}
	p.do(0, action.AlarmHeard{Alarm: als[0].Key})
	p.ck.Run(minute)
	if als = p.b.Alarms(p.now()); len(als) != 2 || als[0].State != timers.Unacknowledged || als[1].State != timers.Acknowledged {
		t.Errorf("a minute later: %+v", als)
	}
	// Left too early is asked about; boiled long enough is not.
	if got := p.oddOf(action.CaseStep{Case: "4403", Base: "upper", Step: "flush", Judged: "clean"}); !slices.Equal(got, []string{bench.StepShortCode}) {
		t.Errorf("flushed after 3 min: %v", got)
	}
	if got := p.oddOf(action.CaseStep{Case: "4401", Base: "upper", Step: "flush", Judged: "clean"}); got != nil {
		t.Errorf("flushed after 5 min: %v", got)
	}
}

// A repair in the pot is asked for no packing, no trial closure and no flask, whatever its
// base; a reline likewise.
func TestPotAsksForNoTrialClosure(t *testing.T) {
	for _, base := range action.Bases {
		p := newPaper(t)
		p.do(0, action.CaseIn{Case: "5001", Base: base, Size: "medium", Due: morning.Add(8 * time.Hour).Format(time.RFC3339), Route: ways.Pot})
		var asked []string
		for range 20 {
			k, on := p.b.CaseOnList("5001", base)
			if !on {
				break
			}
			s, _ := p.b.NextOfCase(k)
			asked = append(asked, s.Name)
			p.do(25*minute, nextStep(p.b, k))
		}
		if want := []string{"wet", "pot", "open", "finish", "deliver"}; !slices.Equal(asked, want) {
			t.Errorf("%s: asked for %v, want %v", base, asked, want)
		}
		if len(p.b.Flasks) != 0 {
			t.Errorf("%s: a flask was opened", base)
		}
		for _, it := range p.b.Items {
			if len(it.Action.Unusual) > 0 {
				t.Errorf("%s: %s is called %v", base, it.Body.Kind(), it.Action.Unusual)
			}
		}
	}
}

// The pot is closed on one case: another one is asked about, two put in together are not.
func TestPotTaken(t *testing.T) {
	p := newPaper(t)
	for _, n := range []string{"5001", "5002", "5003"} {
		p.in(n, ways.Pot)
		p.step(0, n, "wet")
	}
	p.step(3*minute, "5001", "pot")
	p.step(minute, "5002", "pot")
	p.ck.Run(5 * minute)
	if got := p.oddOf(action.CaseStep{Case: "5003", Base: "upper", Step: "pot"}); !slices.Equal(got, []string{bench.PlaceCode}) {
		t.Errorf("a third into the closed pot: %v", got)
	}
	h := p.b.House
	h.Pots = 3
	p.do(0, action.Settings{House: h})
	if got := p.oddOf(action.CaseStep{Case: "5003", Base: "upper", Step: "pot"}); got != nil {
		t.Errorf("three pots, two of them closed: %v", got)
	}
}

// A pressure that is lost while an injected base cools is an alarm until it is back, or the
// next step is done; it is told of that step for good.
func TestPressureLostInCooling(t *testing.T) {
	p := newPaper(t)
	p.in("6001", ways.Injected)
	lost := func(step, event string) action.CaseStep {
		return action.CaseStep{Case: "6001", Base: "upper", Step: step, Event: event}
	}
	for _, s := range []string{"layer-1", "layer-2", "cap", "boil-out", "flush", "cool", "separator", "clamp", "mix", "inject", "bath", "cooling"} {
		wait := 20 * minute
		switch s {
		case "boil-out", "cooling":
			wait = hour
		case "flush":
			wait = 5 * minute
		}
		p.step(wait, "6001", s)
	}
	if _, err := p.tryAt(0, lost("bath", action.PressureLost), ""); err == nil {
		t.Error("pressure lost at a step that is over")
	}
	p.ck.Run(2 * minute)
	p.do(0, lost("cooling", action.PressureLost))
	als := p.b.Alarms(p.now())
	if len(als) != 1 || als[0].Priority != timers.High || !strings.HasSuffix(als[0].Key, "#pressure lost") {
		t.Fatalf("lost: %+v", als)
	}
	if _, err := p.tryAt(0, lost("cooling", action.PressureLost), ""); err == nil {
		t.Error("it was lost twice")
	}
	back := p.do(minute, lost("cooling", action.PressureBack))
	if als = p.b.Alarms(p.now()); len(als) != 1 || als[0].State != timers.Returned {
		t.Errorf("back, nobody answered: %+v", als)
	}
	p.do(minute, action.TakeBack{Of: back})
	if als = p.b.Alarms(p.now()); len(als) != 1 || als[0].State != timers.Unacknowledged || als[0].Since.For > time.Second {
		t.Errorf("not back after all: %+v", als)
	}
	p.step(30*minute, "6001", "deflask")
	if als = p.b.Alarms(p.now()); len(als) != 0 {
		t.Errorf("deflasked: %+v", als)
	}
	k, _ := p.b.CaseOnList("6001", "upper")
	if !slices.ContainsFunc(k.Steps, func(d bench.CaseDone) bool { return slices.Contains(d.Unusual, bench.LostCode) }) {
		t.Error("that the pressure was lost is told nowhere")
	}
}

// A route that a house writes itself works by its table alone: order, time, range, judgement
// that sends back, two cautions, place, and the end of the case with its last step.
func TestRouteOfAHouse(t *testing.T) {
	p := newPaper(t)
	h, err := house.ReadTOML(strings.NewReader(`
[[routes]]
name = 'splint'
[[routes.steps]]
name = 'wax'
kind = 'instant'
[[routes.steps]]
name = 'look'
kind = 'check'
good = ['smooth']
bad = ['rough']
back = 'wax'
[[routes.steps]]
name = 'bake'
kind = 'timer'
place = 'oven'
min_s = '10 min'
max_s = '20 min'
[[routes.steps.fields]]
name = 'oven_c'
of = 'temperature'
low = '80 C'
high = '100 C'
`), p.b.House)
	if err != nil {
		t.Fatal(err)
	}
	p.do(0, action.Settings{House: h})
	p.in("7001", "splint")
	at := func() string {
		k, _ := p.b.CaseOnList("7001", "upper")
		s, _ := p.b.NextOfCase(k)
		return s.Name
	}
	p.step(0, "7001", "wax")
	p.do(0, action.CaseStep{Case: "7001", Base: "upper", Step: "look", Judged: "rough"})
	if at() != "wax" {
		t.Errorf("rough, and next is %q", at())
	}
	p.step(0, "7001", "wax")
	p.step(0, "7001", "look")
	bake := action.CaseStep{Case: "7001", Base: "upper", Step: "bake"}
	if _, err := p.tryAt(0, bake, ""); err == nil || !strings.Contains(err.Error(), "oven c") {
		t.Errorf("without its value: %v", err)
	}
	bake.Values = []action.StepValue{{Name: "oven_c", Value: 140}}
	if got := p.oddOf(bake); !slices.Equal(got, []string{"range-oven-c"}) {
		t.Errorf("140 °C: %v", got)
	}
	p.do(0, bake, "2")
	if _, on := p.b.CaseOnList("7001", "upper"); on {
		t.Error("its last step is done and it is on the list")
	}
}

// A case on no route, as in a book from before there were any, leaves the list with the outcome of its
// flask, and so does one whose route has nothing behind the bench. On the whole route it stays
// until it is delivered.
func TestCaseLeavesTheList(t *testing.T) {
	for _, tt := range []struct {
		name  string
		off   []string
		stays bool
	}{{"", nil, false}, {ways.Packed, []string{"finish", "polish", "storage", "deliver"}, false}, {ways.Packed, nil, true}} {
		p := newPaper(t)
		text := "[[routes]]\nname = 'packed'\n"
		for _, s := range tt.off {
			text += fmt.Sprintf("[[routes.steps]]\nname = '%s'\noff = true\n", s)
		}
		h, err := house.ReadTOML(strings.NewReader(text), p.b.House)
		if err != nil {
			t.Fatal(err)
		}
		p.do(0, action.Settings{House: h})
		p.in("4401", tt.name)
		p.do(0, action.FlaskOpen{Place: 1, Case: "4401", Base: "upper", Size: "medium"}, "8")
		p.do(hour, action.Outcome{Flask: 1, Outcome: "finished here"}, "8")
		k, on := p.b.CaseOnList("4401", "upper")
		if on != tt.stays {
			t.Errorf("route %q without %v: on the list %v", tt.name, tt.off, on)
		}
		if next, _ := p.b.NextOfCase(k); on && next.Name != "finish" {
			t.Errorf("after the outcome next is %q", next.Name)
		}
	}
}

// What was short of the route when a case went out is in the record of the delivery.
func TestDeliveredSaysWhatIsMissing(t *testing.T) {
	p := newPaper(t)
	p.in("5001", ways.Pot)
	p.step(0, "5001", "wet")
	out := action.CaseDelivered{Case: "5001", Base: "upper", Done: action.Closing, WetH: 1}
	if got := p.oddOf(out); !slices.Contains(got, "out-of-order") {
		t.Errorf("delivered out of the joint: %v", got)
	}
	p.do(minute*5, out, "4")
	got, _ := p.b.Items[len(p.b.Items)-1].Body.(action.CaseDelivered)
	if !slices.Equal(got.Missing, []string{"pot", "open", "finish"}) {
		t.Errorf("missing: %v", got.Missing)
	}
}

// How long a step lasted is told by the next one of its case alone: never a length that runs
// back, short and over only against the times it was done under, and nothing for one that runs
// still.
func TestStepsAsTheyWent(t *testing.T) {
	longrun.Checks(t, 20, 100)
	rapid.Check(t, func(t *rapid.T) {
		ck := simclock.At(morning, "boot-1")
		var recs []record.Record
		b := bench.Fold(nil, bench.Counters{})
		boots := 1
		for range rapid.IntRange(1, 60).Draw(t, "records") {
			pass(t, ck, &boots)
			if r, ok := add(t, b, ck, recs); ok {
				recs = append(recs, r)
				b = bench.Fold(recs, top(recs))
			}
		}
		running := map[string]bool{}
		for _, k := range b.Cases() {
			if run := k.Running(); run != nil && run.As.Timed() {
				running[run.ID] = true
			}
		}
		for _, s := range b.StepSpells() {
			it, _ := b.Item(s.ID)
			switch {
			case it.TakenBack != nil:
				t.Fatalf("the step %s of case %s was undone and is told", s.Step, s.Case)
			case s.To != nil && running[s.ID]:
				t.Fatalf("the step %s of case %s runs and is told as ended", s.Step, s.Case)
			case s.Lasted < 0 || s.To == nil && s.Lasted != 0 || !s.As.Timed() && s.To != nil:
				t.Fatalf("the step %s of case %s lasted %s", s.Step, s.Case, s.Lasted)
			case s.Short() != (s.To != nil && s.Lasted.Seconds() < float64(s.MinS)), s.Over() != (s.To != nil && s.MaxS > 0 && s.Lasted.Seconds() > float64(s.MaxS)):
				t.Fatalf("the step %s of case %s: %s of %d to %d s, short %v, over %v", s.Step, s.Case, s.Lasted, s.MinS, s.MaxS, s.Short(), s.Over())
			}
		}
	})
}
