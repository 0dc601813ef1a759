package tui

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/dayplan"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers/dough"
)

// How a mix is measured, by the digits of the form.
const (
	asReckoned = iota + 1 // a unit for each flask, weighed just so
	byUnits
	byMould
	byLiquid
	byFlasks // a unit for each flask, weighed otherwise
)

// mixForm asks for a mix: for which flasks, how much, what was weighed, which lots,
// in which room.
type mixForm struct {
	m      *Model
	form   *form
	flasks []int
	resins []dough.Resin
	jarC   *float64 // of the parts where they come from the refrigerator; nil for the room's
	began  time.Time
	same   *action.MixMake // the mix as last time, for the flasks that wait; nil where it is not offered
	jar    string          // the refrigerator's temperature, as it was typed
	// whichUnit asks for the unit of the room's temperature where it is in doubt.
	whichUnit *field
}

// newMix asks for a mix for the flasks that wait for one.
func (m *Model) newMix(f *bench.Flask) tea.Cmd {
	var names []string
	var on []bool
	// A mix begins when powder meets liquid: when the form is opened, not when the
	// last lot is typed.
	x := &mixForm{m: m, resins: m.house().Resins, began: m.cfg.Keeper.Now().Wall}
	for o := range m.bench().AtWork() {
		if o.ClosedForGood() {
			continue
		}
		mix := m.bench().MixOf(o)
		x.flasks = append(x.flasks, o.No)
		names = append(names, m.nameOf(o)+" "+words.SizeLetter(o.Size))
		on = append(on, f != nil && o.No == f.No || (mix == nil || mix.Stiff != nil) && len(o.Halves) == 2)
	}
	if len(x.flasks) == 0 {
		m.say(warn, "there is no flask that needs a mix: open one first (+)")
		return nil
	}
	powderLot, liquidLot := m.lastLots()
	how := func(is int) func(*form) bool { return func(f *form) bool { return f.choice("how") == is } }
	weighed := func(f *form) bool { return f.choice("how") != asReckoned }
	fields := []*field{several("flasks", "for which flasks?", 1, names, func(i int) bool { return on[i] })}
	var waiting []int
	for i, no := range x.flasks {
		if on[i] {
			waiting = append(waiting, no)
		}
	}
	x.same = m.sameMix(waiting)
	if len(x.resins) > 1 {
		fields = append(fields, choose("resin", "resin", m.house().ResinNames()...))
	}
	fields = append(fields,
		choose("how", "how much?", "", "", "", "", "").reached(x.offer),
		digits("units", "units of powder and liquid", "units", "", plainNumber(0.1, 40)).only(how(byUnits)),
		digits("mould", "volume of all the moulds together", "cm³", "", plainNumber(1, 2000)).only(how(byMould)),
		digits("grams", "liquid", "g", "", plainNumber(0.1, 2000)).only(how(byLiquid)),
		digits("powder", "powder weighed", "g", "", plainNumber(0.1, 5000)).only(weighed).reached(x.weigh),
		digits("liquid", "liquid weighed", "g", "", plainNumber(0.1, 5000)).only(weighed),
		line("powder lot", "powder lot", powderLot, true), line("liquid lot", "liquid lot", liquidLot, true),
		x.room(), x.whichUnit)
	if x.same != nil {
		fields = x.askSame(fields)
	}
	x.form = &form{title: "new mix " + words.MixLetter(m.bench().Top.Mix+1) + " (time starts now)", fields: fields, live: x.says, done: x.done}
	m.open(x.form)
	return nil
}

// resin is the one chosen, or the only one.
func (x *mixForm) resin() dough.Resin {
	return x.resins[max(1, x.form.choice("resin"))-1].WithDefaults()
}

// offer names the ways to say how much, a unit for each flask first.
func (x *mixForm) offer(f *form) tea.Cmd {
	n := len(f.picks("flasks"))
	p, l := bench.Masses(x.resin(), float64(n))
	fd := f.get("how")
	each := fmt.Sprintf("%d units", n)
	if n == 1 {
		each = "1 unit"
	}
	fd.options = []string{fmt.Sprintf("%s: %.1f + %.1f g, weighed so", each, p, l), "other units", "mould, cm³", "liquid, g", "weighed otherwise"}
	fd.choice = asReckoned
	return nil
}

// request is how much was asked for.
func (x *mixForm) request() dough.Request {
	f := x.form
	switch f.choice("how") {
	case byUnits:
		return dough.Request{Amount: f.num("units"), In: dough.InUnits, TrialAllowance: dough.DefaultTrialAllowance}
	case byMould:
		return dough.Request{Amount: f.num("mould"), In: dough.InMouldCM3, TrialAllowance: dough.DefaultTrialAllowance}
	case byLiquid:
		return dough.Request{Amount: f.num("grams"), In: dough.InLiquidG, TrialAllowance: dough.DefaultTrialAllowance}
	}
	return dough.Request{Amount: float64(len(f.picks("flasks"))), In: dough.InUnits, TrialAllowance: dough.DefaultTrialAllowance}
}

// weigh offers the masses of what was asked for.
func (x *mixForm) weigh(f *form) tea.Cmd {
	p, err := dough.Proportion(x.resin(), x.request())
	if err != nil {
		f.note = err.Error()
		return nil
	}
	f.get("powder").preset, f.get("liquid").preset = fmt.Sprintf("%.1f", p.PowderG), fmt.Sprintf("%.1f", p.LiquidG)
	return nil
}

// asked tells whether a field is being asked or was.
func (f *form) asked(name string) bool {
	for i, fd := range f.fields {
		if fd.name == name {
			return i <= f.at
		}
	}
	return false
}

// asking tells whether a field is being asked.
func (f *form) asking(name string) bool { return f.fields[f.at].name == name }

// says is what the mix leaves over for trials and how it shrinks, as weighed, and at
// the end from when to when it can be worked.
func (x *mixForm) says() []string {
	if x.form.asking("same") {
		return x.window(x.same.RoomC, x.same.JarC)
	}
	if !x.form.asked("powder") {
		return x.shares()
	}
	var out []string
	if p, err := x.weighed(); err == nil {
		out = append(out, fmt.Sprintf("%.0f mL of dough: %.0f for moulds, %.0f (%.0f g) for trials; shrinks %.0f to %.0f vol%%",
			p.DoughML, p.MouldCM3, p.LeftoverML, p.LeftoverG, 100*p.ShrinkageLow, 100*p.Shrinkage))
		if p.LeftoverML < 0 {
			out[0] = fmt.Sprintf("%.0f mL of dough: %.0f mL SHORT of filling the moulds", p.DoughML, -p.LeftoverML)
		}
		for _, c := range p.Cautions {
			if c != p.OfVolume { // the line above tells what is left
				out = append(out, c)
			}
		}
	}
	if x.form.asked("room") {
		roomC, err := x.form.get("room").given() // reads the refrigerator's, too
		if err != nil {
			return out
		}
		window := x.window(roomC, x.jarC)
		if x.jarC == nil {
			unit := x.m.house().Units.Temperature
			out = append(out, fmt.Sprintf("powder and liquid from the fridge: type room/fridge, as %.0f/%.0f", unit.FromC(22), unit.FromC(5)))
		}
		out = append(out, window...)
	}
	return out
}

// shares is what it means that these flasks share the mix, and whether the press is free for it.
func (x *mixForm) shares() []string {
	var in, out []string
	for i, no := range x.flasks {
		f := x.m.bench().Flasks[no]
		if f == nil {
			continue
		}
		if x.form.get("flasks").picked[i] {
			in = append(in, string(f.Size))
		} else {
			out = append(out, string(f.Size))
		}
	}
	var lines []string
	if s, err := dayplan.MixWords(x.m.house(), x.resin().Name, x.m.lastRoom(), in, out); err == nil && s != "" {
		lines = append(lines, s)
	}
	if s := bench.NextMixWords(x.m.pressLeft); s != "" {
		lines = append(lines, s)
	}
	return lines
}

// given is what a number field holds: typed, or offered.
func (fd *field) given() (float64, error) {
	s := fd.typed
	s = cmp.Or(s, fd.preset)
	return fd.value(s)
}

// masses are the grams of powder and liquid, as reckoned or as typed.
func (x *mixForm) masses() (powderG, liquidG float64, err error) {
	if x.form.choice("how") == asReckoned {
		powderG, liquidG = bench.Masses(x.resin(), float64(len(x.form.picks("flasks"))))
		return powderG, liquidG, nil
	}
	if powderG, err = x.form.get("powder").given(); err != nil {
		return 0, 0, err
	}
	liquidG, err = x.form.get("liquid").given()
	return powderG, liquidG, err
}

// weighed is the mix as it was, or will be, weighed.
func (x *mixForm) weighed() (dough.Proportions, error) {
	powder, liquid, err := x.masses()
	if err != nil {
		return dough.Proportions{}, err
	}
	q := dough.Request{Amount: liquid, In: dough.InLiquidG, Ratio: &dough.Ratio{Value: powder / liquid, By: dough.ByMass}, TrialAllowance: dough.DefaultTrialAllowance}
	if x.form.choice("how") == byMould {
		q.MouldCM3 = x.form.num("mould")
	}
	return dough.Proportion(x.resin(), q)
}

// room asks for the temperature of the room, and behind a stroke for that of the
// refrigerator that powder and liquid come from.
func (x *mixForm) room() *field {
	unit := x.m.house().Units.Temperature
	fd, which := x.m.quantity("room", "room temperature", "mix.room_c")
	fd.preset, fd.also = strings.Fields(units.FormatTemp(x.m.lastRoom(), unit))[0], "/"
	one := fd.value
	fd.value = func(s string) (roomC float64, err error) {
		room, jar, both := strings.Cut(s, "/")
		x.jarC, x.jar = nil, jar
		if both {
			c, err := units.ParseTemp(jar, unit)
			if err != nil {
				return 0, err
			}
			x.jarC = &c
		}
		return one(room)
	}
	x.whichUnit = which
	return fd
}

// stored is the temperature of the refrigerator, in the unit that was meant for the room's.
func (x *mixForm) stored() *float64 {
	if x.jarC == nil || !units.Bare(x.jar) || x.form.num("room") == x.form.get("room").number {
		return x.jarC
	}
	unit := units.Celsius
	if x.m.house().Units.Temperature == units.Celsius {
		unit = units.Fahrenheit
	}
	c := unit.ToC(x.m.house().Units.Temperature.FromC(*x.jarC))
	return &c
}

// window is from when to when the dough can be worked in a room.
func (x *mixForm) window(roomC float64, jarC *float64) []string {
	r := x.resin()
	if x.form.asking("same") {
		if same, ok := x.m.house().Resin(x.same.Resin); ok {
			r = same.WithDefaults()
		}
	}
	c := dough.Conditions{RoomC: roomC}
	if jarC != nil {
		c.Stored = &dough.Storage{TempC: *jarC}
	}
	w, err := dough.Estimate(r, c, dough.MixMarks{})
	if err != nil {
		return []string{err.Error()}
	}
	at := func(d time.Duration) string { return x.m.instant(x.began.Add(d)) }
	s := fmt.Sprintf("dough from %s to %s (estimate: %s to %s, %s to %s", at(w.From), at(w.To), at(w.FromLow), at(w.FromHigh), at(w.ToLow), at(w.ToHigh))
	if w.MarksBehind > 0 {
		s += "; " + strconv.Itoa(w.MarksBehind) + " marks"
	}
	return append([]string{s + ")"}, w.Cautions...)
}

func (x *mixForm) done(f *form) tea.Cmd {
	f.sent = true
	return x.m.send(action.Action{ID: x.m.cfg.NewID(), At: x.began, By: x.m.by(), Body: x.body(f)}, nil)
}

// body is the mix as it was answered.
func (x *mixForm) body(f *form) action.MixMake {
	if f.choice("same") == sameYes {
		return *x.same
	}
	pick := picked(f, "flasks", x.flasks)
	powder, liquid := f.num("powder"), f.num("liquid")
	if f.choice("how") == asReckoned {
		powder, liquid, _ = x.masses()
	}
	return action.MixMake{Flasks: pick, Resin: x.resin().Name, PowderG: powder, LiquidG: liquid,
		PowderLot: strings.TrimSpace(f.text("powder lot")), LiquidLot: strings.TrimSpace(f.text("liquid lot")), RoomC: f.num("room"), JarC: x.stored()}
}

// lastRoom is the room temperature last used.
func (m *sight) lastRoom() float64 {
	if x := m.lastMix(); x != nil {
		return x.RoomC
	}
	return m.house().RoomC()
}

func (m *sight) lastLots() (powder, liquid string) {
	if x := m.lastMix(); x != nil {
		return x.PowderLot, x.LiquidLot
	}
	return "", ""
}

func (m *sight) lastMix() *bench.Mix {
	nos := bench.Sorted(m.bench().Mixes)
	if len(nos) == 0 {
		return nil
	}
	return m.bench().Mixes[nos[len(nos)-1]]
}
