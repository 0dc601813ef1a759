package review

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
)

// Defects by clamp, with pencil and paper: 3 of 4 flasks with one clamp, 1 of 4 with the other,
// a flask without one. That is the table of the lady tasting tea: p is 0.4857 on two sides
// (Fisher, The Design of Experiments, 1935; the help of R's fisher.test).
func TestDefectsByClamp(t *testing.T) {
	begin := time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)
	l := newLab(t, 1, begin)
	one := func(clamp, tag string, defects ...string) {
		no := l.do(60, action.FlaskOpen{Place: 1, Case: "5001", Base: "upper", Size: "medium", Tag: tag}).Action.Body.(action.FlaskOpen).Flask
		l.do(60, action.Clamp{Flask: no, Clamp: clamp})
		l.do(60, action.Outcome{Flask: no, Outcome: "finished here", Defects: defects})
	}
	for i := range 4 {
		bad, good := []string{"porosity"}, []string(nil)
		if i == 3 {
			bad, good = good, bad
		}
		one("12", "F1", bad...)
		one([]string{"b", "B"}[i%2], "F1", good...)
	}
	one("", "F1", "crazing")
	r := l.review(begin, begin.AddDate(0, 1, 0))
	if len(r.Pieces) != 2 || r.Pieces[0].Piece != "clamp 12" || r.Pieces[1].Piece != "clamp b" { // of the one flask's metal there is no other
		t.Fatalf("the pieces are %+v", r.Pieces)
	}
	c := r.Pieces[0].Defect
	if c.With.Count != 3 || c.With.N != 4 || c.Without.Count != 1 || c.Without.N != 4 || math.Abs(c.Two-0.4857) > 5e-5 || r.Pieces[0].Kinds[0] != 3 {
		t.Errorf("clamp 12: %+v, kinds %v", c, r.Pieces[0].Kinds)
	}
	for name, write := range map[string]func(b *bytes.Buffer) error{"text": func(b *bytes.Buffer) error { return r.Text(b) }, "html": func(b *bytes.Buffer) error { return r.HTML(b) }, "csv": func(b *bytes.Buffer) error { return r.CSV(b, Figures) }} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		want := []string{"clamp 12", "3/4", "p 0.49 small"}
		if name == "csv" {
			want = []string{"any defect by equipment,clamp 12,with,3,4,0.75"}
		}
		for _, w := range want {
			if !strings.Contains(b.String(), w) {
				t.Errorf("%s lacks %q:\n%s", name, w, b.String())
			}
		}
	}
}

// Whatever had which equipment: with and without are all flasks of the kind, the pieces of a
// kind count each flask once, and no figure is told of a kind with one piece.
func TestPiecesMakeTheWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var r Review
		ended := time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)
		for i := range rapid.IntRange(0, 40).Draw(t, "flasks") {
			f := flask{No: i, had: had{Bath: rapid.IntRange(0, 3).Draw(t, "bath"), Press: rapid.IntRange(0, 1).Draw(t, "press"), Tag: rapid.SampledFrom([]string{"", "F1", "f1", "F10", "F2"}).Draw(t, "tag"), Clamp: rapid.SampledFrom([]string{"", "1", "2", "É"}).Draw(t, "clamp")}}
			if rapid.Bool().Draw(t, "ended") {
				f.EndedAt = &ended
			}
			if rapid.Bool().Draw(t, "defect") {
				f.Defects = []string{rapid.SampledFrom(action.Defects).Draw(t, "which")}
			}
			r.Flasks = append(r.Flasks, f)
		}
		sums, others, count := map[string]int{}, map[string]map[int]bool{}, map[string]int{}
		for _, p := range r.pieces() {
			sums[p.Item] += p.Defect.With.N
			count[p.Item]++
			if others[p.Item] == nil {
				others[p.Item] = map[int]bool{}
			}
			others[p.Item][p.Defect.With.N+p.Defect.Without.N] = true
		}
		for _, kind := range held {
			n, names := 0, map[string]bool{}
			for _, f := range r.Flasks {
				if name := f.had.piece(kind); f.EndedAt != nil && name != "" {
					n++
					names[strings.ToLower(name)] = true
				}
			}
			if len(names) < 2 {
				n, names = 0, nil
			}
			if sums[string(kind)] != n || count[string(kind)] != len(names) || n > 0 && fmt.Sprint(others[string(kind)]) != fmt.Sprint(map[int]bool{n: true}) {
				t.Fatalf("%s: %d flasks in %d pieces, want %d in %d (%v)", kind, sums[string(kind)], count[string(kind)], n, len(names), others[string(kind)])
			}
		}
	})
}
