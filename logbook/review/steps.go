package review

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/stats"
	"flaskside/timers"
)

// stepFigures is a step of the routes of cases, with how it went in the period.
type stepFigures struct {
	Step   string         `json:"step"`  // by its name in the table
	Words  string         `json:"words"` // as the table called it last
	Brief  string         `json:"brief"` // the same in few words
	N      int            `json:"n"`
	Again  int            `json:"again"`            // judged so that it did not go on
	Lost   int            `json:"lost,omitempty"`   // pressures lost while it ran
	Odd    int            `json:"odd"`              // with something unusual in its record
	Short  stats.Share    `json:"short"`            // of those that lasted: under the earliest end
	Over   stats.Share    `json:"over"`             // of those: past the latest
	Lasted *stats.Summary `json:"lasted,omitempty"` // seconds, by the machine's own clock
}

// stepped gathers the steps of cases, in the order in which each was first done.
func stepped(b *bench.Bench, in func(*timers.Stamp) bool) []stepFigures {
	var out []stepFigures
	lasted := map[string][]float64{}
	short, over, ended := map[string]int{}, map[string]int{}, map[string]int{}
	for _, s := range b.StepSpells() {
		if !in(&s.At) {
			continue
		}
		i := slices.IndexFunc(out, func(x stepFigures) bool { return x.Step == s.Step })
		if i < 0 {
			i = len(out)
			out = append(out, stepFigures{Step: s.Step})
		}
		x := &out[i]
		x.Words, x.Brief = strings.TrimSuffix(s.Called(), "?"), s.Brief()
		if s.Event != "" {
			if s.Event == action.PressureLost {
				x.Lost++
			}
			continue
		}
		x.N++
		if s.Again {
			x.Again++
		}
		if len(s.Unusual) > 0 {
			x.Odd++
		}
		if s.To == nil {
			continue
		}
		ended[s.Step]++
		if s.Short() {
			short[s.Step]++
		}
		if s.Over() {
			over[s.Step]++
		}
		if !s.Estimated {
			lasted[s.Step] = append(lasted[s.Step], s.Lasted.Seconds())
		}
	}
	for i := range out {
		x := &out[i]
		x.Short, x.Over = share(short[x.Step], ended[x.Step]), share(over[x.Step], ended[x.Step])
		if s, err := stats.Describe(lasted[x.Step]); err == nil {
			x.Lasted = &s
		}
	}
	return out
}

// noteSteps stands beneath the steps.
const noteSteps = "Minutes, from a step to the next of its case. Short and over: against the times that it was done under. Lost: the pressure. Unusual: something out of the ordinary stands in its record. What rests on fewer than 20 is a small number."

func stepRows(all []stepFigures) [][]string {
	rows := [][]string{{"", "done", "median", "middle half", "longest", "short", "over", "again", "lost", "unusual"}}
	for _, s := range all {
		row := []string{s.Words, fmt.Sprint(s.N), "", "", "", "", "", dot(s.Again), dot(s.Lost), dot(s.Odd)}
		if s.Lasted != nil {
			row[2], row[3], row[4] = minutes(s.Lasted.Median), minutes(s.Lasted.Q1)+" to "+minutes(s.Lasted.Q3), minutes(s.Lasted.Max)
		}
		if s.Short.N > 0 {
			row[5], row[6] = dot(s.Short.Count), dot(s.Over.Count)
		}
		rows = append(rows, row)
	}
	return rows
}

// textSteps writes the steps for a narrow column: less of each.
func (r Review) textSteps(p *page) {
	if len(r.Steps) == 0 {
		return
	}
	p.section("STEPS OF CASES, done in this time")
	rows := [][]string{{"", "done", "median", "longest", "short", "over", "again", "unusual"}}
	lost := 0
	for i, full := range stepRows(r.Steps) {
		if i > 0 {
			rows = append(rows, []string{r.Steps[i-1].Brief, full[1], full[2], full[4], full[5], full[6], full[7], full[9]})
			lost += r.Steps[i-1].Lost
		}
	}
	p.table(rows, 0)
	if lost > 0 {
		p.say("Pressure lost: %d.", lost)
	}
	p.say("%s", noteSteps)
}

// stepFigures are the figures of the steps for a spreadsheet.
func (r Review) stepFigures(add func(part, of, figure, count string, n int, value ...string), shared func(part, of, figure string, s stats.Share), summary func(part, of string, s stats.Summary)) {
	for _, s := range r.Steps {
		add("steps", s.Step, "number", strconv.Itoa(s.N), s.N)
		add("steps", s.Step, "again", strconv.Itoa(s.Again), s.N)
		add("steps", s.Step, "pressure lost", strconv.Itoa(s.Lost), s.N)
		add("steps", s.Step, "unusual", strconv.Itoa(s.Odd), s.N)
		if s.Short.N > 0 {
			shared("steps", s.Step, "short", s.Short)
			shared("steps", s.Step, "over", s.Over)
		}
		if s.Lasted != nil {
			summary("step seconds", s.Step, *s.Lasted)
		}
	}
}
