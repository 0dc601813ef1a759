package review

import (
	"fmt"

	"flaskside/logbook/words"
)

// Tally counts the flasks of the period in a few words each; what did not happen is not counted.
func (r Review) Tally() []string {
	var out []string
	add := func(n int, what string) {
		if n > 0 {
			out = append(out, fmt.Sprintf("%d %s", n, what))
		}
	}
	add(r.Opened, "begun")
	add(r.Closed, "finally closed")
	for _, o := range r.Outcomes {
		add(o.Count, words.Outcome(o.Name))
	}
	return out
}
