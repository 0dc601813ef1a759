package press

import (
	"slices"
	"testing"
	"time"
)

// Minutes to spare settle ties, no more: a chance of a flask of a few hundredths outweighs all the minutes there can be.
func TestMinutesToSpareOnlySettleTies(t *testing.T) {
	for _, c := range []struct {
		spare time.Duration
		want  float64
	}{{0, 1}, {10 * time.Minute, 1.015}, {1000 * time.Hour, 1.03}} {
		p := &plan{due: []time.Duration{c.spare}}
		if got := p.spare(0, 0); got < c.want-1e-4 || got > c.want+1e-9 {
			t.Errorf("a flask in time with %v to spare is worth %v, want %v", c.spare, got, c.want)
		}
	}
	// Flask 1 is ready and has hours. Flask 2 has a chance of one in twenty if it goes first, none after: five hundredths of
	// a flask against the minutes that flask 1 would have to spare, worth less than one.
	jobs := []Job{
		{ID: "1", Ready: true, Due: mins(30)},
		{ID: "2", Due: mins(5.5), More: []float64{0.05, 0.95}},
	}
	for _, work := range []int{0, noWork} {
		if a := advise(t, jobs, houseBench(), AdviceOptions{Work: work}); a.Next.Flask != "2" {
			t.Errorf("work %d: next %+v, want flask 2: its chance is gone afterwards", work, a.Next)
		}
	}
}

// allIn is a bench of one flask that is in time with a chance, and one past doubt.
func allIn(chance float64) []Job {
	return []Job{
		{ID: "1", Due: mins(10), More: []float64{0, chance, 1 - chance}},
		{ID: "2", Due: mins(300), More: knownTo(1)},
	}
}

// One is named to give up where it is less likely than not that all will be in time; what was named stays named until it
// is likelier than six in ten.
func TestGiveUpFromAnEvenChance(t *testing.T) {
	for _, c := range []struct {
		chance float64
		before string
		want   bool
	}{{0.52, "", false}, {0.48, "", true}, {0.4, "", true}, {0.58, "1", true}, {0.62, "1", false}} {
		var o AdviceOptions
		if c.before != "" {
			o.Previous = &Advice{GiveUp: c.before}
		}
		a := advise(t, allIn(c.chance), houseBench(), o)
		if (a.GiveUp != "") != c.want {
			t.Errorf("all in time %.3f, gave up %q before: give up %q", a.AllInTime, c.before, a.GiveUp)
		}
	}
}

// A flask that nothing helps is told to be packed anew below a chance of 0.15, not above.
func TestRemixBelowFifteenInHundred(t *testing.T) {
	for chance, want := range map[float64]bool{0.13: true, 0.17: false, 0.35: false} {
		a := advise(t, []Job{{ID: "1", Due: mins(10), More: []float64{0, chance, 1 - chance}}}, houseBench(), AdviceOptions{})
		if got := slices.Contains(codes(a.Flasks[0].Help), Remix); got != want {
			t.Errorf("chance %.3f: remix %v, want %v", a.Flasks[0].Chance, got, want)
		}
	}
}

// A choice is left aside only when it is behind by more than three standard errors and by more than the gap.
func TestLeftAsideOnlyWhenClearlyWorse(t *testing.T) {
	// In n playings the second is behind by one flask in k of them: by k/n, with a standard error of about sqrt(k)/n.
	behind := func(k int) bool {
		const n = 100
		a := &ahead{gap: 0.01, choices: make([]choice, 2)}
		for i := range n {
			x := 0.0
			if i < k {
				x = 1
			}
			a.choices[0].out = append(a.choices[0].out, outcome{score: x})
			a.choices[1].out = append(a.choices[1].out, outcome{})
		}
		a.leaveAside(&a.choices[0])
		return a.choices[1].aside
	}
	// 8 of 100: 0.08, three standard errors are 0.0818. 9 of 100: 0.09, three are 0.0863.
	if behind(8) || !behind(9) {
		t.Errorf("left aside behind by 8 of 100 playings: %v, by 9: %v; want no and yes", behind(8), behind(9))
	}
}

// At a chance of 0.15 itself nobody says to pack it anew: twelve of eighty playings.
func TestRemixNotAtFifteenInHundred(t *testing.T) {
	a := advise(t, []Job{{ID: "1", Due: mins(10), More: []float64{0, 0.15, 0.85}}}, houseBench(), AdviceOptions{Draws: 20})
	if f := a.Flasks[0]; f.Chance != 0.15 || slices.Contains(codes(f.Help), Remix) {
		t.Errorf("chance %v: help %+v", f.Chance, f.Help)
	}
}

// A help is named when it adds one chance in ten, even where it costs more than it brings; the figures of others are what
// the others gain or lose, the flask helped and the one left aside not counted.
func TestHelpOfOneInTenIsNamed(t *testing.T) {
	// Flask 1 is in time only if it goes at once, flask 2 then never; if it goes first, in one playing of ten.
	jobs := []Job{
		{ID: "1", Ready: true, Due: mins(2.5)},
		{ID: "2", Due: mins(5.5), More: []float64{0.1, 0.9}},
	}
	a := advise(t, jobs, houseBench(), AdviceOptions{Draws: 10})
	want := []Help{{Code: TakeFirst, Chance: 0.1, Others: -1}, {Code: LetWait, Flask: "1", Chance: 0.1}}
	if f := a.Flasks[1]; f.Chance != 0 || !slices.Equal(f.Help, want) {
		t.Errorf("chance %v: help %+v, want %+v", f.Chance, f.Help, want)
	}
}

// What going first costs the others is held against what they have, not against what all have.
func TestOthersLoseWhatTheyHad(t *testing.T) {
	jobs := []Job{{ID: "1", Due: mins(12), More: knownTo(2)}, {ID: "2", Due: mins(12), More: knownTo(2)}}
	o, err := AdviceOptions{}.settled()
	if err != nil {
		t.Fatal(err)
	}
	q := newDesk(jobs, houseDurations(), houseBench(), o)
	if got := q.helpOne(1, []float64{1, 0.5}, make([]*without, 2)); len(got) != 1 || got[0] != (Help{Code: TakeFirst, Chance: 1, Others: -1}) {
		t.Errorf("%+v", got)
	}
}

// Four flasks have widths of their own, the others those of full benches.
func TestFourFlasksHaveTheirOwnWidths(t *testing.T) {
	for n, first := range map[int]width{4: widthsFour[0], 5: widths[0], 6: widths[0]} {
		p, w := newPlan(nine()[:n], houseDurations(), houseBench())
		for work := 1000; ; work += work / 4 {
			if table := p.solved(w, work); table != nil { // the first width that there is room for
				if table.width != first {
					t.Errorf("%d flasks, work %d: %+v, want %+v", n, work, table.width, first)
				}
				break
			}
			if work > maxWork {
				t.Fatalf("%d flasks are not solved", n)
			}
		}
	}
}

// A flask is fresh while nothing was done to it: none that is known to be ready, none that was judged.
func TestFreshIsUntouched(t *testing.T) {
	p, w := newPlan(nine(), houseDurations(), houseBench())
	table := newTable(p, 1, width{})
	for _, c := range []struct {
		cell cell
		want bool
	}{{cell{need: 1}, true}, {cell{need: 0}, false}, {cell{need: 1, made: 1}, false}, {cell{need: 1, stage: Untrimmed}, false}} {
		w.cells[0] = c.cell
		if got := table.fresh(w, 0); got != c.want {
			t.Errorf("%+v: fresh %v", c.cell, got)
		}
	}
}

// What brings as much as it costs is worth it, so that nobody is told to pack anew; of two that could wait alike the first
// is named.
func TestWorthItsCost(t *testing.T) {
	jobs := []Job{{ID: "1", Due: mins(12), More: knownTo(2)}, {ID: "2", Due: mins(12), More: knownTo(2)}, {ID: "3", Due: mins(12), More: knownTo(2)}}
	o, err := AdviceOptions{}.settled()
	if err != nil {
		t.Fatal(err)
	}
	q := newDesk(jobs, houseDurations(), houseBench(), o)
	if got := q.helpOne(1, []float64{1, 0, 0}, make([]*without, 3)); !slices.Equal(got, []Help{{Code: TakeFirst, Chance: 1, Others: -1}}) {
		t.Errorf("%+v", got)
	}
	some := &without{chances: []float64{0, 0.5, 0}, expected: 0.5}
	got := q.helpOne(1, []float64{1, 0, 0}, []*without{some, nil, some})
	if k := slices.Index(codes(got), LetWait); k < 0 || got[k].Flask != "1" {
		t.Errorf("%+v", got)
	}
}
