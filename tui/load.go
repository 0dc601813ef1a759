package tui

import (
	"fmt"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/action"
	"flaskside/logbook/bath"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/units"
)

// loadForm asks which flasks go into which bath, on which programme.
type loadForm struct {
	m      *Model
	form   *form
	flasks []int
}

// loadBath asks for a load, the flasks whose bench set is over switched on.
func (m *Model) loadBath(f *bench.Flask) tea.Cmd {
	h := m.house()
	x := &loadForm{m: m}
	var names []string
	var on []bool
	for o := range m.bench().OnPlaces() {
		if o.Stage != bench.Set && (f == nil || o.No != f.No) {
			continue
		}
		x.flasks = append(x.flasks, o.No)
		done := o.SetOver(m.now)
		note := ""
		if !done {
			note = " (bench set not over)"
		}
		names = append(names, fmt.Sprintf("place %d: %s %s%s", o.Place, o.Case, o.Base, note))
		on = append(on, f != nil && o.No == f.No || done)
	}
	if len(x.flasks) == 0 {
		m.say(warn, "no flask is clamped and ready for the bath")
		return nil
	}
	fields := []*field{several("flasks", "which flasks?", 1, names, func(i int) bool { return on[i] })}
	if len(h.Baths) > 1 {
		fields = append(fields, choose("bath", "which bath?", m.bathNames()...))
	}
	planned := func(f *form) bool { return f.choice("programme") > len(h.Programmes) }
	unit := h.Units.Temperature
	fields = append(fields,
		choose("programme", "programme and when they would be out (the resin maker's cycle comes first)", m.programmeOptions()...),
		hourField("out").only(planned),
		choose("fits", "programme (the resin maker's cycle comes first)", h.ProgrammeNames()...).only(planned).reached(func(f *form) tea.Cmd {
			m.setPlan(f.num("out"))
			f.get("fits").options = m.planOptions()
			return nil
		}),
		digits("bath_c", "the bath reads", "°"+string(unit), "", func(s string) (float64, error) { return units.ParseTemp(s, unit) }).reached(x.offerTemp),
		digits("thin", "thinnest part of the base", "mm", fmt.Sprint(bath.ThinMM), plainNumber(0.5, 30)),
		digits("thick", "thickest part of the base", "mm", fmt.Sprint(bath.ThickMM), plainNumber(0.5, 30)),
		choose("sure", "", "yes, they are in the bath").reached(x.beforeTheyGoIn))
	x.form = &form{title: "into the bath", fields: fields, done: x.done}
	m.open(x.form)
	return nil
}

func (m *sight) bathNames() []string {
	var out []string
	for _, b := range m.house().Baths {
		out = append(out, b.Name)
	}
	return out
}

func (x *loadForm) bath() int { return max(1, x.form.choice("bath")) }

func (x *loadForm) programme() house.Programme {
	ps := x.m.house().Programmes
	if c := x.form.choice("programme"); c <= len(ps) {
		return ps[c-1]
	}
	return ps[x.form.choice("fits")-1]
}

// offerTemp offers what the bath read a moment ago, or else what it should read.
func (x *loadForm) offerTemp(f *form) tea.Cmd {
	c, ok := x.m.lastRead(x.bath())
	if !ok {
		c = x.programme().Stages[0].TempC
	}
	f.get("bath_c").preset = strings.Fields(units.FormatTemp(c, x.m.house().Units.Temperature))[0]
	return nil
}

// beforeTheyGoIn says when the flasks would be out, and what they do to a bath that
// others are in.
func (x *loadForm) beforeTheyGoIn(f *form) tea.Cmd {
	m := x.m
	out := m.now.Wall.Add(time.Duration(house.LengthS(x.programme().Stages)) * time.Second)
	head := []string{"out from " + m.instant(out)}
	f.lines = head
	return m.coldFlasks(f, x.bath(), len(f.picks("flasks")), head)
}

func (x *loadForm) done(f *form) tea.Cmd {
	var pick []int
	var secs []action.Section
	for _, i := range f.picks("flasks") {
		pick = append(pick, x.flasks[i])
		secs = append(secs, action.Section{Flask: x.flasks[i], ThinMM: min(f.num("thin"), f.num("thick")), ThickMM: max(f.num("thin"), f.num("thick"))})
	}
	p := x.programme()
	return x.m.answer(f, action.BathLoad{Bath: x.bath(), Flasks: pick, Programme: p.Name, Stages: p.Stages, MaxS: p.MaxS, BathC: f.num("bath_c"), Sections: secs}, "", nil)
}

// linesMsg gives a form lines that were worked out beside the screen.
type linesMsg struct {
	f     *form
	lines []string
}

// coldFlasks works out what n flasks that go into a bath now do to it and to the
// loads in it; nothing where it is empty.
func (m *sight) coldFlasks(f *form, bathNo, n int, head []string) tea.Cmd {
	var cases []bath.Case
	var after []time.Duration
	places := map[int]string{}
	for _, l := range m.loadsIn() {
		if l.Bath == bathNo {
			cases, after = append(cases, bath.Of(m.bench(), l)), append(after, m.now.Since(l.In).For)
			places[l.No] = "place " + m.placesOfLoad(l)
		}
	}
	if len(cases) == 0 {
		return nil
	}
	unit := m.house().Units.Temperature
	return func() tea.Msg {
		a, err := bath.Add(n, cases, after)
		if err != nil {
			return linesMsg{f, append(head, "what the cold flasks do to the bath cannot be worked out: "+err.Error())}
		}
		return linesMsg{f, append(head, a.Words(unit, func(load int) string { return places[load] }))}
	}
}

// lastRead is what a bath read a short while ago, for a form to offer.
func (m *sight) lastRead(bathNo int) (tempC float64, ok bool) {
	const fresh = 15 * time.Minute
	r, ok := m.bench().LastReading(bathNo)
	return r.TempC, ok && m.now.Since(r.At).For < fresh
}

// programmeOptions offer the programmes with how long they take and when the flasks
// would be out, and last of all to plan backwards.
func (m *sight) programmeOptions() []string {
	var out []string
	for _, p := range m.house().Programmes {
		d := time.Duration(house.LengthS(p.Stages)) * time.Second
		out = append(out, fmt.Sprintf("%s %s → %s", p.Name, length(d), m.instant(m.now.Wall.Add(d))))
	}
	return append(out, "out at a set hour: plan …")
}

// planOptions offer the programmes with what the plan says of them.
func (m *sight) planOptions() []string {
	var out []string
	for _, f := range bath.Plan(m.house(), m.now.Wall, m.cures.plan) {
		out = append(out, f.Programme.Name+": "+f.Words(m.now.Wall))
	}
	return out
}
