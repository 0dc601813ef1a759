package words

import (
	"errors"
	"fmt"
	"strings"
	"testing"
)

// Whatever an error quotes, a person gets one line with what is wrong, and nothing that a terminal obeys.
func TestRefusal(t *testing.T) {
	a := strings.Repeat("A", 100_000)
	sixty := strings.Repeat("A", 60)
	for _, c := range []struct{ name, is, want string }{
		{"lines and controls", "a\nb\x1b[2J\x7fc", "a; b[2Jc"},
		{"from right to left", "open \u202eabc\u2066\u2028\ufeff: no such file", "open abc: no such file"},
		{"a long quote", fmt.Sprintf("--at %q is no time: write 17:00", a), `--at "` + sixty + `…" is no time: write 17:00`},
		{"two of them", fmt.Sprintf("%q and %q", a, a), `"` + sixty + `…" and "` + sixty + `…"`},
		{"one of quotes", fmt.Sprintf("%q is no time", strings.Repeat(`"`, 900)), `"` + strings.Repeat(`\"`, 60) + `…" is no time`},
		{"one of escapes", fmt.Sprintf("%q is no time", strings.Repeat("\u200b\xff", 900)), `"` + strings.Repeat(`\u200b\xff`, 30) + `…" is no time`},
		{"one that was clipped", Quoted(a) + " is no time", `"` + sixty + `…" is no time`},
		{"a long name", "open " + a + ": file name too long", "open " + sixty + "… file name too long"},
		{"an ordinary one", `open /home/kt/bench.db: "4417" is at work`, `open /home/kt/bench.db: "4417" is at work`},
		{"words without end", strings.Repeat("word ", 900), strings.Repeat("word ", 119) + "word…"},
	} {
		if got := Refusal(errors.New(c.is)); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}
