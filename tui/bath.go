package tui

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/bath"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/keep"
	"flaskside/logbook/units"
	"flaskside/timers"
	"flaskside/timers/cure"
	"flaskside/tui/chart"
)

// cureView is the latest estimate of a load, and of which case it is one.
type cureView struct {
	key uint64
	keep.CureEstimate
}

// cureDesk is what the screen knows of the loads in the baths. It is worked out
// beside the screen, so that no key waits for it, and only when something about a
// load has changed.
type cureDesk struct {
	views map[int]*cureView // by load
	busy  bool
	seq   uint64 // the book's end when the loads were last looked at
	plan  time.Time
}

// cureMsg are loads worked out.
type cureMsg struct{ views map[int]*cureView }

// cureLate works out the loads about which something has changed since.
func (m *Model) cureLate() tea.Cmd {
	d := &m.cures
	if d.busy || d.seq == m.st.Head.Seq && d.views != nil {
		return nil
	}
	d.seq = m.st.Head.Seq
	if d.views == nil {
		d.views = map[int]*cureView{}
	}
	var stale []bath.LoadCase
	in := map[int]bool{}
	for _, l := range m.loadsIn() {
		in[l.No] = true
		c := bath.Of(m.bench(), l)
		if v := d.views[l.No]; v == nil || v.key != c.Key() {
			stale = append(stale, c)
		}
	}
	for no := range d.views {
		if !in[no] {
			delete(d.views, no)
		}
	}
	if len(stale) == 0 {
		return nil
	}
	d.busy = true
	keeper := m.cfg.Keeper
	return func() tea.Msg {
		out := map[int]*cureView{}
		for _, c := range stale {
			out[c.Load] = &cureView{c.Key(), keeper.Cure(c)}
		}
		return cureMsg{out}
	}
}

func (m *Model) onCure(msg cureMsg) tea.Cmd {
	m.cures.busy = false
	maps.Copy(m.cures.views, msg.views)
	return m.cureLate()
}

// loadsIn lists the loads that have flasks in a bath, by bath, oldest first.
func (m *sight) loadsIn() []*bench.Load {
	var out []*bench.Load
	for _, no := range bench.Sorted(m.bench().Loads) {
		if l := m.bench().Loads[no]; len(m.bench().StillIn(l)) > 0 {
			out = append(out, l)
		}
	}
	slices.SortStableFunc(out, func(x, y *bench.Load) int { return x.Bath - y.Bath })
	return out
}

// say tells how a load is spoken of on this screen.
func (m *sight) sayOf(l *bench.Load) bath.Say {
	return bath.Say{
		Unit: m.house().Units.Temperature,
		At:   func(after time.Duration) string { return m.instant(m.now.WallOf(l.In, after)) },
		Load: func(no int) string {
			if o := m.bench().Loads[no]; o != nil {
				return m.whereOfLoad(o)
			}
			return fmt.Sprint("load ", no)
		},
	}
}

// whereOfLoad tells where the flasks of a load are that are in the bath.
func (m *sight) whereOfLoad(l *bench.Load) string { return m.whereWords(m.bench().StillIn(l), 0) }

// loadHead names a load: its bath, its flasks, its programme.
func (m *sight) loadHead(l *bench.Load) string {
	bath, where := m.bench().BathOf(l).Name, m.whereOfLoad(l)
	if !strings.HasPrefix(where, bath+": ") {
		where = bath + " · " + where
	}
	return where + " · " + l.Programme
}

// Heights of the chart of a bath.
const (
	bathLow  = 8
	bathHigh = 16
)

// bathSheet is the baths on their page: for each load its curve and what is
// expected of it. rows is how many the page has.
func (m *sight) bathSheet(s *sheet, w, rows int) {
	m.planSheet(s, w)
	m.noBath(s)
	for _, l := range m.loadsIn() {
		lines := m.loadLines(l, w)
		high := min(bathHigh, max(bathLow, rows/2-2))
		least := min(len(lines), 8)
		if left := s.left(rows); left < high+1+least { // a lower curve, and the last words overleaf, rather than half a screen empty
			if least = min(len(lines), 5); left >= bathLow+1+least {
				high = min(high, max(bathLow, left-1-len(lines)))
			}
		}
		s.keep(1+high+least, rows)
		s.head(accent, fmt.Sprintf("%d  %s: %s · estimates", l.Bath, m.loadHead(l), m.programmeWords(l.Stages)))
		m.bathChart(s, l, high)
		for _, b := range lines {
			s.add(b.r, b.s)
		}
	}
	m.unplacedLines(s, w)
}

// bathShort is the baths where there is no second screenful: each load in a few
// lines, and the curve of the first where rows are left for it.
func (m *sight) bathShort(s *sheet, w, rows int) {
	m.noBath(s)
	loads := m.loadsIn()
	for _, l := range loads {
		s.gap()
		s.head(accent, m.loadHead(l))
		for _, b := range m.shortLines(l, w) {
			s.add(b.r, b.s)
		}
	}
	if left := rows - len(s.lines); len(loads) > 0 && left >= bathLow {
		m.bathChart(s, loads[0], min(bathHigh, left))
	}
}

func (m *sight) noBath(s *sheet) {
	if len(m.loadsIn()) == 0 {
		s.gap()
		s.head(strong, "baths")
		s.add(dim, "nothing is in a bath")
	}
}

// loadLines are what is known and expected of a load, broken to a width.
func (m *sight) loadLines(l *bench.Load, w int) []lineOf {
	out := m.stayLines(l, w)
	v := m.cures.views[l.No]
	switch {
	case v == nil:
		return append(out, lineOf{dim, "working out what goes on in the flasks …"})
	case v.Err != nil:
		return append(out, lineOf{warn, fit("no estimate: "+v.Err.Error(), w)})
	}
	roles := map[bath.LineKind]role{bath.Plain: plain, bath.Caution: warn, bath.Cost: strong, bath.Small: dim}
	for _, line := range v.Estimate.Lines(m.sayOf(l)) {
		out = append(out, broken(roles[line.Kind], line.Text, w)...)
	}
	return out
}

// stayLines say how long a load has been in and when it may come out.
func (m *sight) stayLines(l *bench.Load, w int) []lineOf {
	in := m.now.Since(l.In)
	whole := time.Duration(house.LengthS(l.Stages)) * time.Second
	text := fmt.Sprintf("%s of %s gone · curing time up %s", length(gone(in.For)), length(whole), m.instant(m.now.WallOf(l.In, whole)))
	if r, ok := m.bench().LastReading(l.Bath); ok {
		text += fmt.Sprintf(" · read %s %s ago", m.temp(r.TempC), length(gone(m.now.Since(r.At).For)))
	}
	out := broken(plain, text, w)
	if in.Estimated {
		out = append(out, lineOf{dim, "the computer was restarted: these times are estimated"})
	}
	return out
}

// gone is what of a time has passed for sure: whole minutes, and whole seconds below one.
func gone(d time.Duration) time.Duration {
	if d < time.Minute {
		return max(0, d).Truncate(time.Second)
	}
	return d.Truncate(time.Minute)
}

// bathLines say how the cure of a flask stands, in short.
func (m *sight) bathLines(fl *bench.Flask, w int) []lineOf {
	l := m.bench().LoadOf(fl)
	if l == nil {
		return nil
	}
	if fl.Stage == bench.InBath {
		return append(m.shortLines(l, w), m.standLines(fl, w)...)
	}
	return m.standLines(fl, w)
}

// standLines say how the cure of a flask stands, in the words that the sheet and the review
// use, with its figures.
func (m *sight) standLines(fl *bench.Flask, w int) []lineOf {
	if fl.InBath == nil {
		return nil
	}
	s, err := m.bench().StandingOf(fl, m.now)
	text, r := "cure: "+string(s.Word), plain
	if fl.OutBath == nil {
		text += " so far"
	}
	if s.Word == cure.OffTemperature {
		r = warn
	}
	text += " (" + bench.StandWords(s, m.house().Units.Temperature) + ")"
	if err != nil {
		text += "; not worked out: " + err.Error()
	}
	return broken(r, text, w)
}

// shortLines are what is known and expected of a load, in short.
func (m *sight) shortLines(l *bench.Load, w int) []lineOf {
	out := m.stayLines(l, w)
	v := m.cures.views[l.No]
	if v == nil || v.Err != nil {
		return out
	}
	if t, ok := m.coreNow(l, v); ok {
		out = append(out, lineOf{plain, fit(fmt.Sprintf("core about %s, bath %s (estimate)", m.temp(math.Round(t.core)), m.temp(t.bath)), w)})
	}
	if c := v.Estimate.Cure.Range.CautionText; c != "" {
		out = append(out, lineOf{warn, fit("caution: core may pass "+m.temp(math.Round(v.Estimate.Cure.Range.BoilsC*10)/10)+", where monomer boils", w)})
	}
	return append(out, broken(dim, v.Estimate.Short(m.sayOf(l)), w)...)
}

// coreNow is the estimate of bath and core at this moment.
func (m *sight) coreNow(l *bench.Load, v *cureView) (t struct{ bath, core float64 }, ok bool) {
	s := m.now.Since(l.In).For.Seconds()
	if len(v.Core) == 0 || s > v.Core[len(v.Core)-1].TimeS {
		return t, false
	}
	t.bath, t.core = cure.BathAt(v.Estimate.Bath, s), cure.BathAt(v.Core, s)
	return t, true
}

// bathRoles tell how the parts of a bath's chart look.
var bathRoles = map[chart.Role]role{
	chart.Boil: dim, chart.Now: dim, chart.BathAhead: dim, chart.BathWas: plain, chart.CoreAhead: curve, chart.CoreWas: curve, chart.Label: plain, chart.Faint: dim,
}

// bathChart adds the curve of a load to a page, high rows of it.
func (m *sight) bathChart(s *sheet, l *bench.Load, high int) {
	v := m.cures.views[l.No]
	if v == nil || v.Err != nil {
		return
	}
	s.picture(high, func(f *frame, x, y, w int) {
		for row, cells := range chart.Bath(m.bathPicture(l, v), w, high, false) {
			for col, c := range cells {
				if c.Role != chart.Blank {
					f.text(x+col, y+row, bathRoles[c.Role], string(c.Rune))
				}
			}
		}
	})
}

// bathPicture is a load as the chart draws it.
func (m *sight) bathPicture(l *bench.Load, v *cureView) chart.BathPicture {
	end := v.Estimate.Case.Programme.Total()
	p := chart.BathPicture{Bath: v.Estimate.Bath, Core: v.Core, NowS: m.now.Since(l.In).For.Seconds(), EndS: end.Seconds(),
		Temp: func(c float64) string { return units.FormatTemp(c, m.house().Units.Temperature) }}
	for _, s := range l.Stages {
		p.Holds = append(p.Holds, s.TempC)
	}
	in := m.now.WallOf(l.In, 0)
	first := in.Truncate(time.Minute)
	for first.Minute() != 0 || first.Before(in) { // the next full hour of the zone
		first = first.Add(time.Minute)
	}
	for t := first; t.Before(in.Add(end)); t = t.Add(time.Hour) {
		p.Ticks = append(p.Ticks, chart.Tick{S: t.Sub(in).Seconds(), Label: t.Format("15:04")})
	}
	return p
}

// bandWords are the alarm of a bath out of band, with what it costs where that is
// worked out.
func (m *sight) bandWords(al timers.Alarm) string {
	l, ok := m.bench().LoadOfKey(al.Key)
	if !ok {
		return "BATH OUT OF BAND"
	}
	cost, setC := "", 0.0
	if v := m.cures.views[l.No]; v != nil && v.Err == nil && len(v.Estimate.Excursions) > 0 {
		x := v.Estimate.Excursions[len(v.Estimate.Excursions)-1]
		setC = x.Excursion.SetC
		switch {
		case x.Never, v.Estimate.MakeUp.Again:
			cost = ": START IT AGAIN"
		case !x.Reached:
			cost = ": HOLD +2 DAYS"
		default:
			cost = fmt.Sprintf(": HOLD +%.0f MIN", x.Minutes)
		}
		cost += " (estimate)"
	}
	if setC == 0 {
		_, setC, _ = l.Cure().Hold(m.now.Since(l.In).For)
	}
	words := fmt.Sprintf("BATH %d WAS OFF %s%s", l.Bath, m.temp(setC), cost)
	if r, ok := m.bench().LastReading(l.Bath); ok && al.Cleared == nil {
		words = fmt.Sprintf("BATH %d %s, SHOULD BE %s%s", l.Bath, m.temp(r.TempC), m.temp(setC), cost)
	}
	return words + " · " + m.whereOfLoad(l)
}

// silentWords are the alarm of a probe that reads nothing.
func (m *sight) silentWords(al timers.Alarm) string {
	l, ok := m.bench().LoadOfKey(al.Key)
	if !ok {
		return "PROBE SILENT"
	}
	quiet := m.bench().BathOf(l).Silent()
	if al.Cleared != nil {
		quiet += max(0, al.Cleared.At.Sub(al.Rose.At))
		return fmt.Sprintf("PROBE OF BATH %d WAS SILENT %s", l.Bath, length(quiet))
	}
	return fmt.Sprintf("PROBE OF BATH %d SILENT %s", l.Bath, length(gone(quiet+al.Since.For)))
}
