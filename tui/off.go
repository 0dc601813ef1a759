package tui

import (
	"fmt"
	"slices"
	"strings"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/each"
)

// Flasks that stand on no place: in baths they left their places for, or out of one when no
// place was free. They are found by rows beneath the places, by a digit on the page of the
// baths, by the arrows and by a scan.

// group is what has one such row: the flasks of a load, or all that stand on no place and are
// in no bath.
type group struct {
	tag    string // before its row: "B1", "-"
	bath   string // by its name; "" for those that are in none
	flasks []*bench.Flask
}

// groups lists them, the loads by bath first.
func (m *sight) groups() []group {
	var out []group
	b, load := m.bench(), -1
	for _, f := range b.OffPlaces() {
		s := b.SpotOf(f)
		if s.Load != load {
			load = s.Load
			g := group{tag: "-"}
			if s.Bath > 0 {
				g = group{tag: fmt.Sprint("B", s.Bath), bath: b.WhereWords(f)}
			}
			out = append(out, g)
		}
		g := &out[len(out)-1]
		g.flasks = append(g.flasks, f)
	}
	return out
}

// tagOf is what stands before a flask in a row: the number of its place, or of its bath with
// a B, "-" where it has neither.
func (m *sight) tagOf(f *bench.Flask) string {
	switch s := m.bench().SpotOf(f); {
	case s.Place > 0:
		return fmt.Sprint(s.Place)
	case s.Bath > 0:
		return fmt.Sprint("B", s.Bath)
	}
	return "-"
}

// nameOf names a flask in a list of several: where it is, its case and its base.
func (m *sight) nameOf(f *bench.Flask) string {
	return fmt.Sprintf("%s: %s %s", m.bench().WhereWords(f), f.Case, f.Base)
}

// head begins the title of what is asked about a flask.
func (m *sight) head(f *bench.Flask) string {
	if s := m.bench().SpotOf(f); s.Place > 0 {
		return fmt.Sprintf("%d · %s %s", s.Place, f.Case, f.Base)
	}
	return fmt.Sprintf("%s · %s %s", m.bench().WhereWords(f), f.Case, f.Base)
}

// whereWords tell where some flasks are: the places of those that stand on one, the cases
// of the others with their bath. At most so many cases are named, 0 for all.
func (m *sight) whereWords(flasks []int, most int) string {
	var places, out []string
	cases, baths := map[string][]string{}, []string{}
	for _, no := range flasks {
		f := m.bench().Flasks[no]
		if !f.AtWork() {
			continue
		}
		if s := m.bench().SpotOf(f); s.Place > 0 {
			places = append(places, fmt.Sprint(s.Place))
			continue
		}
		at := m.bench().WhereWords(f)
		if !slices.Contains(baths, at) {
			baths = append(baths, at)
		}
		cases[at] = append(cases[at], f.Case)
	}
	if len(places) > 0 {
		out = append(out, "place "+strings.Join(places, " "))
	}
	for _, at := range baths {
		cs, more := cases[at], ""
		if most > 0 && len(cs) > most {
			cs, more = cs[:most], fmt.Sprintf(" +%d", len(cs)-most)
		}
		out = append(out, at+": "+strings.Join(cs, " ")+more)
	}
	return strings.Join(out, ", ")
}

// pick selects a flask, wherever it is.
func (m *Model) pick(f *bench.Flask) {
	if s := m.bench().SpotOf(f); s.Place > 0 {
		m.sel, m.off = s.Place, 0
		return
	}
	m.off = f.No
}

// follow keeps what is selected selected where it got a place, and lets go of it where it
// left the bench.
func (m *Model) follow() {
	if m.off == 0 {
		return
	}
	if f := m.bench().Flasks[m.off]; !f.AtWork() {
		m.off = 0
	} else {
		m.pick(f)
	}
}

// stops are what the arrows go through beneath the places: the first flask of each load, and
// each that has no place.
func (m *sight) stops() []int {
	var out []int
	for _, g := range m.groups() {
		for i, f := range g.flasks {
			if i == 0 || g.bath == "" {
				out = append(out, f.No)
			}
		}
	}
	return out
}

// arrow selects the next flask up or down.
func (m *Model) arrow(by int) {
	stops := m.stops()
	at := m.sel - 1
	if m.off > 0 {
		at = action.Places
		for i, no := range stops { // a load is selected by whichever of its flasks
			if no == m.off || m.bench().Flasks[no].Load == m.bench().Flasks[m.off].Load && m.bench().SpotOf(m.bench().Flasks[m.off]).Bath > 0 {
				at = action.Places + i
				break
			}
		}
	}
	if at = min(max(0, at+by), action.Places+len(stops)-1); at < action.Places {
		m.sel, m.off = at+1, 0
		return
	}
	m.off = stops[at-action.Places]
}

// pickFirst selects what a screen begins with: what the most urgent alarm names that waits
// for an answer and names anything, for that is what stands at the top; else the first flask.
func (m *Model) pickFirst() {
	for _, al := range m.unanswered() {
		for _, no := range m.flasksOf(al) {
			if f := m.bench().Flasks[no]; f.AtWork() {
				m.pick(f)
				return
			}
		}
	}
	for f := range m.bench().OnPlaces() {
		m.pick(f)
		return
	}
}

// flasksOf are the flasks that an alarm is about.
func (m *sight) flasksOf(al timers.Alarm) []int {
	key, _ := timers.SplitSignalKey(al.Key)
	if w, ok := m.windowByKey(key); ok {
		return w.Flasks
	}
	if l, ok := m.bench().LoadOfKey(al.Key); ok {
		return m.bench().StillIn(l)
	}
	if s, ok := bench.SubjectOfKey(key); ok && s.Class == 'f' {
		return []int{s.No}
	}
	return nil
}

// toLoad selects the load whose alarm was acknowledged, where the selected place is empty:
// who stands before a flask keeps it.
func (m *Model) toLoad(al timers.Alarm) {
	key, _ := timers.SplitSignalKey(al.Key)
	w, ok := m.windowByKey(key)
	if !ok || w.What != bench.Cure || m.selected() != nil {
		return
	}
	for _, no := range w.Flasks {
		if f := m.bench().Flasks[no]; m.bench().SpotOf(f).Bath > 0 {
			m.pick(f)
			return
		}
	}
}

// unplaced are the flasks that stand on no place and are in no bath.
func (m *sight) unplaced() group {
	if gs := m.groups(); len(gs) > 0 && gs[len(gs)-1].bath == "" {
		return gs[len(gs)-1]
	}
	return group{}
}

// digits are those that select on the page of the baths: the number of each bath that has a
// load, and after the last bath one for the flasks without a place.
func (m *sight) digits() []string {
	var out []string
	for n := range m.house().Baths {
		if len(m.loadsOf(n+1)) > 0 {
			out = append(out, fmt.Sprint(n+1))
		}
	}
	if len(m.unplaced().flasks) > 0 && len(m.house().Baths) < 9 {
		out = append(out, fmt.Sprint(len(m.house().Baths)+1))
	}
	return out
}

// loadsOf lists the loads in a bath.
func (m *sight) loadsOf(bath int) []*bench.Load {
	return slices.DeleteFunc(m.loadsIn(), func(l *bench.Load) bool { return l.Bath != bath })
}

// pickLoad selects a load by the digit of its bath, and asks which where it has several; one
// digit more are the flasks without a place.
func (m *Model) pickLoad(digit string) (cmd tea.Cmd, ok bool) {
	if !slices.Contains(m.digits(), digit) {
		return nil, false
	}
	n, g := int(digit[0]-'0'), m.unplaced()
	m.home()
	if loads := m.loadsOf(n); len(loads) > 0 {
		first := func(i int) tea.Cmd {
			m.pick(m.bench().Flasks[m.bench().StillIn(loads[i])[0]])
			return nil
		}
		if len(loads) == 1 {
			return first(0), true
		}
		names := each.Of(loads, m.loadHead)
		return m.menu("which load?", nil, names, first), true
	}
	if len(g.flasks) == 1 {
		m.pick(g.flasks[0])
		return nil, true
	}
	var names []string
	all := 0
	if m.bench().FreePlace() > 0 {
		all = 1
		names = append(names, "give them places, as many as are free")
	}
	for _, f := range g.flasks {
		names = append(names, fmt.Sprintf("%s %s: %s", f.Case, f.Base, f.Stage))
	}
	return m.menu("flasks on no place", nil, names, func(i int) tea.Cmd {
		if i < all {
			return m.placeAll(nil)
		}
		m.pick(g.flasks[i-all])
		return nil
	}), true
}

// placeAll gives the flasks without a place the places that are free, one record each; at has
// what was told of those that have theirs.
func (m *Model) placeAll(at []string) tea.Cmd {
	g, free := m.unplaced(), m.bench().FreePlace()
	if len(g.flasks) == 0 || free == 0 {
		said := strings.Join(at, ", ")
		if n := len(g.flasks); n > 0 {
			said += fmt.Sprintf("; %d more wait for a place", n)
		}
		m.say(good, said)
		return nil
	}
	f := g.flasks[0]
	return m.append(action.FlaskMove{Flask: f.No, Place: free}, "", func(logbook.Saved) tea.Cmd {
		m.sel, m.off = free, 0
		return m.placeAll(append(at, fmt.Sprintf("%s on %d", f.Case, free)))
	})
}

// unplacedLines tell of the flasks without a place on the page of the baths.
func (m *sight) unplacedLines(s *sheet, w int) {
	if g := m.unplaced(); len(g.flasks) > 0 {
		s.gap()
		s.head(accent, fmt.Sprintf("%d  no place was free for", len(m.house().Baths)+1))
		s.wrapped(plain, casesIn(g.flasks, 10*w), w)
	}
}

// offH is how many rows the bench gives to flasks that stand on no place.
func (m *sight) offH() int {
	most := 3
	if m.wide() {
		most = 6
	}
	return min(most, len(m.groups()))
}

// drawOff draws a row for each load in a bath, and one for what has no place, beneath the
// places; where rows are lacking the last one says how many flasks are not shown.
func (m *sight) drawOff(f *frame, a area) {
	gs := m.groups()
	for i := range a.h {
		if i == a.h-1 && len(gs) > a.h {
			n := 0
			for _, g := range gs[i:] {
				n += len(g.flasks)
			}
			f.put(a.x+1, a.y+i, a.w-2, plain, "/  "+words.Count(n, "flask", "flasks")+" more in baths or on no place")
			return
		}
		m.drawGroup(f, area{a.x, a.y + i, a.w, 1}, gs[i])
	}
}

func (m *sight) drawGroup(f *frame, a area, g group) {
	sel := slices.IndexFunc(g.flasks, func(o *bench.Flask) bool { return o.No == m.off })
	mark, r, name := "  ", plain, strong
	if sel >= 0 {
		mark, r, name = "▸ ", chosen, chosen
	}
	f.put(a.x, a.y, 2, r, pad(g.tag, 2))
	f.put(a.x+2, a.y, 2, r, mark)
	first := g.flasks[max(0, sel)]
	t, tr := m.flaskTime(first)
	room := a.w - 6 - ansi.StringWidth(t)
	if g.bath == "" {
		room -= ansi.StringWidth(noPlace) + 2
		f.put(a.x+5+room, a.y, ansi.StringWidth(noPlace), warn, noPlace)
	}
	f.put(a.x+4, a.y, room, name, casesIn(g.flasks, room))
	f.right(a.x+a.w-1, a.y, tr, t)
}

// noPlace stands behind flasks that came out of a bath when no place was free.
const noPlace = "no place"

// casesIn names the cases of some flasks in a width; where they do not fit, how many there
// are.
func casesIn(flasks []*bench.Flask, w int) string {
	cases := each.Of(flasks, func(f *bench.Flask) string { return f.Case })
	whole := strings.Join(cases, " ")
	for n := len(cases) - 1; ansi.StringWidth(whole) > w && n > 0; n-- {
		whole = strings.Join(cases[:n], " ") + fmt.Sprintf(" +%d", len(cases)-n)
	}
	return fit(whole, w)
}

// offTile is a tile of the far view for a group: its most urgent flask speaks for it.
func (m *sight) offTile(g group) tile {
	t := m.tileOf(m.speaker(g))
	t.place = g.tag
	return t
}

// speaker is the flask of a group that speaks for it, the most urgent one.
func (m *sight) speaker(g group) *bench.Flask {
	for _, st := range m.standings {
		w, _ := m.windowByKey(st.Key)
		if i := slices.IndexFunc(g.flasks, func(f *bench.Flask) bool { return slices.Contains(w.Flasks, f.No) }); i >= 0 {
			return g.flasks[i]
		}
	}
	return g.flasks[0]
}

// backToPlaces says where the flasks of a load stand that came out of the bath: which have
// another place than before, and what to do for those that have none.
func (m *Model) backToPlaces(s logbook.Saved) tea.Cmd {
	out, ok := s.Action.Body.(action.BathUnload)
	if !ok || len(out.Places) == 0 {
		return nil
	}
	var at, none []string
	for i, no := range out.Flasks {
		f := m.bench().Flasks[no]
		switch {
		case f == nil:
		case out.Places[i] == 0:
			none = append(none, f.Case)
		default:
			at = append(at, fmt.Sprintf("%s on %d", f.Case, out.Places[i]))
		}
	}
	said := "out of the bath: " + strings.Join(at, ", ")
	if len(none) == 0 {
		m.say(good, said)
		return nil
	}
	if len(at) == 0 {
		said = "out of the bath"
	}
	m.say(warn, said+". No place is free for "+strings.Join(none, ", ")+": found under /. Once a place is free: - , to another place")
	return nil
}

// withoutPlace says which flasks an undoing left without a place.
func (m *Model) withoutPlace(s logbook.Saved) tea.Cmd {
	back, ok := s.Action.Body.(action.TakeBack)
	if !ok || len(back.NoPlace) == 0 {
		return nil
	}
	var none []string
	for _, no := range back.NoPlace {
		if f := m.bench().Flasks[no]; f != nil {
			none = append(none, f.Case)
		}
	}
	m.say(warn, "undone. Another flask is on the place of "+strings.Join(none, ", ")+", which has none now: found under /, then - , to another place")
	return nil
}

// selectedWords name what is selected.
func (m *sight) selectedWords() string {
	if f := m.selected(); f != nil && m.off == f.No {
		return m.bench().CallWords(f)
	}
	return fmt.Sprint("place ", m.sel)
}

// keysTo are the pad keys that select a flask, "" where it is selected.
func (m *sight) keysTo(f *bench.Flask) string {
	if sel := m.selected(); sel != nil && sel.No == f.No {
		return ""
	}
	if s := m.bench().SpotOf(f); s.Place > 0 {
		return fmt.Sprint(s.Place, " ")
	}
	if s := m.bench().SpotOf(f); s.Bath > 0 {
		return fmt.Sprintf("/ %d ", s.Bath)
	}
	return fmt.Sprintf("/ %d ", len(m.house().Baths)+1)
}
