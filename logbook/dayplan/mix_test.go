package dayplan

import (
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flaskside/logbook/house"
	"flaskside/logbook/words"
	"flaskside/timers/longrun"
	"flaskside/timers/plan"
)

// asReference is a house with the dough of the reference days: workable from 12.5 to 40.5 min, 28 min in all.
func asReference() house.House {
	h := house.Default()
	h.Resins[0].DoughFromMin, h.Resins[0].WorkUntilMin = 12.5, 40.5
	return h
}

// The trend and the reference simulator (testdata/plan/plan.py) work the closures of each size out of the same house
// values, each in its own way.
func TestClosuresAsTheReferenceWorksThemOut(t *testing.T) {
	var ref struct {
		Closures map[string]map[string]float64 `json:"closures_pmf"`
	}
	b, err := os.ReadFile("../../testdata/plan/cases.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &ref); err != nil {
		t.Fatal(err)
	}
	c, err := closuresOf(house.Default())
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range []string{"s", "m", "l"} {
		for k := 2; k <= 12; k++ { // the trend looks no farther ahead
			if want := ref.Closures[s][strconv.Itoa(k)]; math.Abs(c[i][k]-want) > 1e-8 {
				t.Errorf("%s: %d closures with chance %.10f, want %.10f", s, k, c[i][k], want)
			}
		}
	}
}

// The figures are the reference's, by its own rounding (testdata/plan/cases.json, flasks_per_mix, and a mould trimmed in
// 60 s instead of 90 s).
func TestMixWords(t *testing.T) {
	h := asReference()
	quick := asReference()
	quick.Work.TrimS = 60
	pairs := asReference()
	pairs.Press.Hands = 2
	for _, c := range []struct {
		h           house.House
		in, waiting string
		want        string
	}{
		{h, "medium medium", "medium", "closed in time: two medium 90 %, with a third 11 %"},
		{h, "medium medium", "large medium", "closed in time: two medium 90 %, with a third 11 %"},
		{h, "medium medium", "large", "closed in time: two medium 90 %, with a large as third 2 %"},
		{h, "large", "", "closed in time: one large 89 %"},
		{h, "medium small", "", "closed in time: a small and a medium 95 %"},
		{h, "small small small", "", "closed in time: three small 49 %"},
		{quick, "small small small", "", "closed in time: three small 85 %"},
		{quick, "medium medium", "", "closed in time: two medium 97 %"},
		{pairs, "medium medium", "", "closed in time: two medium 97 %"},
		{h, "", "medium", ""},
		{h, "vast", "medium", ""},
	} {
		got, err := MixWords(c.h, "", 23, strings.Fields(c.in), strings.Fields(c.waiting))
		want := c.want
		if want != "" {
			want += " (estimate; dough for 28 min, press free)"
		}
		if err != nil || got != want {
			t.Errorf("%s | %s: %q, %v, want %q", c.in, c.waiting, got, err, want)
		}
	}
}

// Whatever the house and the flasks, no chance is told as nothing or as certain, one more flask never has the better
// chance, and all of it is called an estimate.
func TestMixWordsPromiseNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := anyHouse(t)
		in := rapid.SliceOfN(rapid.SampledFrom([]string{"small", "medium", "large"}), 0, 6).Draw(t, "in")
		waiting := rapid.SliceOfN(rapid.SampledFrom([]string{"small", "medium", "large"}), 0, 3).Draw(t, "waiting")
		room := rapid.Float64Range(15, 32).Draw(t, "room")
		if len(in) > 3 && len(waiting) > 0 {
			in = in[:3] // the larger are slow
		}
		s, err := MixWords(h, h.Resins[0].Name, room, in, waiting)
		if err != nil {
			t.Fatal(err)
		}
		if s == "" {
			if len(in) > 0 && len(in) <= plan.MaxMix {
				t.Fatalf("nothing told of %v", in)
			}
			return
		}
		if !strings.Contains(s, "estimate") || strings.Contains(s, " 0 %") || strings.Contains(s, " 100 %") || strings.Contains(s, "NaN") {
			t.Fatal(s)
		}
		p, err := houseOf(h, room)
		if err != nil {
			t.Fatal(err)
		}
		before := 2.
		for n := 1; n <= len(in); n++ {
			c, err := plan.MixChance(sizesOf(in[:n]), p.Doughs[0].WindowMin(), p, p.Hands, p.Presses)
			if err != nil {
				t.Fatal(err)
			}
			if !(c.All >= 0 && c.All <= 1+1e-9) || c.Lost < -1e-9 || c.Lost > float64(n)+1e-9 {
				t.Fatalf("%v: %+v", in[:n], c)
			}
			if c.All > before+.002 { // closures are told apart less finely the more flasks there are
				t.Fatalf("%v have %.4f, with one less %.4f", in[:n], c.All, before)
			}
			before = c.All
		}
	})
}

// anyHouse is a house of any sort that its own check passes.
func anyHouse(t *rapid.T) house.House {
	h := house.Default()
	n := func(name string, lo, hi int) int { return rapid.IntRange(lo, hi).Draw(t, name) }
	h.Press.Hands, h.Press.Presses, h.Press.MinTrials = n("hands", 1, 3), n("presses", 1, 3), n("trials", 1, 3)
	h.Press.HoldS = n("hold", 1, 600)
	h.Work = house.Work{RaiseS: n("raise", 0, 300), OpenS: n("open", 0, 300), TrimS: n("trim", 0, 900), FinalS: n("final", 0, 900), MixS: n("mix", 0, 900)}
	h.Press.Grade = rapid.SampledFrom([]string{"none", "slight"}).Draw(t, "grade")
	h.Resins[0].DoughFromMin = float64(n("dough", 1, 40))
	h.Resins[0].WorkUntilMin = h.Resins[0].DoughFromMin + float64(n("window", 1, 120))
	if err := h.Valid(); err != nil {
		t.Skip(err)
	}
	return h
}

func TestTableOfFlasksToAMix(t *testing.T) {
	longrun.SkipUnderRace(t)
	h := asReference()
	table, err := TableOf(h, h.Resins[0].Name, 23, 1, 1)
	if err != nil {
		t.Fatal(err)
	}
	if len(table.Rows) != 34 || len(table.Windows) != 4 || table.Windows[2] != 28 {
		t.Fatalf("%d rows, windows %v", len(table.Rows), table.Windows)
	}
	want := map[string]string{"one small": ">99 %", "two medium": "90 %", "three small": "49 %", "two large": "36 %", "a small, a medium and a large": ""}
	for _, r := range table.Rows {
		if w := want[r.Flasks]; w != "" && words.Percent(r.AllIn[2]) != w {
			t.Errorf("%s: %s, want %s", r.Flasks, words.Percent(r.AllIn[2]), w)
		}
	}
	var b strings.Builder
	if err := table.Text(&b); err != nil {
		t.Fatal(err)
	}
	for _, s := range []string{"estimates; you decide", "dough can be worked for about 28 min", "one pair of hands, one press", "any other four: under 5 %", "house values the program came with"} {
		if !strings.Contains(b.String(), s) {
			t.Errorf("%q is not in:\n%s", s, b.String())
		}
	}
	h.Work.TrimS = 60
	table, err = TableOf(h, h.Resins[0].Name, 23, 1, 1)
	if err != nil || !table.Learned || !strings.Contains(table.basis(), "your settings") {
		t.Errorf("a house of its own times: %v, %q", err, table.basis())
	}
}
