package house

import (
	"fmt"
	"strings"
	"testing"
)

// A file of the largest size allowed is refused in bounded time: many unknown keys
// take a time that grows with the square of the file (40 kB 1.3 s, 160 kB 12 s).
func TestManyUnknownKeysAreRefusedSoon(t *testing.T) {
	var b strings.Builder
	for i := 0; b.Len() < maxFile-20; i++ {
		fmt.Fprintf(&b, "k%d=1\n", i)
	}
	_, err := ReadTOML(strings.NewReader(b.String()), Default())
	if err == nil || err.Error() != `settings: line 1: unknown setting "k0"` {
		t.Errorf("%v", err)
	}
	// The library looks through the file anew for each key that it does not know: so many
	// bytes it reads at most. A megabyte of such keys took minutes.
	if steps := strings.Count(b.String(), "\n") * b.Len(); steps > 500_000_000 {
		t.Errorf("up to %d bytes are looked at for a file of %d", steps, b.Len())
	}
}

// The line of a refusal does not repeat a stranger's megabyte.
func TestLongKeyIsClipped(t *testing.T) {
	for _, text := range []string{strings.Repeat("x", 5000) + " = 1\n", strings.Repeat("a.", 5000) + "b = 1\n"} {
		if _, err := ReadTOML(strings.NewReader(text), Default()); err == nil || len(err.Error()) > 300 {
			t.Errorf("the refusal has %d bytes", len(fmt.Sprint(err)))
		}
	}
}

// A value out of range in a file is refused with the number of its line.
func TestRangeErrorsHaveALine(t *testing.T) {
	_, err := ReadTOML(strings.NewReader("[press]\nhold_s = 60\npressure_psi = -5\n"), Default())
	if err == nil || !strings.Contains(err.Error(), "line 3") {
		t.Errorf("%v", err)
	}
}

// A name that the settings take must be one that an action can say: action refuses
// line and paragraph separators and U+FFFD, so a programme called so could never be
// loaded.
func TestNamesThatNoActionCanSay(t *testing.T) {
	for _, r := range []string{"\u2028", "\u2029", "\ufffd"} {
		h := Default()
		h.Programmes[0].Name = "long" + r + "cure"
		if h.Valid() == nil {
			t.Errorf("a programme name with %U is taken", []rune(r)[0])
		}
	}
}

// A resin in a file need not name all thirteen figures: what is left out is the
// house default, as dough.Resin says of its fields ("at zero mean not given").
func TestResinOfFewWords(t *testing.T) {
	h, err := ReadTOML(strings.NewReader("[[resins]]\nname = 'ours'\nwork_until_min = 40\n"), Default())
	if err != nil {
		t.Fatal(err)
	}
	if len(h.Resins) != 2 || h.Resins[1].WorkUntilMin != 40 {
		t.Errorf("resins %+v", h.Resins)
	}
}

// The comments of an exported file name no unit that the values beside them are not in, and
// the head says what a number alone is.
func TestCommentsNameNoOtherUnit(t *testing.T) {
	var b strings.Builder
	if err := Default().WriteTOML(&b); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(b.String(), "_s seconds") {
		t.Error("the head does not say what a number alone is")
	}
	for _, l := range strings.Split(b.String(), "\n") {
		if strings.HasPrefix(l, "#") && strings.Contains(l, "second") && !strings.Contains(l, "_s seconds") {
			t.Errorf("%q stands above a length with its own unit", l)
		}
	}
}
