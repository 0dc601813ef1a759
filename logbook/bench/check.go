package bench

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// Odd is something out of the ordinary about an action: a code that is recorded
// and words for the person.
type Odd struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// NeedsReason is the answer to an action that is unusual and gives no reason. It
// is never asked twice for the same thing about the same flask.
type NeedsReason struct{ Odd []Odd }

// Error says what is unusual, in one line.
func (e *NeedsReason) Error() string {
	ts := make([]string, len(e.Odd))
	for i, o := range e.Odd {
		ts[i] = o.Text
	}
	return fmt.Sprintf("unusual: %s: give a reason in \"why\" (a digit 1 to 9, or words)", strings.Join(ts, "; "))
}

// Ahead is how far into the future an action may lie: the jitter between two
// looks at the clock.
const Ahead = 2 * time.Second

// Check holds an action against the bench. It gives back the action as it is to
// be recorded: numbers the book chooses and values of the house filled in, what
// is unusual named. An error refuses it; [NeedsReason] asks for a reason. Nothing
// is ever blocked for being out of order, only for being impossible: a flask that
// is not there, a place taken, a time before the thing it happened to.
func (b *Bench) Check(a action.Action, stamp timers.Stamp, now timers.Now) (action.Action, error) {
	if err := a.Valid(); err != nil {
		return a, err
	}
	if a.At.After(now.Wall.Add(Ahead)) {
		return a, fmt.Errorf("%s lies in the future (now is %s): check the time", stampText(a.At), stampText(now.Wall))
	}
	c := checker{b: b, at: stamp, then: now}
	d := now.Wall.Sub(a.At)
	c.live = d > -Ahead && d < live || slices.Contains(a.Unusual, clockBack)
	// Questions of time are asked as of the action, not as of now.
	back := now.Wall.Sub(a.At)
	c.then.Wall, c.then.Boot, c.then.Mono = a.At, now.Boot-back, now.Mono-back
	body, err := c.body(a.Body)
	if err != nil {
		return a, err
	}
	a.Body = body
	if err := a.Body.Valid(); err != nil {
		return a, err
	}
	if err := c.limits(a.Body); err != nil {
		return a, err
	}
	if a.By == "" {
		a.By = b.Crew
	}
	a.Unusual = c.marks
	asked := []Odd{}
	for _, o := range c.odd {
		a.Unusual = append(a.Unusual, o.Code)
		if o, ask := c.asks(o); ask {
			asked = append(asked, o)
		}
	}
	if len(asked) > 0 && a.Why == "" {
		return a, &NeedsReason{asked}
	}
	return a, nil
}

func stampText(t time.Time) string { return t.Format("2006-01-02 15:04:05 -07:00") }

// clockBack marks a record written while the clock stood before the one ahead of it;
// read in again from an export, it keeps its place in the sequence.
const clockBack = "clock-back"

// live is how long ago an action may have been done to count as done now.
const live = 5 * time.Second

type checker struct {
	b       *Bench
	live    bool     // done now, by whatever the clock says
	marks   []string // codes recorded without a question
	at      timers.Stamp
	then    timers.Now
	odd     []Odd
	of      *Flask // of several, the one being looked at
	excused map[string]bool
	lots    map[string][]lotOdd // by code: what is unusual about which lot
}

func (c *checker) unusual(code, format string, a ...any) {
	if c.of != nil { // one of several: the code says which
		if c.of.excused[code] {
			c.excuse(OddCode(code, c.of.No))
		}
		code = OddCode(code, c.of.No)
	}
	for _, o := range c.odd {
		if o.Code == code {
			return
		}
	}
	c.odd = append(c.odd, Odd{code, fmt.Sprintf(format, a...)})
}

// flask finds a flask at work and refuses a time before its latest record.
func (c *checker) flask(no int) (*Flask, error) {
	f := c.b.Flasks[no]
	switch {
	case f == nil || f.Stage == Finished:
		return nil, fmt.Errorf("there is no flask %d on the bench%s", no, c.benchList())
	case between(f.Last, c.at) < 0 && c.live:
		// The clock stands before what is written. The work goes on, in sequence and
		// marked.
		if len(c.marks) == 0 {
			c.marks = append(c.marks, clockBack)
		}
	case between(f.Last, c.at) < 0:
		return nil, fmt.Errorf("%s is before the last record of flask %d (%s): check the time", stampText(c.at.At), no, stampText(f.Last.At))
	}
	if c.excused == nil {
		c.excused = map[string]bool{}
	}
	for k := range f.excused {
		c.excused[k] = true
	}
	return f, nil
}

func (c *checker) benchList() string {
	var ns []string
	for p := 1; p <= 9; p++ {
		if f := c.b.OnPlace(p); f != nil {
			ns = append(ns, fmt.Sprint(f.No))
		}
	}
	if len(ns) == 0 {
		return ": the bench is empty"
	}
	return ": at work are " + strings.Join(ns, ", ")
}

func (c *checker) mix(no int) (*Mix, error) {
	m := c.b.Mixes[no]
	switch {
	case m == nil:
		return nil, fmt.Errorf("there is no mix %d at work", no)
	case between(m.Made, c.at) < 0 && !c.live:
		return nil, fmt.Errorf("%s is before mix %d was made (%s): check the time", stampText(c.at.At), no, stampText(m.Made.At))
	}
	return m, nil
}

// order calls a step unusual that the route does not have here.
func (c *checker) order(f *Flask, what string, ok ...Stage) {
	for _, s := range ok {
		if f.Stage == s {
			return
		}
	}
	c.unusual("out-of-order", "%s while the flask is at %q", what, f.Stage)
}

func (c *checker) free(place int) error {
	if f := c.b.OnPlace(place); f != nil {
		return fmt.Errorf("place %d is taken by flask %d (case %s)", place, f.No, f.Case)
	}
	return nil
}

// topNumber is the highest number that may be given; the book itself counts on.
const topNumber = 100_000_000

func number(name string, n *int, top int) error {
	if *n == 0 {
		*n = top + 1
	}
	if *n > topNumber {
		return fmt.Errorf("%s %d is a slip of the key: the next is %d", name, *n, top+1)
	}
	if *n <= top {
		return fmt.Errorf("%s %d was used before: numbers go up, the next is %d", name, *n, top+1)
	}
	return nil
}

func orInt(v *int, house int) {
	if *v == 0 {
		*v = house
	}
}

func orFloat(v *float64, house float64) {
	if *v == 0 {
		*v = house
	}
}

// body checks one body and fills it in.
func (c *checker) body(body action.Body) (action.Body, error) {
	b, h := c.b, c.b.House
	switch a := body.(type) {
	case action.FlaskOpen:
		if err := number("flask", &a.Flask, b.Top.Flask); err != nil {
			return a, err
		}
		return a, c.free(a.Place)
	case action.FlaskMove:
		f, err := c.flask(a.Flask)
		if err != nil {
			return a, err
		}
		if f.Place == a.Place {
			return a, fmt.Errorf("flask %d stands on place %d already", a.Flask, a.Place)
		}
		return a, c.free(a.Place)
	case action.Coat:
		f, err := c.flask(a.Flask)
		if err != nil {
			return a, err
		}
		orInt(&a.DryMinS, h.Separator.DryMinS)
		orInt(&a.DryMaxS, h.Separator.DryMaxS)
		a.Lot = c.lot("separator", a.Lot)
		c.order(f, "separator", Opened, Drying)
		return a, nil
	case action.MixMake:
		return c.makeMix(a)
	case action.MixServe:
		m, err := c.mix(a.Mix)
		if err != nil {
			return a, err
		}
		if m.Stiff != nil {
			c.unusual("stiff-mix", "mix %s was marked too stiff", m.Letter())
		}
		return a, c.serve(a.Flasks)
	case action.MixDough:
		m, err := c.mix(a.Mix)
		if err == nil {
			if after := between(m.Made, c.at); after < m.Window.FromLow/2 {
				c.unusual("dough-early", "dough marked %s after mixing, expected from %s (estimate)", hm(after), hm(m.Window.From))
			}
		}
		return a, err
	case action.MixStiff:
		_, err := c.mix(a.Mix)
		return a, err
	case action.PressIn:
		f, err := c.flask(a.Flask)
		if err != nil {
			return a, err
		}
		orInt(&a.Press, 1)
		return a, c.pressIn(f, a)
	case action.PressAt:
		f, err := c.flask(a.Flask)
		if err != nil {
			return a, err
		}
		orFloat(&a.PressurePSI, h.Press.PressurePSI)
		orInt(&a.HoldS, h.Press.HoldS)
		c.order(f, "pressure reached", InPress)
		return a, nil
	case action.PressOpen:
		f, err := c.flask(a.Flask)
		if err != nil {
			return a, err
		}
		c.order(f, "press opened", Holding)
		if t := f.Trial(); t != nil && t.At != nil && f.Stage == Holding {
			if held := between(*t.At, c.at); held < time.Duration(t.HoldAimS)*time.Second {
				c.unusual("hold-short", "held %d s of %d s", int(held/time.Second), t.HoldAimS)
			}
		}
		return a, nil
	case action.Flash:
		f, err := c.flask(a.Flask)
		if err != nil {
			return a, err
		}
		c.order(f, "flash judged", Judging)
		return a, nil
	case action.FlashMore:
		f, err := c.flask(a.Flask)
		if err != nil {
			return a, err
		}
		if len(f.Judged()) == 0 {
			return a, fmt.Errorf("flask %d has no judged closure to add to", a.Flask)
		}
		return a, nil
	case action.DoughAdd:
		f, err := c.flask(a.Flask)
		if err != nil {
			return a, err
		}
		c.order(f, "dough added", Trimmed)
		return a, nil
	case action.FlaskLots:
		if _, err := c.flask(a.Flask); err != nil {
			return a, err
		}
		a.StoneLot, a.SheetLot = c.lot("stone", a.StoneLot), c.lot("sheet", a.SheetLot)
		return a, nil
	case action.Inspect:
		f, err := c.flask(a.Flask)
		if err != nil {
			return a, err
		}
		c.order(f, "mould inspected", Judging, Trimmed)
		return a, nil
	case action.SheetOut:
		f, err := c.flask(a.Flask)
		if err != nil {
			return a, err
		}
		c.order(f, "final closure", Trimmed)
		if f.Stage == Trimmed {
			if v := b.Verdict(f, c.then); !v.Ready {
				c.unusual("not-ready", "not ready for final closure: %s", strings.TrimPrefix(v.String(), "not yet: "))
			}
		}
		return a, nil
	case action.MetalToMetal:
		f, err := c.flask(a.Flask)
		if err != nil {
			return a, err
		}
		orInt(&a.Press, 1)
		orFloat(&a.PressurePSI, h.Press.PressurePSI)
		c.order(f, "final closure", Sheetout)
		if m := b.MixOf(f); m != nil {
			c.doughSpent(m)
		}
		return a, nil
	case action.Clamp:
		f, err := c.flask(a.Flask)
		if err != nil {
			return a, err
		}
		orFloat(&a.BackedOffTurn, h.Press.BackOffTurn)
		orInt(&a.BenchMinS, h.BenchSet.MinS)
		if a.BenchMaxS == 0 && h.BenchSet.MaxS >= a.BenchMinS {
			a.BenchMaxS = h.BenchSet.MaxS
		}
		c.order(f, "clamped", Metal)
		return a, nil
	case action.BathLoad:
		return c.load(a)
	case action.BathReading:
		if a.Bath > len(h.Baths) {
			return a, fmt.Errorf("there is no bath %d: the settings name %d", a.Bath, len(h.Baths))
		}
		for _, r := range b.Readings {
			if r.Bath == a.Bath && between(r.At, c.at) < 0 && !c.live {
				return a, fmt.Errorf("%s is before the last reading of bath %d (%s): time cannot run back", stampText(c.at.At), a.Bath, stampText(r.At.At))
			}
		}
		return a, nil
	case action.BathUnload:
		orInt(&a.BenchS, h.Cooling.BenchS)
		return a, c.each(a.Flasks, func(f *Flask) {
			c.order(f, "taken out of the bath", InBath)
			if l := b.LoadOf(f); l != nil && f.Stage == InBath {
				if in, want := between(l.In, c.at), time.Duration(house.LengthS(l.Stages))*time.Second; in < want {
					c.unusual("cure-short", "in the bath %s of %s", hm(in), hm(want))
				}
			}
		})
	case action.CoolWater:
		orInt(&a.WaterS, h.Cooling.WaterS)
		return a, c.each(a.Flasks, func(f *Flask) {
			c.order(f, "into water", Cooling)
			c.cooled(f)
		})
	case action.Deflask:
		return a, c.each(a.Flasks, func(f *Flask) {
			c.order(f, "deflasked", InWater)
			c.cooled(f)
		})
	case action.Remount:
		f, err := c.flask(a.Flask)
		if err != nil {
			return a, err
		}
		c.order(f, "remounted", Open)
		return a, nil
	case action.Outcome:
		f, err := c.flask(a.Flask)
		if err != nil {
			return a, err
		}
		if a.Outcome != "remake" {
			c.order(f, a.Outcome, Checked)
		}
		return a, nil
	case action.Note:
		switch {
		case a.Flask > 0:
			_, err := c.flask(a.Flask)
			return a, err
		case a.Mix > 0:
			_, err := c.mix(a.Mix)
			return a, err
		case b.Loads[a.Load] == nil:
			return a, fmt.Errorf("there is no load %d at work", a.Load)
		}
		return a, nil
	case action.TimerStart:
		return a, number("timer", &a.Timer, b.Top.Timer)
	case action.TimerStop:
		t := b.Timers[a.Timer]
		if t == nil || t.Stopped != nil {
			return a, fmt.Errorf("there is no timer %d running", a.Timer)
		}
		if between(t.Start, c.at) < 0 && !c.live {
			return a, fmt.Errorf("%s is before timer %d was started: check the time", stampText(c.at.At), a.Timer)
		}
		return a, nil
	case action.AlarmHeard:
		return a, c.alarm(a.Alarm)
	case action.AlarmShelve:
		return a, c.alarm(a.Alarm)
	case action.LotIn:
		return c.lotIn(a)
	case action.LotOut:
		return c.lotOut(a)
	case action.Correct:
		if err := c.correct(a); err != nil {
			return a, err
		}
		return a, c.alone(a)
	case action.TakeBack:
		if err := c.takeBack(a); err != nil {
			return a, err
		}
		return a, c.alone(a)
	}
	return body, nil
}

func (c *checker) each(ns []int, f func(*Flask)) error {
	for _, n := range ns {
		fl, err := c.flask(n)
		if err != nil {
			return err
		}
		if len(ns) > 1 {
			c.of = fl
		}
		f(fl)
		c.of = nil
	}
	return nil
}

// OddCode is the code of what is unusual about one flask of several in an action.
func OddCode(code string, flask int) string { return fmt.Sprintf("%s@%d", code, flask) }

// oddOf takes such a code apart; flask is 0 where it belongs to all.
func oddOf(code string) (bare string, flask int) {
	bare, no, ok := strings.Cut(code, "@")
	if n, err := strconv.Atoi(no); ok && err == nil {
		return bare, n
	}
	return code, 0
}

func (c *checker) excuse(code string) {
	if c.excused == nil {
		c.excused = map[string]bool{}
	}
	c.excused[code] = true
}

func (c *checker) serve(ns []int) error {
	return c.each(ns, func(f *Flask) {
		if rank(f.Stage) > rank(Trimmed) {
			c.unusual("out-of-order", "a mix for a flask at %q", f.Stage)
		}
	})
}

func (c *checker) makeMix(a action.MixMake) (action.Body, error) {
	h := c.b.House
	if err := number("mix", &a.Mix, c.b.Top.Mix); err != nil {
		return a, err
	}
	if a.Resin == "" {
		a.Resin = h.Resins[0].Name
	}
	r, known := h.Resin(a.Resin)
	if !known && (a.PowderG == 0 || a.LiquidG == 0 || a.WorkS == 0) {
		return a, fmt.Errorf("the settings know no resin %q: give powder_g, liquid_g, dough_s and work_s, or one of %s", a.Resin, strings.Join(h.ResinNames(), ", "))
	}
	powderG, liquidG := Masses(r, float64(len(a.Flasks)))
	orFloat(&a.PowderG, powderG)
	orFloat(&a.LiquidG, liquidG)
	if a.RoomC == 0 {
		a.RoomC = h.RoomC()
	}
	if a.WorkS == 0 {
		a.DoughS, a.WorkS = WorkingTimes(r, a.RoomC, a.JarC)
	}
	a.PowderLot, a.LiquidLot = c.lot("powder", a.PowderLot), c.lot("liquid", a.LiquidLot)
	return a, c.serve(a.Flasks)
}

func (c *checker) doughSpent(m *Mix) {
	if left, _ := m.DoughLeft(c.then); left < 0 {
		c.unusual("dough-late", "the dough of mix %s is %s past its working time (estimate)", m.Letter(), hm(-left))
	}
	if m.Stiff != nil {
		c.unusual("stiff-mix", "mix %s was marked too stiff", m.Letter())
	}
}

// pressIn looks at everything that makes packing unwise: a wet separator, no dough
// yet, dough no more, a press that is taken.
func (c *checker) pressIn(f *Flask, a action.PressIn) error {
	c.order(f, "trial closure", Drying, Trimmed)
	for _, n := range Sorted(c.b.Flasks) {
		other := c.b.Flasks[n]
		t := other.Trial()
		if other.No != f.No && t != nil && (other.Stage == InPress || other.Stage == Holding) && t.Press == a.Press {
			c.unusual("press-taken", "flask %d is in press %d", other.No, a.Press)
		}
	}
	if len(f.Trials) == 0 {
		for _, name := range []string{"cast", "teeth"} {
			half := f.Halves[name]
			if half == nil {
				c.unusual("no-separator", "no separator recorded on the %s half", name)
				continue
			}
			dried := between(half.Coated, c.at)
			if dried < time.Duration(half.MinS)*time.Second {
				c.unusual("separator-wet", "separator on the %s half has dried %s of %s", name, hm(dried), hm(time.Duration(half.MinS)*time.Second))
			}
			if half.MaxS > 0 && dried > time.Duration(half.MaxS)*time.Second {
				c.unusual("separator-old", "separator on the %s half was painted %s ago, limit %s", name, hm(dried), hm(time.Duration(half.MaxS)*time.Second))
			}
		}
	}
	m := c.b.MixOf(f)
	if m == nil {
		c.unusual("no-mix", "no mix recorded for this flask")
		return nil
	}
	if between(m.Made, c.at) < 0 && !c.live {
		return fmt.Errorf("%s is before mix %d was made (%s): check the time", stampText(c.at.At), m.No, stampText(m.Made.At))
	}
	if _, reached := m.DoughLeft(c.then); !reached {
		c.unusual("not-dough", "mix %s is not expected to be dough yet", m.Letter())
	}
	c.doughSpent(m)
	return nil
}

func (c *checker) load(a action.BathLoad) (action.Body, error) {
	h := c.b.House
	if err := number("load", &a.Load, c.b.Top.Load); err != nil {
		return a, err
	}
	orInt(&a.Bath, 1)
	if a.Bath > len(h.Baths) {
		return a, fmt.Errorf("there is no bath %d: the settings name %d", a.Bath, len(h.Baths))
	}
	if len(a.Stages) == 0 {
		p, ok := h.Programme(a.Programme)
		if !ok {
			return a, fmt.Errorf("the settings know no programme %q: give stages, or one of %s", a.Programme, strings.Join(h.ProgrammeNames(), ", "))
		}
		a.Stages = p.Stages
		if a.MaxS == 0 {
			a.MaxS = p.MaxS
		}
	}
	if a.BathC == 0 {
		a.BathC = a.Stages[0].TempC
	}
	return a, c.each(a.Flasks, func(f *Flask) {
		c.order(f, "into the bath", Set)
		if f.Stage == Set && f.Clamped != nil {
			if set, want := between(*f.Clamped, c.at), time.Duration(f.BenchMinS)*time.Second; set < want {
				c.unusual("set-short", "bench set %s of %s", hm(set), hm(want))
			}
		}
	})
}

// cooled calls it unusual to go on before the cooling it was put under is done.
func (c *checker) cooled(f *Flask) {
	from, s := f.OutBath, f.CoolS
	if f.Stage == InWater {
		from, s = f.InWater, f.WaterS
	} else if f.Stage != Cooling {
		return
	}
	if from == nil {
		return
	}
	if cooled, want := between(*from, c.at), time.Duration(s)*time.Second; cooled < want {
		c.unusual("cool-short", "cooled %s of %s", hm(cooled), hm(want))
	}
}

func (c *checker) alarm(key string) error {
	for _, al := range c.b.Alarms(c.then) {
		if al.Key == key {
			return nil
		}
	}
	return fmt.Errorf("no alarm %q stands", key)
}

func (c *checker) correct(a action.Correct) error {
	it, ok := c.b.Item(a.Of)
	if !ok {
		return fmt.Errorf("there is no record with the id %q", a.Of)
	}
	switch it.Body.(type) {
	case action.Correct, action.TakeBack, action.Settings, action.Crew, action.Clock, action.Seen, action.AlarmHeard, action.AlarmShelve:
		return fmt.Errorf("a record of the kind %q is not corrected: take it back, or record anew", it.Body.Kind())
	}
	if it.TakenBack != nil {
		return errors.New("that record was taken back: record it anew")
	}
	body, at, err := Amend(it.Body, it.Stamp.At, a.Set)
	if err != nil {
		return err
	}
	if at.After(c.then.Wall.Add(Ahead)) {
		return fmt.Errorf("%s lies in the future: check the time", stampText(at))
	}
	if materialOf(it.Body) != materialOf(body) {
		return errors.New("a correction cannot make a lot one of another material: take it back and record anew")
	}
	was, is := it.Body.Subjects(), body.Subjects()
	if len(was) != len(is) {
		return errors.New("a correction cannot make a record be about other flasks: take it back and record anew")
	}
	for i := range was {
		if was[i] != is[i] {
			return errors.New("a correction cannot make a record be about another flask: take it back and record anew")
		}
	}
	if err := c.limits(body); err != nil {
		return err
	}
	if err := c.inOrder(it, at); err != nil {
		return err
	}
	if o, ok := body.(action.FlaskOpen); ok && c.b.Flasks[o.Flask] != nil && o.Place != it.Body.(action.FlaskOpen).Place {
		return errors.New("a flask is moved, not corrected, to another place")
	}
	return nil
}

// limits holds a body with its values filled in against what the house has.
func (c *checker) limits(body action.Body) error {
	h := c.b.House
	press := func(n int) error {
		if n > h.Press.Presses {
			return fmt.Errorf("there is no press %d: the settings name %d", n, h.Press.Presses)
		}
		return nil
	}
	pressure := func(psi float64) error {
		if psi <= 0 {
			return errors.New("a closure has a pressure: give what the gauge showed")
		}
		return nil
	}
	switch a := body.(type) {
	case action.PressIn:
		return press(a.Press)
	case action.PressAt:
		return pressure(a.PressurePSI)
	case action.MetalToMetal:
		if err := press(a.Press); err != nil {
			return err
		}
		return pressure(a.PressurePSI)
	case action.BathLoad:
		if a.Bath > len(h.Baths) {
			return fmt.Errorf("there is no bath %d: the settings name %d", a.Bath, len(h.Baths))
		}
	}
	return nil
}

// inOrder refuses a corrected time that puts a record before or behind another about
// the same thing.
func (c *checker) inOrder(it Item, at time.Time) error {
	if at.Equal(it.Stamp.At) {
		return nil
	}
	to := moved(it.Stamp, at)
	about := map[action.Subject]bool{}
	for _, s := range it.Body.Subjects() {
		about[s] = true
	}
	for _, o := range c.b.Items {
		if o.Seq == it.Seq || o.TakenBack != nil {
			continue
		}
		shared := false
		for _, s := range o.Body.Subjects() {
			shared = shared || about[s]
		}
		switch {
		case !shared:
		case o.Seq < it.Seq && between(o.Stamp, to) < 0:
			return fmt.Errorf("%s is before what went ahead of it (record %d, %s): check the time", stampText(at), o.Seq, stampText(o.Stamp.At))
		case o.Seq > it.Seq && between(to, o.Stamp) < 0:
			return fmt.Errorf("%s is after what followed it (record %d, %s): check the time", stampText(at), o.Seq, stampText(o.Stamp.At))
		}
	}
	return nil
}

func (c *checker) takeBack(a action.TakeBack) error {
	it, ok := c.b.Item(a.Of)
	if !ok {
		return fmt.Errorf("there is no record with the id %q", a.Of)
	}
	if it.TakenBack != nil {
		return errors.New("that record was taken back already")
	}
	switch body := it.Body.(type) {
	case action.FlaskOpen, action.MixMake, action.BathLoad:
		if n := c.rests(it); n > 0 {
			return fmt.Errorf("%d later records rest on that one: take those back first", n)
		}
	case action.Outcome:
		if f := c.b.Flasks[body.Flask]; f != nil {
			if p := c.lastPlace(body.Flask); p > 0 && c.b.Places[p] != 0 {
				return fmt.Errorf("place %d is taken by now: move flask %d away first", p, c.b.Places[p])
			}
		}
	case action.Clock, action.Seen, action.Crew:
		return fmt.Errorf("a record of the kind %q is not taken back", it.Body.Kind())
	}
	return nil
}

// rests counts the later records about the thing that a record brought into the
// world.
func (c *checker) rests(it Item) int {
	var made action.Subject
	switch a := it.Body.(type) {
	case action.FlaskOpen:
		made = action.Subject{Class: 'f', No: a.Flask}
	case action.MixMake:
		made = action.Subject{Class: 'm', No: a.Mix}
	case action.BathLoad:
		made = action.Subject{Class: 'l', No: a.Load}
	}
	n := 0
	for _, o := range c.b.Items {
		if o.Seq <= it.Seq || o.TakenBack != nil {
			continue
		}
		for _, s := range o.Body.Subjects() {
			if s == made {
				n++
			}
		}
		if u, ok := o.Body.(action.BathUnload); ok && made.Class == 'l' {
			for _, f := range u.Flasks {
				if fl := c.b.Flasks[f]; fl != nil && fl.Load == made.No {
					n++
				}
			}
		}
		if _, ok := o.Body.(action.PressIn); ok && made.Class == 'm' {
			if fl := c.b.Flasks[o.Body.Subjects()[0].No]; fl != nil && fl.Mix == made.No {
				n++
			}
		}
	}
	return n
}

// lastPlace is where a flask stood, from its records.
func (c *checker) lastPlace(no int) int {
	p := 0
	for _, it := range c.b.Items {
		if it.TakenBack != nil {
			continue
		}
		switch a := it.Body.(type) {
		case action.FlaskOpen:
			if a.Flask == no {
				p = a.Place
			}
		case action.FlaskMove:
			if a.Flask == no {
				p = a.Place
			}
		}
	}
	return p
}

// hm writes a length of time for a sentence.
func hm(d time.Duration) string {
	d = d.Round(time.Second)
	switch {
	case d < time.Minute:
		return fmt.Sprintf("%d s", int(d/time.Second))
	case d < time.Hour:
		return fmt.Sprintf("%d min %02d s", int(d/time.Minute), int(d%time.Minute/time.Second))
	}
	return fmt.Sprintf("%d h %02d min", int(d/time.Hour), int(d%time.Hour/time.Minute))
}

// alone sees to it that a correction or a taking back leaves no two flasks on one
// place.
func (c *checker) alone(body action.Body) error {
	seq := uint64(1)
	if n := len(c.b.Items); n > 0 {
		seq = c.b.Items[n-1].Seq + 1
	}
	then := Fold(append(c.b.records(), record.Record{Seq: seq, Stamp: c.at, Action: action.Action{ID: "\x00", At: c.at.At, Body: body}}), c.b.Top)
	on := map[int]int{}
	for _, n := range Sorted(then.Flasks) {
		f := then.Flasks[n]
		if f.Place == 0 || f.Stage == Finished {
			continue
		}
		if other, taken := on[f.Place]; taken {
			return fmt.Errorf("flasks %d and %d would stand on place %d: move one away first", other, n, f.Place)
		}
		on[f.Place] = n
	}
	return nil
}
