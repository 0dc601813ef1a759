package record

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"reflect"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the zone of these tests must not depend on the machine

	"flaskside/logbook/action"
	"flaskside/timers"
)

// The first two records of a book called TESTBOOK, byte for byte, with the hashes
// that sha256sum (GNU coreutils 9) gives for the line of the format, a line feed and
// those bytes. They stay readable, and hash to the same, for ever.
const (
	goldenBook    = "TESTBOOK"
	goldenGenesis = "417b62eeed47263b25c1831b4a6b4972f9d643bffbe66c549afc57f35dc6921e"
	goldenOne     = `{"v":1,"seq":1,"prev":"417b62eeed47263b25c1831b4a6b4972f9d643bffbe66c549afc57f35dc6921e","written":"2026-11-25T13:07:32.1Z","zone":"Europe/Berlin","boot":"boot-1","boot_ns":3600000000000,"id":"a-1","at":"2026-11-25T14:07:32.1+01:00","by":"KT","act":"flask-open","body":{"flask":1,"place":3,"case":"4417","base":"upper","size":"large","tag":"red 4"}}`
	goldenHashOne = "835991c8e9cf19cfa3ddac2d1b4a473743efad2f7a66e9fe9e3b9e27cdd6b5f3"
	goldenTwo     = `{"v":1,"seq":2,"prev":"835991c8e9cf19cfa3ddac2d1b4a473743efad2f7a66e9fe9e3b9e27cdd6b5f3","written":"2026-11-25T13:09:32.1Z","id":"a-2","at":"2026-11-25T14:09:02.1+01:00","act":"note","body":{"flask":1,"text":"müde Schale é 3 °C \"x\""},"unusual":["not-ready"],"why":"<looked> & judged"}`
	goldenHashTwo = "487322b1781daa7343bb4367e9d90db887465b8a3a957c8d2cb2baee3b394510"
)

func goldenRecords(t *testing.T) [2]Record {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 11, 25, 14, 7, 32, 1e8, zone)
	now := timers.Reading{Wall: at, Boot: time.Hour, BootID: "boot-1"}
	one, err := Write(1, Genesis(goldenBook), now, timers.StampAt(at, now), action.Action{ID: "a-1", At: at, By: "KT",
		Body: action.FlaskOpen{Flask: 1, Place: 3, Case: "4417", Base: "upper", Size: "large", Tag: "red 4"}})
	if err != nil {
		t.Fatal(err)
	}
	// Entered half a minute late, on a system without a boot clock or a named zone.
	at = time.Date(2026, 11, 25, 14, 9, 2, 1e8, time.FixedZone("", 3600))
	now = timers.Reading{Wall: at.Add(30 * time.Second)}
	two, err := Write(2, one.Hash(), now, timers.StampAt(at, now), action.Action{ID: "a-2", At: at,
		Body: action.Note{Flask: 1, Text: `müde Schale é 3 °C "x"`}, Unusual: []string{"not-ready"}, Why: "<looked> & judged"})
	if err != nil {
		t.Fatal(err)
	}
	return [2]Record{one, two}
}

func TestGolden(t *testing.T) {
	if got := Genesis(goldenBook).String(); got != goldenGenesis {
		t.Errorf("genesis %s, want %s", got, goldenGenesis)
	}
	recs := goldenRecords(t)
	for i, want := range []struct{ raw, hash string }{{goldenOne, goldenHashOne}, {goldenTwo, goldenHashTwo}} {
		if got := string(recs[i].Raw); got != want.raw {
			t.Errorf("record %d is written as\n%s, want\n%s", i+1, got, want.raw)
		}
		if got := HashOf([]byte(want.raw)).String(); got != want.hash {
			t.Errorf("record %d hashes to %s, want %s", i+1, got, want.hash)
		}
		sum := sha256.Sum256([]byte("flaskside record v1\n" + want.raw))
		if got := recs[i].Hash(); got != Hash(sum) || got.Short() != hex.EncodeToString(sum[:8]) {
			t.Errorf("record %d: hash %s (%s), want %x", i+1, got, got.Short(), sum)
		}
		got, err := Decode([]byte(want.raw))
		if err != nil {
			t.Fatal(err)
		}
		// The same instants in another zone's clothes.
		r := recs[i]
		if !got.Written.Equal(r.Written) || !got.Stamp.At.Equal(r.Stamp.At) || got.Action.At.Format(time.RFC3339Nano) != r.Action.At.Format(time.RFC3339Nano) {
			t.Errorf("record %d: times %v %v %v, want %v %v %v", i+1, got.Written, got.Stamp.At, got.Action.At, r.Written, r.Stamp.At, r.Action.At)
		}
		got.Written, got.Stamp.At, got.Action.At = r.Written, r.Stamp.At, r.Action.At
		if !reflect.DeepEqual(got, r) {
			t.Errorf("record %d reads as\n%+v, want\n%+v", i+1, got, r)
		}
	}
	if err := recs[1].Next(1, HashOf([]byte(goldenOne))); err != nil {
		t.Errorf("the second does not follow on the first: %v", err)
	}
}

// One changed bit anywhere in a record changes its hash.
func TestEveryBitCounts(t *testing.T) {
	want := HashOf([]byte(goldenOne))
	for i := range goldenOne {
		for bit := range 8 {
			raw := []byte(goldenOne)
			raw[i] ^= 1 << bit
			if HashOf(raw) == want {
				t.Fatalf("byte %d, bit %d does not count", i, bit)
			}
		}
	}
	if HashOf(nil) == Genesis("") {
		t.Error("an empty record hashes like an empty book")
	}
}

func TestNext(t *testing.T) {
	r := goldenRecords(t)[1]
	h := HashOf([]byte(goldenOne))
	for _, c := range []struct {
		name string
		seq  uint64
		hash Hash
		want string
	}{
		{"follows", 1, h, ""},
		{"a gap", 0, h, "record 2 stands where 1 should"},
		{"said twice", 2, h, "record 2 stands where 3 should"},
		{"another past", 1, Genesis("OTHER"), "record 2 does not follow on record 1: the chain is broken"},
	} {
		err := r.Next(c.seq, c.hash)
		if c.want == "" && err != nil || c.want != "" && (err == nil || err.Error() != c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

func TestHashText(t *testing.T) {
	h := HashOf([]byte("x"))
	b, err := json.Marshal(h)
	if err != nil {
		t.Fatal(err)
	}
	var back Hash
	if err := json.Unmarshal(b, &back); err != nil || back != h {
		t.Errorf("%s reads back as %v, %v", b, back, err)
	}
	for _, bad := range []string{"", "9f3a", h.String()[:63], "zz" + h.String()[2:]} {
		got := h
		if err := got.UnmarshalText([]byte(bad)); err == nil || err.Error() != "a hash is 64 hexadecimal digits" {
			t.Errorf("%q: %v", bad, err)
		} else if got != h {
			t.Errorf("%q was refused and changed the hash", bad)
		}
	}
}

func TestDecodeRefuses(t *testing.T) {
	for _, c := range []struct{ name, raw, want string }{
		{"nothing", ``, "not a record"},
		{"not JSON", `{"v":1`, "not a record"},
		{"a later format", strings.Replace(goldenOne, `"v":1`, `"v":2`, 1), "record format 2, this program reads 1"},
		{"no format", `{}`, "record format 0, this program reads 1"},
		{"no number", strings.Replace(goldenOne, `"seq":1`, `"seq":0`, 1), "not a record: it has no number"},
		{"a negative number", strings.Replace(goldenOne, `"seq":1`, `"seq":-1`, 1), "not a record"},
		{"a short hash", strings.Replace(goldenOne, goldenGenesis, goldenGenesis[:62], 1), "a hash is 64 hexadecimal digits"},
		{"an unknown act", strings.Replace(goldenOne, "flask-open", "flask-drop", 1), `record 1: unknown act "flask-drop"`},
		{"a bad body", strings.Replace(goldenOne, `"place":3`, `"place":12`, 1), "record 1: act flask-open: place must be 1 to 9, not 12"},
		{"a field too many in the body", strings.Replace(goldenOne, `"place":3`, `"place":3,"x":1`, 1), `unknown field "x"`},
	} {
		if _, err := Decode([]byte(c.raw)); err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

// What is written is one line and keeps its bytes.
func TestWriteIsOneLine(t *testing.T) {
	at := time.Date(2026, 11, 25, 14, 7, 32, 0, time.UTC)
	now := timers.Reading{Wall: at}
	r, err := Write(7, Hash{}, now, timers.Stamp{At: at}, action.Action{ID: "x", At: at, Body: action.Note{Flask: 1, Text: "a\nb"}})
	if err != nil || strings.ContainsAny(string(r.Raw), "\n\r") {
		t.Errorf("%q, %v", r.Raw, err)
	}
	if _, err := Write(7, Hash{}, timers.Reading{Wall: time.Date(20000, 1, 1, 0, 0, 0, 0, time.UTC)}, timers.Stamp{}, action.Action{Body: action.Seen{}}); err == nil {
		t.Error("the year 20000 was written, RFC 3339 has four digits")
	}
}

// Whatever decodes keeps its bytes and their hash, and written anew it decodes to
// the same.
func FuzzDecode(f *testing.F) {
	for _, s := range []string{goldenOne, goldenTwo, ``, `{}`, `{"v":1}`, `{"v":1,"v":2}`, `{"v":1,"seq":18446744073709551615,"act":"seen","body":{}}`,
		strings.Replace(goldenOne, "4417", "44\\u000017", 1), strings.Replace(goldenTwo, `"seq":2`, `"SEQ":2`, 1), goldenOne + goldenTwo} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		keep := string(in)
		r, err := Decode(in)
		if string(in) != keep {
			t.Fatal("decoding changed its input")
		}
		if err != nil {
			if strings.ContainsAny(err.Error(), "\n\r\x1b") {
				t.Fatalf("the refusal %q is more than a line", err)
			}
			return
		}
		if string(r.Raw) != keep || r.Hash() != HashOf(in) || r.Seq == 0 || r.Action.Body == nil {
			t.Fatalf("%s reads as %+v", in, r)
		}
		loc := time.FixedZone(r.Zone, 0)
		w, err := Write(r.Seq, r.Prev, timers.Reading{Wall: r.Written.In(loc)}, r.Stamp, r.Action)
		if err != nil {
			t.Fatalf("%+v cannot be written: %v", r, err)
		}
		again, err := Decode(w.Raw)
		if err != nil {
			t.Fatalf("%s was written and is refused: %v", w.Raw, err)
		}
		if again.Seq != r.Seq || again.Prev != r.Prev || again.Zone != r.Zone || !again.Written.Equal(r.Written) ||
			again.Stamp.Boot != r.Stamp.Boot || again.Stamp.BootID != r.Stamp.BootID || !again.Stamp.At.Equal(r.Stamp.At) ||
			again.Action.ID != r.Action.ID || again.Action.Kind() != r.Action.Kind() || again.Action.By != r.Action.By || again.Action.Why != r.Action.Why {
			t.Fatalf("read as\n%+v\nthen as\n%+v", r, again)
		}
	})
}
