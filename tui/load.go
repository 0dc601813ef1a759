package tui

import (
	"fmt"
	"slices"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/action"
	"flaskside/logbook/bath"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/units"
	"flaskside/timers/each"
)

// loadForm asks which flasks go into which bath, on which programme.
type loadForm struct {
	m      *Model
	form   *form
	flasks []int
	names  []string
	others bool    // the flasks are asked for
	read   float64 // what the bath read, typed or a moment ago, °C; 0 where nobody looked
	secs   []action.Section
}

// Answers to the last question of a load.
const (
	loadYes  = iota + 1
	loadType // the bath's temperature and the thickness first
)

// loadBath asks for a load: the programme, and whether the flasks are in. Those whose bench
// set is over go in together; others, what the bath reads and how thick the bases are is
// asked where somebody wants it asked, and is said above the last question in any case.
func (m *Model) loadBath(f *bench.Flask) tea.Cmd {
	h := m.house()
	x := &loadForm{m: m}
	var on []bool
	room := m.bathRoom()
	if f != nil {
		room--
	}
	for o := range m.bench().AtWork() {
		if o.Stage != bench.Set && (f == nil || o.No != f.No) {
			continue
		}
		x.flasks = append(x.flasks, o.No)
		done := o.SetOver(m.now)
		note := ""
		if !done {
			note = " (bench set not over)"
		}
		x.names = append(x.names, m.nameOf(o)+note)
		switch {
		case f != nil && o.No == f.No:
			on = append(on, true)
		case done && room > 0:
			on, room = append(on, true), room-1
		default:
			on = append(on, false)
		}
	}
	if len(x.flasks) == 0 {
		m.say(warn, "no flask is clamped and ready for the bath")
		return nil
	}
	x.others = !slices.Contains(on, true)
	fields := []*field{several("flasks", "which flasks?", 1, x.names, func(i int) bool { return on[i] }).only(func(*form) bool { return x.others })}
	if len(h.Baths) > 1 {
		fields = append(fields, choose("bath", "which bath?", m.bathsWithLoads()...))
	}
	planned := func(f *form) bool { return f.choice("programme") == len(h.Programmes)+1 }
	read, which := m.quantity("bath_c", "the bath reads", "bath-load.bath_c")
	typed := func(f *form) bool { return f.choice("go") == loadType }
	programme := choose("programme", "programme and when they would be out (the resin maker's cycle comes first)", m.programmeOptions()...)
	if len(x.flasks) > 1 && !x.others {
		programme.options = append(programme.options, "other flasks …")
		programme.other = x.askFlasks
	}
	goes := choose("go", "in the bath now?", "yes, they are in", "first type bath temperature and base thickness").reached(x.beforeTheyGoIn)
	if len(x.flasks) == 1 {
		goes.options[0] = "yes, it is in"
	}
	fields = append(fields, programme,
		hourField("out").only(planned),
		choose("fits", "programme (the resin maker's cycle comes first)", h.ProgrammeNames()...).only(planned).reached(func(f *form) tea.Cmd {
			m.setPlan(f.num("out"))
			f.get("fits").options = m.planOptions()
			return nil
		}),
		goes,
		read.only(typed).reached(x.offerTemp), which.and(typed),
		digits("thin", "thinnest part of the base", "mm", "", plainNumber(0.5, 30)).only(typed).reached(x.offerThickness),
		digits("thick", "thickest part of the base", "mm", "", plainNumber(0.5, 30)).only(typed),
		choose("sure", "in the bath now?", goes.options[0]).only(typed).reached(x.beforeTheyGoIn))
	x.form = &form{title: "into the bath", fields: fields, live: x.goingIn, done: x.done}
	m.open(x.form)
	return nil
}

// askFlasks goes back to the question which flasks, where that was chosen.
func (x *loadForm) askFlasks(f *form) bool {
	fd := f.get("programme")
	if fd.choice != len(fd.options) {
		return false
	}
	x.others, fd.choice, fd.other = true, 0, nil
	fd.options = fd.options[:len(fd.options)-1]
	f.at = 0
	return true
}

// goingIn says which flasks go in, unless they are asked for; and at the last question all
// that would be recorded, and when they would be out.
func (x *loadForm) goingIn() (lines []string) {
	if !x.others {
		lines = []string{strings.Join(picked(x.form, "flasks", x.names), " · ")}
	}
	if !x.form.asking("go") && !x.form.asking("sure") {
		return lines
	}
	m, p := x.m, x.programme()
	out := m.now.Wall.Add(time.Duration(house.LengthS(p.Stages)) * time.Second)
	reads := "bath not read"
	if x.read != 0 {
		reads = "bath reads " + exactTemp(x.read, m.house().Units.Temperature)
	}
	return append(lines, fmt.Sprintf("%s: %s · out from %s", p.Name, m.programmeWords(p.Stages), m.instant(out)), reads+" · "+x.sectionWords())
}

// bathRoom is how many flasks find room in the bath that has the most. What is above it is not
// switched on by itself; a person may.
func (m *sight) bathRoom() int {
	_, has := m.inBaths()
	least := has[0]
	for k, n := range m.bench().Usable(action.Bath) {
		if k == 0 || has[n-1] < least {
			least = has[n-1]
		}
	}
	return m.house().Plan.Filled().Places - least
}

// inBaths names the baths and counts the flasks in each.
func (m *sight) inBaths() (names []string, has []int) {
	names = m.bathNames()
	has = make([]int, len(names))
	for _, l := range m.loadsIn() {
		if l.Bath <= len(has) {
			has[l.Bath-1] += len(m.bench().StillIn(l))
		}
	}
	return names, has
}

// bathsWithLoads names the baths with how many flasks are in each.
func (m *sight) bathsWithLoads() []string {
	names, has := m.inBaths()
	used := m.bench().Usable(action.Bath)
	for i, n := range has {
		if n > 0 {
			names[i] += fmt.Sprintf(" (%d in it)", n)
		}
		if !slices.Contains(used, i+1) {
			names[i] += " (out of use)"
		}
	}
	return names
}

func (m *sight) bathNames() []string {
	return each.Of(m.house().Baths, func(b house.Bath) string { return b.Name })
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
	first, fd := x.programme().Stages[0], f.get("bath_c")
	if fd.may = !ok && first.RampS > 0; fd.may { // before a ramp it may read anything
		fd.preset = ""
		return nil
	}
	if !ok {
		c = first.TempC
	}
	fd.preset = strings.Fields(units.FormatTemp(c, x.m.house().Units.Temperature))[0]
	return nil
}

// offerThickness offers the thickness of the first flask.
func (x *loadForm) offerThickness(f *form) tea.Cmd {
	s := x.sections()[0]
	f.get("thin").preset, f.get("thick").preset = fmt.Sprint(s.ThinMM), fmt.Sprint(s.ThickMM)
	return nil
}

// sections are how thick the base of each flask is: as typed for all, or as it was for the
// last base of its size.
func (x *loadForm) sections() []action.Section {
	var out []action.Section
	f := x.form
	for _, no := range picked(f, "flasks", x.flasks) {
		s := action.Section{Flask: no}
		if f.at > f.index("thick") {
			s.ThinMM, s.ThickMM = min(f.num("thin"), f.num("thick")), max(f.num("thin"), f.num("thick"))
		} else {
			s.ThinMM, s.ThickMM = x.m.thickness(x.m.bench().Flasks[s.Flask].Size)
		}
		out = append(out, s)
	}
	return out
}

// sectionWords tell the thicknesses, each once.
func (x *loadForm) sectionWords() string {
	var out []string
	for _, s := range x.secs {
		w := fmt.Sprintf("%s base %g to %g mm thick", x.m.bench().Flasks[s.Flask].Size, s.ThinMM, s.ThickMM)
		if !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	return strings.Join(out, ", ")
}

// beforeTheyGoIn settles what would be recorded, and works out what the flasks do to a
// bath that others are in.
func (x *loadForm) beforeTheyGoIn(f *form) tea.Cmd {
	x.read, x.secs = 0, x.sections()
	if f.at > f.index("bath_c") {
		x.read = f.num("bath_c")
	} else if c, ok := x.m.lastRead(x.bath()); ok {
		x.read = c
	}
	f.lines = nil
	return x.m.coldFlasks(f, x.bath(), len(f.picks("flasks")))
}

func (x *loadForm) done(f *form) tea.Cmd {
	pick := picked(f, "flasks", x.flasks)
	p := x.programme()
	return x.m.answer(f, action.BathLoad{Bath: x.bath(), Flasks: pick, Programme: p.Name, Stages: p.Stages, MaxS: p.MaxS, BathC: x.read, Sections: x.secs, OffPlace: true}, "", nil)
}

// thickDesk is how thick the last base of each size was, in mm.
type thickDesk struct {
	of map[action.Size]action.Section
}

type thickMsg map[action.Size]action.Section

// thickFor is how far back it is looked for when the program starts.
const thickFor = 14 * 24 * time.Hour

// recallThickness looks for the last base of each size, beside the screen.
func (m *Model) recallThickness() tea.Cmd {
	keeper, now := m.cfg.Keeper, m.now.Wall
	return func() tea.Msg {
		b, err := keeper.Whole(now.Add(-thickFor), now)
		if err != nil {
			return nil // what is assumed is offered, as on an empty book
		}
		of := thickMsg{}
		for _, size := range action.Sizes {
			if s, ok := b.LastThickness(size); ok {
				of[size] = s
			}
		}
		return of
	}
}

// thickness is how thick the last base of a size was, or else what is assumed.
func (m *sight) thickness(size action.Size) (thinMM, thickMM float64) {
	if s, ok := m.bench().LastThickness(size); ok {
		return s.ThinMM, s.ThickMM
	}
	if s, ok := m.thick.of[size]; ok {
		return s.ThinMM, s.ThickMM
	}
	return bath.ThinMM, bath.ThickMM
}

// linesMsg gives a form lines that were worked out beside the screen.
type linesMsg struct {
	f     *form
	lines []string
}

// coldFlasks works out what n flasks that go into a bath now do to it and to the
// loads in it; nothing where it is empty.
func (m *sight) coldFlasks(f *form, bathNo, n int) tea.Cmd {
	var cases []bath.LoadCase
	var after []time.Duration
	places := map[int]string{}
	for _, l := range m.loadsIn() {
		if l.Bath == bathNo {
			cases, after = append(cases, bath.Of(m.bench(), l)), append(after, m.now.Since(l.In).For)
			places[l.No] = m.whereOfLoad(l)
		}
	}
	if len(cases) == 0 {
		return nil
	}
	unit := m.house().Units.Temperature
	return func() tea.Msg {
		a, err := bath.Add(n, cases, after)
		if err != nil {
			return linesMsg{f, []string{"what the cold flasks do to the bath cannot be worked out: " + err.Error()}}
		}
		return linesMsg{f, []string{a.Words(unit, func(load int) string { return places[load] })}}
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
		name := p.Name
		if !strings.Contains(name, length(d)) {
			name += " " + length(d)
		}
		out = append(out, name+" → "+m.instant(m.now.Wall.Add(d)))
	}
	return append(out, "out at a set hour: plan …")
}

// planOptions offer the programmes with what the plan says of them.
func (m *sight) planOptions() []string {
	return each.Of(bath.Plan(m.house(), m.now.Wall, m.cures.plan), func(f bath.Fit) string { return f.Programme.Name + ": " + f.Words(m.now.Wall) })
}
