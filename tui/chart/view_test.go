package chart

import (
	"flaskside/logbook/flash"
	"fmt"
	"os"
	"strings"
	"testing"
)

func TestView(t *testing.T) {
	col := map[Role]string{House: "#5b6670", Band: "#2f5d62", Forecast: "#6fb3b8", Trend: "#6fb3b8", Join: "#d8dee9", Break: "#b48ead", Ahead: "#6fb3b8", Graded: "#f0b24a", Weighed: "#f0b24a", Label: "#aeb8c4", Faint: "#66727f"}
	n := 0
	for _, c := range []struct {
		tr, size string
		w, h     int
		ascii    bool
	}{
		{"heavy", "medium", 24, 4, false}, {"heavy,heavy,slight", "medium", 24, 4, false}, {"heavy,heavy", "large", 36, 6, false}, {"heavy,heavy", "large", 52, 8, false}, {"heavy:7.2,heavy:2.4,slight:0.8", "medium", 60, 12, false},
		{"none,+heavy,heavy,slight", "small", 70, 14, false}, {"heavy:20,heavy,heavy:3.1,slight", "large", 80, 20, false}, {"heavy:20,heavy,heavy:3.1,slight", "large", 120, 30, false}, {"", "medium", 60, 12, false},
		{"heavy:7.2,heavy:2.4,slight:0.8", "medium", 60, 12, true}, {"heavy,heavy,slight", "medium", 24, 4, true}, {"heavy,heavy,heavy,heavy,heavy,slight,heavy,slight,slight,none,slight,none", "medium", 24, 4, false},
	} {
		tr, err := flash.ParseTrials(c.tr)
		if err != nil {
			t.Fatal(err)
		}
		h := flash.History{Size: flash.Size(c.size), Trials: tr}
		p, err := flash.Fit(flash.HouseDefaults(), h)
		if err != nil {
			t.Fatal(err)
		}
		ls := Draw(flash.NewPicture(flash.HouseDefaults(), h, p), c.w, c.h, c.ascii)
		fmt.Printf("--- %s %s %dx%d\n", c.tr, c.size, c.w, c.h)
		var b strings.Builder
		fw, fh := 9.633, 19.0
		fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%.0f" height="%.0f"><rect width="100%%" height="100%%" fill="#14181d"/><g font-family="DejaVu Sans Mono" font-size="16">`, fw*float64(c.w)+16, fh*float64(c.h)+16)
		for y, l := range ls {
			s := ""
			for x, k := range l {
				s += string(k.Rune)
				if k.Rune != ' ' {
					fmt.Fprintf(&b, `<text x="%.2f" y="%.1f" fill="%s">%s</text>`, 8+fw*float64(x), 8+fh*float64(y)+15, col[k.Role], strings.NewReplacer("<", "&lt;", "&", "&amp;").Replace(string(k.Rune)))
				}
			}
			fmt.Println("|" + s + "|")
		}
		b.WriteString("</g></svg>")
		os.WriteFile(fmt.Sprintf("/tmp/cv/%02d.svg", n), []byte(b.String()), 0o644)
		n++
	}
}
