package keeper

import (
	"context"
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook"
	"flaskside/logbook/keep"
	"flaskside/timers"
	"flaskside/timers/simclock"
)

// Whatever doors open and whichever fails: those that were opened are closed, the last first, once
// each; what runs behind them runs only when all are open; and the logbook is free afterwards.
func TestDoors(t *testing.T) {
	dir := t.TempDir()
	clock := simclock.At(time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC), "b")
	rapid.Check(t, func(rt *rapid.T) {
		book, err := logbook.Open(filepath.Join(dir, "bench.db"), clock)
		if err != nil {
			rt.Fatal(err)
		}
		n, fails, runFails := rapid.IntRange(0, 4).Draw(rt, "doors"), rapid.IntRange(0, 6).Draw(rt, "fails"), rapid.Bool().Draw(rt, "run fails")
		var did, want []string
		shut, broken := errors.New("it cannot be opened"), errors.New("the screen stopped")
		k := Keeper{NewID: func() string { return "x" }, Words: func(logbook.Snapshot, timers.Now, timers.Alarm) string { return "" },
			Check: func(context.Context) logbook.Check { return nil }, Say: func(string) {}}
		for i := range n {
			name := string(rune('a' + i))
			k.Doors = append(k.Doors, func(context.Context, *keep.Hub) (func(), error) {
				if i == fails {
					return nil, shut
				}
				did = append(did, "open "+name)
				return func() { did = append(did, "close "+name) }, nil
			})
		}
		err = k.Keep(context.Background(), book, clock, func(*keep.Hub) error {
			did = append(did, "run")
			if runFails {
				return broken
			}
			return nil
		})
		opened := min(n, fails)
		for i := range opened {
			want = append(want, "open "+string(rune('a'+i)))
		}
		if opened == n {
			want = append(want, "run")
		}
		for i := range opened {
			want = append(want, "close "+string(rune('a'+opened-1-i)))
		}
		if !slices.Equal(did, want) {
			rt.Fatalf("it did %s, want %s", strings.Join(did, ", "), strings.Join(want, ", "))
		}
		if errors.Is(err, shut) != (opened < n) || errors.Is(err, broken) != (opened == n && runFails) {
			rt.Fatalf("it ended with %v", err)
		}
		again, err := logbook.Open(filepath.Join(dir, "bench.db"), clock)
		if err != nil {
			rt.Fatalf("the logbook is not free: %v", err)
		}
		if err := again.Close(); err != nil {
			rt.Fatal(err)
		}
	})
}

// A service runs what it was given, word by word, and nothing else, whatever is in the words; a
// line end and what a terminal obeys never come into it (systemd.service(5), command lines).
func TestUnitWords(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		words := rapid.SliceOfN(rapid.OneOf(rapid.String(), rapid.StringMatching(`[a-z"\\ $%=\n-]{0,12}`)), 1, 5).Draw(rt, "words")
		unit, err := Unit(words)
		if err != nil {
			return
		}
		_, line, _ := strings.Cut(unit, "\nExecStart=")
		line, rest, _ := strings.Cut(line, "\n")
		if !strings.HasPrefix(rest, "Restart=") {
			rt.Fatalf("%q broke the service: %q", words, unit)
		}
		var back []string
		for line != "" {
			line = strings.TrimPrefix(line, " ")
			if !strings.HasPrefix(line, `"`) {
				rt.Fatalf("%q: not quoted: %q", words, line)
			}
			word := ""
			i := 1
			for ; i < len(line) && line[i] != '"'; i++ {
				switch c := line[i]; {
				case (c == '%' || c == '$') && i+1 < len(line) && line[i+1] == c, c == '\\' && i+1 < len(line):
					i++
				case c == '%' || c == '$':
					rt.Fatalf("%q: a specifier is left in %q", words, line)
				}
				word += line[i : i+1]
			}
			back, line = append(back, word), line[min(len(line), i+1):]
		}
		if !slices.Equal(back, words) {
			rt.Fatalf("%q is read as %q", words, back)
		}
	})
}
