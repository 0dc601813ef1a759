package tui

import (
	"fmt"
	"html"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
)

// svg draws a frame cell by cell, so that every character stands exactly where the
// terminal has it.
func svg(f *frame, dark bool) string {
	const cw, ch, size = 9, 19, 15
	paper, ink := "#ffffff", "#202020"
	if dark {
		paper, ink = "#14181c", "#d8dee4"
	}
	ls := looks(dark)
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" font-family="DejaVu Sans Mono, Menlo, Consolas, monospace" font-size="%d">`+"\n", f.w*cw+16, f.h*ch+16, size)
	fmt.Fprintf(&b, `<rect width="100%%" height="100%%" rx="6" fill="%s"/>`+"\n", paper)
	for y := range f.h {
		for x := 0; x < f.w; {
			r := f.cells[y*f.w+x].role
			end := x
			for end < f.w && f.cells[y*f.w+end].role == r {
				end++
			}
			l := ls[r]
			if l.reverse {
				l.bg = ink
			}
			if l.bg != "" {
				fmt.Fprintf(&b, `<rect x="%d" y="%d" width="%d" height="%d" fill="%s"/>`+"\n", 8+x*cw, 8+y*ch, (end-x)*cw, ch, l.bg)
			}
			x = end
		}
		for x := 0; x < f.w; {
			c := f.cells[y*f.w+x]
			if strings.TrimSpace(c.s) == "" {
				x++
				continue
			}
			// A run of one look, each character placed by itself.
			end, text := x, ""
			var xs []string
			for end < f.w && f.cells[y*f.w+end].role == c.role && strings.TrimSpace(f.cells[y*f.w+end].s) != "" {
				text += f.cells[y*f.w+end].s
				xs = append(xs, strconv.Itoa(8+end*cw))
				end++
			}
			l, weight := ls[c.role], ""
			if l.bold {
				weight = ` font-weight="bold"`
			}
			fg := l.fg
			switch {
			case l.reverse:
				fg = paper
			case fg == "":
				fg = ink
			}
			fmt.Fprintf(&b, `<text x="%s" y="%d" fill="%s"%s>%s</text>`+"\n", strings.Join(xs, " "), 8+y*ch+14, fg, weight, html.EscapeString(text))
			x = end
		}
	}
	b.WriteString("</svg>\n")
	return b.String()
}

// TestPictures keeps the pictures of the README those of the program.
func TestPictures(t *testing.T) {
	for _, p := range []struct {
		name string
		w, h int
		keys string
		dark bool
	}{
		{"bench", 80, 24, "", true},
		{"bench-light", 80, 24, "", false},
		{"flask", 100, 30, "*", true},
		{"flask-light", 100, 30, "*", false},
		{"wide", 160, 45, "", true},
		{"wide-light", 160, 45, "", false},
		{"far", 80, 24, "/ /", true},
		{"far-light", 80, 24, "/ /", false},
		{"baths", 100, 34, "/", true},
		{"baths-light", 100, 34, "/", false},
	} {
		at := 19 * time.Minute
		if strings.HasPrefix(p.name, "far") || strings.HasPrefix(p.name, "baths") {
			at = 79 * time.Minute // two cool, two cure
		}
		d := demoDesk(t, p.w, p.h, at)
		d.press(p.keys)
		got := svg(d.m.draw(), p.dark)
		path := filepath.Join("..", "testdata", "screens", p.name+".svg")
		if *updateScreens {
			if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if string(want) != got {
			t.Errorf("the picture %s is no longer that of the program (run with -update-screens)", path)
		}
	}
}

// contrast is the ratio of WCAG 2.2, success criterion 1.4.3: relative luminance
// by its definition there.
func contrast(a, b string) float64 {
	lum := func(hex string) float64 {
		v, err := strconv.ParseUint(hex[1:], 16, 32)
		if err != nil {
			return math.NaN()
		}
		ch := func(shift uint) float64 {
			c := float64(v>>shift&0xff) / 255
			if c <= 0.04045 {
				return c / 12.92
			}
			return math.Pow((c+0.055)/1.055, 2.4)
		}
		return 0.2126*ch(16) + 0.7152*ch(8) + 0.0722*ch(0)
	}
	x, y := lum(a), lum(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// asSeen is a colour as it is seen with one of the common colour blindnesses: the
// matrices of Viénot, Brettel and Mollon 1999 for dichromats, on linear light (from
// memory), or by lightness alone.
func asSeen(hex, by string) [3]float64 {
	v, err := strconv.ParseUint(hex[1:], 16, 32)
	if err != nil {
		return [3]float64{}
	}
	var c [3]float64
	for i := range c {
		x := float64(v>>(16-8*i)&0xff) / 255
		c[i] = math.Pow(x, 2.2)
	}
	mix := func(r, g, b [3]float64) [3]float64 {
		dot := func(w [3]float64) float64 { return w[0]*c[0] + w[1]*c[1] + w[2]*c[2] }
		return [3]float64{dot(r), dot(g), dot(b)}
	}
	switch by {
	case "protanopia":
		return mix([3]float64{0.11238, 0.88762, 0}, [3]float64{0.11238, 0.88762, 0}, [3]float64{0.00401, -0.00401, 1})
	case "tritanopia":
		// Rough: one plane instead of the two of Brettel, Viénot and Mollon 1997.
		return mix([3]float64{1, 0.14461, -0.14461}, [3]float64{0, 0.85924, 0.14076}, [3]float64{0, 0.85924, 0.14076})
	case "deuteranopia":
		return mix([3]float64{0.29275, 0.70725, 0}, [3]float64{0.29275, 0.70725, 0}, [3]float64{-0.02234, 0.02234, 1})
	}
	y := 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2]
	return [3]float64{y, y, y}
}

// TestColourBlind: the roles that ask for something look apart for those who see two
// colours; and where they are nearest, alarm and step stand on a ground of their own.
func TestColourBlind(t *testing.T) {
	for _, dark := range []bool{true, false} {
		ls := looks(dark)
		for _, by := range []string{"protanopia", "deuteranopia", "tritanopia", "one colour"} {
			for _, pair := range [][2]role{{good, warn}, {good, accent}, {warn, accent}} {
				a, b := asSeen(ls[pair[0]].fg, by), asSeen(ls[pair[1]].fg, by)
				far := math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
				if far < 0.05 {
					t.Errorf("dark %v, %s: roles %d and %d look alike (%.3f)", dark, by, pair[0], pair[1], far)
				}
			}
		}
		if ls[alarm].bg == "" || ls[step].bg == "" {
			t.Error("alarm and step must stand on a ground of their own: shape before colour")
		}
	}
}

// TestContrastOfSixteen holds the palette of sixteen colours to the same, in the colours
// that such terminals come with: those of xterm and of VGA text mode (both from memory).
func TestContrastOfSixteen(t *testing.T) {
	for name, palette := range map[string]map[string]string{
		"xterm": {"0": "#000000", "1": "#cd0000", "4": "#0000ee", "7": "#e5e5e5", "9": "#ff0000", "10": "#00ff00", "11": "#ffff00", "14": "#00ffff", "15": "#ffffff"},
		"VGA":   {"0": "#000000", "1": "#aa0000", "4": "#0000aa", "7": "#aaaaaa", "9": "#ff5555", "10": "#55ff55", "11": "#ffff55", "14": "#55ffff", "15": "#ffffff"},
	} {
		for _, dark := range []bool{true, false} {
			paper := map[bool]string{true: "#000000", false: "#ffffff"}[dark]
			for r, l := range looks16(dark) {
				if l.fg == "" {
					continue
				}
				on := paper
				if l.bg != "" {
					on = palette[l.bg]
				}
				if c := contrast(palette[l.fg], on); !(c >= 4.5) {
					t.Errorf("%s, dark %v, role %d: colour %s on %s has a contrast of %.2f, want 4.5", name, dark, r, l.fg, on, c)
				}
			}
			if l := looks16(dark); l[alarm].bg == "" || l[step].bg == "" || l[alarm].bg == l[step].bg {
				t.Errorf("%s, dark %v: alarm and step want grounds of their own", name, dark)
			}
		}
	}
	m := newDesk(t, 80, 24).m
	var sixteen tea.ColorProfileMsg
	for sixteen.String() != "ANSI" {
		sixteen.Profile++
	}
	m.Update(sixteen)
	if got := m.theme.on[step]; !strings.Contains(got, "106") { // background 14 is SGR 106 (ECMA-48 and aixterm)
		t.Errorf("on a terminal of sixteen colours the step stands on %q", got)
	}
}

// TestNoColour: without colours alarm and step are still set off from the rest.
func TestNoColour(t *testing.T) {
	for r, l := range looksBare() {
		if l.fg != "" || l.bg != "" || l.reverse != (role(r) == alarm || role(r) == step || role(r) == boxed) {
			t.Errorf("role %d looks %+v", r, l)
		}
	}
	if th := newTheme(true, "Ascii"); th.on[step] != "\x1b[1;7m" { // ECMA-48: 1 bold, 7 negative
		t.Errorf("the step is set off by %q", th.on[step])
	}
}

// TestContrast holds the palette to 4.5:1 (WCAG 2.2), on black and on white paper
// and on a bright and a dark grey that terminals use.
func TestContrast(t *testing.T) {
	if got := contrast("#000000", "#ffffff"); math.Abs(got-21) > 1e-9 { // the largest there is (WCAG 2.2, contrast ratio)
		t.Errorf("contrast of black on white is %.3f, want 21", got)
	}
	if got := contrast("#777777", "#ffffff"); math.Abs(got-4.478) > 0.001 { // a known pair just below the line (from memory)
		t.Errorf("contrast of #777777 on white is %.3f, want 4.478", got)
	}
	for _, dark := range []bool{true, false} {
		papers := []string{"#ffffff", "#f4f4f4"}
		if dark {
			papers = []string{"#000000", "#14181c", "#282c34"}
		}
		for r, l := range looks(dark) {
			on := papers
			if l.bg != "" {
				on = []string{l.bg}
			}
			for _, p := range on {
				if l.fg == "" || role(r) == band { // a grain on the shade, not a sign; the chances beside the rings say it in figures
					continue
				}
				if c := contrast(l.fg, p); c < 4.5 {
					t.Errorf("role %d, dark %v: %s on %s has a contrast of %.2f, want 4.5", r, dark, l.fg, p, c)
				}
			}
		}
	}
}
