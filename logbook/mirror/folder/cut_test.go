package folder

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/mirrortest"
)

// Of a run that was cut off or has a spoilt line every whole record is brought back, and
// every other one is named: none is lost in silence.
func TestWhatIsWholeInASpoiltRunIsBroughtBack(t *testing.T) {
	b := mirrortest.NewBook("CUT", 40, "a")
	dir := inMemory(t)
	p := begin(t, filepath.Join(dir, "mirror"))
	if _, err := mirror.Bring(context.Background(), p, b, mirror.BringOptions{Bench: "bench 1", At: mirrortest.Start}); err != nil {
		t.Fatal(err)
	}
	runs, err := filepath.Glob(filepath.Join(dir, "mirror", "CUT", "g0001", "*", "*.jsonl"))
	if err != nil || len(runs) != 1 {
		t.Fatal(runs, err)
	}
	whole, err := os.ReadFile(runs[0])
	if err != nil {
		t.Fatal(err)
	}
	head := bytes.IndexByte(whole, '\n') + 1
	rapid.Check(t, func(t *rapid.T) {
		raw := slices.Clone(whole)
		if rapid.Bool().Draw(t, "cut") {
			raw = raw[:rapid.IntRange(head, len(raw)-1).Draw(t, "at")]
		} else {
			raw[rapid.IntRange(head, len(raw)-1).Draw(t, "at")] ^= 0x04
		}
		if err := os.WriteFile(runs[0], raw, 0o600); err != nil {
			t.Fatal(err)
		}
		var out bytes.Buffer
		c, err := mirror.Fetch(context.Background(), p, mirror.Stream{Book: "CUT", Generation: 1}, &out)
		if err != nil || len(c.Spoilt) != 1 {
			t.Fatalf("%+v, %v", c, err)
		}
		for i, r := range b.Recs {
			seq := uint64(i + 1)
			there := bytes.Contains(out.Bytes(), append(slices.Clone(r.Raw), '\n'))
			was := bytes.Contains(raw[head-1:], slices.Concat([]byte("\n"), r.Raw, []byte("\n")))
			if was && !there {
				t.Fatalf("record %d is whole in the mirror and not brought back", seq)
			}
			named := slices.ContainsFunc(c.Missing, func(s mirror.Span) bool { return s.From <= seq && seq <= s.To }) || slices.Contains(c.Two, seq) ||
				slices.Contains(c.Broken, seq) || slices.Contains(c.Broken, seq+1) ||
				seq == 40 && strings.Contains(c.Spoilt[0].Error(), "its last record 40 is not the one")
			if !there && !named {
				t.Fatalf("record %d is neither brought back nor named: %v", seq, c.Lacks())
			}
		}
	})
}
