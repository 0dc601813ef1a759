package intake

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/reach"
	"flaskside/timers/simclock"
)

// A table is taken in as a whole or not at all, and a dry run leaves nothing, not even a logbook.
func TestTableOfCases(t *testing.T) {
	start := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	at := reach.At{Path: filepath.Join(t.TempDir(), "bench.db"), Clock: simclock.At(start, "boot-1"), Tell: func(line string) { t.Errorf("told: %s", line) }}
	n := 0
	taken := func(body action.Body) action.Action {
		n++
		return action.Action{ID: fmt.Sprint("a", n), At: at.Clock.Read().Wall, By: "KT", Body: body}
	}
	const head, good = "case,base,size,due\n", "4417,upper,large,2026-11-26 12:00\n4417,lower,small,2026-11-26 12:00\n"
	for _, c := range []struct {
		table           string
		dry             bool
		out, told, want string
		made            bool
	}{
		{head, false, "", "", "the table: the table names no case", false},
		{head + good, true, "2 cases can be taken in; nothing was recorded\n", "", "", false},
		{head + good + "4418,top,large,2026-11-26 12:00\n", false, "", "line 4: base must be one of upper, lower, partial, reline, not \"top\"\n", "1 of 3 lines cannot be taken in: nothing was recorded", false},
		{head + "4418,upper,large,2026-11-24 12:00\n", false, "", "line 2: ", "1 of 1 line cannot be taken in: nothing was recorded", false},
		{head + good, false, "2 cases taken in; records 1 to 2\n", "", "", true},
		{head + good, true, "", "line 2: ", "2 of 2 lines cannot be taken in: nothing was recorded", true},
	} {
		var out, told strings.Builder
		err := Cases(at, strings.NewReader(c.table), "the table", taken, c.dry, &out, &told)
		if (c.want == "") != (err == nil) || err != nil && err.Error() != c.want {
			t.Errorf("%q: %v, want %q", c.table, err, c.want)
		}
		if out.String() != c.out || !strings.HasPrefix(told.String(), c.told) || at.Made() != c.made {
			t.Errorf("%q: %q, %q, made %v", c.table, out.String(), told.String(), at.Made())
		}
	}
}
