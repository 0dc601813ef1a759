package review

import (
	"fmt"
	"time"

	"flaskside/logbook/bench"
	"flaskside/logbook/words"
)

// Tally counts the flasks of a period in a few words each, as [Of] counts them; what did not
// happen is not counted.
func Tally(b *bench.Bench, from, until time.Time) []string {
	r := Of(b, from, until, boil{})
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
