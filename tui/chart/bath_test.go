package chart

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/timers/cure"
	_ "flaskside/timers/longrun" // room for the collector, scratch folders in memory
)

// bathPicture is a bath from the model: 3 mm in a medium flask.
func bathPicture(t testing.TB, programme string, mm, nowMin float64, drop bool) BathPicture {
	t.Helper()
	prog, err := cure.ParseProgramme(programme)
	if err != nil {
		t.Fatal(err)
	}
	p, err := cure.ForSection(mm, "medium")
	if err != nil {
		t.Fatal(err)
	}
	bath := prog.Knots(22)
	if drop {
		start := time.Unix(0, 0)
		var rs []cure.BathReading
		for m := 0; m <= int(nowMin); m += 5 {
			c := cure.BathAt(bath, float64(m)*60)
			if m > 120 && m < 200 {
				c -= 15
			}
			rs = append(rs, cure.BathReading{At: start.Add(time.Duration(m) * time.Minute), TempC: c})
		}
		if bath, err = cure.Follow(prog, 22, start, rs); err != nil {
			t.Fatal(err)
		}
	}
	r, err := cure.Simulate(p, bath, cure.RunOptions{EndS: prog.Total().Seconds()})
	if err != nil {
		t.Fatal(err)
	}
	b := BathPicture{Bath: bath, NowS: nowMin * 60, EndS: prog.Total().Seconds(), Temp: func(c float64) string { return fmt.Sprintf("%.0f °C", c) }}
	for i, s := range r.Curve.TimeS {
		b.Core = append(b.Core, cure.Knot{TimeS: s, TempC: r.Curve.CoreC[i]})
	}
	for _, s := range prog.Stages {
		b.Holds = append(b.Holds, s.TempC)
	}
	for s := 1800.0; s < b.EndS; s += 3600 { // went in at 20:30
		b.Ticks = append(b.Ticks, Tick{s, fmt.Sprintf("%02d:00", (21+int(s/3600))%24)})
	}
	return b
}

func TestBathGolden(t *testing.T) {
	const night, boil = "74C 9h", "74C 2h, ramp 30min, 100C 1h"
	for _, c := range []struct {
		name      string
		programme string
		mm, now   float64
		drop      bool
		w, h      int
		ascii     bool
	}{
		{"40x8", night, 3, 200, false, 40, 8, false},
		{"40x8-boil", boil, 3, 100, false, 40, 8, false},
		{"60x10", night, 6, 0, false, 60, 10, false},
		{"78x12", boil, 10, 150, false, 78, 12, false},
		{"78x12-off", night, 3, 300, true, 78, 12, false},
		{"78x12-ascii", boil, 10, 150, false, 78, 12, true},
		{"120x30", night, 6, 400, true, 120, 30, false},
		{"100x20-cold-start", "ramp 90min, 74C 2h, ramp 30min, 100C 30min", 4, 60, false, 100, 20, false},
		{"24x4", night, 3, 60, false, 24, 4, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := text(Bath(bathPicture(t, c.programme, c.mm, c.now, c.drop), c.w, c.h, c.ascii))
			file := filepath.Join("..", "..", "testdata", "screens", "bath-"+c.name+".txt")
			if *update {
				if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatalf("%v (go test ./tui/chart -update makes it)", err)
			}
			if got != string(want) {
				t.Errorf("the picture has changed (go test ./tui/chart -update if that is right)\n--- want\n%s--- got\n%s", want, got)
			}
		})
	}
}

// TestBathFits: whatever the curves and the size, the picture has the size asked
// for, cells of width 1, and ASCII where that is asked.
func TestBathFits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, h := rapid.IntRange(0, 130).Draw(t, "w"), rapid.IntRange(0, 40).Draw(t, "h")
		ascii := rapid.Bool().Draw(t, "ascii")
		curve := func(name string) []cure.Knot {
			var out []cure.Knot
			s := rapid.Float64Range(-100, 100).Draw(t, name)
			for range rapid.IntRange(1, 6).Draw(t, name+" n") {
				out = append(out, cure.Knot{TimeS: s, TempC: rapid.Float64Range(0, 170).Draw(t, name+" °C")})
				s += rapid.Float64Range(1, 9000).Draw(t, name+" s")
			}
			return out
		}
		p := BathPicture{Bath: curve("bath"), Core: curve("core"), EndS: rapid.Float64Range(60, 60000).Draw(t, "end"),
			NowS: rapid.Float64Range(0, 70000).Draw(t, "now"), Temp: func(c float64) string { return fmt.Sprintf("%.0f C", c) }, Holds: []float64{74, 100}}
		for i := range rapid.IntRange(0, 20).Draw(t, "ticks") {
			p.Ticks = append(p.Ticks, Tick{float64(i) * p.EndS / 20, "22:00"})
		}
		lines := Bath(p, w, h, ascii)
		if w < minWidth || h < minHeight {
			if lines != nil {
				t.Fatalf("%dx%d is drawn", w, h)
			}
			return
		}
		if len(lines) != h {
			t.Fatalf("%d lines, want %d", len(lines), h)
		}
		for _, l := range lines {
			if len(l) != w {
				t.Fatalf("a line of %d cells, want %d", len(l), w)
			}
			for _, c := range l {
				if ascii && c.Rune > 127 {
					t.Fatalf("%q in ASCII", c.Rune)
				}
			}
		}
	})
}

// TestBathShows: the parts are there, solid up to now and dotted after, each where
// its temperature and time are.
func TestBathShows(t *testing.T) {
	p := bathPicture(t, "74C 9h", 3, 270, false)
	lines := Bath(p, 87, 20, false)
	count := map[Role][2]int{}
	rowOf := map[Role]int{}
	for y, l := range lines {
		for x, c := range l {
			n := count[c.Role]
			if x-7 < 40 {
				n[0]++
			} else {
				n[1]++
			}
			count[c.Role] = n
			if x == 60 {
				rowOf[c.Role] = y
			}
		}
	}
	if n := count[CoreWas]; n[0] < 40 || n[1] > 1 {
		t.Errorf("the lived core has %v cells before and after now", n)
	}
	if n := count[CoreAhead]; n[0] > 0 || n[1] < 15 || n[1] > 25 {
		t.Errorf("the core to come has %v cells before and after now", n)
	}
	if want := 0; rowOf[Boil] != want { // (104 - 100) / 84 of 19 rows
		t.Errorf("100 °C is drawn in row %d, want %d", rowOf[Boil], want)
	}
	for _, r := range []Role{BathWas, Boil, Now} {
		if count[r][0]+count[r][1] == 0 {
			t.Errorf("role %d is not drawn", r)
		}
	}
	all := text(lines)
	for _, want := range []string{"bath", "core", "100 °C", "74 °C", "now", "22:00"} {
		if !strings.Contains(all, want) {
			t.Errorf("%q is not in\n%s", want, all)
		}
	}
}

// BenchmarkBath draws the largest picture.
func BenchmarkBath(b *testing.B) {
	p := bathPicture(b, "74C 9h", 3, 270, false)
	for b.Loop() {
		Bath(p, 120, 30, false)
	}
}
