package tui

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestNoHeaderStandsLast: over sheets of any lines and heights, every line is on one
// screenful, in order, and none ends with a header while something follows it.
func TestNoHeaderStandsLast(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		h := rapid.IntRange(3, 20).Draw(rt, "height")
		s := newSheet(area{0, 0, 40, h})
		var want []string
		heads := map[string]bool{}
		for i, head := range rapid.SliceOfN(rapid.IntRange(0, 3), 1, 80).Draw(rt, "lines") {
			l := fmt.Sprintf("line %d", i)
			want = append(want, l)
			if head == 0 {
				heads[l] = true
				s.head(dim, l)
			} else {
				s.add(plain, l)
			}
		}
		var got []string
		parts := 1
		for part := 0; part < parts; part++ {
			f := newFrame(40, h+1)
			parts = s.draw(f, area{0, 0, 40, h}, part)
			last, any := "", false
			for _, l := range strings.Split(f.plainText(), "\n") {
				if l = strings.TrimSpace(l); strings.HasPrefix(l, "line ") {
					got, last, any = append(got, l), l, any || !heads[l]
				}
			}
			if heads[last] && any && part < parts-1 {
				rt.Fatalf("part %d of %d ends with the header %q", part+1, parts, last)
			}
		}
		if strings.Join(got, "\n") != strings.Join(want, "\n") {
			rt.Fatalf("shown %q, want %q", got, want)
		}
	})
}

// TestErrorStandsBesideItsField: what is wrong with an answer is said on the line beneath it.
func TestErrorStandsBesideItsField(t *testing.T) {
	d := checked(t)
	d.press("1 enter 9 9 enter")
	rows := strings.Split(d.screen(), "\n")
	for i, r := range rows {
		if strings.Contains(r, "opening at the incisal pin") && strings.Contains(r, "99") {
			if !strings.Contains(rows[i+1], "! 99 is out of range") {
				t.Errorf("beneath the field stands %q:\n%s", rows[i+1], d.screen())
			}
			return
		}
	}
	t.Fatalf("no field:\n%s", d.screen())
}
