package door

import (
	"bytes"
	"errors"
	"io"
	"runtime"
	"strings"
	"testing"
	"testing/iotest"

	"flaskside/logbook/action"
)

// zeros is a line that goes on and on.
type zeros struct{}

func (zeros) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = '0'
	}
	return len(p), nil
}

func TestLongLineIsNotHeld(t *testing.T) {
	const size = 16 << 20
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	var got []Parsed
	for l, err := range Lines(io.MultiReader(io.LimitReader(zeros{}, size), strings.NewReader("\n1\n"))) {
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, l)
	}
	runtime.ReadMemStats(&after)
	if used := after.TotalAlloc - before.TotalAlloc; used > 1<<20 {
		t.Errorf("%d bytes were taken for a line of %d", used, size)
	}
	if len(got) != 2 || got[0].Err == nil || !strings.Contains(got[0].Err.Error(), "this line has 16777216") || got[1].No != 2 {
		t.Errorf("%+v", got)
	}
}

func TestFailureToRead(t *testing.T) {
	broken := errors.New("the cable is out")
	var lines int
	var last error
	for l, err := range Lines(io.MultiReader(strings.NewReader("{}\n{}"), iotest.ErrReader(broken))) {
		last = err
		if err == nil && l.Err != nil {
			lines++
		}
	}
	if lines != 1 || !errors.Is(last, broken) {
		t.Errorf("%d lines, then %v; half a line is none", lines, last)
	}
}

// The splitter against a plain one that holds everything.
func FuzzLines(f *testing.F) {
	good := `{"id":"a","at":"2026-11-25T14:07:32+01:00","act":"timer-stop","body":{"timer":1}}`
	wide := good[:len(good)-1] + strings.Repeat(" ", action.MaxLine-len(good)) + "}" // as long as it may be
	for _, s := range []string{
		"", "\n", good, good + "\n" + good, "\xef\xbb\xbf" + good + "\r\n\r\n \t\n" + good, "x\n\xff\n" + good,
		wide + "\r\n" + wide, " " + wide + "\n", wide + "   \n" + good, strings.Repeat("y", action.MaxLine+2), "\xef\xbb\xbf\n\xef\xbb\xbf" + good,
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		var want []Parsed
		for i, b := range bytes.Split(text, []byte("\n")) {
			b = bytes.TrimSuffix(b, []byte("\r"))
			if len(b) > action.MaxLine {
				want = append(want, Parsed{No: i + 1, Err: errors.New("too long")})
				continue
			}
			if i == 0 {
				b = bytes.TrimPrefix(b, []byte("\xef\xbb\xbf"))
			}
			if b = bytes.Trim(b, " \t\r"); len(b) == 0 {
				continue
			}
			a, err := action.Decode(b)
			want = append(want, Parsed{i + 1, a, err})
		}
		got := []Parsed{}
		for l, err := range Lines(iotest.HalfReader(bytes.NewReader(text))) {
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, l)
		}
		for i := range max(len(got), len(want)) {
			if i >= len(got) || i >= len(want) {
				t.Fatalf("%d lines, want %d", len(got), len(want))
			}
			g, w := got[i], want[i]
			if g.No != w.No || (g.Err == nil) != (w.Err == nil) || g.Action.ID != w.Action.ID {
				t.Fatalf("got %+v, want %+v", g, w)
			}
		}
	})
}
