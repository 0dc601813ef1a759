package action

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"flaskside/logbook/house"
	"flaskside/logbook/units"
)

// Longest times and largest amounts; beyond them is a slip of the key.
const (
	maxSeconds     = 14 * 24 * 3600
	maxGrams       = 5000.0
	maxPressurePSI = 20000.0
	maxScan        = 160 // a whole label read by a scanner; what is kept is shorter
)

func first(errs ...error) error {
	for _, e := range errs {
		if e != nil {
			return e
		}
	}
	return nil
}
func no(name string, n int) error {
	if n < 1 || n > 1e9 {
		return fmt.Errorf("%s must be a number from 1 on, not %d", name, n)
	}
	return nil
}

// orNew takes 0 for "the book may choose".
func orNew(name string, n int) error {
	if n == 0 {
		return nil
	}
	return no(name, n)
}

// orHouse takes 0 for "as the house settings say".
func orHouse(name string, v, lo, hi float64, unit string) error {
	if v == 0 {
		return nil
	}
	return between(name, v, lo, hi, unit)
}

// stages may be left out: the programme of that name is meant.
func stages(s []house.Stage) error {
	if len(s) == 0 {
		return nil
	}
	return house.ValidStages(s)
}
func flasks(ns []int) error {
	if len(ns) < 1 || len(ns) > Places {
		return fmt.Errorf("flasks lists %d: give 1 to %d", len(ns), Places)
	}
	seen := map[int]bool{}
	for _, n := range ns {
		if err := no("flasks", n); err != nil {
			return err
		}
		if seen[n] {
			return fmt.Errorf("flasks names %d twice", n)
		}
		seen[n] = true
	}
	return nil
}
func place(n int) error {
	if n < 1 || n > Places {
		return fmt.Errorf("place must be 1 to %d, not %d", Places, n)
	}
	return nil
}
func oneOf[T ~string](name string, s T, words []T) error {
	if slices.Contains(words, s) {
		return nil
	}
	return fmt.Errorf("%s must be one of %s, not %q", name, Words(words), clip(string(s)))
}
func between(name string, v, lo, hi float64, unit string) error {
	if math.IsNaN(v) || v < lo || v > hi {
		return fmt.Errorf("%s must be %g to %g %s, not %g", name, lo, hi, unit, v)
	}
	return nil
}
func seconds(name string, s int) error {
	if s < 0 || s > maxSeconds {
		return fmt.Errorf("%s must be 0 to %d seconds, not %d", name, maxSeconds, s)
	}
	return nil
}
func line(name, s string, most int) error {
	if strings.TrimSpace(s) == "" {
		return fmt.Errorf("%s is missing", name)
	}
	return text(name, s, most)
}
func fromList(name string, ss, allowed []string) error {
	seen := map[string]bool{}
	for _, s := range ss {
		if err := oneOf(name, s, allowed); err != nil {
			return err
		}
		if seen[s] {
			return fmt.Errorf("%s names %s twice", name, s)
		}
		seen[s] = true
	}
	return nil
}

// Valid of each kind.
func (b FlaskOpen) Valid() error {
	return first(orNew("flask", b.Flask), place(b.Place), line("case", b.Case, 24), oneOf("base", b.Base, Bases), oneOf("size", b.Size, Sizes), text("tag", b.Tag, 24))
}
func (b FlaskMove) Valid() error { return first(no("flask", b.Flask), place(b.Place)) }
func (b Coat) Valid() error {
	return first(no("flask", b.Flask), oneOf("half", b.Half, Halves), seconds("dry_min_s", b.DryMinS), seconds("dry_max_s", b.DryMaxS), upTo("dry_max_s", b.DryMaxS, b.DryMinS), text("lot", b.Lot, maxScan))
}
func (b MixMake) Valid() error {
	return first(orNew("mix", b.Mix), flasks(b.Flasks), text("resin", b.Resin, 40), orHouse("powder_g", b.PowderG, 0.1, maxGrams, "g"),
		orHouse("liquid_g", b.LiquidG, 0.1, maxGrams, "g"), text("powder_lot", b.PowderLot, maxScan), text("liquid_lot", b.LiquidLot, maxScan),
		orHouse("room_c", b.RoomC, 5, 45, "°C"), jar(b.JarC), seconds("dough_s", b.DoughS), seconds("work_s", b.WorkS), upTo("work_s", b.WorkS, b.DoughS))
}

// jar takes the temperature of parts from the refrigerator; 0 °C is one like any other.
func jar(c *float64) error {
	if c == nil {
		return nil
	}
	return between("jar_c", *c, -30, 45, "°C")
}

func (b MixServe) Valid() error { return first(no("mix", b.Mix), flasks(b.Flasks)) }
func (b MixDough) Valid() error { return no("mix", b.Mix) }
func (b MixStiff) Valid() error { return no("mix", b.Mix) }
func (b PressIn) Valid() error  { return first(no("flask", b.Flask), orNew("press", b.Press)) }
func (b PressAt) Valid() error {
	return first(no("flask", b.Flask), orHouse("pressure_psi", b.PressurePSI, 1, maxPressurePSI, "psi"), gauge(b.Gauge, b.PressurePSI), seconds("hold_s", b.HoldS), doubts(b.Doubts))
}

// gauge wants the text of a gauge to say what the pressure says, where both are given, to
// within the three digits that are shown of it.
func gauge(text string, psi float64) error {
	if text == "" {
		return nil
	}
	if n := utf8.RuneCountInString(text); n > 24 {
		return fmt.Errorf("gauge has at most 24 characters, this has %d", n)
	}
	v, err := units.ParsePressure(text, "")
	if err != nil || v <= 0 {
		return fmt.Errorf("gauge must be a pressure with its unit, as in 207 bar, not %q", clip(text))
	}
	if psi != 0 && math.Abs(v-psi) > 0.006*psi {
		return fmt.Errorf("gauge says %q, pressure_psi %g: give one of them", clip(text), psi)
	}
	return nil
}
func (b PressOpen) Valid() error { return no("flask", b.Flask) }
func grams(g float64) error {
	if g == 0 {
		return nil
	}
	return between("grams", g, 0.01, 1000, "g")
}
func (b Flash) Valid() error {
	return first(no("flask", b.Flask), oneOf("grade", b.Grade, Grades), grams(b.Grams), fromList("where", b.Where, Wheres))
}
func (b FlashMore) Valid() error {
	if b.Grams == 0 && len(b.Where) == 0 {
		return errors.New("give grams, or where the flash was")
	}
	return first(no("flask", b.Flask), grams(b.Grams), fromList("where", b.Where, Wheres))
}
func (b DoughAdd) Valid() error { return no("flask", b.Flask) }
func (b Inspect) Valid() error  { return no("flask", b.Flask) }
func (b FlaskLots) Valid() error {
	if b.StoneLot == "" && b.SheetLot == "" {
		return errors.New("give stone_lot, sheet_lot or both")
	}
	return first(no("flask", b.Flask), text("stone_lot", b.StoneLot, maxScan), text("sheet_lot", b.SheetLot, maxScan))
}
func (b SheetOut) Valid() error { return no("flask", b.Flask) }
func (b MetalToMetal) Valid() error {
	return first(no("flask", b.Flask), orNew("press", b.Press), orHouse("pressure_psi", b.PressurePSI, 1, maxPressurePSI, "psi"), gauge(b.Gauge, b.PressurePSI), doubts(b.Doubts))
}
func (b Clamp) Valid() error {
	return first(no("flask", b.Flask), between("backed_off_turn", b.BackedOffTurn, 0, 4, "turns"), seconds("bench_min_s", b.BenchMinS), seconds("bench_max_s", b.BenchMaxS), upTo("bench_max_s", b.BenchMaxS, b.BenchMinS), text("clamp", b.Clamp, 24))
}
func (b BathLoad) Valid() error {
	if err := first(orNew("load", b.Load), orNew("bath", b.Bath), flasks(b.Flasks), line("programme", b.Programme, 60), stages(b.Stages), orHouse("bath_c", b.BathC, 1, 105, "°C"), seconds("max_s", b.MaxS), doubts(b.Doubts)); err != nil {
		return err
	}
	if err := upTo("max_s", b.MaxS, house.LengthS(b.Stages)); err != nil {
		return err
	}
	in := map[int]bool{}
	for _, n := range b.Flasks {
		in[n] = true
	}
	for _, s := range b.Sections {
		if !in[s.Flask] {
			return fmt.Errorf("sections name flask %d, which is not in the load", s.Flask)
		}
		in[s.Flask] = false
		if err := first(between("thin_mm", s.ThinMM, 0.5, 30, "mm"), between("thick_mm", s.ThickMM, s.ThinMM, 30, "mm")); err != nil {
			return err
		}
	}
	return nil
}
func (b BathReading) Valid() error {
	return first(no("bath", b.Bath), between("temp_c", b.TempC, 0, 130, "°C"), text("source", b.Source, 60))
}
func (b BathUnload) Valid() error {
	if err := first(flasks(b.Flasks), seconds("bench_s", b.BenchS)); err != nil || len(b.Places) == 0 {
		return err
	}
	if len(b.Places) != len(b.Flasks) {
		return fmt.Errorf("places lists %d and flasks %d: give one for each flask, 0 for none", len(b.Places), len(b.Flasks))
	}
	seen := map[int]bool{}
	for _, p := range b.Places {
		if p < 0 || p > Places {
			return fmt.Errorf("places must be 1 to %d, or 0 for none, not %d", Places, p)
		}
		if p > 0 && seen[p] {
			return fmt.Errorf("places names %d twice", p)
		}
		seen[p] = true
	}
	return nil
}
func (b CoolWater) Valid() error {
	return first(flasks(b.Flasks), seconds("water_s", b.WaterS))
}
func (b Deflask) Valid() error { return flasks(b.Flasks) }
func (b Remount) Valid() error {
	return first(no("flask", b.Flask), between("pin_mm", b.PinMM, 0, 20, "mm"))
}
func (b Outcome) Valid() error {
	return first(no("flask", b.Flask), oneOf("outcome", Came(b.Outcome), Outcomes), fromList("defects", b.Defects, Defects))
}
func (b Note) Valid() error {
	if len(b.Subjects()) == 0 {
		return errors.New("a note belongs to a flask, a mix or a load: name one")
	}
	return line("text", b.Text, 400)
}
func (b TimerStart) Valid() error {
	if err := first(orNew("timer", b.Timer), line("label", b.Label, 40), oneOf("count", b.Count, counts), seconds("min_s", b.MinS), seconds("aim_s", b.AimS), seconds("max_s", b.MaxS)); err != nil {
		return err
	}
	switch b.Count {
	case "up":
		if b.MinS+b.AimS+b.MaxS != 0 {
			return errors.New("a count-up has no ends: leave min_s, aim_s and max_s out")
		}
	case "down":
		if b.AimS == 0 || b.MinS+b.MaxS != 0 {
			return errors.New("a count-down has one length: give aim_s alone")
		}
	default:
		if b.MinS+b.AimS+b.MaxS == 0 {
			return errors.New("a window needs an end: give min_s, aim_s or max_s")
		}
		return first(upTo("aim_s", b.AimS, b.MinS), upTo("max_s", b.MaxS, max(b.MinS, b.AimS)))
	}
	return nil
}

// upTo wants a later end, where there is one, after an earlier.
func upTo(name string, later, earlier int) error {
	if later != 0 && later < earlier {
		return fmt.Errorf("%s is %d, which is before %d, the end ahead of it", name, later, earlier)
	}
	return nil
}
func (b TimerStop) Valid() error  { return no("timer", b.Timer) }
func (b AlarmHeard) Valid() error { return line("alarm", b.Alarm, 80) }
func (b AlarmShelve) Valid() error {
	if err := line("alarm", b.Alarm, 80); err != nil {
		return err
	}
	if b.ForS < 10 || b.ForS > 24*3600 {
		return fmt.Errorf("for_s must be 10 seconds to a day, not %d: a snooze has an end", b.ForS)
	}
	return nil
}
func (b Correct) Valid() error {
	if err := line("of", b.Of, 64); err != nil {
		return err
	}
	var m map[string]json.RawMessage
	if err := json.Unmarshal(b.Set, &m); err != nil || len(m) == 0 {
		return errors.New(`"set" must be an object with the fields that change, as in {"grade":"slight"}`)
	}
	return nil
}
func (b TakeBack) Valid() error {
	if len(b.NoPlace) == 0 {
		return line("of", b.Of, 64)
	}
	return first(line("of", b.Of, 64), flasks(b.NoPlace))
}
func (b Settings) Valid() error {
	if err := first(b.House.Valid(), text("from", b.From, 120)); err != nil {
		return err
	}
	if len(b.Changed) > 100 {
		return errors.New("changed has at most 100 entries")
	}
	for _, s := range b.Changed {
		if err := text("changed", s, 200); err != nil {
			return err
		}
	}
	return nil
}
func (b Crew) Valid() error {
	if strings.TrimSpace(b.Initials) == "" {
		return errors.New("initials are missing")
	}
	return initials(b.Initials)
}
func (b Caution) Valid() error { return oneOf("hazard", b.Hazard, Hazards) }
func (b ClockEvent) Valid() error {
	return first(line("what", b.What, 40), text("detail", b.Detail, 120))
}
func (b Seen) Valid() error { return text("since", b.Since, 40) }
func (b Restored) Valid() error {
	return first(line("from", b.From, 90), line("gave_up", b.GaveUp, 90), text("kept", b.Kept, 255))
}
func (b LotIn) Valid() error {
	return first(oneOf("material", b.Material, Materials), line("lot", b.Lot, maxScan), text("product", b.Product, 60), date("expiry", b.Expiry))
}
func (b LotOut) Valid() error {
	return first(oneOf("material", b.Material, Materials), line("lot", b.Lot, maxScan), oneOf("reason", b.Reason, Withdrawals))
}

// date takes a day of the calendar, or none.
func date(name, s string) error {
	if s == "" {
		return nil
	}
	if t, err := time.Parse(time.DateOnly, s); err != nil || t.Year() < 1990 || t.Year() > 2200 {
		return fmt.Errorf("%s must be a day from 1990 to 2200, written 2027-05-31, not %q", name, clip(s))
	}
	return nil
}
