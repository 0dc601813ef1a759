package tui

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/charmbracelet/x/ansi"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
)

// capHeight is how high a capital must be, in mm, to be seen at an angle from a
// distance: height = 6.283 × distance × minutes / 21600 (NUREG-0700 rev. 2, 1.3.1-4).
func capHeight(distanceMM, minutes float64) float64 { return 6.283 * distanceMM * minutes / 21600 }

// TestFarLegible holds the far view to what is read at two metres on a 15-inch screen
// of 16:9 that the terminal fills: at least 16 minutes of arc, and 20 and more where
// four flasks or fewer are at work (ISO 9241-303: 16 the least, 20 to 22 preferred).
func TestFarLegible(t *testing.T) {
	if got := capHeight(2000, 16); math.Abs(got-9.308) > 0.01 { // 2000 mm × tan 16' = 9.308 mm
		t.Fatalf("16 minutes of arc at 2 m are %.3f mm", got)
	}
	screen := 15 * 25.4 * 9 / math.Hypot(16, 9) // mm high
	for _, s := range []struct{ w, h int }{{80, 24}, {100, 30}, {160, 45}, {240, 70}} {
		for n := 1; n <= 9; n++ {
			var ts []tile
			for p := range n {
				ts = append(ts, tile{place: fmt.Sprint(p + 1), time: far(-9*time.Hour - 59*time.Minute), stage: "DRYING", verdict: "NOT YET"})
			}
			l, cols, _ := farGrid(ts, s.w, s.h-2)
			mm := float64(l.high*l.scale) / 2 * screen / float64(s.h)
			want := capHeight(2000, 16)
			if n <= 4 {
				want = capHeight(2000, 20)
			}
			if mm < want {
				t.Errorf("%dx%d with %d flasks: capitals of %.1f mm, want %.1f", s.w, s.h, n, mm, want)
			}
			if w := l.width("9 +9h59"); w > s.w/cols-1 {
				t.Errorf("%dx%d with %d flasks: the time needs %d columns of %d", s.w, s.h, n, w, s.w/cols-1)
			}
		}
	}
}

// far gives the digits of a time in the far view, unitOf what stands beside them.
func far(d time.Duration) string    { s, _ := farSpan(d); return s }
func unitOf(d time.Duration) string { _, u := farSpan(d); return u }

// TestGlyphs: both faces have every sign that is written with them, each of one height
// and width; no two look alike but those that never stand in one
// word, a digit and a capital; and every cell is one column wide.
func TestGlyphs(t *testing.T) {
	texts := []string{"0123456789", "READY", "NOT YET", "TIME UP", "OVER!", "MIXED", "DOUGH!", "MIX!", "PACK!", far(-50 * time.Hour), far(3 * time.Hour), far(2 * time.Minute)}
	for _, s := range bench.Stages {
		if s == bench.Finished {
			continue
		}
		if farWords[s] == "" {
			t.Errorf("the stage %q has no word for the far view", s)
		}
		texts = append(texts, farWords[s]+"!")
	}
	for name, fc := range map[string]face{"small": small, "large": large} {
		for _, s := range texts {
			for _, r := range s {
				if _, ok := fc.glyphs[r]; !ok {
					t.Errorf("%s: no glyph for %q", name, r)
				}
			}
		}
		looks := map[string]rune{}
		for r, g := range fc.glyphs {
			if len(g) != fc.high {
				t.Errorf("%s: %q has %d rows, want %d", name, r, len(g), fc.high)
			}
			for _, row := range g {
				if len(row) != len(g[0]) {
					t.Errorf("%s: the rows of %q are not alike long: %q", name, r, g)
				}
			}
			k := strings.Join(g, "|")
			if other, dup := looks[k]; dup && !strings.Contains("0O0 S5S", string([]rune{r, other})) {
				t.Errorf("%s: %q and %q look alike", name, r, other)
			}
			looks[k] = r
		}
		for scale := 1; scale <= 3; scale++ {
			l := lettering{fc, scale}
			rows := l.write("READY 12:45")
			if len(rows) != l.rows() {
				t.Errorf("%s %d: %d rows, want %d", name, scale, len(rows), l.rows())
			}
			for _, row := range rows {
				if w := ansi.StringWidth(row); w != l.width("READY 12:45") {
					t.Errorf("%s %d: %d columns, want %d", name, scale, w, l.width("READY 12:45"))
				}
			}
		}
	}
}

// TestFarWords follows one flask through the stages and one mix over its end.
func TestFarWords(t *testing.T) {
	d := packed(t)
	want := func(stage, verdict string) {
		t.Helper()
		if got := d.m.tileOf(d.flask(1)); got.stage != stage || got.verdict != verdict {
			t.Errorf("the tile says %q %q, want %q %q", got.stage, got.verdict, stage, verdict)
		}
	}
	for d0, want := range map[time.Duration]string{59 * time.Second: "59s", 179 * time.Second: "2:59min", 28*time.Minute + 29*time.Second: "28min", -609 * time.Second: "+10min", -time.Hour: "+1h00", 9*time.Hour + 59*time.Minute: "9h59", 10 * time.Hour: "10h", 47 * time.Hour: "47h", -72 * time.Hour: "+3d"} {
		if got := far(d0) + unitOf(d0); got != want {
			t.Errorf("%s is shown as %q, want %q", d0, got, want)
		}
	}
	want("PACK!", "")
	d.press("enter")
	want("PRESS", "")
	d.press("enter")
	want("HOLD", "")
	d.wait(62 * time.Second)
	want("HOLD!", "TIME UP")
	d.press("enter")
	want("JUDGE!", "")
	d.press("3")
	want("TRIM", "NOT YET")
	d.closure(2)
	want("TRIM", "READY")
	d.wait(2 * time.Hour)
	want("TRIM", "OVER!")
	d.record(action.SheetOut{Flask: 1})
	d.record(action.MetalToMetal{Flask: 1})
	d.record(action.Clamp{Flask: 1})
	want("SET", "")
	d.wait(31 * time.Minute)
	want("SET!", "TIME UP")
}

// TestFarSizes keeps the far view of the shift, and of a full bench, at each size.
func TestFarSizes(t *testing.T) {
	for _, s := range []struct{ w, h int }{{80, 24}, {160, 45}, {240, 70}} {
		d := demoDesk(t, s.w, s.h, 29*time.Minute)
		d.press("/ /").golden(fmt.Sprintf("far-ready-%dx%d", s.w, s.h))
	}
	d := newDesk(t, 80, 24)
	for p := 1; p <= 9; p++ {
		d.record(action.FlaskOpen{Place: p, Case: fmt.Sprint(4400 + p), Base: "upper", Size: "small"})
		d.record(action.Coat{Flask: p, Half: "both"})
	}
	d.press("/ /").golden("far-nine-80x24")
}

// TestDryIsBothHalves: painted apart, a flask is dry when the later half is.
func TestDryIsBothHalves(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.record(action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	d.record(action.Coat{Flask: 1, Half: "cast"})
	d.wait(9 * time.Minute)
	d.record(action.Coat{Flask: 1, Half: "teeth"})
	d.wait(2 * time.Minute)
	if got := d.m.tileOf(d.flask(1)).stage; got != "DRYING" {
		t.Errorf("with one half wet the tile says %s", got)
	}
	d.sees("separator drying")
	d.wait(9 * time.Minute)
	if got := d.m.tileOf(d.flask(1)).stage; got != "MIX!" {
		t.Errorf("with both halves dry the tile says %s", got)
	}
	d.sees("drying time up ")
}
