// Package route holds the ways of work that a case can take, as tables of steps. Three come
// with the program; a house changes them in its settings, or writes its own. A table says of
// each step what it is called, how long it lasts, where it is done, what is asked and which
// caution belongs to it. All else that the program does about a step follows from the table.
//
// It is pure: it knows no bench and no clock. Times are in seconds.
package route

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"flaskside/logbook/units"
	"flaskside/logbook/words"
)

// StepKind says what a step is.
type StepKind string

// The kinds of steps.
const (
	Timer   StepKind = "timer"   // something sets, boils or cools by itself: earliest, aim, latest
	Hold    StepKind = "hold"    // somebody stands by until its time is up
	Instant StepKind = "instant" // done at once
	Check   StepKind = "check"   // looked at and judged
	Value   StepKind = "value"   // something is set or read off
	Flask   StepKind = "flask"   // the work in a flask at the bench, from separator to outcome
	Deliver StepKind = "deliver" // it leaves the house; the last step
)

// Kinds lists them.
var Kinds = []StepKind{Timer, Hold, Instant, Check, Value, Flask, Deliver}

// Timed tells whether a timer runs from such a step on.
func (k StepKind) Timed() bool { return k == Timer || k == Hold }

// Places lists where a step can be done.
var Places = []string{"bench", "press", "bath", "pot", "oven"}

// Cautions lists the cautions that can belong to a step.
var Cautions = []string{"monomer", "press", "bath", "deflask", "scald", "dust", "pot", "soak"}

// evidence says where the values of a step come from.
var evidence = []string{"published", "worked out", "common practice", "from memory", "house"}

// Step is one step of a route.
type Step struct {
	Name     string   `json:"name" toml:"name"`
	Words    string   `json:"words,omitempty" toml:"words,omitempty"`
	Short    string   `json:"short,omitempty" toml:"short,omitempty"`
	Kind     StepKind `json:"kind" toml:"kind"`
	Off      bool     `json:"off,omitempty" toml:"off,omitempty"`
	Place    string   `json:"place,omitempty" toml:"place,omitempty"`
	MinS     int      `json:"min_s,omitempty" toml:"min_s,omitempty"`
	AimS     int      `json:"aim_s,omitempty" toml:"aim_s,omitempty"`
	MaxS     int      `json:"max_s,omitempty" toml:"max_s,omitempty"`
	HandsS   int      `json:"hands_s,omitempty" toml:"hands_s,omitempty"` // how long it keeps a pair of hands, for the day plan
	Urgent   bool     `json:"urgent,omitempty" toml:"urgent,omitempty"`
	Pressure bool     `json:"pressure,omitempty" toml:"pressure,omitempty"`
	Good     []string `json:"good,omitempty" toml:"good,omitempty"`
	Bad      []string `json:"bad,omitempty" toml:"bad,omitempty"`
	Back     string   `json:"back,omitempty" toml:"back,omitempty"`
	Keys     int      `json:"keys,omitempty" toml:"keys,omitempty"`
	Caution  string   `json:"caution,omitempty" toml:"caution,omitempty"`
	Evidence string   `json:"evidence,omitempty" toml:"evidence,omitempty"`
	Say      string   `json:"say,omitempty" toml:"say,omitempty"`
	Fields   []Field  `json:"fields,omitempty" toml:"fields,omitempty"`

	After string `json:"-" toml:"after,omitempty"` // in a settings file: where a new step goes
}

// Field is a value that a step asks for.
type Field struct {
	Name   string `json:"name" toml:"name"`
	Words  string `json:"words,omitempty" toml:"words,omitempty"`
	Of     string `json:"of" toml:"of"`
	Low    string `json:"low,omitempty" toml:"low,omitempty"`
	High   string `json:"high,omitempty" toml:"high,omitempty"`
	Preset string `json:"preset,omitempty" toml:"preset,omitempty"`
	May    bool   `json:"may,omitempty" toml:"may,omitempty"`
}

// What a field measures.
const (
	Temperature = "temperature" // stored in °C
	Pressure    = "pressure"    // stored in psi
	Grams       = "grams"
	MM          = "mm"
	number      = "number"
	Text        = "text"
)

// lots lists the materials whose lot a field can ask for, as "stone lot".
var lots = []string{"powder", "liquid", "separator", "stone", "sheet"}

// Measures lists what a field can ask for.
var Measures = func() []string {
	out := []string{Temperature, Pressure, Grams, MM, number, Text}
	for _, m := range lots {
		out = append(out, m+lotOf)
	}
	return out
}()

const lotOf = " lot"

// LotOf gives the material of a field that asks for a lot; ok is false for any other.
func LotOf(of string) (material string, ok bool) {
	material, ok = strings.CutSuffix(of, lotOf)
	return material, ok && slices.Contains(lots, material)
}

// Worded tells whether what a field asks for is words, and no number.
func Worded(of string) bool {
	_, lot := LotOf(of)
	return lot || of == Text
}

// Route is a way of work by its name.
type Route struct {
	Name  string `json:"name" toml:"name"`
	Words string `json:"words,omitempty" toml:"words,omitempty"`
	Off   bool   `json:"off,omitempty" toml:"off,omitempty"`

	Remake string `json:"remake,omitempty" toml:"remake,omitempty"` // the step at which a base begins that is made anew; "" for the first

	Steps []Step `json:"steps" toml:"steps"`

	Anew bool `json:"-" toml:"anew,omitempty"` // in a settings file: written whole, nothing of the route as it was stays
}

// Called is what a step is called on the screen.
func (s Step) Called() string {
	if s.Words != "" {
		return s.Words
	}
	return strings.ReplaceAll(s.Name, "-", " ")
}

// Brief is the same for a narrow column.
func (s Step) Brief() string {
	return cmp.Or(s.Short, s.Called())
}

// Called is what a field is called on the screen.
func (f Field) Called() string {
	if f.Words != "" {
		return f.Words
	}
	name := strings.ReplaceAll(f.Name, "_", " ")
	if _, lot := LotOf(f.Of); lot && !strings.HasSuffix(name, lotOf) {
		name += lotOf
	}
	return name
}

// Called is what a route is called on the screen.
func (r Route) Called() string {
	return cmp.Or(r.Words, r.Name)
}

// Read reads a value of the field in its stored unit; typed is in the units of the house
// where it has none of its own.
func (f Field) Read(typed string, p units.PressureUnit, t units.TempUnit) (float64, error) {
	switch f.Of {
	case Temperature:
		return units.ParseTemp(typed, t)
	case Pressure:
		return units.ParsePressure(typed, p)
	case Grams:
		return units.ParseMass(typed)
	case MM:
		return units.ParseLength(typed)
	}
	v, err := units.Plain(typed)
	if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
		err = fmt.Errorf("%s is not a number", words.Quoted(typed))
	}
	return v, err
}

// Show writes a stored value of the field in the units of the house.
func (f Field) Show(v float64, p units.PressureUnit, t units.TempUnit) string {
	return show(f.Of, v, p, t)
}

// show writes a stored value by what it measures, in the units of the house.
func show(of string, v float64, p units.PressureUnit, t units.TempUnit) string {
	switch of {
	case Temperature:
		return units.FormatTemp(v, t)
	case Pressure:
		return units.FormatPressure(v, p)
	case Grams:
		return units.FormatMass(v)
	case MM:
		return units.FormatLength(v)
	}
	return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.4f", v), "0"), ".")
}

// bound reads one of the ends of a field, which have units of their own.
func (f Field) bound(text string) (float64, error) { return f.Read(text, units.PSI, units.Celsius) }

// Outside tells whether a stored value lies outside the usual range of the field.
func (f Field) Outside(v float64) bool {
	const near = 1e-6
	if lo, err := f.bound(f.Low); err == nil && f.Low != "" && v < lo-near {
		return true
	}
	hi, err := f.bound(f.High)
	return err == nil && f.High != "" && v > hi+near
}

// Range says in which range a value usually lies, "" where the table gives none.
func (f Field) Range(p units.PressureUnit, t units.TempUnit) string {
	show := func(text string) string {
		v, err := f.bound(text)
		if err != nil {
			return text
		}
		return f.Show(v, p, t)
	}
	switch {
	case f.Low != "" && f.High != "":
		return show(f.Low) + " to " + show(f.High)
	case f.Low != "":
		return "at least " + show(f.Low)
	case f.High != "":
		return "at most " + show(f.High)
	}
	return ""
}

// Usual is the preset of a field in its stored unit; ok is false where it has none.
func (f Field) Usual() (v float64, ok bool) {
	if f.Preset == "" || Worded(f.Of) {
		return 0, false
	}
	v, err := f.bound(f.Preset)
	return v, err == nil
}

// Tracked lists the steps that are on.
func (r Route) Tracked() []Step {
	if r.Off {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(r.Steps), func(s Step) bool { return s.Off })
}

// Step finds a step by its name, also one that is off; at is where it stands, -1 where
// there is none.
func (r Route) Step(name string) (s Step, at int) {
	at = slices.IndexFunc(r.Steps, func(s Step) bool { return s.Name == name })
	if at >= 0 {
		s = r.Steps[at]
	}
	return s, at
}

// At is where the step of a kind stands, -1 where there is none or it is off.
func (r Route) At(k StepKind) int {
	if r.Off {
		return -1
	}
	return slices.IndexFunc(r.Steps, func(s Step) bool { return s.Kind == k && !s.Off })
}

// RemakeAt is where a base begins that is to be made anew: its mould is broken, while what was
// done when the case came in stays done.
func (r Route) RemakeAt() int {
	_, at := r.Step(r.Remake)
	return max(0, at)
}

// From is the first step that is on, from a position on; ok is false where none follows.
func (r Route) From(at int) (s Step, ok bool) {
	if r.Off {
		return s, false
	}
	for i := max(0, at); i < len(r.Steps); i++ {
		if !r.Steps[i].Off {
			return r.Steps[i], true
		}
	}
	return s, false
}

// Tables gives the routes in force: those of the program, with what the house has of the
// same name in their place, then the house's own.
func Tables(own []Route) []Route {
	ours := program()
	out := make([]Route, 0, len(ours)+len(own))
	for _, r := range ours {
		out = append(out, Find(own, r.Name, r))
	}
	for _, r := range own {
		if !slices.ContainsFunc(ours, func(p Route) bool { return p.Name == r.Name }) {
			out = append(out, r)
		}
	}
	return out
}

// Find gives a route by its name, or another one where it is not there.
func Find(routes []Route, name string, or Route) Route {
	if i := slices.IndexFunc(routes, func(r Route) bool { return r.Name == name }); i >= 0 {
		return routes[i]
	}
	return or
}

// Bounds of a table.
const (
	mostRoutes = 12
	mostSteps  = 40
	mostFields = 4
	mostChecks = 6
	mostS      = 14 * 24 * 3600
	mostHandsS = 4 * 3600
)

// Valid says what is wrong with the routes of a house.
func Valid(routes []Route) error {
	if len(routes) > mostRoutes {
		return fmt.Errorf("give at most %d routes, not %d", mostRoutes, len(routes))
	}
	return eachOnce("route", routes, func(r Route) string { return r.Name })
}

// eachOnce holds whether all are valid and none has the name of another.
func eachOnce[T interface{ valid() error }](what string, all []T, name func(T) string) error {
	seen := map[string]bool{}
	for _, x := range all {
		if err := x.valid(); err != nil {
			return fmt.Errorf("%s %s: %w", what, words.Quoted(name(x)), err)
		}
		if seen[name(x)] {
			return fmt.Errorf("two %ss are called %q", what, name(x))
		}
		seen[name(x)] = true
	}
	return nil
}

func (r Route) valid() error {
	if err := nameOf(r.Name); err != nil {
		return err
	}
	if err := plain("words", r.Words, 40); err != nil {
		return err
	}
	if len(r.Steps) < 1 || len(r.Steps) > mostSteps {
		return fmt.Errorf("give 1 to %d steps, not %d", mostSteps, len(r.Steps))
	}
	seen := map[string]bool{}
	flasks := 0
	for i, s := range r.Steps {
		if err := s.valid(); err != nil {
			return fmt.Errorf("step %s: %w", words.Quoted(s.Name), err)
		}
		if seen[s.Name] {
			return fmt.Errorf("two steps are called %q", s.Name)
		}
		if seen[s.Name] = true; s.Back != "" && !seen[s.Back] {
			return fmt.Errorf("step %q: back must name a step ahead of it, not %s", s.Name, words.Quoted(s.Back))
		}
		if s.Kind == Flask {
			flasks++
		}
		if s.Kind == Deliver && i != len(r.Steps)-1 {
			return fmt.Errorf("step %q: what is delivered comes last", s.Name)
		}
	}
	if r.Remake != "" && !seen[r.Remake] {
		return fmt.Errorf("remake must name one of its steps, not %s", words.Quoted(r.Remake))
	}
	if flasks > 1 {
		return errors.New("it has two steps of the kind flask: one is the most")
	}
	return nil
}

func (s Step) valid() error {
	if err := nameOf(s.Name); err != nil {
		return err
	}
	for _, t := range []struct {
		what, is string
		most     int
	}{{"words", s.Words, 48}, {"short", s.Short, 14}, {"say", s.Say, 160}} {
		if err := plain(t.what, t.is, t.most); err != nil {
			return err
		}
	}
	for _, c := range []struct {
		what, is string
		of       []string
		may      bool
	}{{"kind", string(s.Kind), words.Texts(Kinds), false}, {"place", s.Place, Places, true}, {"caution", s.Caution, Cautions, true}, {"evidence", s.Evidence, evidence, true}} {
		if (c.is != "" || !c.may) && !slices.Contains(c.of, c.is) {
			return fmt.Errorf("%s must be one of %s, not %s", c.what, strings.Join(c.of, ", "), words.Quoted(c.is))
		}
	}
	if s.Keys < 0 || s.Keys > 2 {
		return fmt.Errorf("keys must be 1 or 2, not %d", s.Keys)
	}
	if err := s.times(); err != nil {
		return err
	}
	return s.asked()
}

func (s Step) times() error {
	for _, v := range []struct {
		what string
		s    int
	}{{"min_s", s.MinS}, {"aim_s", s.AimS}, {"max_s", s.MaxS}} {
		if v.s < 0 || v.s > mostS {
			return fmt.Errorf("%s must be 0 to %d seconds, not %d", v.what, mostS, v.s)
		}
	}
	switch {
	case s.HandsS < 0 || s.HandsS > mostHandsS:
		return fmt.Errorf("hands_s must be 0 to %d seconds, not %d", mostHandsS, s.HandsS)
	case !s.Kind.Timed() && s.MinS+s.AimS+s.MaxS > 0:
		return fmt.Errorf("only a timer and a hold have times, not the kind %s", words.Quoted(s.Kind))
	case s.Kind == Hold && s.MinS == 0:
		return errors.New("a hold needs min_s")
	case s.AimS > 0 && s.AimS < s.MinS:
		return errors.New("aim_s is before min_s")
	case s.MaxS > 0 && s.MaxS < max(s.MinS, s.AimS):
		return errors.New("max_s is before min_s or aim_s")
	}
	return nil
}

// asked holds what is judged and asked.
func (s Step) asked() error {
	all := slices.Concat(s.Good, s.Bad)
	switch {
	case s.Kind == Check && len(s.Good) == 0:
		return errors.New("a check needs at least one judgement in good")
	case s.Kind != Check && len(all)+len(s.Back) > 0:
		return fmt.Errorf("only a check has good, bad and back, not the kind %s", words.Quoted(s.Kind))
	case len(all) > mostChecks:
		return fmt.Errorf("give at most %d judgements, not %d", mostChecks, len(all))
	case s.Kind == Value && len(s.Fields) == 0:
		return errors.New("a value needs at least one field")
	case (s.Kind == Flask || s.Kind == Deliver) && len(s.Fields) > 0:
		return fmt.Errorf("the kind %s has no fields", words.Quoted(s.Kind))
	case len(s.Fields) > mostFields:
		return fmt.Errorf("give at most %d fields, not %d", mostFields, len(s.Fields))
	}
	for i, j := range all {
		if err := plain("good and bad", j, 40); err != nil || strings.TrimSpace(j) == "" || slices.Contains(all[:i], j) {
			return fmt.Errorf("each judgement is 1 to 40 plain characters and there once, not %s", words.Quoted(j))
		}
	}
	return eachOnce("field", s.Fields, func(f Field) string { return f.Name })
}

func (f Field) valid() error {
	if err := nameOf(strings.ReplaceAll(f.Name, "_", "-")); err != nil {
		return err
	}
	if err := plain("words", f.Words, 40); err != nil {
		return err
	}
	if !slices.Contains(Measures, f.Of) {
		return fmt.Errorf("of must be one of %s, not %s", strings.Join(Measures, ", "), words.Quoted(f.Of))
	}
	if Worded(f.Of) {
		if f.Low+f.High != "" {
			return errors.New("a text has no low and no high")
		}
		return plain("preset", f.Preset, 40)
	}
	for _, e := range []struct{ what, is string }{{"low", f.Low}, {"high", f.High}, {"preset", f.Preset}} {
		if e.is == "" {
			continue
		}
		if _, err := f.bound(e.is); err != nil {
			return fmt.Errorf("%s: %w", e.what, err)
		}
	}
	if v, ok := f.Usual(); ok && f.Outside(v) {
		return errors.New("preset lies outside low and high")
	}
	if hi, err := f.bound(f.High); err == nil && f.High != "" && f.Outside(hi) {
		return errors.New("high is below low")
	}
	return nil
}

// nameOf holds a name: it stands in records and keys.
func nameOf(s string) error {
	if len(s) < 1 || len(s) > 24 || strings.Trim(s, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		return fmt.Errorf("a name has 1 to 24 small letters, digits and hyphens, not %s", words.Quoted(s))
	}
	return nil
}

func plain(what, s string, most int) error {
	if n := utf8.RuneCountInString(s); n > most || !words.Plain(s) {
		return fmt.Errorf("%s has at most %d plain characters, not %s", what, most, words.Quoted(s))
	}
	return nil
}
