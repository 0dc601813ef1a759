package tui

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/bench"
	"flaskside/logbook/dayplan"
	"flaskside/timers"
)

// planDesk is what the screen knows of the day plan. It is worked out beside the screen, so
// that no key waits for it.
type planDesk struct {
	typed   planDay
	choice  *dayplan.Choice // made on this screen; nil: that of the plan that was taken
	asked   string          // why a person wants the plan that was taken looked at anew
	stay    string          // the reason for which a person stays with it
	day     *dayplan.Day    // as it is shown: proposed, or taken and foretold from now
	whole   bool            // it is more than a first look
	of      string          // the record of the plan that it follows; "" for a new one
	offer   *dayplan.Offer
	whatIf  []string
	ifWords string
	instead *dayplan.Compared
	err     error

	gen     int // of what is being worked out
	busy    bool
	stop    context.CancelFunc
	done    *atomic.Uint64 // how far that is, a float
	askedAt time.Duration
	seq     uint64
}

// planDay is what was typed for a day, beside the settings.
type planDay struct {
	date   string
	people int
	hours  [2]string
	down   []string
}

// planMsg is a step of what is worked out.
type planMsg struct {
	gen     int
	day     *dayplan.Day
	of      string
	offer   *dayplan.Offer
	instead *dayplan.Compared
	err     error
	more    <-chan planMsg // where the next step comes from
	over    bool
}

// How often the plan is worked out anew while its page is shown and nothing is recorded: that
// which is followed, and one that was not taken yet.
const (
	followEvery = time.Minute
	planEvery   = 5 * time.Minute
)

// planHolds gives the plan that was taken, where its day is not over.
func (m *sight) planHolds() *bench.Planned {
	if p := m.bench().Planned; dayplan.Holds(p, m.now.Wall) {
		return p
	}
	return nil
}

// planAsk is all that a plan is asked by. It serves any goroutine.
type planAsk struct {
	b      *bench.Bench
	now    timers.Now
	held   *bench.Planned // taken, and its day is not over
	typed  planDay
	choice *dayplan.Choice
	asked  string
	stay   string
}

func (m *sight) planAsk() planAsk {
	d := &m.plans
	return planAsk{b: m.bench(), now: m.now, held: m.planHolds(), typed: d.typed, choice: d.choice, asked: d.asked, stay: d.stay}
}

// question puts together what is asked: the bench, what was taken, what was typed.
func (a planAsk) question() dayplan.Question {
	q := dayplan.At(a.b, a.now.Wall)
	q.Entries, q.Left = dayplan.Bounded(dayplan.Entries(a.b, a.now))
	out := q.Down
	if a.held != nil {
		q = q.As(a.held)
	}
	if t := a.typed; t.date == a.now.Wall.Format(time.DateOnly) {
		q.People, q.Hours, q.Down = t.people, t.hours, slices.Concat(t.down, out)
		slices.Sort(q.Down)
		q.Down = slices.Compact(q.Down)
	}
	if a.choice != nil {
		q.Choice = *a.choice
	}
	return q
}

// why tells why the plan that was taken is to be looked at anew, "" where it is not.
func (a planAsk) why(q dayplan.Question) string {
	if a.held == nil || a.asked != "" {
		return a.asked
	}
	if why := dayplan.Why(a.held, a.b, q.Entries, q.Now); why != a.stay {
		return why
	}
	return ""
}

// told is what the bench tells of the plan that is followed: the mix that comes next, and why
// the plan is to be looked at anew; left is the work that live dough still wants at the press.
func (a planAsk) told(left time.Duration) (out []string) {
	if a.held == nil {
		return nil
	}
	q := a.question()
	if n, ok := dayplan.NextMix(a.held, q.House, q.Entries, q.Now, left); ok {
		out = append(out, n.Words(q.Now))
	}
	if why := a.why(q); why != "" {
		out = append(out, "day plan: "+why)
	}
	return out
}

// planAnew works the plan out beside the screen; what was under way is dropped.
func (m *Model) planAnew() tea.Cmd {
	d := &m.plans
	if d.stop != nil {
		d.stop()
	}
	ctx, stop := context.WithCancel(context.Background())
	d.gen, d.busy, d.stop, d.done = d.gen+1, true, stop, &atomic.Uint64{}
	d.askedAt, d.seq = m.now.Mono, m.st.Head.Seq
	w := planWork{gen: d.gen, ctx: ctx, ask: m.planAsk(), days: m.cfg.PlanDays, done: d.done, whatIf: slices.Clone(d.whatIf), to: make(chan planMsg, 8)}
	return func() tea.Msg {
		go w.work()
		return <-w.to
	}
}

// planWork is one working out.
type planWork struct {
	gen    int
	ctx    context.Context
	ask    planAsk
	days   int
	done   *atomic.Uint64
	whatIf []string
	to     chan planMsg
}

func (w *planWork) send(msg planMsg) {
	msg.gen, msg.more = w.gen, w.to
	w.to <- msg // there is room for all that one working out sends
}

func (w *planWork) work() {
	end := planMsg{over: true}
	q := w.ask.question()
	q.Draws, q.Days = w.days, w.days
	q.Progress = func(x float64) { w.done.Store(math.Float64bits(x)) }
	held, why := w.ask.held, w.ask.why(q)
	switch {
	case len(w.whatIf) > 0:
		end.instead, end.err = q.Compare(w.ctx, w.whatIf)
	case held == nil:
		q.First = func(d *dayplan.Day) { w.send(planMsg{day: d}) }
		end.day, end.err = q.Make(w.ctx)
	case why == "":
		end.of = held.ID
		end.day, end.err = q.Follow(w.ctx, held)
	default:
		end.of = held.ID
		if end.day, end.err = q.Follow(w.ctx, held); end.err == nil {
			w.send(planMsg{day: end.day, of: held.ID})
			end.offer, end.err = q.Again(w.ctx, held, why)
		}
	}
	w.send(end)
}

// onPlan takes a step of what was worked out; what was dropped meanwhile is passed over.
func (m *Model) onPlan(msg planMsg) tea.Cmd {
	d := &m.plans
	if msg.gen != d.gen {
		return nil
	}
	if msg.day != nil {
		d.day, d.whole, d.of = msg.day, msg.over, msg.of
	}
	if !msg.over {
		return func() tea.Msg { return <-msg.more }
	}
	d.busy, d.offer, d.instead, d.err = false, msg.offer, msg.instead, msg.err
	if d.instead != nil {
		d.instead.What = d.ifWords
	}
	return nil
}

// planLate works the plan out anew while its page is shown and the bench changed, or time
// has passed.
func (m *Model) planLate() tea.Cmd {
	p, shown := m.page.(*planPage)
	d := &m.plans
	if !shown || d.busy || p == nil {
		return nil
	}
	every := planEvery
	if m.planHolds() != nil {
		every = followEvery
	}
	if d.seq != m.st.Head.Seq || m.now.Mono-d.askedAt >= every || m.now.Mono < d.askedAt {
		return m.planAnew()
	}
	return nil
}

// planBusy says how far what is being worked out is.
func (m *sight) planBusy() string {
	if !m.plans.busy {
		return ""
	}
	first := ""
	if m.plans.day != nil && !m.plans.whole {
		first = "; this is a first look"
	}
	x := math.Float64frombits(m.plans.done.Load())
	if x <= 0 {
		return "working the plan out" + first + " …"
	}
	return fmt.Sprintf("working the plan out, %.0f %%%s …", 100*x, first)
}

// planLines is what is told of the plan on the bench, each saying with its lines in a width.
func (m *sight) planLines(w int) (out [][]string) {
	if m.planHolds() == nil {
		return nil
	}
	for _, s := range m.planSaid {
		out = append(out, wrap(strings.TrimSpace(s), w))
	}
	return out
}

// planSheetLines are the same on the page of the press order.
func (m *sight) planSheetLines(s *sheet, w int) {
	if m.planHolds() == nil {
		return
	}
	for _, l := range m.planSaid {
		s.wrapped(accent, l, w)
	}
}
