package press

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"flaskside/timers/longrun"
)

var (
	shifts = flag.Int("shifts", 0, "shifts in each row of the table of rules: 0 is a few, of few draws, in the test, 2000 in the benchmark")
	anew   = flag.Bool("anew", false, "work the advice out anew for every step of the table of rules")
	write  = flag.Bool("write", false, "write the table of rules to testdata/press/shifts.txt")
)

// tableSeed is one whose flasks want about as many closures as they should: 0.004 a flask more, standard error 0.019.
const tableSeed = 3

// tableRows are the shifts of the table: minutes of dough left of the mixes that the flasks are packed from by turns
// (house default).
var tableRows = []struct {
	mixes  []float64
	flasks int
}{
	{[]float64{35}, 2},
	{[]float64{35}, 3},
	{[]float64{35}, 4},
	{[]float64{20, 35}, 2},
	{[]float64{20, 35}, 3},
	{[]float64{20, 35}, 4},
	{[]float64{15}, 2},
	{[]float64{12, 18, 24}, 3},
	{[]float64{25}, 3},
}

func shiftOptions(row, shifts int) ShiftOptions {
	o := ShiftOptions{
		Shifts: shifts, Flasks: tableRows[row].flasks, Sizes: house(),
		Durations: houseDurations(), Bench: houseBench(), Seed: tableSeed, Anew: *anew,
	}
	for _, m := range tableRows[row].mixes {
		o.Mixes = append(o.Mixes, mins(m))
	}
	return o
}

func simulate(t testing.TB, o ShiftOptions) ShiftTable {
	t.Helper()
	table, err := Simulate(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	return table
}

// notLowest says which rule lost clearly fewer flasks than the look-ahead, by more than two standard errors of the
// difference over the same shifts; "" when none did.
func notLowest(table ShiftTable) string {
	for _, r := range table.Rules {
		if r.Over < -2*r.OverSE {
			return r.Rule
		}
	}
	return ""
}

// In every row the look-ahead loses the fewest, or is within two standard errors of what does.
func TestLookAheadLosesFewest(t *testing.T) {
	longrun.Only(t, "a statistic of whole shifts")
	n, draws := *shifts, defaultDraws
	if n == 0 {
		n, draws = longrun.Times(8, 14), 16
	}
	optima := readOptimum(t)
	var text strings.Builder
	fmt.Fprintf(&text, `Share of flasks lost: final closure not inside the dough. Simulated with house defaults, not measured at a bench.
Written by: go test ./timers/press -run TestLookAheadLosesFewest -shifts %d -write
Every rule sees the same flasks. No rule goes on with a flask that cannot be in time even if all goes well. "Over
look-ahead" is how much more a rule lost, with the standard error of that difference over the same shifts. "Foretold" is
the share the look-ahead expected to lose when each shift began, with the standard error of what it lost less that;
"optimum" is the least that can be lost, over all shifts and not these alone, where that is known.
Sizes small, medium, large: 30, 50, 20 %%. Minutes: raise 0.7, hold 1, open 0.3, trim 1.5, final closure 2.
`, n)
	for row := range tableRows {
		o := shiftOptions(row, n)
		if o.Draws = draws; *shifts == 0 && o.Flasks > mostWhole {
			o.Shifts = 5
		}
		table := simulate(t, o)
		if r := notLowest(table); r != "" {
			t.Errorf("%q loses clearly fewer than the look-ahead:\n%s", r, table)
		}
		ours := table.Rules[len(table.Rules)-1]
		// Nine rows share their draws, so that two standard errors are passed now and then by chance alone; what is foretold
		// and seen on one bench is held closer in TestChancesForetoldAreSeen.
		limit := 3 * table.ForetoldSE
		if *shifts > 0 && math.Abs(table.Foretold-ours.Lost) > limit {
			t.Errorf("row %d: foretold %.4f lost, saw %.4f; standard error of the difference %.4f", row, table.Foretold, ours.Lost, table.ForetoldSE)
		}
		fmt.Fprintf(&text, "\n%s", table)
		for _, r := range optima.Rows {
			if slices.Equal(r.Mixes, tableRows[row].mixes) && r.Flasks == tableRows[row].flasks {
				fmt.Fprintf(&text, "%-14s  %6.4f  (worked out, optimum.py)\n", "optimum", r.Lost)
			}
		}
	}
	if *write {
		path := filepath.Join("..", "..", "testdata", "press", "shifts.txt")
		if err := os.WriteFile(path, []byte(text.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// The table kept for the README is whole, and says of every row what the test above wants.
func TestKeptTable(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "press", "shifts.txt"))
	if err != nil {
		t.Fatal(err)
	}
	rows := strings.Split(strings.TrimSpace(string(text)), "\n\n")[1:]
	if len(rows) != len(tableRows) {
		t.Fatalf("%d rows, want %d", len(rows), len(tableRows))
	}
	for i, row := range rows {
		lines := strings.Split(row, "\n")
		var n, flasks int
		if _, err := fmt.Sscanf(lines[0], "%d shifts of %d flasks", &n, &flasks); err != nil || n < 1000 || flasks != tableRows[i].flasks {
			t.Errorf("row %d: %q: want at least 1000 shifts of %d flasks", i, lines[0], tableRows[i].flasks)
		}
		for _, line := range lines[2 : 2+len(tableRules)] {
			var lost, se, over, overSE float64
			if _, err := fmt.Sscanf(line[len("Moore-Hodgson "):], "%f %f %f %f", &lost, &se, &over, &overSE); err != nil {
				t.Errorf("%q: %v", line, err)
			}
			if over < -2*overSE {
				t.Errorf("row %d: clearly fewer lost: %q", i, line)
			}
		}
	}
}

// One flask and one rule that wastes nothing: the share lost is what the distribution says, 12.5 min being three
// closures and the final one.
func TestShareLostOfOneFlask(t *testing.T) {
	o := ShiftOptions{
		Shifts: 4000, Flasks: 1, Mixes: []time.Duration{mins(12.5)}, Sizes: []Size{{"any", 1, []float64{0.1, 0.3, 0.4, 0.15, 0.05}}},
		Durations: houseDurations(), Bench: houseBench(), Seed: 5, Draws: 4,
	}
	for _, r := range simulate(t, o).Rules {
		if se := math.Sqrt(0.2 * 0.8 / 4000); math.Abs(r.Lost-0.2) > 4*se || math.Abs(r.SE-se) > 0.1*se {
			t.Errorf("%s: lost %.4f ± %.4f, want 0.2 ± %.4f", r.Rule, r.Lost, r.SE, se)
		}
	}
}

func TestSimulateIsTheSameOnAnyMachine(t *testing.T) {
	o := shiftOptions(5, 6)
	o.Draws = 16
	want := simulate(t, o)
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	if got := simulate(t, o); !reflect.DeepEqual(got, want) {
		t.Errorf("on one processor:\n%s\non all:\n%s", got, want)
	}
}

func TestMorePressesLoseFewer(t *testing.T) {
	o := shiftOptions(5, 20)
	o.Draws, o.Work = 8, noWork
	one := simulate(t, o)
	o.Bench = Capacity{Presses: 2, Hands: 2}
	two := simulate(t, o)
	for k := range one.Rules {
		if two.Rules[k].Lost > one.Rules[k].Lost-0.1 {
			t.Errorf("%s: lost %.3f at one press and pair of hands, %.3f at two", one.Rules[k].Rule, one.Rules[k].Lost, two.Rules[k].Lost)
		}
	}
}

func TestSimulateStops(t *testing.T) {
	ctx, stop := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer stop()
	o := shiftOptions(5, MaxShifts)
	o.Flasks, o.Draws = 12, 32
	if _, err := Simulate(ctx, o); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("cut short: %v", err)
	}
}

func TestSimulateOutOfRange(t *testing.T) {
	for want, change := range map[string]func(*ShiftOptions){
		"0 shifts":              func(o *ShiftOptions) { o.Shifts = 0 },
		"100001 shifts":         func(o *ShiftOptions) { o.Shifts = MaxShifts + 1 },
		"0 flasks":              func(o *ShiftOptions) { o.Flasks = 0 },
		"no mix":                func(o *ShiftOptions) { o.Mixes = nil },
		"end of the dough":      func(o *ShiftOptions) { o.Mixes = []time.Duration{MaxTime + 1} },
		"no size of base":       func(o *ShiftOptions) { o.Sizes = nil },
		"share NaN":             func(o *ShiftOptions) { o.Sizes = []Size{{"any", math.NaN(), knownTo(1)}} },
		"size any: all are not": func(o *ShiftOptions) { o.Sizes = []Size{{"any", 1, nil}} },
		"-1 draws":              func(o *ShiftOptions) { o.Draws = -1 },
		"press duration hold":   func(o *ShiftOptions) { o.Durations.Hold = -1 },
		"0 presses":             func(o *ShiftOptions) { o.Bench.Presses = 0 },
	} {
		o := shiftOptions(0, 2)
		change(&o)
		if _, err := Simulate(context.Background(), o); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want an error that says %q, got %v", want, err)
		}
	}
}

// BenchmarkShifts replays the six rows and reports each rule's share lost; with -v it prints the tables.
func BenchmarkShifts(b *testing.B) {
	n := *shifts
	if n == 0 {
		n = 2000
	}
	for row, r := range tableRows {
		b.Run(fmt.Sprintf("mixes=%d/flasks=%d", len(r.mixes), r.flasks), func(b *testing.B) {
			var table ShiftTable
			for b.Loop() {
				table = simulate(b, shiftOptions(row, n))
			}
			for _, x := range table.Rules {
				b.ReportMetric(x.Lost, strings.ReplaceAll(x.Rule, " ", "-")+"-lost")
			}
			b.Log("\n" + table.String())
			if rule := notLowest(table); rule != "" {
				b.Errorf("%q loses clearly fewer than the look-ahead", rule)
			}
		})
	}
}
