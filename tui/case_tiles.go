package tui

import (
	"fmt"
	"strings"

	"github.com/charmbracelet/x/ansi"

	"flaskside/logbook/bench"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/each"
)

// mostTiles is how many tiles the far view has: more cannot be read across a room.
const mostTiles = 12

// caseTiles are the tiles of cases that something runs for in a place, the most urgent first,
// so many at most.
func (m *sight) caseTiles(most int) []tile {
	return each.Of(m.caseStands(most), m.caseTile)
}

// caseStand is a timer of a case and how it stands.
type caseStand struct {
	w bench.Window
	timers.Standing
}

// caseStands are the timers that cases have a tile for.
func (m *sight) caseStands(most int) []caseStand {
	var out []caseStand
	for _, st := range m.standings {
		if w, _ := m.windowByKey(st.Key); w.Case != "" && w.Place != "" && len(out) < most {
			out = append(out, caseStand{w, st})
		}
	}
	return out
}

func (m *sight) caseTile(s caseStand) tile {
	w, st := s.w, s.Standing
	number, _, _ := strings.Cut(w.Case, " ")
	t := tile{place: ansi.TruncateLeft(number, max(0, ansi.StringWidth(number)-tailOfNumber), ""), stage: caseWord(w), role: strong}
	t.time, t.unit = farSpan(st.Left)
	k, _, _ := m.bench().CaseOfKey(w.Key)
	switch {
	case k.LostSince() != nil:
		t.verdict, t.role = "LOST!", alarm
	case st.Phase == timers.Over:
		t.verdict, t.role = "OVER!", alarm
	case st.Last != nil && st.Last.Priority != timers.Silent:
		t.stage, t.verdict, t.role = t.stage+"!", "TIME UP", good
	}
	return t
}

// tailOfNumber is how much of the end of a case number stands in its tile.
const tailOfNumber = 3

// caseWord is what runs for a case in one short word.
func caseWord(w bench.Window) string {
	const most = 8
	if w.Place != "bench" {
		return strings.ToUpper(w.Place)
	}
	s := ""
	for _, x := range strings.Fields(strings.ToUpper(w.Label)) {
		if s != "" && len(s)+1+len(x) > most {
			break
		}
		s = strings.TrimSpace(s + " " + x)
	}
	return ansi.Truncate(strings.Trim(s, ",.:"), most, "")
}

// casesAtWork lists the cases that something runs for outside of a flask, or whose pressure
// is lost.
func (m *sight) casesAtWork(s *sheet) {
	told := false
	for _, k := range m.bench().Cases() {
		run := k.Running()
		if run == nil {
			continue
		}
		if !told {
			s.gap()
			s.head(dim, "cases with something that runs")
		}
		told = true
		t, r := "", plain
		if st, ok := m.caseStanding(k); ok {
			t, r = words.Brief(st.Left), timeRole(st)
		}
		what := run.Brief()
		if k.LostSince() != nil {
			what, r = what+", PRESSURE LOST", alarm
		}
		s.add(r, fmt.Sprintf("   %-8s %-7s %s %6s → %s", fit(k.Case, 8), k.Base, pad(what, 20), t, m.caseStepWords(k)))
	}
}
