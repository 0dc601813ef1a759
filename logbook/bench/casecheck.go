package bench

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/route"
	"flaskside/logbook/words"
)

// What a step of a case is held against: its route, the time that runs, the place it needs.

// together is how far apart two may be put into one place to count as put in at once.
const together = 2 * time.Minute

// caseStep holds a step of a case against its route, and fills in what the table says.
func (c *checker) caseStep(a action.CaseStep) (action.CaseStep, error) {
	k, ok := c.b.CaseOnList(a.Case, a.Base)
	if !ok {
		return a, fmt.Errorf("case %s %s is not on the list%s", a.Case, a.Base, c.caseList())
	}
	if err := c.caseTime(k); err != nil {
		return a, err
	}
	c.excuseStep(k, a.Step)
	r, ok := c.b.House.Route(k.Route)
	switch {
	case k.Route == "":
		return a, fmt.Errorf("case %s is on no route, so no step of it is recorded: give it one with a correction of its taking in", k.Name())
	case !ok:
		return a, fmt.Errorf("the settings have no route %q any more, which case %s is on", k.Route, k.Name())
	}
	s, at := r.Step(a.Step)
	switch {
	case at < 0:
		return a, fmt.Errorf("the route %q has no step %q: its steps are %s", r.Name, a.Step, strings.Join(stepNames(r), ", "))
	case s.Kind == route.Flask:
		return a, fmt.Errorf("the work at the bench begins when a flask is opened for case %s", k.Name())
	case s.Kind == route.Deliver:
		return a, fmt.Errorf("a delivery is recorded as one: flaskside case deliver %s", k.Case)
	}
	if a.Event != "" {
		return c.pressureTold(k, a)
	}
	if err := c.judged(&a, s); err != nil {
		return a, err
	}
	if err := c.stepValues(&a, s); err != nil {
		return a, err
	}
	c.stepOrder(k, r, s)
	c.stepLong(k)
	c.placeTaken(k, s)
	if a.As == "" { // as the table has it; a record that is read in again keeps what it was done under
		a.MinS, a.AimS, a.MaxS = s.MinS, s.AimS, s.MaxS
	}
	a.Words, a.Short, a.As, a.Place, a.Urgent, a.Pressure = s.Called(), s.Brief(), s.Kind, s.Place, s.Urgent, s.Pressure
	if len([]rune(a.Short)) > mostShort {
		a.Short = ""
	}
	_, more := r.From(at + 1)
	a.Last = !more && !a.Again && !r.Off
	return a, nil
}

const mostShort = 14

func stepNames(r route.Route) []string {
	var out []string
	for _, s := range r.Steps {
		if s.Kind != route.Flask && s.Kind != route.Deliver {
			out = append(out, s.Name)
		}
	}
	return out
}

// caseTime refuses a time before the latest record of a case.
func (c *checker) caseTime(k Case) error {
	switch {
	case !earlier(c.at, k.last):
	case c.live:
		if !slices.Contains(c.marks, clockBack) {
			c.marks = append(c.marks, clockBack)
		}
	default:
		return fmt.Errorf("%s is before the last record of case %s (%s): check the time", stampText(c.at.At), k.Name(), stampText(k.last.At))
	}
	return nil
}

// excuseStep takes over the reasons that were given for a step of this case.
func (c *checker) excuseStep(k Case, step string) {
	for u := range k.excused {
		if code, of, _ := strings.Cut(u, " "); of == step {
			c.excuse(code)
		} else {
			c.excuse(u)
		}
	}
}

// pressureTold holds a pressure that was lost, or is back, against the step that runs.
func (c *checker) pressureTold(k Case, a action.CaseStep) (action.CaseStep, error) {
	run := k.Running()
	switch {
	case run == nil || run.Step != a.Step || !run.Pressure:
		return a, fmt.Errorf("case %s does not stand under pressure at that step", k.Name())
	case a.Event == action.PressureLost && k.LostSince() != nil:
		return a, fmt.Errorf("the pressure of case %s is recorded as lost already", k.Name())
	case a.Event == action.PressureBack && k.LostSince() == nil:
		return a, fmt.Errorf("no pressure is recorded as lost for case %s", k.Name())
	}
	a.Words, a.Short, a.As, a.Place, a.Pressure = run.Words, run.Short, run.As, run.Place, true
	a.MinS, a.AimS, a.MaxS, a.Urgent, a.Again, a.Last = 0, 0, 0, false, false, false
	return a, nil
}

// judged wants the judgement of a check, and tells whether it lets the case go on.
func (c *checker) judged(a *action.CaseStep, s route.Step) error {
	all := slices.Concat(s.Good, s.Bad)
	switch {
	case s.Kind != route.Check && a.Judged != "":
		return fmt.Errorf("the step %q asks for no judgement", s.Name)
	case s.Kind == route.Check && !slices.Contains(all, a.Judged):
		return fmt.Errorf("say what was found at the step %q: one of %s", s.Name, strings.Join(all, "; "))
	}
	a.Again = slices.Contains(s.Bad, a.Judged)
	return nil
}

// stepValues fills in the values of a step that were not told and asks about those outside
// their range.
func (c *checker) stepValues(a *action.CaseStep, s route.Step) error {
	told := map[string]action.StepValue{}
	for _, v := range a.Values {
		told[v.Name] = v
	}
	a.Values = nil
	u := c.b.House.Units
	for _, f := range s.Fields {
		v, ok := told[f.Name]
		delete(told, f.Name)
		preset, has := f.Usual()
		switch {
		case ok && !route.Worded(f.Of) && v.Text != "":
			return fmt.Errorf("%s of the step %q is a number: give value", f.Name, s.Name)
		case ok && route.Worded(f.Of) && v.Text == "":
			return fmt.Errorf("%s of the step %q is words: give text", f.Name, s.Name)
		case ok:
		case has:
			v.Value = preset
		case route.Worded(f.Of) && f.Preset != "":
			v.Text = f.Preset
		case f.May:
			continue
		default:
			return fmt.Errorf("the step %q asks for %s: give its value", s.Name, f.Called())
		}
		v.Name, v.Words, v.Of = f.Name, f.Called(), f.Of
		if of, lot := route.LotOf(f.Of); lot {
			v.Text = c.lot(action.Material(of), v.Text)
		}
		if ok && !route.Worded(f.Of) && f.Outside(v.Value) {
			c.odd = append(c.odd, Odd{rangePrefix + strings.ReplaceAll(f.Name, "_", "-"), fmt.Sprintf("%s %s is outside the usual %s", f.Called(), f.Show(v.Value, u.Pressure, u.Temperature), f.Range(u.Pressure, u.Temperature))})
		}
		a.Values = append(a.Values, v)
	}
	for name := range told {
		return fmt.Errorf("the step %q asks for no %q", s.Name, name)
	}
	return nil
}

// stepOrder calls a step unusual that is not the next one of its route.
func (c *checker) stepOrder(k Case, r route.Route, s route.Step) {
	if s.Off || r.Off {
		c.unusual(stepOffCode, "%s is switched off in this house", s.Called())
		return
	}
	switch next, ok := c.b.NextOfCase(k); {
	case !ok:
		c.unusual(orderCode, "%s for case %s, which has no further step", s.Called(), k.Name())
	case next.Name != s.Name:
		c.unusual(orderCode, "%s for case %s while the next step is: %s", s.Called(), k.Name(), next.Called())
	}
}

// stepLong calls it unusual to go on before the earliest end of what runs.
func (c *checker) stepLong(k Case) {
	d := k.Running()
	if d == nil || d.MinS == 0 {
		return
	}
	if ran, want := c.since(d.At), time.Duration(d.MinS)*time.Second; ran < want {
		c.unusual(stepShortCode, "%s: %s of %s", d.Called(), words.Length(ran), words.Length(want))
	}
}

// placeTaken asks about a place that others are in: a pot, an oven or a press that was closed
// on another case, a bath that cures.
func (c *checker) placeTaken(k Case, s route.Step) {
	n, ok := c.b.Spots(s.Place)
	if !ok || !s.Kind.Timed() {
		return
	}
	if n == 0 {
		c.unusual(placeCode, "%s: %s", s.Called(), outOfUseWords(s.Place, c.b.House.Spots(s.Place)))
		return
	}
	var by []string
	if s.Place == "bath" {
		used, taken := c.b.Usable(action.Bath), map[int]bool{}
		for _, no := range Sorted(c.b.Loads) {
			if l := c.b.Loads[no]; len(c.b.stillIn(l)) > 0 && !taken[l.Bath] && slices.Contains(used, l.Bath) {
				taken[l.Bath] = true
				by = append(by, fmt.Sprintf("load %d", no))
			}
		}
	} else {
		for _, o := range c.b.cases {
			d := o.Running()
			if o.Name() == k.Name() || d == nil || d.Place != s.Place || c.since(d.At) <= together {
				continue
			}
			by = append(by, "case "+o.Name())
		}
		if s.Place == "press" {
			for _, p := range c.b.Usable(action.Press) {
				for _, f := range c.b.InPress(p) {
					by = append(by, "case "+f.Case)
				}
			}
		}
	}
	if len(by) >= n {
		c.unusual(placeCode, "%s: %s taken by %s", s.Called(), placeWords(s.Place, n), strings.Join(by, ", "))
	}
}

// bathTaken asks about a load that goes into the bath where a step of a case runs. Which bath
// that is no record says: it is this one where no other is in use and free.
func (c *checker) bathTaken(bath int) {
	for _, n := range c.b.Usable(action.Bath) {
		if n != bath && !c.b.curing(n) {
			return
		}
	}
	var by []string
	for _, k := range c.b.cases {
		if d := k.Running(); d != nil && d.Place == "bath" {
			by = append(by, fmt.Sprintf("case %s (%s)", k.Name(), d.Brief()))
		}
	}
	if len(by) > 0 {
		c.unusual(placeCode, "in bath %d is %s", bath, words.List(by))
	}
}

// curing tells whether a load is in a bath.
func (b *Bench) curing(bath int) bool {
	for _, l := range b.Loads {
		if l.Bath == bath && len(b.stillIn(l)) > 0 {
			return true
		}
	}
	return false
}

func outOfUseWords(place string, n int) string {
	if n == 1 {
		return "the " + place + " is out of use"
	}
	return fmt.Sprintf("all %s are out of use", haveWords(itemOf(place), n))
}

func placeWords(place string, n int) string {
	if n == 1 {
		return "the " + place + " is"
	}
	return "all " + haveWords(itemOf(place), n) + " are"
}

// stepCorrected holds a correction of a step.
func (c *checker) stepCorrected(was, is action.CaseStep) error {
	switch {
	case was.Step != is.Step || was.Event != is.Event || was.As != is.As:
		return errors.New("a correction cannot make it another step: undo it and record it anew")
	case was.Again != is.Again || was.Last != is.Last:
		return errors.New("whether the case goes on follows from the step: undo it and record it anew")
	}
	k, ok := c.b.CaseOnList(is.Case, is.Base)
	if r, known := c.b.RouteOf(k); ok && known {
		if s, at := r.Step(is.Step); at >= 0 {
			if as := is; as.Judged != was.Judged {
				if err := c.judged(&as, s); err != nil {
					return err
				}
				if as.Again != was.Again {
					return errors.New("a judgement that sends it back, or no more, is another record: undo it and record it anew")
				}
			}
			if as := is; !slices.Equal(is.Values, was.Values) {
				if err := c.stepValues(&as, s); err != nil {
					return err
				}
			}
		}
	}
	return sameCase(was.Case, was.Base, is.Case, is.Base)
}

// stepInOrder refuses a corrected time that puts a step before or behind another of its case.
func (c *checker) stepInOrder(it Item, at time.Time) error {
	number, base, ok := action.CaseOf(it.Body)
	if _, step := it.Body.(action.CaseStep); !ok || !step || at.Equal(it.Stamp.At) {
		return nil
	}
	to := moved(it.Stamp, at)
	for _, o := range c.b.Items {
		n, b, _ := action.CaseOf(o.Body)
		switch {
		case o.Seq == it.Seq || o.TakenBack != nil || n != number || b != base:
		case o.Seq < it.Seq && between(o.Stamp, to) < 0:
			return fmt.Errorf("%s is before what went ahead of it (record %d, %s): check the time", stampText(at), o.Seq, stampText(o.Stamp.At))
		case o.Seq > it.Seq && between(to, o.Stamp) < 0:
			return fmt.Errorf("%s is after what followed it (record %d, %s): check the time", stampText(at), o.Seq, stampText(o.Stamp.At))
		}
	}
	return nil
}

// flaskForCase asks about a flask for a case on a route that is not there yet, or has no
// flask at all.
func (c *checker) flaskForCase(a action.FlaskOpen) {
	k, ok := c.b.CaseOnList(a.Case, a.Base)
	if !ok || k.Flask > 0 {
		return
	}
	r, ok := c.b.RouteOf(k)
	switch next, more := c.b.NextOfCase(k); {
	case !ok || len(r.Tracked()) == 0:
	case r.At(route.Flask) < 0:
		c.unusual(noFlaskCode, "case %s is made by the route %q, which has no work in a flask at the bench", k.Name(), r.Called())
	case k.Made > 0:
	case more && next.Kind != route.Flask:
		c.unusual(orderCode, "a flask for case %s while the next step is: %s", k.Name(), next.Called())
	default:
		c.stepLong(k)
	}
}

// endsOf is what a case that is taken in for a route ends with, as the record has it.
func (c *checker) endsOf(name string) string {
	r, ok := c.b.House.Route(name)
	if name == "" || !ok || r.Off {
		return ""
	}
	at := r.At(route.Flask)
	if _, more := r.From(at + 1); at >= 0 && !more || len(r.Tracked()) == 0 {
		return action.EndsAtOutcome
	}
	return ""
}

// routeTold asks about a route that the settings do not have.
func (c *checker) routeTold(name string) {
	if name == "" {
		return
	}
	var have []string
	for _, r := range c.b.House.RoutesOn() {
		if r.Name == name {
			return
		}
		have = append(have, r.Name)
	}
	c.unusual(routeCode, "the settings have no route %q that is on, but %s", name, strings.Join(have, ", "))
}

// endsSet adds to a correction of the route of a case what it then ends with.
func (c *checker) endsSet(a action.Correct, set json.RawMessage) json.RawMessage {
	it, ok := c.b.Item(a.Of)
	if _, in := it.Body.(action.CaseIn); !ok || !in {
		return set
	}
	var fields map[string]json.RawMessage
	var name string
	if json.Unmarshal(set, &fields) != nil || fields["route"] == nil || json.Unmarshal(fields["route"], &name) != nil {
		return set
	}
	fields["ends"], _ = json.Marshal(c.endsOf(name)) // a text
	out, err := json.Marshal(fields)
	if err != nil {
		return set
	}
	return out
}
