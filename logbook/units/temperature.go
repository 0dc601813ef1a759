package units

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// Temperatures any bench can mean: a deep freezer to past every bath
// (house default). The upper end is low enough to refuse 165 typed in Celsius
// where 165 °F was meant.
const (
	minTempC = -40
	maxTempC = 150
)

// TempUnit is the unit in which a house reads its thermometers.
type TempUnit string

// The units a house may choose.
const (
	Celsius    TempUnit = "C"
	Fahrenheit TempUnit = "F"
)

// parseTempUnit reads "C" or "F", in any case and with or without the degree
// sign.
func parseTempUnit(s string) (TempUnit, error) {
	switch strings.ToUpper(strings.TrimPrefix(strings.TrimSpace(s), "°")) {
	case "C":
		return Celsius, nil
	case "F":
		return Fahrenheit, nil
	}
	return "", fmt.Errorf("temperature unit %q is not known; use C or F", s)
}

// UnmarshalText reads a unit from a settings file; see ParseTempUnit.
func (u *TempUnit) UnmarshalText(b []byte) error {
	v, err := parseTempUnit(string(b))
	if err != nil {
		return err
	}
	*u = v
	return nil
}

// FromC turns a stored temperature into this unit. C = (F - 32) / 1.8 exactly
// (NIST SP 811, B.8).
func (u TempUnit) FromC(tempC float64) float64 {
	if u == Fahrenheit {
		return tempC*1.8 + 32
	}
	return tempC
}

// ToC turns a temperature in this unit into the stored unit.
func (u TempUnit) ToC(v float64) float64 {
	if u == Fahrenheit {
		return (v - 32) / 1.8
	}
	return v
}

// SpanFromC turns a difference of temperatures into this unit: 2 K are 3.6
// Fahrenheit degrees, not 35.6.
func (u TempUnit) SpanFromC(deltaC float64) float64 {
	if u == Fahrenheit {
		return deltaC * 1.8
	}
	return deltaC
}

// FormatTemp shows a stored temperature in unit u: tenths of a degree Celsius
// where there are any, whole degrees Fahrenheit ("74 °C", "73.5 °C", "165 °F").
// A unit other than the two is taken for Celsius.
func FormatTemp(tempC float64, u TempUnit) string {
	if u == Fahrenheit {
		return trimmed(u.FromC(tempC), 0) + " °F"
	}
	return trimmed(tempC, 1) + " °C"
}

// Temperatures in words: one, or two with "to" between, and a difference in kelvin.
var (
	tempWords = regexp.MustCompile(`(-?\d+(?:\.\d+)?)(?: to (> )?(-?\d+(?:\.\d+)?))? °C`)
	spanWords = regexp.MustCompile(`(\d+(?:\.\d+)?) K\b`)
)

// TextIn writes the temperatures of a text that has them in °C and K, as the words of the
// pure packages do, in unit u.
func TextIn(text string, u TempUnit) string {
	if u != Fahrenheit {
		return text
	}
	number := func(s string, turn func(float64) float64, decimals int) string {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return s
		}
		return trimmed(turn(v), decimals)
	}
	text = tempWords.ReplaceAllStringFunc(text, func(s string) string {
		m := tempWords.FindStringSubmatch(s)
		out := number(m[1], u.FromC, 0)
		if m[3] != "" {
			out += " to " + m[2] + number(m[3], u.FromC, 0)
		}
		return out + " °F"
	})
	return spanWords.ReplaceAllStringFunc(text, func(s string) string {
		return number(strings.TrimSuffix(s, " K"), u.SpanFromC, 1) + " °F"
	})
}

// FormatTempSpan shows a difference of temperatures, as in "within 2 °C" or
// "within 3.6 °F".
func FormatTempSpan(deltaC float64, u TempUnit) string {
	sign := " °C"
	if u == Fahrenheit {
		sign = " °F"
	}
	return trimmed(u.SpanFromC(deltaC), 1) + sign
}

// ParseTemp reads a temperature as typed, def being the unit where none is
// typed, and returns degrees Celsius. It takes C and F, from -40 to 150 °C.
func ParseTemp(s string, def TempUnit) (tempC float64, err error) {
	return quantity{
		name: "temperature", unit: "°C", min: minTempC, max: maxTempC, example: "74 °C or 165F",
		scales: []scale{
			{names: []string{"c", "°c", "degc", "deg c"}, factor: 1},
			{names: []string{"f", "°f", "degf", "deg f"}, factor: 1 / 1.8, offset: 32},
		},
	}.parse(s, string(def))
}

// ParseTempSpan reads a difference of temperatures as typed, def being the unit where
// none is typed, and returns kelvin: "2 K", "2 C", "3.6 F". It takes 0 to 100 K.
func ParseTempSpan(s string, def TempUnit) (deltaC float64, err error) {
	return quantity{
		name: "difference", unit: "K", min: 0, max: 100, example: "2 K or 3.6 F",
		scales: []scale{
			{names: []string{"k", "c", "°c"}, factor: 1},
			{names: []string{"f", "°f"}, factor: 1 / 1.8},
		},
	}.parse(s, string(def))
}
