package day

import (
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// TestFold: any line comes back from its folds, none of which has more than 75
// octets or tears a character (RFC 5545, section 3.1). The section's own example is
// a line folded in the middle of a word.
func TestFold(t *testing.T) {
	if got := strings.ReplaceAll("DESCRIPTION:This is a lo\r\n ng description\r\n  that exists on a long line.", "\r\n ", ""); got != "DESCRIPTION:This is a long description that exists on a long line." {
		t.Fatalf("the example unfolds to %q", got)
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOf(rapid.Rune().Filter(func(r rune) bool { return r >= ' ' && utf8.ValidRune(r) })).Draw(t, "text") + rapid.SampledFrom([]string{"", strings.Repeat("é", 40), strings.Repeat("語", 60), strings.Repeat("😀x", 30), strings.Repeat("x", 75), strings.Repeat("x", 76)}).Draw(t, "tail")
		var c calendar
		c.line(text)
		for i, l := range strings.Split(strings.TrimSuffix(c.String(), "\r\n"), "\r\n") {
			if len(l) > 75 || !utf8.ValidString(l) || i > 0 && !strings.HasPrefix(l, " ") {
				t.Fatalf("line %d is %q, %d octets", i, l, len(l))
			}
		}
		if got := strings.TrimSuffix(strings.ReplaceAll(c.String(), "\r\n ", ""), "\r\n"); got != text {
			t.Fatalf("%q came back as %q", text, got)
		}
	})
}

// TestExact: a length of time is written by the grammar of dur-time (RFC 5545,
// section 3.3.6), which leaves no unit out between two others, and is read back as
// the same; a day is 24 hours of it and never P1D.
func TestExact(t *testing.T) {
	grammar := regexp.MustCompile(`^PT(?:(\d+)H(?:(\d+)M(?:(\d+)S)?)?|(\d+)M(?:(\d+)S)?|(\d+)S)$`)
	units := []time.Duration{0, time.Hour, time.Minute, time.Second, time.Minute, time.Second, time.Second}
	rapid.Check(t, func(t *rapid.T) {
		d := time.Duration(rapid.IntRange(0, 14*24*3600).Draw(t, "s")) * time.Second
		m := grammar.FindStringSubmatch(exact(d))
		if m == nil {
			t.Fatalf("%s is written %s", d, exact(d))
		}
		sum := time.Duration(0)
		for i, v := range m[1:] {
			if v != "" {
				n, err := strconv.Atoi(v)
				if err != nil {
					t.Fatal(err)
				}
				sum += time.Duration(n) * units[i+1]
			}
		}
		if sum != d {
			t.Fatalf("%s is written %s", d, exact(d))
		}
	})
	for d, want := range map[time.Duration]string{9 * time.Hour: "PT9H", 24 * time.Hour: "PT24H", time.Hour + time.Second: "PT1H0M1S", 90 * time.Minute: "PT1H30M", 0: "PT0S"} {
		if got := exact(d); got != want {
			t.Errorf("%s is written %s, want %s", d, got, want)
		}
	}
}
