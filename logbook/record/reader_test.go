package record_test

import (
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/demo"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/simclock"
)

// start is a Wednesday morning.
var start = time.Date(2026, 11, 25, 8, 0, 0, 0, time.FixedZone("", 3600))

// shift records the invented shift in a new book and gives its records.
func shift(t testing.TB) (out []record.Record) {
	t.Helper()
	ck := simclock.At(start, "boot-1")
	b, err := logbook.Open(filepath.Join(t.TempDir(), "bench.db"), ck)
	if err != nil {
		t.Fatal(err)
	}
	open := start.Add(15 * time.Hour)
	for i, s := range demo.Shift() {
		a := s.Action(i, open)
		if d := a.At.Sub(ck.Read().Wall); d > 0 {
			ck.Run(d)
		}
		r, err := b.Append(a)
		if err != nil {
			t.Fatalf("step %d, %s: %v", i, a.Kind(), err)
		}
		out = append(out, r.Record)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	return out
}

// The quick reading gives what record.Decode gives, and takes the quick way for
// nearly all records of a shift.
func TestQuickDecode(t *testing.T) {
	q := record.NewReader()
	n := 0
	recs := shift(t)
	for range 2 {
		for _, r := range recs {
			want, werr := record.Decode(r.Raw)
			got, err := q.Decode(r.Raw)
			if werr != nil || err != nil || !reflect.DeepEqual(got, want) {
				t.Errorf("%s\n is read as %+v, %v\n want %+v, %v", r.Raw, got, err, want, werr)
			}
			if _, ok := q.AsWritten(r.Raw); ok {
				n++
			}
		}
	}
	if n != 2*len(recs) {
		t.Errorf("%d of %d records read the quick way", n, 2*len(recs))
	}
}

// A record that would not have been written like that is read, or refused, as
// record.Decode does.
func TestQuickDecodeOdd(t *testing.T) {
	q := record.NewReader()
	base := string(shift(t)[5].Raw)
	for _, c := range []struct{ old, with string }{
		{`"seq":6`, `"seq":06`}, {`"seq":6`, `"seq": 6`}, {`"seq":6`, `"seq":0`}, {`"seq":6`, `"seq":`},
		{`"body":{`, `"body":{"flask":1,`}, {`"body":{`, `"body":{"unknown":1,`}, {`"body":{`, `"body":[{`},
		{`"by":"KT"`, `"by":"\u004bT"`}, {`"by":"KT"`, `"by":""`}, {`"by":"KT"`, `"by":"ÄÖ"`}, {`"by":"KT"`, "\"by\":\"\xff\""}, {`"by":"KT"`, `"by":"K"T"`},
		{`"v":1`, `"v":2`}, {`"why":"8"`, `"why":"8","why":"9"`}, {`"boot_ns":`, `"boot_ns":9`}, {`"boot_ns":`, `"boot_ns":-`}, {`"prev":"`, `"prev":"0`}, {`"prev":"`, `"prev":"00`}, {`}`, ``}, {`{`, ` {`},
		{`"id":"demo`, `"id":"de\nmo`}, {`"unusual":[`, `"unusual":[ `}, {`"act":"`, `"act":"x`},
	} {
		if !strings.Contains(base, c.old) && c.old != `"unusual":[` {
			t.Fatalf("%q does not stand in %s", c.old, base)
		}
		raw := []byte(strings.Replace(base, c.old, c.with, 1))
		want, werr := record.Decode(raw)
		got, err := q.Decode(raw)
		if (err == nil) != (werr == nil) || err == nil && !reflect.DeepEqual(got, want) {
			t.Errorf("%s\n is read as %+v, %v\n want %+v, %v", raw, got, err, want, werr)
		}
	}
}

// A body that is not what its values are written as is read, or refused, as record.Decode does: once its kind is known
// too, when it is read field by field.
func TestQuickDecodeOddBodies(t *testing.T) {
	q := record.NewReader()
	for _, c := range []struct {
		body action.Body
		odd  [][2]string
	}{
		{action.Flash{Flask: 1, Grade: "slight", Grams: 1.5, Where: []string{"labial", "lingual"}}, [][2]string{
			{`"flask":1`, `"flask":01`}, {`"flask":1`, `"flask":1.0`}, {`"flask":1`, `"flask":-0`}, {`"flask":1`, `"flask":1e0`}, {`"flask":1`, `"flask":99999999999999999999`},
			{`"flask":1`, `"flask":null`}, {`"flask":1,`, ``}, {`"flask":1`, `"flask":"1"`}, {`"grams":1.5`, `"grams":1.50`}, {`"grams":1.5`, `"grams":.5`}, {`"grams":1.5`, `"grams":0`},
			{`"grams":1.5`, `"grams":-0`}, {`"grams":1.5`, `"grams":1e-7`}, {`"grams":1.5`, `"grams":0.0000001`}, {`"grams":1.5`, `"grams":5e-1`}, {`"grams":1.5`, `"grams":1.5.5`}, {`"grams":1.5,`, `"grams":2,`},
			{`"grade":"slight"`, `"grade":""`}, {`"grade":"slight"`, `"grade":"sl\u0069ght"`}, {`"labial"`, `"labi\u2028al"`}, {`"labial"`, "\"labi\u2028al\""}, {`"labial"`, `""`},
			{`["labial","lingual"]`, `[]`}, {`["labial","lingual"]`, `null`}, {`["labial","lingual"]`, `["labial",]`}, {`["labial","lingual"]`, `["labial","lingual"],`}, {`["labial","lingual"]`, `["labial","lingual"`},
			{`"where"`, `"Where"`}, {`"grade":"slight","grams":1.5`, `"grams":1.5,"grade":"slight"`}, {`"grade"`, `"grade":"none","grade"`}}},
		{action.PressIn{Flask: 1, Press: 2, Added: true}, [][2]string{{`"added":true`, `"added":false`}, {`"added":true`, `"added":1`}, {`"added":true`, `"added":truetrue`}, {`,"press":2`, ``}, {`"press":2`, `"press":0`}}},
		{action.BathLoad{Load: 1, Flasks: []int{1}, Bath: 1, Programme: "long", BathC: 20, Stages: []house.Stage{{TempC: 74, HoldS: 60}, {TempC: 100, RampS: 5, HoldS: 7}}}, [][2]string{
			{`"hold_s":60`, `"hold_s":060`}, {`"hold_s":60`, `"hold_s":60,"more":1`}, {`,"hold_s":60`, ``}, {`"temp_c":74,"hold_s":60`, `"hold_s":60,"temp_c":74`}, {`"temp_c":74`, `"temp_c":74,"temp_c":74`}, {`"ramp_s":5`, `"ramp_s":0`},
			{`{"temp_c":74,"hold_s":60},`, `{},`}, {`{"temp_c":74,"hold_s":60},`, `null,`}, {`{"temp_c":74,"hold_s":60},`, `{"temp_c":74,"hold_s":60}`}, {`{"temp_c":74,"hold_s":60},`, `{"temp_c":74,"hold_s":60}},`}, {`"stages":[`, `"stages":[[`}, {`"stages":[`, `"stages":[{"temp_c":1.0,"hold_s":1},`}, {`"hold_s":7}]`, `"hold_s":7},]`}}},
		{action.MixServe{Mix: 1, Flasks: []int{1, 2}}, [][2]string{{`[1,2]`, `[]`}, {`[1,2]`, `null`}, {`[1,2]`, `[1, 2]`}, {`[1,2]`, `[1,02]`}, {`[1,2]`, `[1,2.0]`}, {`[1,2]`, `[[1],2]`}}},
	} {
		r, err := record.Write(7, record.Genesis("x"), timers.Reading{Wall: start, BootID: "b", Boot: 5}, timers.Stamp{At: start}, action.Action{ID: "a", At: start, By: "KT", Body: c.body, Why: "4"})
		if err != nil {
			t.Fatal(err)
		}
		for range 2 {
			if _, ok := q.AsWritten(r.Raw); !ok {
				t.Fatalf("%s is not read the quick way", r.Raw)
			}
		}
		for _, o := range append(c.odd, [2]string{"", ""}) {
			if !strings.Contains(string(r.Raw), o[0]) {
				t.Fatalf("%q does not stand in %s", o[0], r.Raw)
			}
			raw := []byte(strings.Replace(string(r.Raw), o[0], o[1], 1))
			want, werr := record.Decode(raw)
			got, err := q.Decode(raw)
			if (err == nil) != (werr == nil) || err == nil && !reflect.DeepEqual(got, want) {
				t.Errorf("%s\n is read as %+v, %v\n want %+v, %v", raw, got, err, want, werr)
			}
		}
	}
}

// FuzzQuickDecode: whatever the quick way takes, record.Decode reads alike.
func FuzzQuickDecode(f *testing.F) {
	at := timers.Stamp{At: start}
	for _, body := range []action.Body{
		action.FlaskOpen{Flask: 1, Place: 1, Case: "4417", Base: "upper", Size: "large"}, action.Flash{Flask: 1, Grade: "slight", Grams: 1.5, Where: []string{"labial"}},
		action.Correct{Of: "x", Set: []byte(`{"grade":"heavy"}`)}, action.TakeBack{Of: "y"}, action.BathLoad{Load: 1, Flasks: []int{1, 2}, Programme: "long, 9 h"}, action.Note{Flask: 1, Text: "müde <é> \"x\""},
	} {
		r, err := record.Write(7, record.Genesis("x"), timers.Reading{Wall: start, BootID: "b", Boot: 5}, at, action.Action{ID: "a", At: start, By: "KT", Body: body, Unusual: []string{"hold-short", "wet"}, Why: "4"})
		if err != nil {
			f.Fatal(err)
		}
		f.Add(r.Raw)
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		q := record.NewReader()
		for range 2 { // the second time bodies are known
			got, ok := q.AsWritten(raw)
			if !ok {
				return
			}
			want, err := record.Decode(raw)
			if err != nil || !reflect.DeepEqual(got, want) {
				t.Fatalf("%q\n is read as %+v\n want %+v, %v", raw, got, want, err)
			}
		}
	})
}

func BenchmarkDecode(b *testing.B) {
	recs := shift(b)
	b.Run("quick", func(b *testing.B) {
		q := record.NewReader()
		b.ReportAllocs()
		for i := range b.N {
			if _, err := q.Decode(recs[i%len(recs)].Raw); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("record", func(b *testing.B) {
		b.ReportAllocs()
		for i := range b.N {
			if _, err := record.Decode(recs[i%len(recs)].Raw); err != nil {
				b.Fatal(err)
			}
		}
	})
}
