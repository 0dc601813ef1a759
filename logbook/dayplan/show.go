package dayplan

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"flaskside/logbook/bench"
	"flaskside/logbook/words"
	"flaskside/timers/each"
	"flaskside/timers/plan"
)

// Shown is a plan as it is told, in its order: the JSON of the command.
type Shown struct {
	At        time.Time   `json:"at"`
	What      string      `json:"what"` // what this is: estimates
	People    int         `json:"people"`
	Presses   int         `json:"presses"`
	Baths     []string    `json:"baths"`
	Seed      uint64      `json:"seed"`
	Rule      string      `json:"rule"`
	Mixes     []shownMix  `json:"mixes"`
	Loads     []shownLoad `json:"loads"`
	Cases     []shownCase `json:"cases"`
	Work      []shownWork `json:"at_work"`
	Ask       *shownAsk   `json:"ask_for_later,omitempty"`
	MixesMade float64     `json:"mixes_made"` // a day, with those made anew
	Lost      float64     `json:"doughs_lost"`
	Overtime  string      `json:"overtime"`
	Notes     []string    `json:"notes,omitempty"`
}

// shownMix is one mix. Instants are the middle of many simulated days; to five minutes on paper.
type shownMix struct {
	No       int        `json:"no"`
	Cases    []string   `json:"cases"`
	Resin    string     `json:"resin"`
	Today    bool       `json:"today"`
	CoatFrom *time.Time `json:"coat_from"`
	MixAt    *time.Time `json:"mix_at"`
	Latest   *time.Time `json:"at_the_latest"`
	Closed   *time.Time `json:"closed_by"` // on nine days of ten on which no dough is lost
	AllIn    string     `json:"all_in_time"`

	index int
}

// shownLoad is one load of a bath.
type shownLoad struct {
	Bath      string     `json:"bath"`
	Programme string     `json:"programme"`
	Cases     []string   `json:"cases"`
	In        *time.Time `json:"in"`
	Latest    *time.Time `json:"at_the_latest"` // then with those that are set
	Out       *time.Time `json:"out"`

	index int
}

// shownCase is one case.
type shownCase struct {
	Case     string     `json:"case"`
	Size     string     `json:"size"`
	Resin    string     `json:"resin"`
	Due      *time.Time `json:"due"` // null for a flask whose case was never taken in
	Rush     bool       `json:"rush"`
	Mix      int        `json:"mix"`
	Finished *time.Time `json:"finished"`
	By       *time.Time `json:"finished_by"` // on nine days of ten
	Late     string     `json:"late"`
	LateStep float64    `json:"late_step"` // in steps of 0.05; 0.05 is that or less, 0.95 that or more
}

// shownAsk is the case to ask a later time for.
type shownAsk struct {
	Case  string    `json:"case"`
	Size  string    `json:"size"`
	Due   time.Time `json:"due"`
	To    time.Time `json:"to"`
	Buys  []string  `json:"buys"`
	Gains float64   `json:"gains_points"`
}

// when is an instant, nil for none.
func (d *Day) when(min float64) *time.Time {
	if math.IsNaN(min) || math.IsInf(min, 0) {
		return nil
	}
	t := d.instant(min)
	return &t
}

func (d *Day) names(cases []int) []string {
	out := []string{}
	for _, i := range cases {
		out = append(out, d.Entries[i].Case)
	}
	return out
}

// tonight is when the day ends that is planned for.
func (d *Day) tonight() float64 { return float64(d.today()+1) * plan.Day }

// Show brings a plan into the order in which it is told.
func (d *Day) Show() Shown {
	m := &d.Made
	s := Shown{At: d.Question.Now, What: bench.YouDecide, People: m.House.Hands, Presses: m.House.Presses, Baths: d.Baths, Seed: d.Question.Seed,
		Rule: string(m.Plan.Rule), MixesMade: math.Round(10*m.MixesMade) / 10, Lost: math.Round(10*m.Foretold.Lost) / 10, Overtime: d.overtime(), Notes: d.Notes,
		Mixes: []shownMix{}, Loads: []shownLoad{}, Cases: []shownCase{}}
	for _, j := range d.mixOrder() {
		t, cases := m.Mixes[j], m.Plan.Mixes[j].Cases
		x := shownMix{No: len(s.Mixes) + 1, Cases: d.names(cases), Resin: d.Entries[cases[0]].Resin, Today: t.Start.Middle < d.tonight(), index: j,
			CoatFrom: d.when(t.Coat.Middle), MixAt: d.when(t.Start.Middle), Closed: d.when(t.Closed.To), AllIn: fmt.Sprintf("about %.0f %%", 100*(1-lateStep(1-t.All)))}
		if x.Today {
			x.Latest = d.when(t.Latest)
		}
		s.Mixes = append(s.Mixes, x)
	}
	for j, l := range m.Plan.Loads {
		t := m.Loads[j]
		if math.IsNaN(t.In.Middle) {
			continue // its cases are loaded otherwise
		}
		x := shownLoad{Bath: d.Baths[l.Bath], Programme: d.programme(l.Long), Cases: d.names(l.Cases), In: d.when(t.In.Middle), Out: d.outAt(t, l.Long), index: j}
		if latest := min(l.LatestMin, d.lastStart(l.LatestMin)); latest > t.In.Middle-1 {
			x.Latest = d.when(latest)
		}
		s.Loads = append(s.Loads, x)
	}
	d.strays(&s)
	slices.SortStableFunc(s.Loads, func(a, b shownLoad) int { return compareTimes(a.In, b.In) })
	d.apart(s.Loads)
	for i, e := range d.Entries {
		c := m.Foretold.Cases[i]
		s.Cases = append(s.Cases, shownCase{Case: e.Case, Size: e.Size.String(), Resin: e.Resin, Due: due(e), Rush: e.Rush, Mix: d.mixOf(s.Mixes, i),
			Finished: d.when(c.End.Middle), By: d.when(c.End.To), Late: d.Late(i), LateStep: lateStep(c.Late)})
	}
	s.Work = d.work()
	if a := m.Ask; a != nil {
		e := d.Entries[a.Case]
		s.Ask = &shownAsk{Case: e.Case, Size: e.Size.String(), Due: e.Due, To: d.instant(a.DueMin), Buys: d.buys(), Gains: math.Round(10*a.Gain) / 10}
	}
	return s
}

// stay is how long a load is in the bath, minutes.
func (d *Day) stay(long bool) float64 {
	if long {
		return d.Made.House.BathStartMin + d.Made.House.LongMin
	}
	return d.Made.House.BathStartMin + d.Made.House.ShortMin
}

// out is when a load comes out: never before its whole programme is over, counted from when it is told to go in. The
// middles of two lists of days need not agree in that.
func (d *Day) out(t plan.LoadTimes, long bool) float64 {
	if math.IsNaN(t.Out.Middle) || math.IsNaN(t.In.Middle) {
		return t.Out.Middle
	}
	return max(t.Out.Middle, t.In.Middle+d.stay(long))
}

// lastStart is the end of overtime on the day of an instant: nothing goes into a bath after that.
func (d *Day) lastStart(min float64) float64 {
	day := math.Floor(min / plan.Day)
	if int(day) == d.today() {
		return day*plan.Day + d.open().OvertimeMin
	}
	return day*plan.Day + d.Made.House.Hours.OvertimeMin
}

// apart keeps the loads of a bath, in their order, apart: the middles of two lists of days need not agree in that the next
// goes in when the one before is out.
func (d *Day) apart(loads []shownLoad) {
	free := map[string]time.Time{}
	for i := range loads {
		l := &loads[i]
		if l.In == nil {
			continue
		}
		if out := free[l.Bath]; l.In.Before(out) {
			by := out.Sub(*l.In)
			if l.In = &out; l.Latest != nil && l.Latest.Before(out) {
				l.Latest = nil
			}
			if l.Out != nil {
				later := l.Out.Add(by)
				l.Out = &later
			}
		}
		if l.Out != nil {
			free[l.Bath] = *l.Out
		}
	}
}

// near are minutes within which two middles are one load.
const near = 15

// strays puts the cases that are in none of the loads that go with the load that they are likely in, or into one of their
// own. A bath has one load at a time and no more flasks than places: of a case for which that leaves nothing it is told that
// it goes with the first load that has room.
func (d *Day) strays(s *Shown) {
	m := &d.Made
	for i := range d.Entries {
		c := m.Foretold.Cases[i]
		in := func(x shownLoad) bool { return slices.Contains(x.Cases, d.Entries[i].Case) }
		if math.IsNaN(c.In.Middle) || slices.ContainsFunc(s.Loads, in) || c.Bath >= len(d.Baths) {
			continue
		}
		t := plan.LoadTimes{In: c.In, Out: c.Out}
		own := shownLoad{Bath: d.Baths[c.Bath], Programme: d.programme(c.Long), Cases: []string{d.Entries[i].Case}, In: d.when(c.In.Middle), Out: d.outAt(t, c.Long), index: -1}
		k := slices.IndexFunc(s.Loads, func(x shownLoad) bool {
			return x.Bath == own.Bath && x.Programme == own.Programme && x.In != nil && len(x.Cases) < m.House.BathPlaces && math.Abs(x.In.Sub(*own.In).Minutes()) <= near
		})
		busy := slices.ContainsFunc(s.Loads, func(x shownLoad) bool {
			return x.Bath == own.Bath && (x.In == nil || x.Out == nil || own.Out == nil || x.In.Before(*own.Out) && own.In.Before(*x.Out))
		})
		switch {
		case k >= 0:
			s.Loads[k].Cases = append(s.Loads[k].Cases, d.Entries[i].Case)
		case busy:
			s.Notes = append(slices.Clip(s.Notes), d.Entries[i].Case+" goes into the first load that has room")
		default:
			s.Loads = append(s.Loads, own)
		}
	}
}

// outAt is the same as an instant: by the wall clock a night in which the clocks go forward is an hour short of what the
// programme takes.
func (d *Day) outAt(t plan.LoadTimes, long bool) *time.Time {
	out, in := d.when(d.out(t, long)), d.when(t.In.Middle)
	if out == nil || in == nil {
		return out
	}
	if whole := in.Add(time.Duration(d.stay(long) * float64(time.Minute))); out.Before(whole) {
		return &whole
	}
	return out
}

func compareTimes(a, b *time.Time) int {
	if a == nil || b == nil {
		return each.FalseFirst(a == nil, b == nil)
	}
	return a.Compare(*b)
}

// mixOrder are the mixes of the plan in the order in which they are made.
func (d *Day) mixOrder() []int {
	order := make([]int, len(d.Made.Mixes))
	for j := range order {
		order[j] = j
	}
	start := func(j int) float64 {
		if t := d.Made.Mixes[j].Start.Middle; !math.IsNaN(t) {
			return t
		}
		return math.Inf(1)
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(start(a), start(b)) })
	return order
}

// mixOf is the number of the mix that a case is in.
func (d *Day) mixOf(mixes []shownMix, i int) int {
	for _, x := range mixes {
		if slices.Contains(d.Made.Plan.Mixes[x.index].Cases, i) {
			return x.No
		}
	}
	return 0
}

func (d *Day) programme(long bool) string {
	if long {
		return d.Night
	}
	return d.ByDay
}

// overtime tells how likely there is some.
func (d *Day) overtime() string {
	if d.Made.Overtime < .025 {
		return "unlikely, under 5 %"
	}
	return fmt.Sprintf("on about %.0f %% of days, %.0f min on average", 100*lateStep(d.Made.Overtime), d.Made.OvertimeMin)
}

// buys tells what asking for a later time changes for the others: those whose chance to be late falls by a step.
func (d *Day) buys() []string {
	var out []string
	a := d.Made.Ask
	for i, e := range d.Entries {
		was, is := d.Made.Foretold.Cases[i].Late, a.Late[i]
		if math.Round(20*was) > math.Round(20*is) {
			out = append(out, fmt.Sprintf("%s late: then %s (now %s)", e.Case, percentOf(is), percentOf(was)))
		}
	}
	if len(out) == 0 {
		out = append(out, fmt.Sprintf("less is lost in all, %.1f points a day", a.Gain))
	}
	return out
}

func percentOf(p float64) string {
	switch step := math.Round(20*p) / 20; {
	case step < .05:
		return "under 5 %"
	case step > .95:
		return "over 95 %"
	default:
		return fmt.Sprintf("about %.0f %%", 100*step)
	}
}

// shownWork is a case at work. The plan goes round it.
type shownWork struct {
	Case   string     `json:"case"`
	Flask  int        `json:"flask"`
	Place  int        `json:"place"`
	Stage  string     `json:"stage"`
	Mix    string     `json:"mix,omitempty"`       // letter of the mix whose dough is in it
	Dough  *time.Time `json:"dough_to,omitempty"`  // estimate
	Closed *time.Time `json:"closed_by,omitempty"` // final closure, on nine days of ten on which it is closed
	InTime string     `json:"in_time,omitempty"`   // chance that it is closed inside this dough
	Set    *time.Time `json:"set,omitempty"`       // bench set over
	Bath   string     `json:"bath,omitempty"`      // that it is in
	Out    *time.Time `json:"bath_over,omitempty"` // its whole programme is over
	Cool   *time.Time `json:"cool,omitempty"`      // cooling over
}

// Basis says what a plan reckons with: the day, the people, the presses and the baths.
func (d *Day) Basis() string {
	h := &d.Made.House
	return fmt.Sprintf("%s, %s, %s, %s", d.midnight.AddDate(0, 0, d.today()).Format("Mon 2 Jan"), words.Count(h.Hands, "pair of hands", "pairs of hands"),
		words.Count(h.Presses, "press", "presses"), words.List(d.Baths))
}

// due is when a case is due, nil where nobody said.
func due(e Entry) *time.Time {
	if e.Due.IsZero() {
		return nil
	}
	return &e.Due
}

// DueWords tell when a case is due.
func (d *Day) DueWords(t *time.Time) string {
	if t == nil {
		return "not given"
	}
	return d.say(d.minutes(*t))
}

// work lists the cases at work in the order of their steps, what is nearest to its end last.
func (d *Day) work() []shownWork {
	out := []shownWork{}
	for step := plan.LostDough; step <= plan.Deflasked; step++ {
		for i, e := range d.Entries {
			if w := e.Work; w != nil && (w.Step == step && !w.Waits || w.Waits && step == plan.LostDough) {
				out = append(out, d.workShown(i, e.Case, w))
			}
		}
	}
	return out
}

func (d *Day) workShown(i int, name string, w *work) shownWork {
	x := shownWork{Case: name, Flask: w.Flask, Place: w.Place, Stage: string(w.Stage), Mix: w.Letter}
	switch {
	case w.Waits || w.Step == plan.Painted || w.Step == plan.LostDough:
	case w.Step < plan.Clamped:
		x.Dough, x.Closed = &w.End, d.when(d.Made.Foretold.Cases[i].Closed.To)
		x.InTime = fmt.Sprintf("about %.0f %%", 100*(1-lateStep(d.Made.Foretold.Cases[i].Lost)))
	case w.Step == plan.Clamped:
		x.Set = &w.From
	case w.Step == plan.Bathed:
		x.Bath, x.Out = w.Bath, &w.From
	case w.Step == plan.Cooling:
		x.Cool = &w.From
	}
	return x
}
