package bath

import (
	"errors"
	"fmt"
	"strings"

	"flaskside/logbook/units"
	"flaskside/timers/cure"
)

// ParseCurve reads a bath curve written as minutes:°C pairs, such as "0:74,540:74", straight between the points.
func ParseCurve(text string) ([]cure.Knot, error) {
	const maxText = 64 * 1024
	if len(text) > maxText {
		return nil, fmt.Errorf("bath text of %d characters: at most %d are taken", len(text), maxText)
	}
	if strings.TrimSpace(text) == "" {
		return nil, errors.New("the bath is empty: write minutes:°C pairs such as 0:74,540:74")
	}
	parts := strings.Split(text, ",")
	curve := make([]cure.Knot, 0, len(parts))
	for _, part := range parts {
		minutes, temp, ok := strings.Cut(part, ":")
		m, errM := units.Plain(minutes)
		c, errC := units.Plain(temp)
		if !ok || errM != nil || errC != nil {
			return nil, fmt.Errorf("bath point %q: write minutes:°C such as 540:74", strings.TrimSpace(part))
		}
		if m < 0 {
			return nil, fmt.Errorf("bath point %q: minutes count from 0, when the flask goes in", strings.TrimSpace(part))
		}
		curve = append(curve, cure.Knot{TimeS: m * 60, TempC: c})
	}
	return curve, cure.CheckBath(curve)
}
