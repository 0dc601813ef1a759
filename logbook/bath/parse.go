package bath

import (
	"errors"
	"fmt"
	"strings"

	"flaskside/logbook/units"
	"flaskside/timers/cure"
)

// parseCurve reads a bath curve written as pairs of minutes and temperature, such as "0:74,540:74" or "0:165F,540:165F",
// straight between the points. A temperature without its unit is in the one given.
func parseCurve(text string, unit units.TempUnit) ([]cure.Knot, error) {
	const maxText = 64 * 1024
	if len(text) > maxText {
		return nil, fmt.Errorf("bath text of %d characters: at most %d are taken", len(text), maxText)
	}
	if strings.TrimSpace(text) == "" {
		return nil, errors.New("the bath is empty: write pairs of minutes and temperature such as 0:74,540:74")
	}
	parts := strings.Split(text, ",")
	curve := make([]cure.Knot, 0, len(parts))
	for _, part := range parts {
		minutes, temp, ok := strings.Cut(part, ":")
		m, errM := units.Plain(minutes)
		c, errC := units.Plain(temp)
		if errC != nil {
			c, errC = units.ParseTemp(temp, unit)
		} else {
			c = unit.ToC(c)
		}
		if !ok || errM != nil || errC != nil {
			return nil, fmt.Errorf("bath point %q: write minutes and temperature such as 540:74 or 540:165F", strings.TrimSpace(part))
		}
		if m < 0 {
			return nil, fmt.Errorf("bath point %q: minutes count from 0, when the flask goes in", strings.TrimSpace(part))
		}
		curve = append(curve, cure.Knot{TimeS: m * 60, TempC: c})
	}
	return curve, cure.CheckBath(curve)
}
