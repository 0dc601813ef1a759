package chart

import (
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/charmbracelet/x/ansi"
	"pgregory.net/rapid"

	"flaskside/logbook/flash"
	"flaskside/logbook/words"
)

var update = flag.Bool("update", false, "write the golden pictures anew")

func picture(t testing.TB, size flash.Size, trials string, addedSince bool) flash.Picture {
	t.Helper()
	ts, err := flash.ParseTrials(trials)
	if err != nil {
		t.Fatal(err)
	}
	return pictureOf(t, flash.History{Size: size, Trials: ts, AddedSince: addedSince})
}

func pictureOf(t interface{ Fatal(...any) }, h flash.History) flash.Picture {
	s := flash.HouseDefaults()
	p, err := flash.Fit(s, h)
	if err != nil {
		t.Fatal(err)
	}
	return flash.NewPicture(s, h, p)
}

func text(lines [][]Cell) string {
	var b strings.Builder
	for _, l := range lines {
		var s strings.Builder
		for _, c := range l {
			s.WriteRune(c.Rune)
		}
		b.WriteString(strings.TrimRight(s.String(), " "))
		b.WriteByte('\n')
	}
	return b.String()
}

func TestGolden(t *testing.T) {
	for _, c := range []struct {
		name   string
		size   flash.Size
		trials string
		added  bool
		w, h   int
		ascii  bool
	}{
		{"24x4-first", flash.Medium, "heavy", false, 24, 4, false},
		{"24x4", flash.Medium, "heavy,heavy,slight", false, 24, 4, false},
		{"24x4-many", flash.Medium, "heavy,heavy,heavy,heavy,heavy,slight,heavy,slight,slight,none,slight,none", false, 24, 4, false},
		{"24x4-ascii", flash.Medium, "heavy,heavy,slight", false, 24, 4, true},
		{"36x6", flash.Large, "heavy,heavy", false, 36, 6, false},
		{"52x8", flash.Large, "heavy,heavy", false, 52, 8, false},
		{"60x12-none-yet", flash.Medium, "", false, 60, 12, false},
		{"60x12-weighed", flash.Medium, "heavy:7.2,heavy:2.4,slight:0.8", false, 60, 12, false},
		{"60x12-ascii", flash.Medium, "heavy:7.2,heavy:2.4,slight:0.8", false, 60, 12, true},
		{"70x14-added", flash.Small, "none,+heavy,heavy,slight", false, 70, 14, false},
		{"70x14-added-since", flash.Small, "none", true, 70, 14, false},
		{"80x20", flash.Large, "heavy:20,heavy,heavy:3.1,slight", false, 80, 20, false},
		{"120x30", flash.Large, "heavy:20,heavy,heavy:3.1,slight", false, 120, 30, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := text(Draw(picture(t, c.size, c.trials, c.added), c.w, c.h, c.ascii))
			file := filepath.Join("..", "..", "testdata", "screens", "chart-"+c.name+".txt")
			if *update {
				if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("%s is now\n%s", file, got)
			}
		})
	}
}

func find(lines [][]Cell, r Role) (at [][2]int) {
	for y, l := range lines {
		for x, c := range l {
			if c.Role == r {
				at = append(at, [2]int{x, y})
			}
		}
	}
	return at
}

// What was graded, weighed and foretold each has its mark, in its own band.
func TestMarks(t *testing.T) {
	p := picture(t, flash.Large, "heavy:20,heavy,heavy:3.1,slight", false)
	lines := Draw(p, 80, 20, false)
	if got := find(lines, Weighed); len(got) != 2 || lines[got[0][1]][got[0][0]].Rune != '◆' {
		t.Errorf("weighed marks at %v", got)
	}
	if got := find(lines, Graded); len(got) != 2 || lines[got[0][1]][got[0][0]].Rune != '●' {
		t.Errorf("graded marks at %v", got)
	}
	if got := find(lines, Ahead); len(got) != p.Last-p.Done {
		t.Errorf("forecast marks at %v", got)
	}
	for _, r := range []Role{House, Band, Trend, Forecast, Label, Faint, Zone, Chance} {
		if len(find(lines, r)) == 0 {
			t.Errorf("nothing of role %d", r)
		}
	}
	if got := find(lines, Break); len(got) != 0 {
		t.Errorf("a break at %v where no dough was added", got)
	}
}

// A weight just under or over a house line stands on its own side of the line.
func TestSides(t *testing.T) {
	s := flash.HouseDefaults()
	for h := minHeight; h <= 30; h++ {
		for _, c := range []struct {
			grams, line float64
			under       bool
		}{{0.97, s.HeavyAboveG, true}, {1.03, s.HeavyAboveG, false}, {0.146, s.NoneBelowG, true}, {0.154, s.NoneBelowG, false}} {
			p := picture(t, flash.Medium, fmt.Sprintf("slight:%g", c.grams), false)
			lines := Draw(p, 24, h, false)
			rows := h
			if h >= 6 {
				rows--
			}
			mark := find(lines, Weighed)[0]
			middle := 4*mark[1] + 2 // in dots, as the line
			line := int((1 - p.Y(math.Log(c.line))) * float64(4*rows))
			if under := middle > line; under != c.under {
				t.Errorf("height %d: %g g stands at dot %d, the line of %g g at %d", h, c.grams, middle, c.line, line)
			}
		}
	}
}

func TestBreak(t *testing.T) {
	lines := Draw(picture(t, flash.Small, "none,+heavy,heavy,slight", false), 70, 14, false)
	at := find(lines, Break)
	if len(at) != 14 || len(find(Draw(picture(t, flash.Small, "none", true), 70, 14, false), Break)) != 14 {
		t.Fatalf("the break is at %v", at)
	}
	x := at[0][0]
	for _, p := range at {
		if p[0] != x {
			t.Errorf("the break wanders: %v", at)
		}
	}
	for _, r := range []Role{Trend, Band} { // the estimate breaks with the dough
		for _, c := range find(lines, r) {
			if c[0] == x {
				t.Errorf("the estimate runs through the break at %v", c)
			}
		}
	}
}

// Closed for good, nothing is forecast: no ring, no chance, no line ahead.
func TestForecastGoesWithTheFinalClosure(t *testing.T) {
	p := picture(t, flash.Large, "heavy:20,heavy,heavy:3.1,slight", false)
	if n := len(find(Draw(p, 80, 20, false), Forecast)); n == 0 {
		t.Fatal("nothing is forecast before it")
	}
	lines := Draw(p.Closed(), 80, 20, false)
	for _, r := range []Role{Ahead, Forecast, Chance} {
		if at := find(lines, r); len(at) > 0 {
			t.Errorf("role %d at %v after the final closure", r, at)
		}
	}
	if len(find(lines, Trend)) == 0 || len(find(lines, Graded)) == 0 {
		t.Error("what was is gone, too")
	}
}

// Each ring has the chance of a closure at most slight by then: the running sum of the
// forecast, never 0 % or 100 %, and it never falls.
func TestRingsHaveTheirChances(t *testing.T) {
	h := flash.History{Size: flash.Large, Trials: []flash.Trial{{Grade: flash.Heavy}, {Grade: flash.Heavy}}}
	s := flash.HouseDefaults()
	post, err := flash.Fit(s, h)
	if err != nil {
		t.Fatal(err)
	}
	p := flash.NewPicture(s, h, post)
	got := text(Draw(p, 80, 16, false))
	sum := 0.0
	for j := range p.Chances {
		sum += post.FirstAtMostSlightIn[j]
		if math.Abs(p.Chances[j]-sum) > 1e-9 {
			t.Errorf("ring %d has %.3f, want %.3f", j+1, p.Chances[j], sum)
		}
		if !strings.Contains(got, words.Percent(sum)) {
			t.Errorf("no %s beside a ring:\n%s", words.Percent(sum), got)
		}
	}
	if len(p.Chances) == 0 {
		t.Error("no rings")
	}
	for _, c := range []struct {
		p    float64
		want string
	}{{0, "<1 %"}, {1, ">99 %"}, {0.5, "50 %"}, {0.994, "99 %"}} {
		if got := words.Percent(c.p); got != c.want {
			t.Errorf("%g is %q, want %q", c.p, got, c.want)
		}
	}
}

func TestTooSmall(t *testing.T) {
	p := picture(t, flash.Medium, "heavy", false)
	for _, c := range [][2]int{{23, 10}, {40, 3}, {0, 0}, {-1, -1}} {
		if Draw(p, c[0], c[1], false) != nil {
			t.Errorf("drew in %v", c)
		}
	}
	if Draw(flash.Picture{}, 80, 20, false) != nil {
		t.Error("drew a zero picture")
	}
}

// Any flask at any size: whole lines of characters of width 1, ASCII where asked, and a
// mark for every trial shown.
func TestAnySize(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := flash.History{
			Size:       rapid.SampledFrom(flash.Sizes()).Draw(t, "size"),
			AddedSince: rapid.Bool().Draw(t, "added since"),
		}
		for range rapid.IntRange(0, 20).Draw(t, "trials") {
			tr := flash.Trial{Grade: flash.Grade(rapid.IntRange(1, 3).Draw(t, "grade")), Added: rapid.IntRange(0, 5).Draw(t, "added") == 0}
			if rapid.Bool().Draw(t, "weighed") {
				g := math.Exp(rapid.Float64Range(math.Log(flash.MinGrams)+1e-9, math.Log(flash.MaxGrams)-1e-9).Draw(t, "ln grams"))
				tr.Grams = &g
			}
			h.Trials = append(h.Trials, tr)
		}
		w, height := rapid.IntRange(minWidth, 120).Draw(t, "width"), rapid.IntRange(minHeight, 30).Draw(t, "height")
		ascii := rapid.Bool().Draw(t, "ascii")
		p := pictureOf(t, h)
		lines := Draw(p, w, height, ascii)
		if len(lines) != height {
			t.Fatalf("%d lines of %d", len(lines), height)
		}
		for _, l := range lines {
			if len(l) != w {
				t.Fatalf("a line of %d cells, not %d", len(l), w)
			}
			for _, c := range l {
				if n := ansi.StringWidth(string(c.Rune)); n != 1 {
					t.Fatalf("%q is %d wide", c.Rune, n)
				}
				if ascii && (c.Rune < ' ' || c.Rune > '~') {
					t.Fatalf("%q is not ASCII", c.Rune)
				}
			}
		}
		shown := min(p.Last, (w-7)/2)
		if w >= 48 {
			shown = min(p.Last, (w-14)/2)
		}
		marks := len(find(lines, Graded)) + len(find(lines, Weighed))
		if want := min(p.Done, max(0, shown-(p.Last-p.Done))); marks != want {
			t.Fatalf("%d marks for %d trials shown\n%s", marks, want, text(lines))
		}
	})
}

// The band is one piece: what stands before it does not tear it. Each column that the trend
// runs through has the band behind the trend, where a chart is high enough to show it and the
// band covers most of a cell.
func TestBandIsOnePiece(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		trials := strings.Repeat("heavy,", rapid.IntRange(1, 4).Draw(t, "heavy")) + "slight"
		ts, err := flash.ParseTrials(trials)
		if err != nil {
			t.Fatal(err)
		}
		lines := Draw(pictureOf(t, flash.History{Size: flash.Medium, Trials: ts}), rapid.IntRange(40, 160).Draw(t, "width"), rapid.IntRange(12, 40).Draw(t, "height"), rapid.Bool().Draw(t, "ascii"))
		for x := range lines[0] {
			first, last := -1, -1
			for y := range lines {
				if c := lines[y][x]; c.InBand || c.Role == Band {
					if !c.InBand {
						t.Fatalf("shade that is not in the band at %d, %d", x, y)
					}
					if first < 0 {
						first = y
					}
					last = y
				}
			}
			for y := first; first >= 0 && y <= last; y++ {
				if !lines[y][x].InBand {
					t.Fatalf("the band has a hole at column %d, row %d:\n%s", x, y, text(lines))
				}
			}
		}
	})
}

func BenchmarkDraw(b *testing.B) {
	p := picture(b, flash.Large, "heavy:20,heavy,heavy:3.1,slight", false)
	for _, s := range [][2]int{{24, 4}, {60, 12}, {120, 30}} {
		b.Run(fmt.Sprintf("%dx%d", s[0], s[1]), func(b *testing.B) {
			for b.Loop() {
				Draw(p, s[0], s[1], false)
			}
		})
	}
}
