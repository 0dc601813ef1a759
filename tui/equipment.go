package tui

import (
	"fmt"
	"strings"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/lot/recall"
	"flaskside/logbook/units"
	"flaskside/timers/each"
)

// toEquipment goes on to the register once something of it is saved.
func (m *Model) toEquipment(logbook.Saved) tea.Cmd { return m.keyEquipment("") }

// fittings lists what a gauge or a thermometer can be fitted to: the presses and baths of
// the settings, and what of its kind is in the register.
func (m *sight) fittings(item action.PieceKind) []string {
	var out []string
	kinds := []action.PieceKind{action.Pot}
	if item == action.Gauge {
		for n := range m.house().Press.Presses {
			out = append(out, fmt.Sprintf("press %d", n+1))
		}
	} else {
		kinds = []action.PieceKind{action.Pot, action.Oven}
		for n := range m.house().Baths {
			out = append(out, fmt.Sprintf("bath %d", n+1))
		}
	}
	for _, kind := range kinds {
		for _, k := range m.bench().PiecesOf(kind) {
			out = append(out, k.Piece().String())
		}
	}
	return out
}

// takeInPiece asks for a piece of equipment: digits, choices and what is painted on it.
func (m *Model) takeInPiece() {
	is := func(items ...action.PieceKind) func(*form) bool {
		return func(f *form) bool {
			for _, item := range items {
				if f.choice("item") > 0 && action.Equipment[f.choice("item")-1] == item {
					return true
				}
			}
			return false
		}
	}
	loaded := is(action.Press, action.FlaskMetal, action.ClampItem)
	rated, ratedUnit := m.quantity("rated", "rated load by its maker, on the gauge of the press; ENTER if not known", "equip-in.rated_psi")
	scale, scaleUnit := m.quantity("scale", "end of its scale; ENTER if not known", "equip-in.scale_psi")
	gauges, thermometers := append(m.fittings(action.Gauge), "nothing of these"), append(m.fittings(action.Thermometer), "nothing of these")
	f := &form{title: "take equipment in", fields: []*field{
		choose("item", "what is it?", action.Equipment...),
		line("name", "its number or name, as painted on it", "", false).upTo(24),
		choose("onGauge", "on which?", gauges...).only(is(action.Gauge)),
		choose("onThermometer", "in which?", thermometers...).only(is(action.Thermometer)),
		choose("spring", "with springs?", "no springs", "springs").only(is(action.ClampItem)),
		rated.optional().and(loaded), ratedUnit.and(loaded),
		scale.optional().and(is(action.Gauge)), scaleUnit.and(is(action.Gauge)),
		digits("litres", "water in it; ENTER if not known", "L", "", plainNumber(0.1, 1000)).optional().only(is(action.Pot)),
	}}
	f.done = func(f *form) tea.Cmd {
		in := action.EquipIn{Item: action.Equipment[f.choice("item")-1], Name: strings.TrimSpace(f.text("name"))}
		switch in.Item {
		case action.Press, action.FlaskMetal, action.ClampItem:
			in.RatedPSI = f.num("rated")
			in.Spring = in.Item == action.ClampItem && f.choice("spring") == second
		case action.Gauge:
			in.ScalePSI = f.num("scale")
			if i := f.choice("onGauge"); i < len(gauges) {
				in.On = gauges[i-1]
			}
		case action.Thermometer:
			if i := f.choice("onThermometer"); i < len(thermometers) {
				in.On = thermometers[i-1]
			}
		case action.Pot:
			in.Litres = f.num("litres")
		case action.Bath, action.Oven:
		}
		return m.answer(f, in, "", m.toEquipment)
	}
	m.open(f)
}

// pieceGoesOn asks what was done to equipment.
func (m *Model) pieceGoesOn() tea.Cmd {
	return m.offer("equipment",
		doing{"a thermometer or a gauge was checked", plainly(m.checkPiece)},
		doing{"water was changed", plainly(m.changeWater)},
		doing{"taken out of use", plainly(m.pieceOut)},
		doing{"which flasks had it", plainly(m.whichHad)})
}

// inUse lists what is in use of some kinds, and their names; it says so where nothing is.
func (m *Model) inUse(items ...action.PieceKind) (all []bench.KnownPiece, names []string) {
	for _, item := range items {
		for _, k := range m.bench().PiecesOf(item) {
			all, names = append(all, k), append(names, k.Piece().String())
		}
	}
	if len(all) == 0 {
		m.say(dim, "nothing of that kind is in the register: + to take it in")
	}
	return all, names
}

// Ways of checking a thermometer.
const (
	inIce = 1 + iota
	inBoil
	inBoth
	besideAnother
)

// checkPiece asks for the check of a thermometer or a gauge.
func (m *Model) checkPiece() {
	all, names := m.inUse(action.Thermometer, action.Gauge)
	if len(all) == 0 {
		return
	}
	of := func(item action.PieceKind) func(*form) bool {
		return func(f *form) bool { return f.choice("which") > 0 && all[f.choice("which")-1].Item == item }
	}
	how := func(ways ...int) func(*form) bool {
		return func(f *form) bool {
			for _, w := range ways {
				if of(action.Thermometer)(f) && f.choice("how") == w {
					return true
				}
			}
			return false
		}
	}
	ice, iceUnit := m.quantity("ice", "in melting ice it reads", "equip-check.ice_c")
	boil, boilUnit := m.quantity("boil", "in boiling water it reads", "equip-check.boil_c")
	read, readUnit := m.quantity("read", "it reads", "equip-check.read_c")
	other, otherUnit := m.quantity("other", "the other reads", "equip-check.against_c")
	psi, psiUnit := m.quantity("psi", "it reads", "equip-check.read_psi")
	against, againstUnit := m.quantity("against", "the other reads", "equip-check.against_psi")
	celsius := m.house().Units.Temperature == units.Celsius
	f := &form{title: "a check", fields: []*field{
		choose("which", "which?", names...),
		choose("how", "how?", "in melting ice", "in boiling water", "in both", "beside another").only(of(action.Thermometer)),
		ice.and(how(inIce, inBoth)), iceUnit.and(how(inIce, inBoth)),
		choose("below", "above 0 or below?", "above 0", "below 0").only(func(f *form) bool { return how(inIce, inBoth)(f) && celsius && f.num("ice") > 0 && f.num("ice") < 20 }),
		boil.and(how(inBoil, inBoth)), boilUnit.and(how(inBoil, inBoth)),
		digits("air", "air pressure in the room, by a barometer", "hPa", "", plainNumber(480, 1090)).only(func(f *form) bool { return how(inBoil, inBoth)(f) && m.house().Place.Air() == 0 }),
		read.and(how(besideAnother)), readUnit.and(how(besideAnother)), other.and(how(besideAnother)), otherUnit.and(how(besideAnother)),
		psi.and(of(action.Gauge)), psiUnit.and(of(action.Gauge)), against.and(of(action.Gauge)), againstUnit.and(of(action.Gauge)),
	}}
	f.done = func(f *form) tea.Cmd {
		k := all[f.choice("which")-1]
		a := action.EquipCheck{Item: k.Item, Name: k.Name}
		num := func(name string) *float64 { v := f.num(name); return &v }
		if how(inIce, inBoth)(f) {
			if a.IceC = num("ice"); f.get("below").when(f) && f.choice("below") == second {
				*a.IceC = -*a.IceC
			}
		}
		if how(inBoil, inBoth)(f) {
			a.BoilC = num("boil")
			if f.get("air").when(f) {
				a.AirHPa = f.num("air")
			}
		}
		if how(besideAnother)(f) {
			a.ReadC, a.AgainstC = num("read"), num("other")
		}
		if k.Item == action.Gauge {
			a.ReadPSI, a.AgainstPSI = num("psi"), num("against")
		}
		return m.answer(f, a, "", m.toEquipment)
	}
	m.open(f)
}

func (m *Model) changeWater() {
	all, names := m.inUse(action.Bath, action.Pot)
	if len(all) == 0 {
		return
	}
	f := &form{title: "water changed", fields: []*field{choose("which", "of which?", names...)}}
	f.done = func(f *form) tea.Cmd {
		k := all[f.choice("which")-1]
		return m.answer(f, action.EquipWater{Item: k.Item, Name: k.Name}, "", m.toEquipment)
	}
	m.open(f)
}

// pieceOut asks what is taken out of use and why; of a clamp, a flask or another that flasks
// had, it shows which where it was recalled.
func (m *Model) pieceOut() {
	all, names := m.inUse(action.Equipment...)
	if len(all) == 0 {
		return
	}
	f := &form{title: "take equipment out of use", fields: []*field{choose("which", "which?", names...), choose("reason", "why?", action.EquipmentOut...)}}
	f.done = func(f *form) tea.Cmd {
		k, reason := all[f.choice("which")-1], action.EquipmentOut[f.choice("reason")-1]
		return m.answer(f, action.EquipOut{Item: k.Item, Name: k.Name, Reason: reason}, "", func(logbook.Saved) tea.Cmd {
			if reason == recalled && (k.Item.Checked() && k.On != "" || !k.Item.Checked() && k.Item != action.Pot && k.Item != action.Oven) {
				return m.lookForPiece(k.Piece())
			}
			return m.keyEquipment("")
		})
	}
	m.open(f)
}

// whichHad asks for the piece whose flasks are looked for.
func (m *Model) whichHad() {
	kinds := []action.PieceKind{action.ClampItem, action.FlaskMetal, action.Press, action.Bath, action.Gauge, action.Thermometer}
	f := &form{title: "which flasks had it?", fields: []*field{choose("item", "what?", kinds...), line("name", "its number or name", "", false).upTo(24)}}
	f.done = func(f *form) tea.Cmd {
		p, err := action.ParsePiece(string(kinds[f.choice("item")-1]) + " " + f.text("name"))
		if err != nil {
			f.note = err.Error()
			return nil
		}
		m.shut()
		return m.lookForPiece(p)
	}
	m.open(f)
}

// lookForPiece shows the flasks that had a piece of equipment.
func (m *Model) lookForPiece(asked action.Piece) tea.Cmd {
	loc, book := m.now.Wall.Location(), m.cfg.Keeper
	return m.lookFor("flaskside equipment --which '"+asked.String()+"' --csv", func(b *strings.Builder) error {
		list, err := recall.FindPiece(book, asked, loc)
		if err == nil {
			err = list.Text(b)
		}
		return err
	})
}

// lookFor shows a list of flasks that is looked up beside the screen.
func (m *Model) lookFor(command string, find func(b *strings.Builder) error) tea.Cmd {
	p := &lotPage{leaf: leaf{m: m}, text: "looking …", command: command}
	m.page = p
	return func() tea.Msg {
		var b strings.Builder
		err := find(&b)
		return pageMsg(func() {
			if p.text = b.String(); err != nil {
				p.text = err.Error()
			}
		})
	}
}

// whichPiece asks which of the flasks or clamps that are free is used, where the register has
// some: one digit. where gives what was chosen, "" for none.
func (m *sight) whichPiece(name, ask, none string, item action.PieceKind) (fd *field, chosen func(f *form) string) {
	free := m.bench().Free(item)
	if len(m.bench().PiecesOf(item)) == 0 {
		return nil, func(*form) string { return "" }
	}
	names := make([]string, len(free))
	for i, k := range free {
		names[i] = k.Name
		if k.RatedPSI > 0 {
			names[i] += ", rated load " + m.psi(k.RatedPSI)
		}
	}
	return choose(name, ask, append(names, none)...), func(f *form) string {
		if i := f.choice(name); i > 0 && i <= len(free) {
			return free[i-1].Name
		}
		return ""
	}
}

// clamp records that a flask is clamped; which clamp is asked only where the register has
// clamps.
func (m *Model) clamp(f *bench.Flask) tea.Cmd {
	fd, chosen := m.whichPiece("clamp", "which clamp?", "without its number", action.ClampItem)
	if fd == nil {
		return m.append(action.Clamp{Flask: f.No}, "", nil)
	}
	fm := &form{title: m.head(f) + " · clamped", fields: []*field{fd}}
	fm.done = func(fm *form) tea.Cmd { return m.answer(fm, action.Clamp{Flask: f.No, Clamp: chosen(fm)}, "", nil) }
	m.open(fm)
	return nil
}

// tellDoubts says once what speaks against the instruments of what was saved.
func (m *Model) tellDoubts(saved logbook.Saved) {
	out := each.Of(m.bench().FirstTold(saved.Action.ID), func(d action.Doubt) string { return d.Words(m.house().Units) })
	if len(out) > 0 {
		m.say(warn, "saved · "+strings.Join(out, "; ")+". It stands on the day sheet.")
	}
}
