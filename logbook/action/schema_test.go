package action_test

import (
	"bytes"
	"encoding/json"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// compiled holds the schema as an independent validator reads it; compiling also
// checks it against the meta-schema of draft 2020-12.
func compiled(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(action.Schema()))
	if err != nil {
		t.Fatal(err)
	}
	if v := doc.(map[string]any)["$schema"]; v != "https://json-schema.org/draft/2020-12/schema" {
		t.Fatalf("$schema is %v", v)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource("action.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("action.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func fits(t *testing.T, s *jsonschema.Schema, b []byte) error {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		t.Fatalf("%s: %v", b, err)
	}
	return s.Validate(doc)
}

// bodies has one of every kind, with as many fields as it can have.
var bodies = []action.Body{
	action.FlaskOpen{Flask: 1, Place: 1, Case: "4417", Base: "upper", Size: "large", Tag: "red 3"},
	action.FlaskMove{Flask: 1, Place: 9},
	action.Coat{Flask: 1, Half: "both", DryMinS: 600, DryMaxS: 900, Lot: "S-1"},
	action.MixMake{Mix: 1, Flasks: []int{1, 2}, Resin: "heat-cured", PowderG: 22.5, LiquidG: 9.4, PowderLot: "P1", LiquidLot: "L1", RoomC: 23, JarC: new(8.0), DoughS: 600, WorkS: 2700},
	action.MixServe{Mix: 1, Flasks: []int{3}},
	action.MixDough{Mix: 1},
	action.MixStiff{Mix: 1},
	action.PressIn{Flask: 1, Press: 1, Added: true},
	action.PressAt{Flask: 1, PressurePSI: 3000, HoldS: 60},
	action.PressOpen{Flask: 1},
	action.Flash{Flask: 1, Grade: "heavy", Grams: 1.2, Where: []string{"posterior", "labial"}},
	action.FlashMore{Flask: 1, Grams: 0.8, Where: []string{"lingual"}},
	action.DoughAdd{Flask: 1},
	action.Inspect{Flask: 1},
	action.FlaskLots{Flask: 1, StoneLot: "S-9", SheetLot: "T-4"},
	action.SheetOut{Flask: 1},
	action.MetalToMetal{Flask: 1, Press: 1, PressurePSI: 3000},
	action.Clamp{Flask: 1, BackedOffTurn: 0.25, BenchMinS: 1800, BenchMaxS: 3600},
	action.BathLoad{Load: 1, Bath: 1, Flasks: []int{1}, Programme: "long, 9 h", Stages: []house.Stage{{TempC: 74, HoldS: 32400}}, BathC: 74, MaxS: 43200, Sections: []action.Section{{Flask: 1, ThinMM: 2, ThickMM: 9}}},
	action.BathReading{Bath: 1, TempC: 73.5, Source: "typed"},
	action.BathUnload{Flasks: []int{1}, BenchS: 1800},
	action.CoolWater{Flasks: []int{1}, WaterS: 900},
	action.Deflask{Flasks: []int{1}},
	action.Remount{Flask: 1, PinMM: 0.4},
	action.Outcome{Flask: 1, Outcome: "adjusted", Defects: []string{"porosity", "open bite"}},
	action.Note{Flask: 1, Text: "thick tuberosity"},
	action.TimerStart{Timer: 1, Label: "stone", Count: "window", MinS: 60, AimS: 90, MaxS: 120},
	action.TimerStop{Timer: 1},
	action.AlarmHeard{Alarm: "mix/1/dough#not after"},
	action.AlarmShelve{Alarm: "mix/1/dough#not after", ForS: 300},
	action.Correct{Of: "a1", Set: json.RawMessage(`{"grade":"slight","at":"2026-11-25T14:00:00+01:00"}`)},
	action.TakeBack{Of: "a1"},
	action.Settings{House: house.Default(), From: "typed"},
	action.Crew{Initials: "KT"},
	action.Caution{Hazard: "monomer"},
	action.ClockEvent{What: "clock moved", ByS: -3600, Detail: "by hand"},
	action.Restored{From: "5:9f3a00c19f3a00c1", GaveUp: "15:00c19f3a00c19f3a", Kept: "bench.db.replaced-20261125-140732"},
	action.SignOff{Day: "2026-11-25", From: "2026-11-25T00:00:00+01:00", Until: "2026-11-26T00:00:00+01:00"},
	action.Seen{Since: "2026-11-25T06:00:00Z"},
	action.Screen{What: "joined", Role: "work", From: "pts/3", Away: true},
	action.LotIn{Material: "powder", Lot: "P-118", Product: "heat-cured, pink", Expiry: "2028-12-31"},
	action.LotOut{Material: "powder", Lot: "P-118", Reason: "used up"},
	action.EquipIn{Item: "thermometer", Name: "T1", On: "bath 1", EveryDays: 30},
	action.EquipCheck{Item: "thermometer", Name: "T1", IceC: new(float64), Due: "2026-12-25"},
	action.EquipWater{Item: "bath", Name: "1"},
	action.EquipOut{Item: "clamp", Name: "12", Reason: "worn"},
	action.CaseIn{Case: "4417", Base: "upper", Size: "medium", Due: "2026-11-25T17:00:00+01:00", Rush: true, Resin: "heat-cured, general", Shade: "pink 3", RemakeOf: "4102", Remark: "thick ridge"},
	action.CaseOff{Case: "4417", Base: "upper", Reason: "withdrawn by the practice"},
	action.CaseDelivered{Case: "4417", Base: "upper", Done: []string{"finished", "polished"}, WetH: 24},
	action.DayPlan{Day: "2026-11-25", Reason: "case 4450 upper came in", People: 2, Presses: 1, From: "08:00", To: "17:00", Down: []string{"bath 2"}, GateMin: 8,
		First: []string{"4417 upper"}, Together: [][]string{{"4417 upper"}}, Mixes: []action.PlanMix{{Cases: []string{"4417 upper"}, At: "2026-11-25T08:20:00+01:00", Latest: "2026-11-25T09:45:00+01:00", NotBefore: "2026-11-25T08:00:00+01:00"}},
		Loads: []action.PlanLoad{{Bath: "bath 1", Programme: "long, 9 h", Cases: []string{"4417 upper"}, In: "2026-11-25T16:55:00+01:00", Latest: "2026-11-25T17:00:00+01:00", Out: "2026-11-26T08:00:00+01:00"}},
		Cases: []action.PlanCase{{Case: "4417 upper", Finished: "2026-11-26T10:00:00+01:00", LatePercent: 5, Lost: true}}},
	action.CaseStep{Case: "4417", Base: "upper", Step: "flush", Judged: "clean", As: "check"},
}

var at = time.Date(2026, 11, 25, 14, 7, 32, 0, time.FixedZone("", 3600))

// TestSchemaTakesEveryKind holds a full action of every kind, and the record it
// becomes, against the schema.
func TestSchemaTakesEveryKind(t *testing.T) {
	s := compiled(t)
	var kinds []action.Kind
	for _, body := range bodies {
		kinds = append(kinds, body.Kind())
		a := action.Action{ID: "a-" + string(body.Kind()), At: at, By: "KT", Body: body, Unusual: []string{"out-of-order"}, Why: "4"}
		b, err := json.Marshal(a)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := action.Decode(b); err != nil {
			t.Errorf("%s: the example itself is refused: %v", body.Kind(), err)
		}
		if err := fits(t, s, b); err != nil {
			t.Errorf("%s: %v", b, err)
		}
		now := timers.Reading{Wall: at, Boot: time.Hour, BootID: "boot-1"}
		r, err := record.Write(1, record.Genesis("x"), now, timers.StampAt(at, now), a)
		if err != nil {
			t.Fatal(err)
		}
		if err := fits(t, s, r.Raw); err != nil {
			t.Errorf("the record %s: %v", r.Raw, err)
		}
	}
	if !slices.Equal(kinds, action.Kinds()) {
		t.Errorf("the examples are of %v\nwant one of each of %v", kinds, action.Kinds())
	}
}

// TestSchemaTakesShort holds what a person would type against the schema: all that
// the book fills in is left out.
func TestSchemaTakesShort(t *testing.T) {
	s := compiled(t)
	for _, line := range []string{
		`{"id":"1","at":"2026-11-25T14:07:32+01:00","act":"flask-open","body":{"place":1,"case":"4417","base":"upper","size":"medium"}}`,
		`{"id":"2","at":"2026-11-25T13:07:32Z","act":"mix","body":{"flasks":[1]}}`,
		`{"id":"3","at":"2026-11-25T14:07:32.125+01:00","act":"press-at","body":{"flask":1},"why":"maker says so"}`,
		`{"id":"4","at":"2026-11-25T14:07:32+01:00","act":"bath-load","body":{"flasks":[1],"programme":"long, 9 h"}}`,
		`{"id":"5","at":"2026-11-25T14:07:32+01:00","act":"seen","body":{}}`,
	} {
		if _, err := action.Decode([]byte(line)); err != nil {
			t.Errorf("%s: %v", line, err)
		}
		if err := fits(t, s, []byte(line)); err != nil {
			t.Errorf("%s: %v", line, err)
		}
	}
}

// TestSchemaRefuses holds what is wrong against the schema and the decoder: both
// must refuse it.
func TestSchemaRefuses(t *testing.T) {
	s := compiled(t)
	const ok = `"id":"1","at":"2026-11-25T14:07:32+01:00"`
	for name, line := range map[string]string{
		"no act":            `{` + ok + `,"body":{"flask":1}}`,
		"unknown act":       `{` + ok + `,"act":"polish","body":{"flask":1}}`,
		"no body":           `{` + ok + `,"act":"inspect"}`,
		"no id":             `{"at":"2026-11-25T14:07:32+01:00","act":"inspect","body":{"flask":1}}`,
		"empty id":          `{"id":"","at":"2026-11-25T14:07:32+01:00","act":"inspect","body":{"flask":1}}`,
		"no at":             `{"id":"1","act":"inspect","body":{"flask":1}}`,
		"at without zone":   `{"id":"1","at":"2026-11-25T14:07:32","act":"inspect","body":{"flask":1}}`,
		"at is a number":    `{"id":"1","at":1764076052,"act":"inspect","body":{"flask":1}}`,
		"extra field":       `{` + ok + `,"act":"inspect","body":{"flask":1},"colour":"red"}`,
		"extra in body":     `{` + ok + `,"act":"inspect","body":{"flask":1,"colour":"red"}}`,
		"another's body":    `{` + ok + `,"act":"inspect","body":{"mix":1}}`,
		"text for number":   `{` + ok + `,"act":"remount","body":{"flask":1,"pin_mm":"0,4"}}`,
		"half a flask":      `{` + ok + `,"act":"inspect","body":{"flask":1.5}}`,
		"flask 0":           `{` + ok + `,"act":"inspect","body":{"flask":0}}`,
		"place 10":          `{` + ok + `,"act":"flask-move","body":{"flask":1,"place":10}}`,
		"unknown grade":     `{` + ok + `,"act":"flash","body":{"flask":1,"grade":"some"}}`,
		"unknown where":     `{` + ok + `,"act":"flash","body":{"flask":1,"grade":"heavy","where":["north"]}}`,
		"defect twice":      `{` + ok + `,"act":"outcome","body":{"flask":1,"outcome":"remake","defects":["crazing","crazing"]}}`,
		"no flasks":         `{` + ok + `,"act":"deflask","body":{"flasks":[]}}`,
		"flask twice":       `{` + ok + `,"act":"deflask","body":{"flasks":[1,1]}}`,
		"negative time":     `{` + ok + `,"act":"coat","body":{"flask":1,"half":"cast","dry_min_s":-1}}`,
		"set is empty":      `{` + ok + `,"act":"correct","body":{"of":"a1","set":{}}}`,
		"set is not a list": `{` + ok + `,"act":"correct","body":{"of":"a1","set":[1]}}`,
		"long initials":     `{` + ok + `,"by":"ABCDEFGHI","act":"inspect","body":{"flask":1}}`,
		"bad programme":     `{` + ok + `,"act":"bath-load","body":{"flasks":[1],"programme":"x","stages":[{"temp_c":"hot","hold_s":60}]}}`,
	} {
		if _, err := action.Decode([]byte(line)); err == nil {
			t.Errorf("%s: the decoder takes %s", name, line)
		}
		if fits(t, s, []byte(line)) == nil {
			t.Errorf("%s: the schema takes %s", name, line)
		}
	}
}

// TestSchemaAndDecoderAgreeOnTypes puts a value of the wrong type in every field
// of every example, and a field too many into every body: neither the schema nor
// the decoder may take it.
func TestSchemaAndDecoderAgreeOnTypes(t *testing.T) {
	s := compiled(t)
	for _, body := range bodies {
		var fields map[string]any
		b, err := json.Marshal(body)
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(b, &fields); err != nil {
			t.Fatal(err)
		}
		try := func(what string, change func(m map[string]any)) {
			m := maps.Clone(fields)
			change(m)
			line, err := json.Marshal(map[string]any{"id": "1", "at": at, "act": body.Kind(), "body": m})
			if err != nil {
				t.Fatal(err)
			}
			if _, err := action.Decode(line); err == nil {
				t.Errorf("%s, %s: the decoder takes %s", body.Kind(), what, line)
			}
			if fits(t, s, line) == nil {
				t.Errorf("%s, %s: the schema takes %s", body.Kind(), what, line)
			}
		}
		try("a field too many", func(m map[string]any) { m["colour"] = "red" })
		for name, v := range fields {
			if _, is := v.(bool); is {
				try(name, func(m map[string]any) { m[name] = strings.Repeat("x", 3) })
				continue
			}
			try(name, func(m map[string]any) { m[name] = true })
		}
	}
}
