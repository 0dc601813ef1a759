package review

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flaskside/logbook/stats"
	_ "flaskside/timers/longrun" // room for the collector, scratch folders in memory
)

func ofBench(name string, defects, ended int) AtBench {
	r := Review{Ended: ended, AnyDefect: share(defects, ended), Dough: dough{Inside: share(ended, ended)}}
	return AtBench{Bench: name, Book: strings.ToUpper(name), Review: r}
}

// TestBenchesTogether: of 200 flasks at four benches, 20 with a defect, one bench has 17 of its
// 50: beyond chance by the exact limits (of 50 at 10 %: 1 to 9 within 95 %, for
// P(X>=10) = 0.0245 and P(X<=0) = 0.0052 in tables of the binomial distribution).
func TestBenchesTogether(t *testing.T) {
	all := []AtBench{ofBench("a", 1, 50), ofBench("b", 17, 50), ofBench("c", 1, 50), ofBench("d", 1, 50), {Bench: "e", Err: "spoilt"}}
	got := compareBenches(all)
	if len(got) != 2 || got[0].Name != "any defect" || got[0].All.Count != 20 || got[0].All.N != 200 {
		t.Fatalf("%+v", got)
	}
	for _, b := range got[0].Benches {
		want := 0.0
		if b.Bench == "b" {
			want = stats.FunnelOuter
		}
		if b.Beyond != want || b.Limits.InnerLow != 1 || b.Limits.InnerHigh != 9 {
			t.Errorf("%+v", b)
		}
	}
	var text, table bytes.Buffer
	if err := TextOf(&text, all); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"REVIEW OF 5 BENCHES", "NOT READ: e: spoilt", "ANY DEFECT", "together 20 of 200", "17 of 50", "BEYOND CHANCE", "it does not tell a cause"} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("the text does not say %q:\n%s", want, text.String())
		}
	}
	if strings.Count(text.String(), "BEYOND CHANCE") != 1 {
		t.Error("one bench is beyond chance")
	}
	if err := CSVOf(&table, all); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&table).ReadAll()
	if err != nil || len(rows) != 1+2*5 {
		t.Errorf("%d rows, %v", len(rows), err)
	}
}

// TestBenchesAnyhow: whatever the counts, the text stands, the sums are the sums, and no bench
// with the share of all is called beyond chance.
func TestBenchesAnyhow(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var all []AtBench
		k, n := 0, 0
		for i := range rapid.IntRange(0, 6).Draw(rt, "benches") {
			ended := rapid.IntRange(0, 300).Draw(rt, "ended")
			bad := rapid.IntRange(0, ended).Draw(rt, "bad")
			all = append(all, ofBench(fmt.Sprint("bench ", i), bad, ended))
			k, n = k+bad, n+ended
		}
		for _, t := range compareBenches(all) {
			if t.Name == "any defect" && (t.All.Count != k || t.All.N != n) {
				rt.Fatalf("together %+v, not %d of %d", t.All, k, n)
			}
			for _, b := range t.Benches {
				if b.Share.Value == t.All.Value && b.Beyond != 0 {
					rt.Fatalf("as all others, and beyond chance: %+v", b)
				}
			}
		}
		if err := TextOf(new(bytes.Buffer), all); err != nil {
			rt.Fatal(err)
		}
	})
}
