package house

import (
	"bytes"
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/pelletier/go-toml/v2/unstable"

	"flaskside/logbook/units"
	"flaskside/logbook/words"
)

// value is one plain value of a TOML file and where it stands.
type value struct {
	key      string // "programmes.stages.hold_s"
	kind     unstable.Kind
	text     string // without quotes
	from, to int    // in the file
}

// line is the line of a file that an offset lies on, from 1.
func line(file []byte, at int) int { return 1 + bytes.Count(file[:at], []byte("\n")) }

// fileKeys are the keys of the values that a settings file may hold.
var fileKeys = sync.OnceValue(func() map[string]bool {
	keys := map[string]bool{}
	var walk func(path string, t reflect.Type)
	walk = func(path string, t reflect.Type) {
		for t.Kind() == reflect.Slice {
			t = t.Elem()
		}
		if t.Kind() != reflect.Struct {
			keys[path] = true
			return
		}
		for f := range t.Fields() {
			f := f
			name, _, _ := strings.Cut(f.Tag.Get("toml"), ",")
			switch {
			case f.Anonymous:
				name = path
			case path != "":
				name = path + "." + name
			}
			walk(name, f.Type)
		}
	}
	walk("", reflect.TypeFor[settingsFile]())
	return keys
})

// values walks the plain values of a file; one that is no TOML ends early, and the
// decoder says why.
func values(file []byte, do func(v value) error) error {
	var p unstable.Parser
	p.Reset(file)
	var table []string
	keys := func(n *unstable.Node) []string {
		var out []string
		for it := n.Key(); it.Next(); {
			out = append(out, string(it.Node().Data))
		}
		return out
	}
	var walk func(path []string, n *unstable.Node) error
	walk = func(path []string, n *unstable.Node) error {
		switch n.Kind {
		case unstable.InlineTable, unstable.Array:
			for it := n.Children(); it.Next(); {
				c := it.Node()
				at := path
				if c.Kind == unstable.KeyValue {
					at, c = append(append([]string{}, path...), keys(c)...), c.Value()
				}
				if err := walk(at, c); err != nil {
					return err
				}
			}
		case unstable.String, unstable.Integer, unstable.Float:
			from := int(n.Raw.Offset)
			return do(value{strings.Join(path, "."), n.Kind, string(n.Data), from, from + int(n.Raw.Length)})
		}
		return nil
	}
	for p.NextExpression() {
		n := p.Expression()
		switch n.Kind {
		case unstable.Table, unstable.ArrayTable:
			table = keys(n)
		case unstable.KeyValue:
			if err := walk(append(append([]string{}, table...), keys(n)...), n.Value()); err != nil {
				return err
			}
		}
	}
	return nil
}

// replaced gives a file with some of its values written otherwise; its lines stay.
func replaced(file []byte, with func(v value) (text string, ok bool, err error)) ([]byte, error) {
	var out []byte
	done := 0
	err := values(file, func(v value) error {
		text, ok, err := with(v)
		if err != nil || !ok || v.from < done || v.to > len(file) || strings.Contains(string(file[v.from:v.to]), "\n") {
			return err
		}
		out = append(append(out, file[done:v.from]...), text...)
		done = v.to
		return nil
	})
	return append(out, file[done:]...), err
}

// textsToNumbers reads the numbers of a settings file that are written with a unit. It
// refuses the first setting that there is not: the decoder takes a time for them that
// grows with the square of the file.
func textsToNumbers(file []byte) ([]byte, error) {
	return replaced(file, func(v value) (string, bool, error) {
		if !fileKeys()[strings.ToLower(v.key)] {
			return "", false, fmt.Errorf("settings: line %d: unknown setting %q", line(file, v.from), words.Clip(v.key, 60))
		}
		u, known := UsualOf(v.key)
		if !known || v.kind != unstable.String {
			return "", false, nil
		}
		x, ok, err := u.parse(v.text)
		if err != nil {
			return "", false, fmt.Errorf("settings: line %d: %s: %w", line(file, v.from), v.key, err)
		}
		if !ok {
			return "", false, nil // the decoder says what it wants
		}
		return strconv.FormatFloat(x, 'f', -1, 64), true, nil
	})
}

// numbersToTexts writes the numbers of a settings file as people read them, where that
// reads back exactly.
func numbersToTexts(file []byte, in Units) []byte {
	out, err := replaced(file, func(v value) (string, bool, error) {
		u, known := UsualOf(v.key)
		if !known || v.kind == unstable.String {
			return "", false, nil
		}
		x, err := strconv.ParseFloat(v.text, 64)
		if err != nil || x == 0 && u.Zero {
			return "", false, nil //nolint:nilerr // inf and nan stay as they are
		}
		text := u.exact(x, in)
		return "'" + text + "'", text != "", nil
	})
	if err != nil {
		return file
	}
	return out
}

// parse reads a text with its unit as a number in the stored unit; ok is false for a
// quantity that is never written so.
func (u Usual) parse(text string) (v float64, ok bool, err error) {
	if !strings.ContainsFunc(text, func(r rune) bool { return r >= 'A' }) {
		switch u.Of {
		case psi, tempC, spanK, seconds, minutes:
			return 0, false, fmt.Errorf("%q has no unit: write one, as in %q", words.Clip(text, 60), u.example())
		}
	}
	switch u.Of {
	case psi:
		v, err = units.ParsePressure(text, units.PSI)
	case tempC:
		v, err = units.ParseTemp(text, units.Celsius)
	case spanK:
		v, err = units.ParseTempSpan(text, units.Celsius)
	case seconds, minutes:
		var d time.Duration
		d, err = units.ParseDuration(text, time.Second)
		if v = d.Seconds(); u.Of == minutes {
			v = d.Minutes()
		}
	case grams:
		v, err = units.ParseMass(text)
	case ml:
		v, err = units.ParseVolume(text)
	case mm:
		v, err = units.ParseLength(text)
	default:
		return 0, false, nil
	}
	return v, err == nil, err
}

func (u Usual) example() string {
	switch u.Of {
	case psi:
		return "207 bar"
	case tempC:
		return "74 C"
	case spanK:
		return "2 K"
	}
	return "30 min"
}

// exact writes a number so that it reads back exactly: in the unit of the house where
// three decimals do, or else in one where they do, it was typed in that, or else in the
// stored one; "" where that does not.
func (u Usual) exact(v float64, in Units) string {
	try := func(n float64, unit string, mostDecimals int) string {
		for d := 0; d <= mostDecimals; d++ {
			text := strconv.FormatFloat(n, 'f', d, 64)
			if d == 0 && mostDecimals > 3 {
				text, d = strconv.FormatFloat(n, 'f', -1, 64), mostDecimals
			}
			if back, ok, err := u.parse(text + " " + unit); err == nil && ok && back == v {
				return text + " " + unit
			}
		}
		return ""
	}
	const few, all = 3, 17
	var texts []string
	switch u.Of {
	case psi:
		for _, unit := range []units.PressureUnit{in.Pressure, units.PSI, units.Bar, units.MPa} {
			texts = append(texts, try(unit.FromPSI(v), string(unit), few))
		}
		texts = append(texts, try(v, "psi", all))
	case tempC:
		for _, unit := range []units.TempUnit{in.Temperature, units.Celsius, units.Fahrenheit} {
			texts = append(texts, try(unit.FromC(v), string(unit), few))
		}
		texts = append(texts, try(v, "C", all))
	case spanK:
		if in.Temperature == units.Fahrenheit {
			texts = append(texts, try(in.Temperature.SpanFromC(v), "F", few))
		}
		texts = append(texts, try(v, "K", few), try(units.Fahrenheit.SpanFromC(v), "F", few), try(v, "K", all))
	case seconds:
		if v != math.Trunc(v) {
			return ""
		}
		if text := units.ExactDuration(time.Duration(v) * time.Second); text != "" {
			if back, ok, err := u.parse(text); err == nil && ok && back == v {
				return text
			}
		}
		return ""
	}
	for _, text := range texts {
		if text != "" {
			return text
		}
	}
	return ""
}
