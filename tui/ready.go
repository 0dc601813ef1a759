package tui

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"

	"flaskside/logbook/bench"
	"flaskside/logbook/flash"
	"flaskside/logbook/keep"
	"flaskside/logbook/words"
	"flaskside/timers/press"
	"flaskside/tui/chart"
)

// verdictLines say whether a flask is ready, why not yet, and what is to be
// expected. all lists every reason with what would mend it.
func (m *sight) verdictLines(fl *bench.Flask, w int, all bool) []lineOf {
	if !judged(fl) {
		return nil
	}
	v := m.bench().Verdict(fl, m.now)
	var out []lineOf
	switch {
	case v.Ready:
		out = append(out, lineOf{good, v.String()})
	case !all:
		out = broken(warn, m.verdictWords(v), w)
	default:
		out = append(out, lineOf{warn, "not yet:"})
		for _, r := range v.Reasons {
			for i, l := range wrap(m.bench().ReasonWords(r)+" → "+r.Mend, w-4) {
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

// judged tells whether there is a verdict on a flask: a trial was judged, and it is not closed for good.
func judged(fl *bench.Flask) bool {
	return !fl.ClosedForGood() && fl.Stage != bench.Sheetout && len(fl.Judged()) > 0
}

// verdictWords are the verdict in a line.
func (m *sight) verdictWords(v flash.Verdict) string {
	if v.Ready || len(v.Reasons) == 0 || v.Reasons[0].Code == flash.ShortMould || v.Reasons[0].Code == flash.NeverFull {
		return v.String() // of a mould that may be underfilled the mend is the news
	}
	return "not yet: " + m.bench().ReasonWords(v.Reasons[0])
}

func (m *sight) outlookLines(o bench.Outlook, ready bool, w int, all bool) []lineOf {
	var out []lineOf
	add := func(r role, s string) { out = append(out, broken(r, s, w)...) }
	switch {
	case ready:
	case o.Short() && !all:
		add(alarm, fmt.Sprintf("TOO LATE? likely %d more; dough allows %d", o.Median, o.Allowed))
	case o.Short():
		add(alarm, "TOO LATE? "+o.LikelyWords())
	default:
		add(plain, o.LikelyWords())
	}
	s := "next ≤ slight " + words.Percent(o.Next.None+o.Next.Slight)
	if all {
		s = o.NextWords()
		if why := o.WhySteep(); why != "" && !ready {
			add(dim, why)
		}
	}
	if one := s + " · " + bench.YouDecide; utf8.RuneCountInString(one) <= w {
		return append(out, lineOf{dim, one})
	}
	add(dim, s)
	return append(out, lineOf{dim, bench.YouDecide})
}

// pressDesk is what the screen knows of the press order. It is worked out beside the
// screen, so that no key waits for it.
type pressDesk struct {
	advice     *press.Advice // the latest
	mixCost    *press.MixCost
	pressLeft  time.Duration // work that live dough still wants there
	planSaid   []string      // what is told of the day plan
	advising   bool
	advisedAt  time.Duration
	advisedSeq uint64
}

// adviceMsg is what the press order makes of the bench.
type adviceMsg struct {
	keep.PressOrder
	plan []string
	err  error
}

// mixSize is the size of the one flask that another mix is weighed for.
const mixSize = string(flash.Medium)

// adviseEvery is how often the press order is asked anew while nothing is recorded.
const adviseEvery = keep.PressFor

// advise asks for the press order beside the screen, so that no key waits for it.
func (m *Model) advise() tea.Cmd {
	if m.advising {
		return nil
	}
	m.advising, m.advisedAt, m.advisedSeq = true, m.now.Mono, m.st.Head.Seq
	keeper, now, size, planned := m.cfg.Keeper, m.now, "", m.planAsk()
	if _, asked := m.page.(*pressPage); asked || m.w >= beside {
		size = mixSize
	}
	return func() tea.Msg {
		p, err := keeper.Press(now, size)
		return adviceMsg{p, planned.told(p.Left), err}
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
		m.advice = &msg.Advice
		m.mixCost, m.pressLeft, m.planSaid = msg.Mix, msg.Left, msg.plan
	}
	return m.adviseLate()
}

// placeOf gives the place of a flask an advice speaks of.
func (m *sight) placeOf(id string) string {
	if f := m.bench().Waiting(id); f != nil {
		return m.tagOf(f)
	}
	return id
}

// pressLines is the press order in a few short lines.
func (m *sight) pressLines(w int) []string { return slices.Concat(m.pressSaid(w)...) }

// pressSaid is the press order in a few short sayings, each with its lines in a width.
func (m *sight) pressSaid(w int) (out [][]string) {
	a := m.advice
	if a == nil || len(a.Flasks) == 0 {
		return m.planLines(w)
	}
	if l := m.orderLine(w); l != "" {
		out = append(out, []string{l})
	}
	// What wants an answer comes before what merely tells, where room is short.
	if a.GiveUp != "" && m.bench().Waiting(a.GiveUp) != nil {
		out = append(out, []string{fit("not all: give up "+m.placeOf(a.GiveUp)+"?", w)})
	}
	const hard = "~" // no line ends within one flask
	line, narrow := "in time:", "in time:"
	for _, o := range a.Flasks {
		if m.bench().Waiting(o.Flask) != nil {
			chance := strings.ReplaceAll(words.Percent(o.Chance), " ", hard)
			if o.Lost {
				chance = "no"
			}
			line += fmt.Sprintf(" %s"+hard+"(%s),", m.placeOf(o.Flask), chance)
			narrow += fmt.Sprintf(" %s"+hard+"%s,", m.placeOf(o.Flask), chance)
		}
	}
	if ansi.StringWidth(line) > w+1 { // the last comma goes
		line = narrow
	}
	out = append(out, m.planLines(w)...)
	for _, l := range wrap(strings.TrimSuffix(line, ","), w) { // each line tells of whole flasks
		out = append(out, []string{strings.ReplaceAll(l, hard, " ")})
	}
	return out
}

// orderLine names the flasks in the order in which the press takes them; "" where none waits.
func (m *sight) orderLine(w int) string {
	var order []string
	for _, id := range m.advice.Order {
		if m.bench().Waiting(id) != nil {
			order = append(order, m.placeOf(id))
		}
	}
	if len(order) == 0 {
		return ""
	}
	line := "press next: " + strings.Join(order, ", then ")
	if len(line) > w {
		line = "press next: " + strings.Join(order, ", ")
	}
	return fit(line, w)
}

// pressSheet is the press order on its own page: what next, each flask's chance, and
// what would help.
func (m *sight) pressSheet(s *sheet, w int) {
	a := m.advice
	if a == nil || len(a.Flasks) == 0 {
		s.add(dim, "no flask waits for the press")
		m.mixCostLines(s, w)
		m.planSheetLines(s, w)
		return
	}
	if f := m.bench().Waiting(a.Next.Flask); f != nil {
		line := fmt.Sprintf("next: %s %s (case %s)", a.Next.Verb, m.bench().WhereWords(f), f.Case)
		if a.Next.Wait > 0 {
			line += " in " + length(a.Next.Wait)
		}
		s.add(accent, line)
	}
	if l := m.orderLine(w); l != "" {
		s.add(plain, l)
	}
	for _, o := range a.Flasks {
		f := m.bench().Waiting(o.Flask)
		if f == nil {
			continue
		}
		left := ""
		if x := m.bench().MixOf(f); x != nil {
			d, _ := x.DoughLeft(m.now)
			switch {
			case x.Stiff != nil:
				left = ", mix too stiff"
			case d > 0:
				left = ", working time left " + lengthLeft(d)
			default:
				left = ", working time over since " + m.instant(m.now.Wall.Add(d))
			}
		}
		line := fmt.Sprintf("%s %-9s in time %s (estimate)%s", m.bench().WhereWords(f), f.Case, words.Percent(o.Chance), left)
		r := plain
		if o.Lost {
			line, r = fmt.Sprintf("%s %-9s too late (estimate)%s", m.bench().WhereWords(f), f.Case, left), alarm
		}
		s.add(r, line)
		for _, h := range o.Help {
			s.add(dim, "      "+m.bench().HelpWords(h))
		}
	}
	if a.GiveUp != "" && m.bench().Waiting(a.GiveUp) != nil {
		s.wrapped(warn, "Not all are likely to be in time; giving up place "+m.placeOf(a.GiveUp)+" saves most of the others (estimate; you decide).", w)
	}
	m.mixCostLines(s, w)
	m.planSheetLines(s, w)
}

// mixCostLines answer whether another mix can be made now.
func (m *sight) mixCostLines(s *sheet, w int) {
	if m.mixCost != nil {
		s.wrapped(plain, m.bench().MixWords(*m.mixCost, mixSize), w)
		if next := bench.NextMixWords(m.pressLeft); next != "" {
			s.wrapped(plain, next, w)
		}
	}
}

// shortWords say that the dough will likely end before the closures do, in so few words
// that they stand whole on the narrowest screen.
func (m *sight) shortWords(windowKey string) string {
	s, ok := bench.SubjectOfKey(windowKey)
	if f := m.bench().Flasks[s.No]; ok && f != nil {
		return fmt.Sprintf("%s · %s (estimate)", words.DoughTimeLow, m.bench().CallWords(f))
	}
	return words.DoughTimeLow + " (estimate)"
}

// chartRoles tell how the parts of the flash chart look.
var chartRoles = map[chart.Role]role{
	chart.House: dim, chart.Band: band, chart.Forecast: curve, chart.Trend: curve, chart.Break: warn,
	chart.Ahead: curve, chart.Graded: strong, chart.Weighed: strong, chart.Label: plain, chart.Faint: dim, chart.Zone: dim, chart.Chance: curve,
}

// beforeBand are the looks of what stands before the band, so that the band is one piece.
var beforeBand = map[role]role{curve: bandCurve, dim: bandDim, strong: bandStrong, plain: band}

// drawChart draws the flash of a flask over its trial closures.
func (m *sight) drawChart(f *frame, a area, fl *bench.Flask) {
	o, err := m.bench().Outlook(fl, m.now)
	if err != nil {
		f.put(a.x, a.y, a.w, dim, err.Error())
		return
	}
	pic := flash.NewPicture(m.house().Flash, m.bench().History(fl), o.Posterior)
	if fl.ClosedForGood() {
		pic = pic.Closed()
	}
	for y, row := range chart.Draw(pic, a.w, a.h, false) {
		for x, c := range row {
			r := chartRoles[c.Role]
			if before, ok := beforeBand[r]; ok && c.InBand {
				r = before
			}
			if c.Role != chart.Blank || c.InBand {
				f.text(a.x+x, a.y+y, r, string(c.Rune))
			}
		}
	}
}
