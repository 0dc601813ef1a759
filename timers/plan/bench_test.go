package plan

import (
	"context"
	"testing"
)

// twelve cases of two resins, three due today.
func twelve() []Case {
	var out []Case
	for i := range 12 {
		c := Case{Key: uint64(i), Size: Size(i * 7 % 3), Resin: i % 2, DueMin: 2460, Weight: 1}
		switch {
		case i < 3:
			c.DueMin, c.Weight = 1020, 2
		case i > 8:
			c.DueMin = 3900
		}
		out = append(out, c)
	}
	return out
}

func BenchmarkDay(b *testing.B) {
	h, cases := ownHouse(), twelve()
	e := playable(&h)
	p := e.byRule(cases, fit80, habit{})
	draws := makeDraws(&h, cases, 1, 60)
	w := newPlayer(e, cases)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		w.play(&p, &draws[i%len(draws)])
	}
}

func BenchmarkPick(b *testing.B) {
	h, cases := ownHouse(), twelve()
	draws := makeDraws(&h, cases, 1, 60)
	for b.Loop() {
		if _, err := Pick(context.Background(), h, cases, draws); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMake(b *testing.B) {
	h, cases := ownHouse(), twelve()
	for b.Loop() {
		if _, err := Make(context.Background(), h, cases, SearchOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}

// ownHouse is the house of the reference with the press played by the advice of the bench.
func ownHouse() Lab {
	h := refHouse()
	h.Simple = false
	return h
}
