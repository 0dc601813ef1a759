package dayplan

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/words"
	"flaskside/timers/each"
	"flaskside/timers/plan"
)

// Record is a plan as the book keeps it, with why it takes the place of the one before; "" for the first. What is foretold
// stands in it as it was foretold when it was taken.
func (d *Day) Record(reason string) action.DayPlan {
	s := d.Show()
	out := action.DayPlan{Day: d.date(), Reason: reason, People: d.Made.House.Hands, Presses: d.Made.House.Presses,
		From: d.Question.Hours[0], To: d.Question.Hours[1], Down: d.Question.Down, GateMin: d.Made.Plan.GateMin,
		First: d.Question.Choice.First, Together: d.Question.Choice.Together}
	if d.Question.noPress { // planned as if one were there
		out.Presses = 0
	}
	at := func(t *time.Time) string {
		if t == nil {
			return ""
		}
		return t.Format(time.RFC3339)
	}
	for j, m := range d.Made.Plan.Mixes {
		x := action.PlanMix{Cases: d.names(m.Cases)}
		if k := slices.IndexFunc(s.Mixes, func(o shownMix) bool { return o.index == j }); k >= 0 {
			x.At, x.Latest = at(s.Mixes[k].MixAt), at(s.Mixes[k].Latest)
		}
		if m.AtMin > 0 {
			x.NotBefore = at(d.when(m.AtMin))
		}
		out.Mixes = append(out.Mixes, x)
	}
	for j, l := range d.Made.Plan.Loads {
		x := action.PlanLoad{Bath: d.Baths[l.Bath], Programme: d.programme(l.Long), Cases: d.names(l.Cases), Latest: at(d.when(l.LatestMin))}
		if k := slices.IndexFunc(s.Loads, func(o shownLoad) bool { return o.index == j }); k >= 0 {
			x.In, x.Out = at(s.Loads[k].In), at(s.Loads[k].Out)
		}
		out.Loads = append(out.Loads, x)
	}
	for i, c := range s.Cases {
		x := action.PlanCase{Case: c.Case, Finished: at(c.Finished)}
		if c.Due != nil {
			x.LatePercent = int(math.Round(100 * c.LateStep))
		}
		w := d.Entries[i].Work
		x.Lost = w != nil && !w.Waits && w.Step == plan.LostDough
		out.Cases = append(out.Cases, x)
	}
	return out
}

// date is the day that is planned for.
func (d *Day) date() string { return d.midnight.AddDate(0, 0, d.today()).Format(time.DateOnly) }

// Holds tells whether a plan that was taken is for the day of an instant, or for one to come.
func Holds(p *bench.Planned, now time.Time) bool {
	return p != nil && p.Day >= now.Format(time.DateOnly)
}

// As is a question asked for the day as it was when a plan was taken, by the same choices.
func (q Question) As(p *bench.Planned) Question {
	q.People, q.Hours = p.People, [2]string{p.From, p.To}
	if p.Presses > 0 && (q.Presses == 0 || q.Presses > p.Presses) {
		q.Presses = p.Presses
	}
	q.Choice = Choice{First: p.First, Together: p.Together}
	for _, name := range p.Down {
		if hasBath(q.House, name) && !slices.Contains(q.Down, name) {
			q.Down = append(slices.Clone(q.Down), name)
		}
	}
	return q
}

func hasBath(h house.House, name string) bool {
	return slices.ContainsFunc(h.Baths, func(b house.Bath) bool { return b.Name == name })
}

// Follow foretells from where the bench stands what comes of a plan that was taken. What it does not speak of comes behind
// it: a case that came in since has a mix of its own at the end, one whose dough is over is packed anew first. Errors are
// those of [Question.Make].
func (q Question) Follow(ctx context.Context, p *bench.Planned) (*Day, error) {
	d, h, cases, err := q.open()
	if err != nil {
		return nil, err
	}
	made, err := plan.Follow(ctx, h, cases, d.planOf(p, &h, cases), plan.SearchOptions{Seed: q.Seed, Draws: q.Draws, Days: q.Days})
	if err != nil {
		return nil, err
	}
	return d.with(made), nil
}

// planOf is what is still to be done of a plan that was taken.
func (d *Day) planOf(p *bench.Planned, h *plan.Lab, cases []plan.Case) plan.Plan {
	return plan.Plan{GateMin: p.GateMin, Mixes: d.mixesOf(p, cases), Loads: d.loadsOf(p, h, cases)}
}

// indexOf is where a case stands by its name, -1 for one that is not there.
func (d *Day) indexOf(name string) int {
	return slices.IndexFunc(d.Entries, func(e Entry) bool { return e.Case == name })
}

// before tells whether a case has not come as far as a step.
func before(c *plan.Case, step plan.Progress) bool { return c.Begun == nil || c.Begun.Step < step }

// mixesOf are the mixes still to be made: for lost doughs first, then those of the plan, then for what came in since.
func (d *Day) mixesOf(p *bench.Planned, cases []plan.Case) (out []plan.Mix) {
	mixed := map[int]bool{}
	add := func(at float64, list ...int) {
		for _, i := range list {
			mixed[i] = true
		}
		if len(list) > 0 {
			out = append(out, plan.Mix{Cases: list, AtMin: at})
		}
	}
	for i, c := range cases {
		if c.Begun != nil && c.Begun.Step == plan.LostDough {
			add(0, i)
		}
	}
	for _, m := range p.Mixes {
		var list []int
		for _, name := range m.Cases {
			i := d.indexOf(name)
			if i >= 0 && !mixed[i] && before(&cases[i], plan.Packed) && (len(list) == 0 || cases[i].Resin == cases[list[0]].Resin) {
				list = append(list, i)
			}
		}
		at := 0.
		if t := action.PlanInstant(m.NotBefore); t.After(d.Question.Now) {
			at = d.minutes(t)
		}
		add(at, list...)
	}
	for i := range cases {
		if !mixed[i] && before(&cases[i], plan.Packed) {
			add(0, i)
		}
	}
	return out
}

// loadsOf are the loads of the plan that are still to go in, in the baths that can be used.
func (d *Day) loadsOf(p *bench.Planned, h *plan.Lab, cases []plan.Case) (out []plan.Load) {
	for _, l := range p.Loads {
		x := plan.Load{Bath: slices.Index(d.Baths, l.Bath), Long: d.ByDay == "" || l.Programme != d.ByDay, LatestMin: d.minutes(action.PlanInstant(l.Latest))}
		for _, name := range l.Cases {
			if i := d.indexOf(name); i >= 0 && len(x.Cases) < h.BathPlaces && before(&cases[i], plan.Bathed) {
				x.Cases = append(x.Cases, i)
			}
		}
		if x.Bath >= 0 && len(x.Cases) > 0 {
			out = append(out, x)
		}
	}
	return out
}

// slipped is how far behind a plan may be before it is looked at anew.
const slipped = 30 * time.Minute

// Why tells why a plan that was taken for today is to be looked at anew; "" where it still fits the bench: a dough was
// lost, a case came in or was withdrawn, a bath, a programme or a press that it counts on is not there, or it is more than
// half an hour behind.
func Why(p *bench.Planned, b *bench.Bench, entries []Entry, now time.Time) string {
	h := b.House
	planned := func(name string) *action.PlanCase {
		if i := slices.IndexFunc(p.Cases, func(c action.PlanCase) bool { return c.Case == name }); i >= 0 {
			return &p.Cases[i]
		}
		return nil
	}
	for _, e := range entries {
		if c := planned(e.Case); e.Work != nil && !e.Work.Waits && e.Work.Step == plan.LostDough && (c == nil || !c.Lost) {
			return "the dough in " + e.Case + " is over (estimate)"
		}
	}
	full := len(p.Cases) >= plan.MaxCases // what had no room then is no news
	for _, e := range entries {
		if planned(e.Case) == nil && (!full || e.Rush) {
			return "case " + e.Case + " came in"
		}
	}
	if len(p.Withdrawn) > 0 {
		return "case " + p.Withdrawn[0] + " was withdrawn"
	}
	down, presses := outOfUse(b)
	switch have := h.Press.Presses - presses; {
	case presses == 0 || p.Presses <= have:
	case have < 1:
		return "no press can be used"
	default:
		return fmt.Sprintf("of %d presses %d can be used", h.Press.Presses, have)
	}
	for _, l := range p.Loads {
		_, known := h.Programme(l.Programme)
		left := slices.ContainsFunc(l.Cases, func(name string) bool {
			return slices.ContainsFunc(entries, func(e Entry) bool { return e.Case == name && !bathed(e) })
		})
		switch {
		case left && slices.Contains(down, l.Bath):
			return l.Bath + " is out of use"
		case left && !hasBath(h, l.Bath):
			return l.Bath + " is not in the settings any more"
		case left && !known:
			return "the programme " + l.Programme + " is not in the settings any more"
		}
	}
	if name, by := behind(p, entries, now); by > slipped {
		return "the " + name + " is " + words.Rough(by) + " behind the plan"
	}
	return ""
}

func bathed(e Entry) bool { return e.Work != nil && !e.Work.Waits && e.Work.Step >= plan.Bathed }

func packed(e Entry) bool { return e.Work != nil && !e.Work.Waits && e.Work.Step >= plan.Packed }

// behind is the mix or the load that is furthest behind a plan, and by how much.
func behind(p *bench.Planned, entries []Entry, now time.Time) (what string, by time.Duration) {
	look := func(name, at string, cases []string, done func(Entry) bool) {
		t := action.PlanInstant(at)
		waits := slices.ContainsFunc(entries, func(e Entry) bool { return slices.Contains(cases, e.Case) && !done(e) })
		began := slices.ContainsFunc(entries, func(e Entry) bool { return slices.Contains(cases, e.Case) && done(e) })
		if late := now.Sub(t); !t.IsZero() && waits && !began && late > by {
			what, by = name, late
		}
	}
	for _, m := range p.Mixes {
		look("mix for "+strings.Join(m.Cases, " + "), m.At, m.Cases, packed)
	}
	for _, l := range p.Loads {
		look("load of "+l.Bath, l.In, l.Cases, bathed)
	}
	return what, by
}

// Next is the mix of a plan that comes next today: which, when it was planned, and when it can be made at the soonest, by
// what is still on the press and what is still to be painted.
type Next struct {
	Cases   []string
	At      time.Time
	Paint   []string // of them are still to be painted
	OnPress time.Duration
	Waits   bool // the press has more to do than the plan lets the next mix begin with
}

// NextMix finds the mix of a plan that comes next; ok is false where none is left today. left is the work that live dough
// still wants at the press, as the bench has it.
func NextMix(p *bench.Planned, h house.House, entries []Entry, now time.Time, left time.Duration) (n Next, ok bool) {
	var at time.Time
	for _, m := range p.Mixes {
		t := action.PlanInstant(m.At)
		var cases, paint []string
		for _, e := range entries {
			if slices.Contains(m.Cases, e.Case) && !packed(e) {
				if cases = append(cases, e.Case); e.Work == nil || e.Work.Waits {
					paint = append(paint, e.Case)
				}
			}
		}
		if len(cases) == 0 || t.IsZero() || t.Format(time.DateOnly) != now.Format(time.DateOnly) || !at.IsZero() && !t.Before(at) {
			continue
		}
		at, n = t, Next{Cases: cases, At: t, Paint: paint, OnPress: max(0, left)}
	}
	if at.IsZero() {
		return n, false
	}
	gate := time.Duration(p.GateMin * float64(time.Minute))
	soonest := now
	if n.OnPress > gate {
		n.Waits, soonest = true, now.Add(n.OnPress-gate)
	}
	if f := h.Plan.Filled(); len(n.Paint) > 0 {
		painted := time.Duration(len(n.Paint)*f.CoatS+max(0, h.Separator.DryMinS-nearlyDryS)) * time.Second
		soonest = latest(soonest, now.Add(painted))
	}
	n.At = latest(n.At, soonest)
	return n, true
}

// nearlyDryS is how long before its moulds are dry a mix may be begun, as package plan has it.
const nearlyDryS = 600

func latest(a, b time.Time) time.Time { return slices.MaxFunc([]time.Time{a, b}, time.Time.Compare) }

// Words tell the next mix in one line.
func (n Next) Words(now time.Time) string {
	about := "at about " + n.At.Add(150*time.Second).Truncate(5*time.Minute).Format("15:04")
	if n.At.Sub(now) < 3*time.Minute {
		about = "now"
	}
	switch {
	case n.Waits:
		return "mix the next " + about + ": " + words.Rough(n.OnPress) + " still on the press"
	case len(n.Paint) > 0 && about != "now" && n.At.Sub(now) < 30*time.Minute:
		return "paint " + strings.Join(n.Paint, " + ") + ", mix " + about
	}
	return "mix the next " + about + ": " + strings.Join(n.Cases, " + ")
}

// Bounded are the cases that one plan has room for: those at work, then what is due first; left is how many are not in it.
func Bounded(entries []Entry) (in []Entry, left int) {
	if len(entries) <= plan.MaxCases {
		return entries, 0
	}
	in = slices.Clone(entries)
	slices.SortStableFunc(in, func(a, b Entry) int {
		return cmp.Or(each.FalseFirst(a.Work == nil, b.Work == nil), byDue(a, b))
	})
	return in[:plan.MaxCases], len(in) - plan.MaxCases
}
