package action

import (
	"bytes"
	"encoding/json"
	"reflect"
	"testing"
)

// Whatever decodes is written again as something that decodes to the same; whatever
// does not is refused in one line.
func FuzzDecode(f *testing.F) {
	for _, pair := range samples() {
		for _, body := range pair {
			f.Add(written(f, actOf(body)))
		}
	}
	for _, s := range []string{
		``, `null`, `[]`, `{"id":"x","id":"y"}`, `{"ID":"x"}`, `{"id":"x"} {}`, "{\"id\":\"\xff\"}", `{"id":"\ud800"}`, `{"a\u001b[31mb":1}`,
		inFrame("flash", `{"flask":3,"grade":"heavy","grams":1e-400}`), inFrame("seen", `null`), inFrame("correct", `{"of":"a","set":{"a":"<&>\u2028"}}`),
		`{"v":1,"seq":1,"prev":"","written":"","zone":"","boot":"","boot_ns":0,"carried":null,"id":"x","at":"2026-11-25T14:07:32.1234567899-00:00","act":"seen","body":{},"unusual":[]}`,
		inFrame("note", `{"flask":1,"mix":2,"load":3,"text":"\u0000"}`),
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		keep := bytes.Clone(in)
		a, err := Decode(in)
		if !bytes.Equal(keep, in) {
			t.Fatal("decoding changed its input")
		}
		if err != nil {
			if bad := badLine(err.Error()); bad != "" {
				t.Fatalf("the refusal %q: %s", err, bad)
			}
			return
		}
		raw, err := json.Marshal(a)
		if err != nil {
			t.Fatalf("%+v cannot be written: %v", a, err)
		}
		if len(raw) > MaxLine {
			return // escapes made it longer than a line may be
		}
		b, err := Decode(raw)
		if err != nil {
			t.Fatalf("%s was written and is refused: %v", raw, err)
		}
		again, err := json.Marshal(b)
		if err != nil || !bytes.Equal(raw, again) {
			t.Fatalf("written as\n%s\nthen as\n%s (%v)", raw, again, err)
		}
		if a.ID != b.ID || !a.At.Equal(b.At) || a.By != b.By || a.Why != b.Why || a.Kind() != b.Kind() || !reflect.DeepEqual(a.Body.Subjects(), b.Body.Subjects()) {
			t.Fatalf("read as\n%+v\nthen as\n%+v", a, b)
		}
	})
}
