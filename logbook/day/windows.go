package day

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/cure"
)

// spell is a window of a flask as it went: from a beginning until an end that has
// come or not, against what was asked for.
type spell struct {
	what     string
	from     timers.Stamp
	to       *timers.Stamp // nil while it runs
	min, max time.Duration // zero for none
	estimate bool          // the ends asked for are estimates
	mark     string
	half     bool           // a half drying
	hold     bool           // a hold in the press
	stands   cure.Adherence // how the cure in it stood, "" for another window
	cut      bool           // the flask was finished before the step that ends it
	about    action.Subject
	began    action.Kind // the records of its two ends
	ended    []action.Kind
}

// cureOf is how the cure of a flask stands when the sheet is made; the error says why it
// could not be reckoned, and then it stands by its time alone.
func (s Sheet) cureOf(f *bench.Flask) (cure.Stand, error) {
	return s.Bench.StandingOf(f, timers.Now{Reading: timers.Reading{Wall: s.end()}})
}

// cureWords say how the cure of a flask stands, with its figures; "" where it was in no
// bath up to the end of the sheet.
func (s Sheet) cureWords(f *bench.Flask) string {
	if f.InBath == nil || s.Bench.LoadOf(f) == nil || f.InBath.At.After(s.end()) {
		return ""
	}
	stand, err := s.cureOf(f)
	if stand.In < time.Minute && f.OutBath == nil {
		return ""
	}
	words := string(stand.Word)
	if f.OutBath == nil {
		words += " so far"
	}
	words += " (" + bench.StandWords(stand, s.Bench.House.Units.Temperature) + ")"
	if err != nil {
		words += "; not worked out: " + err.Error()
	}
	return "cure " + words
}

func sec(s int) time.Duration { return time.Duration(s) * time.Second }

// spells lists the windows of a flask in the order of the route.
func (s Sheet) spells(f *bench.Flask) []spell {
	var out []spell
	add := func(sp spell) {
		if _, ok := took(sp.from, sp.to); !ok {
			sp.to = nil
		}
		if sp.to == nil && f.Ended != nil { // nothing runs on in a flask that is finished
			sp.to, sp.cut, sp.ended = f.Ended, true, kinds("outcome")
			if _, ok := took(sp.from, sp.to); !ok {
				sp.to = nil
			}
		}
		if sp.from.At.Before(s.Until) && (sp.to == nil || !sp.to.At.Before(s.From)) {
			out = append(out, sp)
		}
	}
	flask := flaskNo(f)
	var packed, closed *timers.Stamp
	if len(f.Trials) > 0 {
		packed = &f.Trials[0].In
	}
	closed = f.Metal
	for _, name := range action.EachHalf {
		if h := f.Halves[name]; h != nil {
			add(spell{what: "separator drying, " + words.Half(name), from: h.Coated, to: packed, min: sec(h.MinS), max: sec(h.MaxS), mark: s.mark(f, "coat", "at", "half", "dry_min_s", "dry_max_s"), half: true, about: flask, began: "coat", ended: kinds("press-in")})
		}
	}
	if m := s.Bench.MixOf(f); m != nil {
		add(spell{what: "dough, mix " + m.Letter(), from: m.Made, to: closed, max: sec(m.WorkS), estimate: true, mark: s.mark(f, "mix", "at", "work_s"), about: action.Subject{Class: 'm', No: m.No}, began: "mix", ended: kinds("metal-to-metal")})
	}
	for _, t := range f.Trials {
		if t.At != nil {
			add(spell{what: fmt.Sprintf("press hold, trial %d", t.N), from: *t.At, to: t.Out, min: sec(t.HoldAimS), mark: star(t.Corrected), hold: true, about: flask, began: "press-at", ended: kinds("press-open")})
		}
	}
	if f.Clamped != nil {
		add(spell{what: "bench set", from: *f.Clamped, to: f.InBath, min: sec(f.BenchMinS), max: sec(f.BenchMaxS), mark: s.mark(f, "clamp", "at", "bench_min_s", "bench_max_s"), about: flask, began: "clamp", ended: kinds("bath-load")})
	}
	if l := s.Bench.LoadOf(f); l != nil && f.InBath != nil {
		stand, _ := s.cureOf(f)
		add(spell{what: fmt.Sprintf("curing, load %d", l.No), stands: stand.Word, from: *f.InBath, to: f.OutBath, min: sec(house.LengthS(l.Stages)), max: sec(l.MaxS), mark: s.mark(f, "bath-load", "at", "stages", "max_s"), about: flask, began: "bath-load", ended: kinds("bath-unload")})
	}
	if f.OutBath != nil {
		add(spell{what: "bench cooling", from: *f.OutBath, to: f.InWater, min: sec(f.CoolS), mark: s.mark(f, "bath-unload"), about: flask, began: "bath-unload", ended: kinds("cool-water", "deflask")})
	}
	if f.InWater != nil {
		add(spell{what: "water cooling", from: *f.InWater, to: f.Deflasked, min: sec(f.WaterS), mark: s.mark(f, "cool-water"), about: flask, began: "cool-water", ended: kinds("deflask")})
	}
	return out
}

func kinds(ks ...action.Kind) []action.Kind { return ks }

// ask words what was asked for of a window in short: 30 min to 1 h.
func (sp spell) ask() string {
	if sp.min > 0 && sp.max > 0 {
		return units.FormatDuration(sp.min) + " to " + units.FormatDuration(sp.max)
	}
	sp.estimate = false // said with the verdict
	return sp.limits()
}

// asked words what was asked for of a window, as it follows other words.
func (sp spell) asked() string {
	if words := sp.limits(); words != "" {
		return "; " + words
	}
	return ""
}

// limits words what was asked for of a window.
func (sp spell) limits() string {
	var ends []string
	if sp.min > 0 {
		ends = append(ends, "at least "+units.FormatDuration(sp.min))
	}
	if sp.max > 0 {
		ends = append(ends, "at most "+units.FormatDuration(sp.max))
	}
	if len(ends) == 0 {
		return ""
	}
	words := strings.Join(ends, ", ")
	if sp.estimate {
		words += " (estimate)"
	}
	return words
}

// went says whether a time was as set and how long it lasted, against what was
// asked for; one that has no end yet tells when it may and when it must.
func (s Sheet) went(sp spell) (verdict, words string) {
	if verdict, words = s.lasted(sp); verdict != runsOn {
		words += sp.asked()
	}
	// Of the steps that end a time those of cooling stand nowhere else on the sheet.
	return verdict, words + s.late(sp.about, sp.to, "cool-water", "deflask")
}

// The verdicts on a window.
const (
	asSet    = "as set"
	tooShort = "short"
	tooLong  = "over"
	cutOff   = "ended with the flask"
	runsOn   = "running"
)

// lasted says whether a time was as set and how long it lasted; one that has no end
// yet tells when it may and when it must.
func (s Sheet) lasted(sp spell) (verdict, words string) {
	p, ended := took(sp.from, sp.to)
	if !ended {
		words = "since " + s.clock(sp.from.At)
		if sp.min > 0 {
			words += ", not before " + s.clock(s.now().WallOf(sp.from, sp.min))
		}
		if sp.max > 0 {
			words += ", not after " + s.clock(s.now().WallOf(sp.from, sp.max))
		}
		if sp.estimate {
			words += " (estimate)"
		}
		return runsOn, words
	}
	words = sp.long(p)
	if sp.cut {
		return cutOff, words
	}
	verdict = cmp.Or(string(sp.stands), asSet) // time alone says nothing of a cure
	if by := sp.by(p); by != "" {
		verdict, words = tooLong, words+", "+by
		if p.For < sp.min {
			verdict = tooShort
		}
	}
	return verdict, words
}

// long words how long a window lasted.
func (sp spell) long(p timers.Passed) string {
	words := units.FormatWhole(p.For) // as closures and cures tell it: never more than it was
	if p.Estimated {
		words += " by the wall clock" // the machine was restarted in between
	}
	return words
}

// by words by how much a window was missed, nothing where it was as set.
func (sp spell) by(p timers.Passed) string {
	switch {
	case sp.cut:
		return "" // nobody went on from it
	case p.For < sp.min:
		return units.FormatDuration(sp.min-p.For.Truncate(time.Second)) + " short"
	case sp.max > 0 && p.For > sp.max:
		return units.FormatDuration((p.For - sp.max + time.Second - 1).Truncate(time.Second)) + " over"
	}
	return ""
}
