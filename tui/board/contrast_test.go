package board

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// TestContrast holds the colours of the page to WCAG 2.2, 1.4.3 and 1.4.11: text 4.5 to 1, what is
// large or a picture 3 to 1; luminance and contrast as its glossary defines them.
func TestContrast(t *testing.T) {
	themes := regexp.MustCompile(`(?s)color-scheme: (light|dark);(.*?)}`).FindAllStringSubmatch(pageCSS, -1)
	if len(themes) != 3 {
		t.Fatalf("the style has %d themes", len(themes))
	}
	for _, th := range themes {
		of := map[string]string{}
		for _, m := range regexp.MustCompile(`--(\w+): (#[0-9a-f]{6})`).FindAllStringSubmatch(th[2], -1) {
			of[m[1]] = m[2]
		}
		for _, c := range []struct {
			on    string
			inks  string
			least float64
		}{
			{"bg", "ink dim accent good soon alarm", 4.5}, {"tile", "ink dim accent good soon alarm", 4.5}, {"alarm", "on", 4.5}, {"ink", "bg", 4.5},
			{"tile", "wait", 3}, // the thin line of a timer
		} {
			for _, ink := range strings.Fields(c.inks) {
				if got := contrast(t, of[ink], of[c.on]); got < c.least {
					t.Errorf("%s: %s on %s is %.2f to 1, want %g", th[1], ink, c.on, got, c.least)
				}
			}
		}
	}
	if one, two := themes[1][2], themes[2][2]; one != two {
		t.Error("dark is another where it is asked for than where the screen wants it")
	}
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	x, y := luminance(t, a), luminance(t, b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	v, err := strconv.ParseUint(strings.TrimPrefix(hex, "#"), 16, 32)
	if err != nil {
		t.Fatal(err)
	}
	lin := func(shift uint) float64 {
		c := float64(v>>shift&0xff) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*lin(16) + 0.7152*lin(8) + 0.0722*lin(0)
}
