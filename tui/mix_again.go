package tui

import (
	"fmt"
	"math"
	"strings"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
)

// Answers to the question whether a mix is as the last one.
const (
	sameYes = iota + 1
	sameNo
)

// sameMix is the last mix once more for other flasks, or nil where it cannot be offered.
// What was weighed for so many flasks is no weight for another number of them; a mix of
// an earlier shift was weighed from other jars in another room; and a lot about which
// there is a question must be asked about, so that it is named anew.
func (m *sight) sameMix(flasks []int) *action.MixMake {
	last, ok := m.bench().LastMixMade()
	switch {
	case !ok, len(flasks) == 0, len(flasks) != len(last.Flasks):
		return nil
	case last.PowderG <= 0, last.LiquidG <= 0, last.RoomC == 0:
		return nil
	}
	if _, known := m.house().Resin(last.Resin); !known {
		return nil
	}
	made := m.bench().Mixes[last.Mix]
	if made == nil || m.now.Since(made.Made).For >= bench.Shift || m.now.Since(made.Made).For < 0 {
		return nil
	}
	if !m.bench().LotUsable("powder", last.PowderLot, m.now.Wall) || !m.bench().LotUsable("liquid", last.LiquidLot, m.now.Wall) {
		return nil
	}
	return &action.MixMake{Flasks: flasks, Resin: last.Resin, PowderG: last.PowderG, LiquidG: last.LiquidG,
		PowderLot: last.PowderLot, LiquidLot: last.LiquidLot, RoomC: last.RoomC, JarC: last.JarC}
}

// askSame puts the question whether the mix is as the last one before the others. All
// that would be recorded stands above it.
func (x *mixForm) askSame(fields []*field) []*field {
	same := choose("same", "as last time, and weighed so?", "yes", "no, something differs")
	same.choice, same.above = sameYes, x.m.sameLines(*x.same)
	for _, fd := range fields {
		fd.and(func(f *form) bool { return f.choice("same") == sameNo })
	}
	return append([]*field{same}, fields...)
}

// sameLines tell a mix in full.
func (m *sight) sameLines(x action.MixMake) []string {
	var to []string
	for _, no := range x.Flasks {
		f := m.bench().Flasks[no]
		to = append(to, m.nameOf(f)+" "+words.SizeLetter(f.Size))
	}
	lot := func(of, text string) string {
		if text == "" {
			return "no " + of + " lot"
		}
		return of + " lot " + text
	}
	unit := m.house().Units.Temperature
	room := "room " + exactTemp(x.RoomC, unit)
	if x.JarC != nil {
		room += ", powder and liquid from the fridge at " + exactTemp(*x.JarC, unit)
	}
	return []string{
		strings.Join(to, " · "),
		fmt.Sprintf("%s: %s g powder, %s g liquid", x.Resin, grams(x.PowderG), grams(x.LiquidG)),
		lot("powder", x.PowderLot) + " · " + lot("liquid", x.LiquidLot) + " · " + room,
	}
}

// exactTemp is a temperature as it would be recorded, not rounded as where it is only read.
func exactTemp(c float64, unit units.TempUnit) string {
	s := units.FormatTemp(c, unit)
	if back, err := units.ParseTemp(s, unit); err == nil && math.Abs(back-c) < 0.005 {
		return s
	}
	return fmt.Sprintf("%.2f °%s", unit.FromC(c), string(unit))
}

// grams are grams as they were recorded, to a tenth at least.
func grams(g float64) string {
	s := fmt.Sprintf("%.1f", g)
	if exact := fmt.Sprint(g); len(exact) > len(s) {
		return exact
	}
	return s
}
