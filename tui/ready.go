package tui

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/bench"
	"flaskside/logbook/flash"
	"flaskside/timers/press"
	"flaskside/tui/chart"
)

// reasonWords put one reason of the verdict into words, with the values people
// read on their own gauge.
func (m *Model) reasonWords(r flash.Reason) string {
	switch r.Code {
	case flash.PressureLow:
		return fmt.Sprintf("last trial at %s of %s", m.psi(r.Have), m.psi(r.Want))
	case flash.HoldShort:
		return fmt.Sprintf("last trial held %.0f s of %.0f s", r.Have, r.Want)
	}
	return r.Why
}

// verdictLines say whether a flask is ready, why not yet, and what is to be
// expected. all lists every reason with what would mend it.
func (m *Model) verdictLines(fl *bench.Flask, w int, all bool) []lineOf {
	if fl.ClosedForGood() || fl.Stage == bench.Sheetout || len(fl.Judged()) == 0 {
		return nil
	}
	v := m.bench().Verdict(fl, m.now)
	var out []lineOf
	switch {
	case v.Ready:
		out = append(out, lineOf{good, "READY for final closure"})
	case !all:
		s := v.String()
		if len(v.Reasons) > 0 && !strings.Contains(s, "mould may be short") {
			s = "not yet: " + m.reasonWords(v.Reasons[0])
		}
		for _, l := range wrap(s, w) {
			out = append(out, lineOf{warn, l})
		}
	default:
		out = append(out, lineOf{warn, "not yet:"})
		for _, r := range v.Reasons {
			for i, l := range wrap(m.reasonWords(r)+" → "+r.Mend, w-4) {
				if i == 0 {
					l = "· " + l
				} else {
					l = "  " + l
				}
				out = append(out, lineOf{plain, " " + l})
			}
		}
	}
	if o, err := m.bench().Outlook(fl, m.now); err == nil {
		out = append(out, m.outlookLines(o, v.Ready, w, all)...)
	}
	return out
}

func (m *Model) outlookLines(o bench.Outlook, ready bool, w int, all bool) []lineOf {
	var out []lineOf
	allows := ""
	if o.Allowed >= 0 {
		allows = fmt.Sprintf("; dough allows %d", o.Allowed)
	}
	r := plain
	if o.Allowed >= 0 && o.Allowed < o.Median {
		r = alarm
	}
	if !ready {
		s := fmt.Sprintf("likely %d more (80 %%: %d)%s", o.Median, o.At80, allows)
		if r == alarm {
			s = fmt.Sprintf("TOO LATE? likely %d more (80 %%: %d)%s", o.Median, o.At80, allows)
		}
		out = append(out, lineOf{r, fit(s, w)})
	}
	slight := o.Next.None + o.Next.Slight
	s := fmt.Sprintf("next ≤ slight %s", bench.Percent(slight))
	if all {
		s += fmt.Sprintf(" (none %s, slight %s, heavy %s)", bench.Percent(o.Next.None), bench.Percent(o.Next.Slight), bench.Percent(o.Next.Heavy))
	}
	return append(out, lineOf{dim, fit(s+" · estimates; you decide", w)})
}

// adviceMsg is what the press order makes of the bench.
type adviceMsg struct {
	seq    uint64
	advice press.Advice
	cost   *press.MixCost
	err    error
}

// adviseEvery is how often the press order is asked anew while nothing is
// recorded: time passing changes it slowly.
const adviseEvery = 10 * time.Second

// advise asks for the press order beside the screen, so that no key waits for it.
func (m *Model) advise() tea.Cmd {
	if m.advising {
		return nil
	}
	m.advising, m.advisedAt, m.advisedSeq = true, m.now.Mono, m.st.Head.Seq
	b, now, seq := m.bench(), m.now, m.st.Head.Seq
	var before *press.Advice
	if m.advice != nil {
		a := *m.advice
		before = &a
	}
	asked := m.page == pagePress || m.wide()
	return func() tea.Msg {
		msg := adviceMsg{seq: seq}
		msg.advice, msg.err = b.PressOrder(now, before)
		if asked {
			if c, err := b.CostOfMix(now, "medium", 1); err == nil {
				msg.cost = &c
			}
		}
		return msg
	}
}

// adviseLate asks anew when the bench changed or some time has passed.
func (m *Model) adviseLate() tea.Cmd {
	if m.advisedSeq != m.st.Head.Seq || m.now.Mono-m.advisedAt >= adviseEvery || m.now.Mono < m.advisedAt {
		return m.advise()
	}
	return nil
}

func (m *Model) onAdvice(msg adviceMsg) tea.Cmd {
	m.advising = false
	if msg.err == nil {
		m.advice = &msg.advice
		m.mixCost = msg.cost
	}
	return m.adviseLate()
}

// flaskOf finds the flask an advice speaks of.
func (m *Model) flaskOf(id string) *bench.Flask {
	n, err := strconv.Atoi(id)
	if err != nil {
		return nil
	}
	f := m.bench().Flasks[n]
	if f == nil || f.Place == 0 {
		return nil
	}
	return f
}

func (m *Model) placeOf(id string) string {
	if f := m.flaskOf(id); f != nil {
		return strconv.Itoa(f.Place)
	}
	return id
}

// pressLines is the press order in a few short lines.
func (m *Model) pressLines(w int) []string {
	a := m.advice
	if a == nil || len(a.Flasks) == 0 {
		return nil
	}
	var order []string
	for _, id := range a.Order {
		if m.flaskOf(id) != nil {
			order = append(order, m.placeOf(id))
		}
	}
	var out []string
	if len(order) > 0 {
		out = append(out, fit("press next: "+strings.Join(order, ", then "), w))
	}
	line := "in time:"
	for _, o := range a.Flasks {
		if m.flaskOf(o.Flask) != nil {
			line += fmt.Sprintf(" %s %s,", m.placeOf(o.Flask), bench.Percent(o.Chance))
		}
	}
	out = append(out, wrap(strings.TrimSuffix(line, ","), w)...)
	if a.GiveUp != "" && m.flaskOf(a.GiveUp) != nil {
		out = append(out, fit("not all: give up "+m.placeOf(a.GiveUp)+" first", w))
	}
	return out
}

// pressSheet is the press order on its own page: what next, each flask's chance, and
// what would help.
func (m *Model) pressSheet(s *sheet, w int) {
	a := m.advice
	if a == nil || len(a.Flasks) == 0 {
		s.add(dim, "no flask waits for the press")
		m.mixCostLines(s, w)
		return
	}
	if f := m.flaskOf(a.Next.Flask); f != nil {
		line := fmt.Sprintf("next: %s place %d (case %s)", a.Next.Verb, f.Place, f.Case)
		if a.Next.Wait > 0 {
			line += " in " + span(a.Next.Wait)
		}
		s.add(accent, line)
	}
	for _, l := range m.pressLines(w) {
		if strings.HasPrefix(l, "press next") {
			s.add(plain, l)
		}
	}
	for _, o := range a.Flasks {
		f := m.flaskOf(o.Flask)
		if f == nil {
			continue
		}
		left := ""
		if x := m.bench().MixOf(f); x != nil {
			d, _ := x.DoughLeft(m.now)
			left = ", dough " + span(d)
		}
		line := fmt.Sprintf("place %d %-9s in time %s (estimate)%s", f.Place, f.Case, bench.Percent(o.Chance), left)
		r := plain
		if o.Lost {
			line, r = fmt.Sprintf("place %d %-9s cannot be in time any more (estimate)%s", f.Place, f.Case, left), alarm
		}
		s.add(r, line)
		for _, h := range o.Help {
			s.add(dim, "      "+m.helpWords(h))
		}
	}
	if a.GiveUp != "" && m.flaskOf(a.GiveUp) != nil {
		s.wrapped(warn, "Not all are likely to be in time; giving up place "+m.placeOf(a.GiveUp)+" saves most of the others (estimate; you decide).", w)
	}
	m.mixCostLines(s, w)
}

// mixCostLines answer whether another mix can be made now.
func (m *Model) mixCostLines(s *sheet, w int) {
	c := m.mixCost
	if c == nil {
		return
	}
	line := fmt.Sprintf("Another mix now, for one medium flask more: that one in time %s", freshChance(*c))
	var worse []string
	for _, x := range c.AtWork {
		if x.Without-x.With > 0.02 {
			worse = append(worse, fmt.Sprintf("place %s %s instead of %s", m.placeOf(x.Flask), bench.Percent(x.With), bench.Percent(x.Without)))
		}
	}
	if len(worse) == 0 {
		line += "; it costs those at work next to nothing"
	} else {
		line += "; it would cost: " + strings.Join(worse, ", ")
	}
	s.wrapped(plain, line+" (estimates; you decide).", w)
}

func freshChance(c press.MixCost) string {
	if len(c.Fresh) == 0 {
		return "?"
	}
	return bench.Percent(c.Fresh[0].Chance)
}

func (m *Model) helpWords(h press.Help) string {
	others := ""
	if h.Others < -0.05 {
		others = fmt.Sprintf(", at the cost of %.1f of the others", -h.Others)
	}
	switch h.Code {
	case press.TakeFirst:
		return fmt.Sprintf("press it before all others: then %s%s", bench.Percent(h.Chance), others)
	case press.LetWait:
		return fmt.Sprintf("let place %s wait: then %s%s", m.placeOf(h.Flask), bench.Percent(h.Chance), others)
	}
	return "pack it from a new mix"
}

// shortWords say that the dough will likely end before the closures do.
func (m *Model) shortWords(windowKey string) string {
	s, ok := bench.SubjectOfKey(windowKey)
	if f := m.bench().Flasks[s.No]; ok && f != nil {
		return fmt.Sprintf("DOUGH LIKELY ENDS BEFORE THE CLOSURES (estimate) · place %d", f.Place)
	}
	return "DOUGH LIKELY ENDS BEFORE THE CLOSURES (estimate)"
}

// chartRoles tell how the parts of the flash chart look.
var chartRoles = map[chart.Role]role{
	chart.House: dim, chart.Band: band, chart.Forecast: curve, chart.Trend: curve, chart.Join: plain, chart.Break: warn,
	chart.Ahead: curve, chart.Graded: strong, chart.Weighed: strong, chart.Label: plain, chart.Faint: dim,
}

// drawChart draws the flash of a flask over its trial closures.
func (m *Model) drawChart(f *frame, a area, fl *bench.Flask) {
	o, err := m.bench().Outlook(fl, m.now)
	if err != nil {
		f.put(a.x, a.y, a.w, dim, err.Error())
		return
	}
	for y, row := range chart.Draw(flash.NewPicture(m.house().Flash, m.bench().History(fl), o.Posterior), a.w, a.h, false) {
		for x, c := range row {
			if c.Role != chart.Blank {
				f.text(a.x+x, a.y+y, chartRoles[c.Role], string(c.Rune))
			}
		}
	}
}
