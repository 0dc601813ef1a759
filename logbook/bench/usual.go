package bench

import (
	"fmt"
	"reflect"
	"strings"

	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/logbook/units"
)

// Numbers that go in: each is held against the usual range of its kind (package house has
// the table) and the pressures against the rated load. What the house settings say
// themselves is not asked about again.

// rangePrefix begins the codes of numbers outside their usual range. A reason counts for
// the one number that it was given for: the next slip of the key is asked about again.
const rangePrefix = "range-"

// Codes of a pin opening above the house's limit, and of a case number that does not look
// like one.
const (
	PinHighCode = "pin-high"
	CaseCode    = "case-number"
)

// rangeCode is the code of a number outside its usual range, by its key in the table of
// ranges: "range-pressure" for press-at.pressure_psi.
func rangeCode(key string) string {
	name := key[strings.LastIndexByte(key, '.')+1:]
	for _, unit := range []string{"_psi", "_c", "_g", "_s", "_mm", "_turn"} {
		name = strings.TrimSuffix(name, unit)
	}
	return rangePrefix + strings.ReplaceAll(name, "_", "-")
}

// aboveUsualHouse is how far above the house's pressure one may be typed while no rated
// load is set (house default).
const aboveUsualHouse = 1.1

// usual holds the numbers of a body, as it was told and as it is to be recorded, against
// their ranges; was is the body that it corrects, nil for a new one.
func (c *checker) usual(told, is, was action.Body) error {
	if s, ok := is.(action.Settings); ok {
		c.usualSettings(s)
		return nil
	}
	before := map[string]float64{}
	if was != nil {
		for _, l := range house.Leaves(string(was.Kind()), was) {
			if v, ok := l.Number(); ok {
				before[l.Key+l.Entry] = v
			}
		}
	}
	given := map[string]float64{}
	for _, l := range house.Leaves(string(told.Kind()), told) {
		if v, ok := l.Number(); ok {
			given[l.Key+l.Entry] = v
		}
	}
	for _, l := range house.Leaves(string(is.Kind()), is) {
		v, ok := l.Number()
		u, has := house.UsualOf(l.Key)
		old, corrects := before[l.Key+l.Entry]
		if !ok || !has || corrects && old == v {
			continue
		}
		if l.Key == "press-at.pressure_psi" || l.Key == "metal-to-metal.pressure_psi" {
			if err := c.rated(l.Key, v, is); err != nil {
				return err
			}
		}
		if from, told := given[l.Key+l.Entry]; u.Zero && (!told || from == 0) || c.ofHouse(l.Key, v, is) {
			continue
		}
		c.ask(u, l.Entry, v)
	}
	c.usualRatio(told, is, was)
	c.usualLength(is, was)
	return nil
}

// ask asks about a number outside its range.
func (c *checker) ask(u house.Usual, entry string, v float64) {
	if u.Has(v) {
		return
	}
	text := u.Outside(v, c.b.House.Units)
	if entry != "" {
		text = entry + ": " + text
	}
	for i, o := range c.odd { // two numbers of one kind are one question
		if o.Code == rangeCode(u.Key) {
			c.odd[i].Text += "; " + text
			return
		}
	}
	c.odd = append(c.odd, Odd{rangeCode(u.Key), text})
}

// rated refuses a pressure above the rated load, and asks where none is set and the pressure
// is well above the house's own.
func (c *checker) rated(key string, psi float64, is action.Body) error {
	h := c.b.House
	show := func(v float64) string { return units.FormatPressure(v, h.Units.Pressure) }
	own := h.Press.PressurePSI
	if key == "metal-to-metal.pressure_psi" {
		own = h.Press.Final()
	}
	switch limit, of := c.ratedOf(is); {
	case limit > 0 && psi > limit:
		return fmt.Errorf("%s is above the rated load of %s (%s) and is not recorded: read the gauge again; if it was so, say it in a note and have press and flask looked at", show(psi), show(limit), of)
	case limit == 0 && psi > own*aboveUsualHouse:
		c.unusual("rated-load", "%s is above the house's %s and no rated load is set (press.max_psi): ask the makers of press, flask and clamp", show(psi), show(own))
	}
	return nil
}

// ratedOf is the rated load that a step is held against, in psi, and whose it is: that of the
// weakest of press, flask and clamp, as far as settings and register know them; 0 where
// neither does.
func (c *checker) ratedOf(is action.Body) (psi float64, of string) {
	var pieces []action.Piece
	if p, ok := c.pressOf(is); ok {
		pieces = append(pieces, p)
	}
	for _, s := range is.Subjects() {
		if f := c.b.Flasks[s.No]; s.Class == 'f' && f != nil && f.Tag != "" {
			pieces = append(pieces, action.Piece{Item: action.FlaskMetal, Name: f.Tag})
		}
	}
	psi, of = c.b.House.Press.MaxPSI, "press.max_psi: the weakest of press, flask and clamp"
	for _, p := range append(pieces, action.PiecesUsed(is)...) {
		if k, ok := c.b.Piece(p); ok && k.Out == nil && k.RatedPSI > 0 && (psi == 0 || k.RatedPSI < psi) {
			psi, of = k.RatedPSI, "that of "+k.Piece().String()+" in the register"
		}
	}
	return psi, of
}

// ofHouse tells whether a number is the one that the house settings have: it was asked
// about when it went in there.
func (c *checker) ofHouse(key string, v float64, is action.Body) bool {
	h := c.b.House
	if a, ok := is.(action.MixMake); ok && (key == "mix.dough_s" || key == "mix.work_s") {
		r, known := h.Resin(a.Resin)
		if !known {
			return false
		}
		doughS, workS := WorkingTimes(r, a.RoomC, a.JarC)
		return a.DoughS == doughS && a.WorkS == workS
	}
	if a, ok := is.(action.BathLoad); ok {
		p, known := h.Programme(a.Programme)
		if !known || !reflect.DeepEqual(p.Stages, a.Stages) {
			return false
		}
		return strings.HasPrefix(key, "bath-load.stages.") || key == "bath-load.max_s" && v == float64(p.MaxS) || key == "bath-load.bath_c" && v == p.Stages[0].TempC
	}
	own, ok := map[string]float64{
		"coat.dry_min_s":              float64(h.Separator.DryMinS),
		"coat.dry_max_s":              float64(h.Separator.DryMaxS),
		"press-at.pressure_psi":       h.Press.PressurePSI,
		"press-at.hold_s":             float64(h.Press.HoldS),
		"metal-to-metal.pressure_psi": h.Press.Final(),
		"clamp.backed_off_turn":       h.Press.BackOffTurn,
		"clamp.bench_min_s":           float64(h.BenchSet.MinS),
		"clamp.bench_max_s":           float64(h.BenchSet.MaxS),
		"bath-unload.bench_s":         float64(h.Cooling.BenchS),
		"cool-water.water_s":          float64(h.Cooling.WaterS),
		"alarm-shelve.for_s":          float64(h.Alarms.ShelveS),
	}[key]
	return ok && own == v
}

// usualRatio asks about the powder to liquid of a mix.
func (c *checker) usualRatio(told, is, was action.Body) {
	a, ok := is.(action.MixMake)
	if !ok || a.LiquidG <= 0 {
		return
	}
	if t := told.(action.MixMake); t.PowderG == 0 && t.LiquidG == 0 {
		return // as the resin of the house has it
	}
	if w, ok := was.(action.MixMake); ok && w.PowderG == a.PowderG && w.LiquidG == a.LiquidG {
		return
	}
	u, _ := house.UsualOf("mix.ratio")
	if r, known := c.b.House.Resin(a.Resin); known {
		if powder, liquid := Masses(r, 1); liquid > 0 {
			u = u.With(powder / liquid)
		}
	}
	c.ask(u, "", a.PowderG/a.LiquidG)
}

// usualLength asks about the length of a programme that is not one of the house.
func (c *checker) usualLength(is, was action.Body) {
	a, ok := is.(action.BathLoad)
	if !ok || c.ofHouse("bath-load.stages.", 0, is) {
		return
	}
	if w, ok := was.(action.BathLoad); ok && house.LengthS(w.Stages) == house.LengthS(a.Stages) {
		return
	}
	u, _ := house.UsualOf("programme.length_s")
	c.ask(u, "", float64(house.LengthS(a.Stages)))
}

// usualSettings asks about the settings that are others than before and outside their
// range.
func (c *checker) usualSettings(s action.Settings) {
	was := c.b.House
	for _, ch := range house.Changes(was, s.House) {
		if u, ok := house.UsualOf(ch.Key); ok && ch.IsNumber && !u.Has(ch.Number) {
			text := u.Outside(ch.Number, s.House.Units)
			if ch.Text == "" {
				c.odd = append(c.odd, Odd{rangeCode(u.Key), text})
				continue
			}
			c.odd = append(c.odd, Odd{rangeCode(u.Key), text + " (" + ch.Key + ")"})
		}
	}
	u, _ := house.UsualOf("programme.length_s")
	for _, p := range s.House.Programmes {
		if old, ok := was.Programme(p.Name); ok && house.LengthS(old.Stages) == house.LengthS(p.Stages) {
			continue
		}
		if n := float64(house.LengthS(p.Stages)); !u.Has(n) {
			c.odd = append(c.odd, Odd{rangeCode(u.Key), fmt.Sprintf("programme %q: %s", p.Name, u.Outside(n, s.House.Units))})
		}
	}
}

// Bounds of what a record of settings says was changed.
const (
	mostChanges     = 60
	mostChangeRunes = 160
)

func checkSettings(c *checker, a action.Settings) (action.Settings, error) {
	a.Changed = nil
	all := house.ChangeWords(house.Changes(c.b.House, a.House))
	for i, s := range all {
		if len(all) > mostChanges && i == mostChanges-1 {
			a.Changed = append(a.Changed, fmt.Sprintf("and %d more", len(all)-i))
			break
		}
		if r := []rune(s); len(r) > mostChangeRunes {
			s = string(r[:mostChangeRunes-1]) + "…"
		}
		a.Changed = append(a.Changed, s)
	}
	return a, nil
}

// PinHigh tells whether the pin opening of a flask is above what the house lets pass
// without a word.
func (b *Bench) PinHigh(f *Flask) bool {
	return f.PinMM != nil && *f.PinMM > b.House.Remount.PinLimit()
}
