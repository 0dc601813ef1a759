package cure

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Limits of a programme and the ramp taken when none is written (house defaults).
const (
	maxStages   = 20
	defaultRamp = 30 * time.Minute // a covered bath of 10 L with 1 kW needs about this from 74 to 100 °C
	maxNotation = 512
	maxName     = 60
)

// jump stands in for a ramp of no length: the bath's curve must be a function of time.
const jump = time.Second

// Stage is one hold of a bath programme, after a ramp to it.
type Stage struct {
	TempC float64
	Hold  time.Duration
	Ramp  time.Duration // from the stage before, or from the bath's temperature at the start
}

// Programme is what the bath does, named by the lab. As text, and so in JSON and TOML, it is written
//
//	[name:] stage {+ stage}      stage = [ramp duration +] temperature duration
//
// for instance "night: 74C 8h, ramp 30min, 100C 1h". A comma may stand for +, "°C" or nothing for C, and F for degrees
// Fahrenheit; durations are numbers with h, min or s, joined as in 1h30min. A ramp that is not written is none for the first stage (the flasks go
// into a bath already at temperature), none between equal temperatures, and [defaultRamp] otherwise.
type Programme struct {
	Name   string
	Stages []Stage
}

// validate reports the first thing wrong with a programme.
func (p Programme) Validate() error {
	if err := checkName(p.Name); err != nil {
		return err
	}
	if len(p.Stages) == 0 {
		return errors.New("the programme is empty: write at least one stage such as 74C 9h")
	}
	if len(p.Stages) > maxStages {
		return fmt.Errorf("the programme has %d stages: at most %d are taken", len(p.Stages), maxStages)
	}
	total := time.Duration(0)
	for i, s := range p.Stages {
		if err := checkTemp(s.TempC); err != nil {
			return fmt.Errorf("stage %d: %w", i+1, err)
		}
		if s.Hold < time.Minute || s.Hold > maxDuration {
			return fmt.Errorf("stage %d: a hold of %s cannot be: 1 minute to 14 days", i+1, s.Hold)
		}
		if s.Ramp < 0 || s.Ramp > maxDuration {
			return fmt.Errorf("stage %d: a ramp of %s cannot be: 0 to 14 days", i+1, s.Ramp)
		}
		if s.Hold%time.Second != 0 || s.Ramp%time.Second != 0 {
			return fmt.Errorf("stage %d: hold and ramp are whole seconds", i+1)
		}
		total += s.Hold + s.Ramp
	}
	if total > maxDuration {
		return fmt.Errorf("the programme takes %s: at most %g days", formatDuration(total), maxDuration.Hours()/24)
	}
	return nil
}

func checkName(name string) error {
	if utf8.RuneCountInString(name) > maxName {
		return fmt.Errorf("programme name of more than %d characters", maxName)
	}
	if !utf8.ValidString(name) || name != strings.TrimSpace(name) ||
		strings.ContainsFunc(name, func(r rune) bool { return r == ':' || unicode.IsControl(r) }) {
		return fmt.Errorf("programme name %q: no colon, control character or space at its ends", name)
	}
	return nil
}

// minRatio and MaxRatio are the powder to liquid by mass between which a mix is taken into the model; outside it is refused
// (house default, a little wider than the 1.8 to 3 the model was tried in).
const minRatio, maxRatio = 1.5, 3.5

// CheckRatio refuses a powder to liquid by mass that the model does not take.
func CheckRatio(ratio float64) error {
	if !(ratio >= minRatio && ratio <= maxRatio) {
		return fmt.Errorf("powder to liquid %.3g:1 by mass: the cure model takes %g to %g; look at the masses of the mix", ratio, minRatio, maxRatio)
	}
	return nil
}

// Total is how long the programme takes from the flask going in to its coming out.
func (p Programme) Total() time.Duration {
	total := time.Duration(0)
	for _, s := range p.Stages {
		total += s.Ramp + s.Hold
	}
	return total
}

// Knots is the set point as a bath curve from the flask going in. startC is the bath's temperature then; it matters only
// when the first stage has a ramp (a cold start).
func (p Programme) Knots(startC float64) []Knot {
	out := make([]Knot, 0, 2*len(p.Stages)+1)
	at := time.Duration(0)
	for i, s := range p.Stages {
		switch {
		case i == 0 && s.Ramp > 0:
			out = append(out, Knot{0, startC}, Knot{s.Ramp.Seconds(), s.TempC})
		case i == 0:
			out = append(out, Knot{0, s.TempC})
		default:
			out = append(out, Knot{(at + max(s.Ramp, jump)).Seconds(), s.TempC})
		}
		at += s.Ramp + s.Hold
		out = append(out, Knot{at.Seconds(), s.TempC})
	}
	return out
}

// Hold is the set point at a time after the start: the stage's number from 0, its temperature, and whether the programme
// holds it then (false in a ramp, before the start and after the end).
func (p Programme) Hold(after time.Duration) (stage int, tempC float64, holds bool) {
	at := time.Duration(0)
	for i, s := range p.Stages {
		begin := at + s.Ramp
		at = begin + s.Hold
		if after <= at || i == len(p.Stages)-1 {
			return i, s.TempC, after >= max(begin, 0) && after <= at
		}
	}
	return 0, 0, false
}

// ParseProgramme reads a programme in the notation of [Programme].
func ParseProgramme(text string) (Programme, error) { return ParseProgrammeIn(text, false) }

// ParseProgrammeIn is [ParseProgramme] where a temperature without a unit is in degrees Fahrenheit, or Celsius.
func ParseProgrammeIn(text string, fahrenheit bool) (Programme, error) {
	var p Programme
	if len(text) > maxNotation {
		return p, fmt.Errorf("programme of %d characters: at most %d are taken", len(text), maxNotation)
	}
	notation := text
	if name, rest, ok := strings.Cut(text, ":"); ok {
		p.Name, notation = strings.TrimSpace(name), rest
	}
	if strings.TrimSpace(notation) == "" {
		return Programme{}, errors.New("the programme is empty: write at least one stage such as 74C 9h")
	}
	var ramp time.Duration
	pending, written := false, false
	for _, part := range strings.FieldsFunc(notation, func(r rune) bool { return r == '+' || r == ',' }) {
		part = strings.ToLower(strings.TrimSpace(part))
		if rest, ok := strings.CutPrefix(part, "ramp"); ok {
			d, err := parseDuration(rest)
			if err != nil || pending {
				return Programme{}, fmt.Errorf("%q: write one ramp before a stage, such as ramp 30min", part)
			}
			ramp, pending, written = d, true, true
			continue
		}
		s, err := parseStage(part, fahrenheit)
		if err != nil {
			return Programme{}, err
		}
		s.Ramp = ramp
		if n := len(p.Stages); !written && n > 0 && p.Stages[n-1].TempC != s.TempC {
			s.Ramp = defaultRamp
		}
		p.Stages = append(p.Stages, s)
		ramp, pending, written = 0, false, false
	}
	if pending {
		return Programme{}, errors.New("the programme ends with a ramp: write the stage it leads to, such as 100C 1h")
	}
	if err := p.Validate(); err != nil {
		return Programme{}, err
	}
	return p, nil
}

// parseStage reads "74c 9h" or "165f 9h" in small letters.
func parseStage(text string, fahrenheit bool) (Stage, error) {
	wrong := fmt.Errorf("stage %q: write a temperature and a time such as 74C 9h", text)
	i := strings.IndexFunc(text, func(r rune) bool { return (r < '0' || r > '9') && r != '.' })
	if i <= 0 {
		return Stage{}, wrong
	}
	temp, err := strconv.ParseFloat(text[:i], 64)
	if err != nil {
		return Stage{}, wrong
	}
	rest := strings.TrimSpace(text[i:])
	for _, unit := range []string{"°c", "ºc", "c", "°f", "ºf", "f"} {
		if after, ok := strings.CutPrefix(rest, unit); ok {
			rest, fahrenheit = after, strings.HasSuffix(unit, "f")
			break
		}
	}
	if fahrenheit {
		temp = fromF(temp)
	}
	hold, err := parseDuration(rest)
	if err != nil {
		return Stage{}, wrong
	}
	return Stage{TempC: temp, Hold: hold}, nil
}

// parseDuration reads "9h", "90 min", "1h30min" or "45s", to the whole second and at most [maxDuration].
func parseDuration(text string) (time.Duration, error) {
	wrong := fmt.Errorf("%q is not a time: write 9h, 90min or 1h30min", strings.TrimSpace(text))
	rest := strings.ToLower(strings.TrimSpace(text))
	if rest == "" {
		return 0, wrong
	}
	total := 0.0
	for rest != "" {
		i := strings.IndexFunc(rest, func(r rune) bool { return (r < '0' || r > '9') && r != '.' })
		if i <= 0 {
			return 0, wrong
		}
		n, err := strconv.ParseFloat(rest[:i], 64)
		if err != nil {
			return 0, wrong
		}
		rest = strings.TrimSpace(rest[i:])
		j := strings.IndexFunc(rest, func(r rune) bool { return r < 'a' || r > 'z' })
		if j < 0 {
			j = len(rest)
		}
		switch rest[:j] {
		case "h", "hour", "hours":
			total += n * 3600
		case "m", "min", "minute", "minutes":
			total += n * 60
		case "s", "sec", "seconds":
			total += n
		default:
			return 0, wrong
		}
		rest = strings.TrimSpace(rest[j:])
	}
	if total > maxDuration.Seconds() {
		return 0, fmt.Errorf("%q is too long: at most %g days", strings.TrimSpace(text), maxDuration.Hours()/24)
	}
	return time.Duration(math.Round(total)) * time.Second, nil
}

// formatDuration writes a time as [parseDuration] reads it, to the whole second: 9h, 1h30min, 45s, 0min.
func formatDuration(d time.Duration) string {
	d = d.Round(time.Second)
	var b strings.Builder
	if d < 0 {
		b.WriteByte('-')
		d = -d
	}
	if h := d / time.Hour; h > 0 {
		fmt.Fprintf(&b, "%dh", h)
	}
	if m := d % time.Hour / time.Minute; m > 0 {
		fmt.Fprintf(&b, "%dmin", m)
	}
	if s := d % time.Minute / time.Second; s > 0 {
		fmt.Fprintf(&b, "%ds", s)
	}
	if d == 0 {
		return "0min"
	}
	return b.String()
}

// Notation is the programme without its name, every ramp written that is not plain from the notation's rules.
func (p Programme) Notation() string { return p.NotationIn(false) }

// NotationIn is [Programme.Notation] with temperatures in degrees Fahrenheit, or Celsius; it reads back as it was.
func (p Programme) NotationIn(fahrenheit bool) string {
	var b strings.Builder
	for i, s := range p.Stages {
		if i > 0 {
			b.WriteString(", ")
		}
		if s.Ramp > 0 || i > 0 && p.Stages[i-1].TempC != s.TempC {
			b.WriteString("ramp " + formatDuration(s.Ramp) + ", ")
		}
		b.WriteString(tempNotation(s.TempC, fahrenheit) + " " + formatDuration(s.Hold))
	}
	return b.String()
}

// fromF turns degrees Fahrenheit into Celsius: C = (F - 32) / 1.8 exactly (NIST SP 811, B.8).
func fromF(f float64) float64 { return (f - 32) / 1.8 }

// tempNotation writes a temperature so that it reads back as it was: in Fahrenheit where that is wished or where its
// Celsius has no end, and two decimals do; otherwise in Celsius.
func tempNotation(c float64, fahrenheit bool) string {
	inC := strconv.FormatFloat(c, 'f', -1, 64)
	if _, decimals, _ := strings.Cut(inC, "."); !fahrenheit && len(decimals) <= 2 {
		return inC + "C"
	}
	f := strconv.FormatFloat(math.Round((c*1.8+32)*100)/100, 'f', -1, 64)
	if v, err := strconv.ParseFloat(f, 64); err == nil && fromF(v) == c {
		return f + "F"
	}
	return inC + "C"
}

// String is the programme with its name, as [ParseProgramme] reads it.
func (p Programme) String() string {
	if p.Name == "" {
		return p.Notation()
	}
	return p.Name + ": " + p.Notation()
}

// MarshalText writes the programme in its notation.
func (p Programme) MarshalText() ([]byte, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	return []byte(p.String()), nil
}

// UnmarshalText reads the notation.
func (p *Programme) UnmarshalText(text []byte) error {
	parsed, err := ParseProgramme(string(text))
	if err != nil {
		return err
	}
	*p = parsed
	return nil
}
