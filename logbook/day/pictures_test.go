package day

import (
	"encoding/xml"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bath"
	"flaskside/logbook/bench"
	"flaskside/logbook/flash"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/longrun"
)

// inside checks that every point of a drawing is a place on it.
func inside(t interface{ Fatalf(string, ...any) }, d drawing) {
	for _, s := range d.shapes {
		for _, p := range s.at {
			if math.IsNaN(p.x) || math.IsNaN(p.y) || p.x < -0.01 || p.x > d.w+0.01 || p.y < -0.01 || p.y > d.h+0.01 {
				t.Fatalf("%s: a shape %d stands at %v in %g × %g mm", d.name, s.form, p, d.w, d.h)
			}
		}
	}
}

func marks(d drawing, f form) []point {
	var out []point
	for _, s := range d.shapes {
		if s.form == f {
			out = append(out, s.at[0])
		}
	}
	return out
}

// TestTrendIsThePicture: each closure stands where the picture of the screen has it,
// weighed ones as diamonds, those to come as rings only while there are some.
func TestTrendIsThePicture(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := flash.History{Size: flash.Medium}
		for range rapid.IntRange(1, 20).Draw(t, "closures") {
			tr := flash.Trial{Grade: rapid.SampledFrom([]flash.Grade{flash.None, flash.Slight, flash.Heavy}).Draw(t, "grade"), Added: rapid.Bool().Draw(t, "added")}
			if rapid.Bool().Draw(t, "weighed") {
				g := rapid.Float64Range(0.01, 80).Draw(t, "grams")
				tr.Grams = &g
			}
			h.Trials = append(h.Trials, tr)
		}
		s := house.Default().Flash
		post, err := flash.Fit(s, h)
		if err != nil {
			t.Skip("no trend to draw")
		}
		p := flash.NewPicture(s, h, post)
		for _, ahead := range []bool{true, false} {
			d := drawTrend(p, trendW, trendH, ahead)
			inside(t, d)
			discs, diamonds := marks(d, disc), marks(d, diamond)
			if len(discs)+len(diamonds) != len(p.Points) {
				t.Fatalf("%d marks for %d closures", len(discs)+len(diamonds), len(p.Points))
			}
			if n := len(marks(d, hollow)); !ahead && n > 0 || ahead && n != p.Last-p.Done {
				t.Fatalf("%d marks to come, ahead %v", n, ahead)
			}
			for _, dot := range p.Points {
				at := &discs
				if dot.Weighed {
					at = &diamonds
				}
				m := (*at)[0]
				*at = (*at)[1:]
				if x := (m.x - 10) / (trendW - 19); math.Abs(x-p.X(float64(dot.Trial))) > 1e-9 {
					t.Fatalf("closure %d stands at %g across, the screen has it at %g", dot.Trial, x, p.X(float64(dot.Trial)))
				}
				if y := 1 - m.y/(trendH-4.2); math.Abs(y-p.Y(dot.Y)) > 1e-9 {
					t.Fatalf("closure %d stands at %g up, the screen has it at %g", dot.Trial, y, p.Y(dot.Y))
				}
			}
		}
	})
}

// TestCurveFollowsItsProgramme: whatever a bath reads, the drawing keeps to its
// frame, and the programme goes through the corners that it names.
func TestCurveFollowsItsProgramme(t *testing.T) {
	longrun.Checks(t, 30, 100)
	rapid.Check(t, func(t *rapid.T) {
		from := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
		stages := []house.Stage{{TempC: rapid.Float64Range(60, 80).Draw(t, "hold"), HoldS: 3600 * rapid.IntRange(1, 9).Draw(t, "hours"), RampS: 600 * rapid.IntRange(0, 3).Draw(t, "ramp")}, {TempC: 100, HoldS: 3600, RampS: 1800}}
		var recs []record.Record
		add := func(at time.Duration, body action.Body) {
			recs = append(recs, record.Record{Seq: uint64(len(recs) + 1), Stamp: timers.Stamp{At: from.Add(at)}, Action: action.Action{ID: string(rune('a' + len(recs))), Body: body}})
		}
		add(0, action.FlaskOpen{Flask: 1, Place: 1, Case: "1", Base: "upper", Size: "small"})
		add(time.Hour, action.BathLoad{Load: 1, Bath: 1, Flasks: []int{1}, Programme: "x", Stages: stages, BathC: rapid.Float64Range(15, 80).Draw(t, "bath")})
		for i := range rapid.IntRange(0, 8).Draw(t, "readings") {
			add(time.Hour+time.Duration(i)*17*time.Minute, action.BathReading{Bath: 1, TempC: rapid.Float64Range(0, 130).Draw(t, "read"), Source: "typed"})
		}
		s := Sheet{Bench: bench.Fold(recs, bench.Counters{}), From: from, Until: from.Add(24 * time.Hour)}
		l := s.Bench.Loads[1]
		e, err := bath.Of(s.Bench, l).Estimate()
		if err != nil {
			t.Skip("the model does not take it")
		}
		d := s.curve(l, &e, curveW, curveH)
		inside(t, d)
		legendAbove(t, d)
		for _, sh := range d.shapes {
			if sh.form == stroke && sh.ink == pale && len(sh.at) > 2 {
				return
			}
		}
		t.Fatalf("the programme is not drawn")
	})
}

// legendAbove holds that no curve and no reading comes to where the legend stands.
func legendAbove(t *rapid.T, d drawing) {
	foot, named := 0.0, 0
	for _, sh := range d.shapes {
		if sh.form == lettering && slices.Contains([]string{"programme", "bath", "core (estimate)", "expected, not read"}, sh.text) {
			foot, named = math.Max(foot, sh.at[0].y), named+1
		}
	}
	if named != 4 {
		t.Fatalf("the legend names %d of 4", named)
	}
	for _, sh := range d.shapes {
		if sh.form == stroke && len(sh.at) > 2 || sh.form == disc {
			for _, p := range sh.at {
				if p.y < foot {
					t.Fatalf("at %v something lies on the legend, which ends at %g", p, foot)
				}
			}
		}
	}
}

// TestSVGText: any text of a drawing is read as XML reads it, and as it was given.
func TestSVGText(t *testing.T) {
	const text = `<b>&amp;"'`
	d := drawing{w: 10, h: 10, name: text}
	d.write(black, small, 0, point{5, 5}, text)
	var got struct {
		Name string `xml:"aria-label,attr"`
		Text string `xml:"text"`
	}
	if err := xml.Unmarshal([]byte(d.SVG()), &got); err != nil || got.Name != text || got.Text != text {
		t.Errorf("%q came back as %+v, %v", text, got, err)
	}
}
