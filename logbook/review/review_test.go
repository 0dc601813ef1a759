package review

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/timers/longrun"
)

var update = flag.Bool("update", false, "write the files under testdata anew")

func (l *lab) review(from, until time.Time) Review {
	return Of(bench.Fold(l.recs, bench.Counters{}), from, until, boil{})
}

// opened puts a flask on a place, its separator dry.
func (l *lab) opened(place int, size action.Size, caseNo string) int {
	l.t.Helper()
	no := l.do(60, action.FlaskOpen{Place: place, Case: caseNo, Base: "upper", Size: size}).Action.Body.(action.FlaskOpen).Flask
	l.do(10, action.Coat{Flask: no, Half: "both"})
	return no
}

// trial is one trial closure under a pressure, two minutes from press to judged.
func (l *lab) trial(flask int, psi float64, grade action.Grade) {
	l.t.Helper()
	l.do(30, action.PressIn{Flask: flask})
	l.do(40, action.PressAt{Flask: flask, PressurePSI: psi})
	l.do(60, action.PressOpen{Flask: flask})
	l.do(20, action.Flash{Flask: flask, Grade: grade})
}

func (l *lab) final(flask int, psi float64) {
	l.t.Helper()
	l.do(30, action.SheetOut{Flask: flask})
	l.do(40, action.MetalToMetal{Flask: flask, PressurePSI: psi})
	l.do(30, action.Clamp{Flask: flask})
}

// TestByHand: a few flasks whose figures can be told with pencil and paper.
func TestByHand(t *testing.T) {
	begin := time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)
	l := newLab(t, 1, begin)
	one, two, three := l.opened(1, "small", "5001"), l.opened(2, "large", "5002"), l.opened(3, "large", "5003")
	l.do(700, action.MixMake{Flasks: []int{one, two}, RoomC: 23, DoughS: 600, WorkS: 2700})
	l.do(600, action.MixDough{Mix: 1})
	l.trial(one, 3000, "heavy")
	l.trial(one, 3000, "slight")
	l.trial(two, 2500, "heavy") // low, but neither the last trial nor the final closure
	slip := l.do(10, action.PressIn{Flask: two})
	l.do(5, action.TakeBack{Of: slip.Action.ID})
	l.trial(two, 3000, "heavy")
	l.trial(two, 3000, "slight")
	l.final(one, 3000)
	l.do(3600, action.SheetOut{Flask: two})
	metal := l.do(40, action.MetalToMetal{Flask: two, PressurePSI: 3000}) // long after the dough
	l.do(10, action.Clamp{Flask: two})
	l.do(10, action.Correct{Of: metal.Action.ID, Set: json.RawMessage(`{"pressure_psi":2000}`)})
	h := house.Default()
	h.Press.PressurePSI = 2000
	l.do(10, action.Settings{House: h}) // what is lower afterwards is not low any more
	l.trial(three, 2100, "slight")      // without a mix
	l.final(three, 2100)
	l.do(1900, action.BathLoad{Flasks: []int{one, two, three}, Programme: "short and boil"})
	l.do(4*3600, action.BathUnload{Flasks: []int{one, two, three}})
	l.do(1900, action.CoolWater{Flasks: []int{one, two, three}})
	l.do(1000, action.Deflask{Flasks: []int{one, two, three}})
	for i, no := range []int{one, two} {
		l.do(60, action.Remount{Flask: no, PinMM: []float64{0.2, 1.2}[i]})
	}
	l.do(60, action.Outcome{Flask: one, Outcome: "finished here"})
	l.do(60, action.Outcome{Flask: two, Outcome: "remake", Defects: []string{"porosity", "open bite"}})

	r := l.review(begin, begin.AddDate(0, 0, 1))
	equal := func(what string, got, want any) {
		t.Helper()
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	equal("opened, closed, ended, going", []int{r.Opened, r.Closed, r.Ended, r.Going}, []int{3, 3, 2, 1})
	equal("sizes", []action.Size{r.Closures[0].Size, r.Closures[1].Size, r.Closures[2].Size}, []action.Size{"small", "large", ""})
	equal("closures of small", []float64{r.Closures[0].Mean, r.Closures[0].Max}, []float64{2, 2})
	equal("closures of large", []float64{r.Closures[1].Mean, r.Closures[1].Max}, []float64{2, 3}) // 3 and 1: the one taken back is none
	equal("counts", r.Closures[2].Counts, []int{0, 1, 1, 1, 0, 0, 0})
	equal("dough", []int{r.Dough.Inside.Count, r.Dough.Inside.N, r.Dough.Before, r.Dough.After, r.Dough.NoMix}, []int{1, 2, 0, 1, 1})
	equal("press to judged", []float64{r.Times[0].Min, r.Times[0].Max}, []float64{120, 120})
	equal("closures timed", r.Times[0].N, 6)
	equal("pin", []float64{float64(r.Pin[len(r.Pin)-1].N), r.Pin[len(r.Pin)-1].Mean}, []float64{2, 0.7})
	equal("no opening below zero", []any{r.PinChart.Floor, r.PinChart.Low}, []any{true, 0}) // 0.7 - 2.66
	equal("any defect", []int{r.AnyDefect.Count, r.AnyDefect.N}, []int{1, 2})
	equal("remakes", []int{r.Outcomes[2].Count, len(r.remakes())}, []int{1, 1})
	equal("corrections", []int{r.Corrections.Corrected, r.Corrections.TakenBack}, []int{1, 1})
	// flask 1 had nothing; flask 2 was closed late, and low as corrected; flask 3 had no
	// mix and ended in no outcome yet.
	equal("unusual of flask 1", r.Flasks[0].Unusual, []string{})
	for _, code := range []string{"dough-late", lowCode, outsideCode} {
		if !slices.Contains(r.Flasks[1].Unusual, code) {
			t.Errorf("flask 2: %v lacks %s", r.Flasks[1].Unusual, code)
		}
	}
	if u := r.Flasks[2].Unusual; !slices.Contains(u, "no-mix") || slices.Contains(u, lowCode) {
		t.Errorf("flask 3: %v", u)
	}
	for _, a := range r.Against {
		if a.Code == "no-mix" {
			t.Error("a flask without an outcome is held against defects")
		}
		if a.Code == lowCode && (a.Defect.With.Count != 1 || a.Defect.With.N != 1 || a.Defect.Without.Count != 0 || a.Defect.tells()) {
			t.Errorf("%+v", a)
		}
	}
	// Of another day there is nothing.
	later := l.review(begin.AddDate(0, 0, 1), begin.AddDate(0, 0, 2))
	equal("the day after", []int{later.Opened, later.Closed, later.Ended, later.Going, len(later.Flasks)}, []int{0, 0, 0, 1, 0})
}

func rowsOf(t *testing.T, r Review, table Table) [][]string {
	t.Helper()
	var b bytes.Buffer
	if err := r.CSV(&b, table); err != nil {
		t.Fatal(err)
	}
	// RFC 4180, section 2: lines end with CR LF, and all rows have as many fields, which
	// the reader sees to.
	if bytes.Count(b.Bytes(), []byte("\n")) != bytes.Count(b.Bytes(), []byte("\r\n")) || !bytes.HasSuffix(b.Bytes(), []byte("\r\n")) {
		t.Errorf("table %s: not every line ends with CR LF", table)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// TestAgainstR: an invented month, its table of flasks reviewed once more by R
// (testdata/review/month.R) and the figures compared.
func TestAgainstR(t *testing.T) {
	l, from, until := month(t, 1, 200)
	r := l.review(from, until)
	dir := filepath.Join("..", "..", "testdata", "review")
	var b bytes.Buffer
	if err := r.CSV(&b, PerFlask); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "month-flasks.csv")
	if *update {
		if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if kept, err := os.ReadFile(file); err != nil || !bytes.Equal(kept, b.Bytes()) {
		t.Fatalf("the table of flasks is not %s (%v): with -update, and month.R after it, both are made anew", file, err)
	}
	f, err := os.Open(filepath.Join(dir, "month.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	want, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	find := func(rows []bySize, size string) []float64 {
		for _, s := range rows {
			if sizeWords(s.Size) == size {
				return []float64{float64(s.N), s.Mean, s.SD, s.Median, s.Max}
			}
		}
		return nil
	}
	against := func(code string) (against, bool) {
		for _, a := range r.Against {
			if a.Code == code {
				return a, true
			}
		}
		return against{}, false
	}
	charted := func(c *controlChart) []float64 {
		return []float64{c.Center, c.MeanRange, c.High, c.RangeHigh, float64(len(c.Outside))}
	}
	compared := func(c comparison) []float64 {
		return []float64{float64(c.With.Count), float64(c.With.N), float64(c.Without.Count), float64(c.Without.N), c.Two}
	}
	seen := map[string]int{}
	for _, row := range want[1:] {
		var got []float64
		switch row[0] {
		case "closures":
			got = find(r.Closures, row[1])
		case "pin":
			got = find(r.Pin, row[1])
		case "packed":
			s := r.Times[len(r.Times)-1]
			got = []float64{float64(s.N), s.Mean, s.Median, s.Q1, s.Q3}
		case "dough":
			s := r.Dough.Inside
			got = []float64{float64(s.Count), float64(s.N), s.Low, s.High}
		case "chart":
			got = charted(map[string]*controlChart{"closures": r.ClosureChart, "pin": r.PinChart}[row[1]])
		case "defect", "remake":
			a, ok := against(row[1])
			if !ok {
				t.Errorf("%v: the review has no such row", row)
			}
			got = compared(map[string]comparison{"defect": a.Defect, "remake": a.Remake}[row[0]])
		}
		seen[row[0]]++
		for i, v := range got {
			w, err := strconv.ParseFloat(row[2+i], 64)
			if err != nil || math.Abs(v-w) > 1e-9*math.Max(1, math.Abs(w)) {
				t.Errorf("%v: value %d is %.12g", row, i+1, v)
			}
		}
	}
	if seen["closures"] != 4 || seen["pin"] != 4 || seen["chart"] != 2 || seen["defect"] != len(r.Against) || len(r.Against) < 6 {
		t.Errorf("too little was compared: %v, %d conditions", seen, len(r.Against))
	}
}

// TestPartsMakeTheWhole: two periods side by side tell of the same flasks, records and
// corrections as the period of both, and every number is one.
func TestPartsMakeTheWhole(t *testing.T) {
	longrun.Checks(t, 40, 100)
	l, from, until := month(t, 3, 60)
	b := bench.Fold(l.recs, bench.Counters{})
	whole := Of(b, from, until, boil{})
	rapid.Check(t, func(t *rapid.T) {
		cut := from.Add(time.Duration(rapid.Int64Range(0, int64(6*24*time.Hour)).Draw(t, "cut")))
		x, y := Of(b, from, cut, boil{}), Of(b, cut, until, boil{})
		for what, n := range map[string][3]int{
			"opened":     {x.Opened, y.Opened, whole.Opened},
			"closed":     {x.Closed, y.Closed, whole.Closed},
			"ended":      {x.Ended, y.Ended, whole.Ended},
			"defects":    {x.AnyDefect.Count, y.AnyDefect.Count, whole.AnyDefect.Count},
			"inside":     {x.Dough.Inside.Count, y.Dough.Inside.Count, whole.Dough.Inside.Count},
			"remakes":    {len(x.remakes()), len(y.remakes()), len(whole.remakes())},
			"records":    {x.Corrections.Records, y.Corrections.Records, whole.Corrections.Records},
			"corrected":  {x.Corrections.Corrected, y.Corrections.Corrected, whole.Corrections.Corrected},
			"taken back": {x.Corrections.TakenBack, y.Corrections.TakenBack, whole.Corrections.TakenBack},
		} {
			if n[0]+n[1] != n[2] {
				t.Fatalf("%s: %d and %d, together %d", what, n[0], n[1], n[2])
			}
		}
		for _, r := range []Review{x, y} {
			if _, err := json.Marshal(r); err != nil { // no number that is none goes through
				t.Fatal(err)
			}
			if err := r.Text(&bytes.Buffer{}); err != nil {
				t.Fatal(err)
			}
			if err := r.HTML(&bytes.Buffer{}); err != nil {
				t.Fatal(err)
			}
		}
	})
	if whole.Corrections.Corrected == 0 || whole.AnyDefect.Count == 0 {
		t.Error("the invented month has nothing to tell")
	}
}

// TestAnyRecords: codes nobody knows, flasks nobody opened and an empty book make a
// review too.
func TestAnyRecords(t *testing.T) {
	begin := time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)
	if r := Of(bench.Fold(nil, bench.Counters{}), begin, begin.AddDate(0, 1, 0), boil{}); len(r.Flasks) > 0 || r.PinChart != nil {
		t.Errorf("%+v", r)
	}
	l := newLab(t, 1, begin)
	no := l.opened(1, "medium", "5001")
	l.do(60, action.Outcome{Flask: no, Outcome: "remake", Defects: []string{"short mould"}})
	l.recs[1].Action.Unusual = []string{"moon full", "clock-back"}
	orphans := l.recs[1:]
	if r := Of(bench.Fold(orphans, bench.Counters{}), begin, begin.AddDate(0, 1, 0), boil{}); len(r.Flasks) > 0 || r.Ended > 0 {
		t.Errorf("a flask whose opening is not there: %+v", r)
	}
	r := l.review(begin, begin.AddDate(0, 1, 0))
	if len(r.Flasks) != 1 || !slices.Equal(r.Flasks[0].Unusual, []string{otherCode}) || r.ClosureChart != nil {
		t.Errorf("%+v", r)
	}
}

// TestBoiling: a thick section put straight into boiling water may boil, a thin one at 74
// °C may not: common practice, no source, and the cure model's own golden cases. Flasks
// without a load are in neither.
func TestBoiling(t *testing.T) {
	begin := time.Date(2026, 11, 2, 6, 0, 0, 0, time.UTC)
	l := newLab(t, 1, begin)
	var all []int
	for i := range 3 {
		no := l.opened(i+1, "medium", fmt.Sprint(5001+i))
		l.do(700, action.MixMake{Flasks: []int{no}, RoomC: 23})
		l.do(700, action.MixDough{Mix: i + 1})
		l.trial(no, 3000, "slight")
		l.final(no, 3000)
		all = append(all, no)
	}
	l.do(1860, action.BathLoad{Flasks: all[:1], Programme: "straight to boil", Stages: []house.Stage{{TempC: 100, HoldS: 3600}}, BathC: 100,
		Sections: []action.Section{{Flask: 1, ThinMM: 8, ThickMM: 12}}})
	l.do(10, action.BathLoad{Flasks: all[1:2], Programme: "long, 9 h", BathC: 74, Sections: []action.Section{{Flask: 2, ThinMM: 2, ThickMM: 2.5}}})
	l.do(10*3600, action.BathUnload{Flasks: all[:2]})
	l.do(1900, action.CoolWater{Flasks: all[:2]})
	l.do(1000, action.Deflask{Flasks: all[:2]})
	l.do(60, action.Remount{Flask: 1, PinMM: 0.2})
	l.do(60, action.Remount{Flask: 2, PinMM: 0.2})
	l.do(60, action.Outcome{Flask: 1, Outcome: "remake", Defects: []string{"porosity"}})
	l.do(60, action.Outcome{Flask: 2, Outcome: "finished here"})
	l.do(60, action.Outcome{Flask: 3, Outcome: "remake"})
	b := bench.Fold(l.recs, bench.Counters{})
	until := begin.AddDate(0, 0, 2)
	x := Boiling(b, begin, until)
	if !x.Estimated || x.Loads != 2 || x.Unknown+x.Assumed != 0 {
		t.Errorf("%+v", x)
	}
	r := Of(b, begin, until, x)
	for i, want := range []bool{true, false, false} {
		if got := slices.Contains(r.Flasks[i].Unusual, boilCode); got != want {
			t.Errorf("flask %d: may boil %v", i+1, got)
		}
	}
	if none := Boiling(b, until, until.AddDate(0, 0, 1)); none.Loads != 0 {
		t.Errorf("%+v", none)
	}
}
