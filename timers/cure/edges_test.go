package cure

import (
	"math"
	"strings"
	"testing"
	"time"
)

// Three minutes are no shortage of a short hold, nor a twentieth of a long one; a second more is.
func TestShortageOfAHoldIsSharp(t *testing.T) {
	for _, c := range []struct{ plan, most time.Duration }{
		{time.Minute, 3 * time.Minute}, {40 * time.Minute, 3 * time.Minute}, {time.Hour, 3 * time.Minute},
		{100 * time.Minute, 5 * time.Minute}, {9 * time.Hour, 27 * time.Minute},
	} {
		if tooShort(c.plan, c.plan-c.most) || !tooShort(c.plan, c.plan-c.most-time.Second) {
			t.Errorf("of %s planned: short by %s: %v, a second more: %v", c.plan, c.most, tooShort(c.plan, c.plan-c.most), tooShort(c.plan, c.plan-c.most-time.Second))
		}
	}
}

// Ten minutes above the band are the most that is taken, to the second; short of time is off whatever was too hot.
func TestTooHotFromTenMinutesOn(t *testing.T) {
	if x := (stageStand{TooHot: 10 * time.Minute}); x.off() {
		t.Error("ten minutes are off")
	}
	if x := (stageStand{TooHot: 10*time.Minute + time.Second}); !x.off() {
		t.Error("a second more than ten minutes is not")
	}
	if x := (stageStand{Missing: true}); !x.off() {
		t.Error("a hold too short is not off")
	}
}

// A bath read every half minute is counted to the half minute: no spike between falls through.
func TestTooHotCountsHalfMinutes(t *testing.T) {
	for _, spike := range []float64{30, 60, 90, 3570} {
		bath := []Knot{{0, 74}, {spike, 84}, {spike + 30, 74}, {7200, 74}}
		if spike > 30 {
			bath = append([]Knot{{0, 74}, {spike - 30, 74}}, bath[1:]...)
		}
		if got := tooHot(bath, 0, 7200, 79); got != 30*time.Second { // half of the way up and half of the way down
			t.Errorf("spike at %g s: %s above 79 °C, want 30 s", spike, got)
		}
	}
}

// A bath of fourteen days is taken, before its zero too; a second more is refused and told in minutes and days.
func TestBathIsTakenUpToFourteenDays(t *testing.T) {
	const most = 14 * 24 * 3600.0
	if err := CheckBath([]Knot{{-most, 74}, {most, 74}}); err != nil {
		t.Error(err)
	}
	for _, s := range []float64{most + 60, -most - 60} {
		err := CheckBath([]Knot{{s, 74}})
		if err == nil || !strings.Contains(err.Error(), "20161 min cannot be: at most 14 days") {
			t.Errorf("%g s: %v", s, err)
		}
	}
}

// A point as far from the line as is borne is dropped, above the line and below; the least bit farther it stays.
func TestThinDropsWhatLiesOnItsTolerance(t *testing.T) {
	for _, sign := range []float64{1, -1} {
		line := func(mid float64) []Knot { return []Knot{{0, 70}, {2, mid}, {4, 70}} }
		if n := len(Thin(line(70+sign), 1)); n != 2 {
			t.Errorf("%+g K off the line, 1 K borne: %d points, want 2", sign, n)
		}
		if n := len(Thin(line(math.Nextafter(70+sign, 70+2*sign)), 1)); n != 3 {
			t.Errorf("a little more than %+g K off the line: %d points, want 3", sign, n)
		}
	}
}

// Limits of what a parameter may be are themselves taken.
func TestGlassTemperatureIsTakenUpToItsLimits(t *testing.T) {
	for _, v := range []float64{200, 800} {
		p := Defaults()
		if err := p.Set("Tgp", v); err != nil || p.TgPolymer != v {
			t.Errorf("%g: %g, %v", v, p.TgPolymer, err)
		}
	}
	for _, v := range []float64{math.Nextafter(200, 0), math.Nextafter(800, 1000)} {
		if p := Defaults(); p.Set("Tgp", v) == nil {
			t.Errorf("%g is taken", v)
		}
	}
}
