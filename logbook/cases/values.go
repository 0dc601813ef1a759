package cases

import (
	"fmt"
	"slices"
	"strings"

	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/logbook/route"
	"flaskside/logbook/words"
)

// stepValues reads the values of a step as they were typed.
func stepValues(typed []string, s route.Step, u house.Units) ([]action.StepValue, error) {
	var out []action.StepValue
	for _, t := range typed {
		name, text, ok := strings.Cut(t, "=")
		if !ok {
			return nil, fmt.Errorf("--value takes a name and a value, as in water_c=\"45 C\", not %q", words.Clip(t, 60))
		}
		i := slices.IndexFunc(s.Fields, func(f route.Field) bool { return f.Name == name })
		if i < 0 {
			return nil, fmt.Errorf("the step %q asks for no %q", s.Name, words.Clip(name, 40))
		}
		v := action.StepValue{Name: name}
		if f := s.Fields[i]; route.Worded(f.Of) {
			v.Text = text
		} else {
			n, err := f.Read(text, u.Pressure, u.Temperature)
			if err != nil {
				return nil, fmt.Errorf("--value %s: %w", name, err)
			}
			v.Value = n
		}
		out = append(out, v)
	}
	return out, nil
}
