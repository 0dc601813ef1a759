package bath

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/asked"
	"flaskside/logbook/house"
	"flaskside/timers/cure"
)

// What is typed of a cure is taken or refused, in one line; what is taken can be worked out: a
// bath or a programme but never both, an hour to be out by that lies ahead, numbers that are
// numbers. A question put wrongly is called so whatever the settings are.
func TestTypedOfACure(t *testing.T) {
	now := time.Date(2026, 11, 25, 16, 40, 0, 0, time.UTC)
	h := house.Default()
	taken, wrongly := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		tame := rapid.Bool().Draw(rt, "tame") // most of a person's questions are, and one bad word hides all others
		word := func(name string, good ...string) string {
			if any := rapid.OneOf(rapid.SampledFrom([]string{"", "nan", "25:00", "1e999", "x=1", "half_resin=NaN", "0:74"}), rapid.StringN(0, 12, 40)); !tame && rapid.Bool().Draw(rt, name+" odd") {
				return any.Draw(rt, name)
			}
			return rapid.SampledFrom(append(good, "")).Draw(rt, name)
		}
		number := func(name string, from, to float64) float64 {
			if !tame {
				return rapid.SampledFrom([]float64{0, from, to, math.NaN(), math.Inf(1), -1, 1e300}).Draw(rt, name)
			}
			return rapid.Float64Range(from, to).Draw(rt, name)
		}
		ty := Typed{
			StartC: word("start", "22", "72F"), Ratio: word("ratio", "2.4", "3:1 by volume", "24:10"), Resin: word("resin", h.Resins[0].Name),
			OutAt: word("out", "08:00", "8", "2026-11-26T08:00:00Z"), AtMinutes: word("minutes", "30,60", "30"), InAt: word("in", "2026-11-25T17:00:00+01:00"),
			MM: number("mm", 1, 5), ThickMM: number("thick", 5, 12), Size: word("size", "small", "medium", "large"), Set: []string{word("set", "pl=2.2", "half_resin=0.003")},
		}
		if ty.Set[0] == "" {
			ty.Set = nil
		}
		switch rapid.IntRange(0, 3).Draw(rt, "what") {
		case 0:
			ty.Programme = word("programme", "74C 9h", "165F 9h", "74C 8h, ramp 30min, 100C 1h", h.Programmes[0].Name)
		case 1:
			ty.Bath = word("bath", "0:74,540:74", "0:165F,540:165F")
		case 2:
			ty.Programme, ty.Bath, ty.Readings = word("programme", "74C 9h"), word("bath", "0:74,540:74"), word("readings", "night.txt")
		}
		if rapid.Bool().Draw(rt, "high") {
			ty.AltitudeM = number("altitude", 0, 3000)
		} else {
			ty.AirHPa = number("air", 800, 1040)
		}
		unread := map[bool]error{true: errors.New("the settings cannot be read")}[rapid.IntRange(0, 4).Draw(rt, "unread") == 0]
		q, err := ty.Sections(h.Units)
		if err == nil {
			err = ty.Read(&q, h, unread, now, func(string) ([]cure.BathReading, error) { return nil, errors.New("no readings here") })
		}
		var wrong asked.Wrong
		if errors.As(err, &wrong) {
			wrongly++
		}
		if err != nil {
			if s := err.Error(); strings.TrimSpace(s) == "" || !errors.Is(err, unread) && strings.Contains(s, "\n") && !strings.Contains(fmt.Sprint(ty), "\n") {
				rt.Fatalf("%+v: said in lines: %q", ty, s)
			}
			return
		}
		taken++
		numbers := append([]float64{q.StartC, float64(q.Air), q.Thin.PowderLiquid, q.Thin.SectionMM(), q.Thick.SectionMM()}, q.AtS...)
		for _, v := range numbers {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				rt.Fatalf("%+v: taken with %v", ty, numbers)
			}
		}
		switch {
		case q.Bath != nil && q.Programme.Stages != nil:
			rt.Fatalf("%+v: a bath and a programme", ty)
		case q.Bath == nil && q.Programme.Stages == nil && q.Back == nil:
			rt.Fatalf("%+v: nothing is asked", ty)
		case q.Thin.SectionMM() > q.Thick.SectionMM():
			rt.Fatalf("%+v: the thinnest section is the thicker one", ty)
		case cure.CheckRatio(q.Thin.PowderLiquid) != nil || q.Thin.PowderLiquid != q.Thick.PowderLiquid:
			rt.Fatalf("%+v: powder to liquid %g and %g", ty, q.Thin.PowderLiquid, q.Thick.PowderLiquid)
		case len(q.Bath) == 1:
			rt.Fatalf("%+v: a bath without an end", ty)
		}
	})
	if taken == 0 || wrongly == 0 {
		t.Errorf("%d taken, %d put wrongly: the test looked at one side only", taken, wrongly)
	}
}
