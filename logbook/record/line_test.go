package record

import (
	"bytes"
	"encoding/json"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
)

// A line that is written field by field has the bytes that the encoder of JSON gives, whatever stands in it; and nearly
// every line of a bench is written so.
func TestLineIsThatOfJSON(t *testing.T) {
	odd := []string{"", "a", `"`, `\`, "<&>", "\n", "\x00", "\x7f", "ä", "\u2028", "\u2029", "\xff", "\xe2\x80", "😀", "\ufffd", "Europe/Berlin", "KT"}
	quick := 0
	rapid.Check(t, func(rt *rapid.T) {
		text := rapid.OneOf(rapid.SampledFrom(odd), rapid.String(), rapid.StringN(0, 3, 9))
		instant := func(name string) time.Time {
			at := time.Unix(rapid.Int64Range(-1<<36, 1<<38).Draw(rt, name), rapid.Int64Range(0, 999_999_999).Draw(rt, name))
			return at.In(time.FixedZone("", rapid.SampledFrom([]int{0, 3600, -12600, 3601, 90_000}).Draw(rt, name)))
		}
		w := wire{
			V: version, Seq: rapid.Uint64().Draw(rt, "seq"), Written: instant("written"), Zone: text.Draw(rt, "zone"), Boot: text.Draw(rt, "boot"), BootNs: time.Duration(rapid.Int64().Draw(rt, "ns")),
			ID: text.Draw(rt, "id"), At: instant("at"), By: text.Draw(rt, "by"), Act: action.Kind(text.Draw(rt, "act")),
			Body: json.RawMessage(rapid.SampledFrom([]string{`{}`, `{"text":"<a> & \u2028"}`, `{"flasks":[1,2]}`}).Draw(rt, "body")), Unusual: rapid.SliceOfN(text, 0, 3).Draw(rt, "unusual"), Why: text.Draw(rt, "why"),
		}
		copy(w.Prev[:], rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(rt, "prev"))
		want, werr := action.Encode(&w)
		got, err := w.encode()
		if (err == nil) != (werr == nil) || !bytes.Equal(got, want) {
			rt.Fatalf("%q, %v\nwant %q, %v", got, err, want, werr)
		}
		if _, ok := w.quick(); ok {
			quick++
		}
	})
	if quick == 0 {
		t.Error("nothing was written field by field")
	}
}
