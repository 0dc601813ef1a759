package action

import (
	"encoding/json"
	"testing"
	"time"

	"flaskside/logbook/house"
)

// samples gives for each kind a body with every field filled, and one with as few
// as may be.
func samples() map[Kind][2]Body {
	seven := 7
	out := map[Kind][2]Body{}
	for _, p := range [][2]Body{
		{FlaskOpen{Flask: 3, Place: 2, Case: "4417", Base: "upper", Size: "large", Tag: "red 4"}, FlaskOpen{Place: 9, Case: "x", Base: "reline", Size: "small"}},
		{FlaskMove{Flask: 3, Place: 9}, FlaskMove{Flask: 1, Place: 1}},
		{Coat{Flask: 3, Half: "both", DryMinS: 600, DryMaxS: 900, Lot: "S-12"}, Coat{Flask: 3, Half: "cast"}},
		{MixMake{Mix: 4, Flasks: []int{3, 5}, Resin: "heat-cured", PowderG: 22.5, LiquidG: 9.4, PowderLot: "P1", LiquidLot: "L1", RoomC: 23, JarC: new(-5.0), DoughS: 600, WorkS: 2700}, MixMake{Flasks: []int{1}}},
		{MixServe{Mix: 4, Flasks: []int{6}}, MixServe{Mix: 1, Flasks: []int{1, 2, 3, 4, 5, 6, 7, 8, 9}}},
		{MixDough{Mix: 4}, MixDough{Mix: 1}},
		{MixStiff{Mix: 4}, MixStiff{Mix: 1}},
		{PressIn{Flask: 3, Press: 2, Added: true}, PressIn{Flask: 3}},
		{PressAt{Flask: 3, PressurePSI: 3000, Gauge: "207 bar", HoldS: 60, Doubts: []Doubt{{Item: "gauge G1", What: "overdue", Due: "2026-11-20", Off: 1.5}}}, PressAt{Flask: 3}},
		{PressOpen{Flask: 3}, PressOpen{Flask: 1}},
		{Flash{Flask: 3, Grade: "heavy", Grams: 1.25, Where: []string{"posterior", "lingual"}}, Flash{Flask: 3, Grade: "none"}},
		{FlashMore{Flask: 3, Grams: 0.4, Where: []string{"labial"}}, FlashMore{Flask: 3, Grams: 0.01}},
		{DoughAdd{Flask: 3}, DoughAdd{Flask: 1}},
		{Inspect{Flask: 3}, Inspect{Flask: 1}},
		{FlaskLots{Flask: 3, StoneLot: "S-9", SheetLot: "T-4"}, FlaskLots{Flask: 1, SheetLot: "T-5"}},
		{SheetOut{Flask: 3}, SheetOut{Flask: 1}},
		{MetalToMetal{Flask: 3, Press: 1, PressurePSI: 3000, Gauge: "207 bar", Doubts: []Doubt{{Item: "gauge G1", What: "overdue", Due: "2026-11-20", Off: 1.5}}}, MetalToMetal{Flask: 3}},
		{Clamp{Flask: 3, BackedOffTurn: 0.25, BenchMinS: 1800, BenchMaxS: 3600, Clamp: "12"}, Clamp{Flask: 3}},
		{BathLoad{Load: 2, Bath: 1, Flasks: []int{3, 5}, Programme: "long, 9 h", Stages: []house.Stage{{TempC: 74, HoldS: 32400}, {TempC: 100, RampS: 1800, HoldS: 3600}}, BathC: 23, MaxS: 43200, Sections: []Section{{Flask: 3, ThinMM: 2, ThickMM: 9.5}}, Doubts: []Doubt{{Item: "thermometer T1", What: "overdue", Due: "2026-11-20", Off: 1.5}}, OffPlace: true}, BathLoad{Flasks: []int{3}, Programme: "long, 9 h"}},
		{BathReading{Bath: 1, TempC: 73.5, Source: "typed"}, BathReading{Bath: 1}},
		{BathUnload{Flasks: []int{3, 5}, BenchS: 1800, Places: []int{3, 0}}, BathUnload{Flasks: []int{3}}},
		{CoolWater{Flasks: []int{3}, WaterS: 900}, CoolWater{Flasks: []int{3}}},
		{Deflask{Flasks: []int{3, 5}}, Deflask{Flasks: []int{3}}},
		{Remount{Flask: 3, PinMM: 0.4}, Remount{Flask: 3}},
		{Outcome{Flask: 3, Outcome: "remake", Defects: []string{"porosity", "short mould"}}, Outcome{Flask: 3, Outcome: "finished here"}},
		{Note{Flask: 3, Text: "müde Schale <é> & 3 °C"}, Note{Load: seven, Text: "x"}},
		{TimerStart{Timer: 5, Label: "pumice", Count: "window", MinS: 60, AimS: 120, MaxS: 180}, TimerStart{Label: "up", Count: "up"}},
		{TimerStop{Timer: 5}, TimerStop{Timer: 1}},
		{AlarmHeard{Alarm: "flask/3/dry/cast/1#not before"}, AlarmHeard{Alarm: "x"}},
		{AlarmShelve{Alarm: "mix/4/dough#soon over", ForS: 300}, AlarmShelve{Alarm: "x", ForS: 10}},
		{Correct{Of: "a-17", Set: json.RawMessage(`{"grade":"slight","where":["labial"]}`)}, Correct{Of: "x", Set: json.RawMessage(`{"at":"2026-11-25T14:07:32+01:00"}`)}},
		{TakeBack{Of: "a-17", NoPlace: []int{3}}, TakeBack{Of: "x"}},
		{Settings{House: house.Default(), From: "a file", Changed: []string{"lab: not set → Nordlicht"}}, Settings{House: house.Default()}},
		{Crew{Initials: "KT", Handover: true}, Crew{Initials: "Ł"}},
		{Caution{Hazard: "monomer"}, Caution{Hazard: "deflask"}},
		{ClockEvent{What: "slept", ByS: 28800, Detail: "CET (UTC+01:00) to CST (UTC-06:00)"}, ClockEvent{What: "clock moved", ByS: -3600}},
		{Restored{From: "5:9f3a00c19f3a00c1", GaveUp: "15:00c19f3a00c19f3a", Kept: "bench.db.replaced-20261125-140732", Salvaged: true}, Restored{From: "0:9f3a00c19f3a00c1", GaveUp: "1:00c19f3a00c19f3a"}},
		{SignOff{Day: "2026-11-25", From: "2026-11-25T00:00:00+01:00", Until: "2026-11-26T00:00:00+01:00"}, SignOff{Day: "2026-03-29", From: "2026-03-29T00:00:00+01:00", Until: "2026-03-30T00:00:00+02:00"}},
		{Seen{Since: "2026-11-25T14:07:32+01:00"}, Seen{}},
		{Screen{What: "joined", Role: "work", From: "pts/3", Key: "SHA256:x", Away: true}, Screen{What: "left", Role: "lead"}},
		{LotIn{Material: "powder", Lot: "(01)03453120000011(17)281231(10)ABCD1234", Product: "heat-cured, pink", Expiry: "2028-12-31"}, LotIn{Material: "stone", Lot: "S-9"}},
		{LotOut{Material: "powder", Lot: "ABCD1234", Reason: "recalled"}, LotOut{Material: "sheet", Lot: "T-4", Reason: "used up"}},
		{EquipIn{Item: "gauge", Name: "G1", Product: "100 mm", On: "press 1", ScalePSI: 5000, ClassPct: 1.6, EveryDays: 182}, EquipIn{Item: "clamp", Name: "12", RatedPSI: 4000, Spring: true}},
		{EquipCheck{Item: "thermometer", Name: "T1", IceC: new(float64), BoilC: ptr(94.9), AirHPa: 835.2, Due: "2026-12-25"}, EquipCheck{Item: "gauge", Name: "G1", ReadPSI: ptr(3040), AgainstPSI: ptr(3000)}},
		{EquipWater{Item: "bath", Name: "1"}, EquipWater{Item: "pot", Name: "small"}},
		{EquipOut{Item: "clamp", Name: "12", Reason: "recalled"}, EquipOut{Item: "oven", Name: "O1", Reason: "not ours any more"}},
		{CaseIn{Case: "4417", Base: "upper", Size: "medium", Due: "2026-11-25T17:00:00+01:00", Rush: true, Resin: "heat-cured, general", Shade: "pink 3", RemakeOf: "4102", Remark: "thick ridge", Route: "packed", Ends: "outcome", Made: 7}, CaseIn{Case: "4417", Base: "lower", Size: "small", Due: "2026-11-25T17:00:00Z"}},
		{fullPlan, DayPlan{Day: "2026-11-25", Away: true}},
		{CaseOff{Case: "4417", Base: "upper", Reason: "withdrawn by the practice"}, CaseOff{Case: "4417", Base: "lower", Reason: "x"}},
		{CaseDelivered{Case: "4417", Base: "upper", Done: []string{"finished", "polished", "disinfected", "labelled", "statement prepared"}, WetH: 24, Missing: []string{"polish"}}, CaseDelivered{Case: "4417", Base: "lower"}},
		{CaseStep{Case: "4417", Base: "upper", Step: "pot", Event: "", Judged: "clean", Values: []StepValue{{Name: "water_c", Words: "water", Of: "temperature", Value: 45, Text: "x"}}, Words: "into the pot", Short: "in the pot", As: "hold", Place: "pot",
			MinS: 600, AimS: 1200, MaxS: 3600, Urgent: true, Pressure: true, Again: true, Last: true}, CaseStep{Case: "4417", Base: "lower", Step: "bath", Event: PressureLost}},
	} {
		out[p[0].Kind()] = p
	}
	return out
}

var doneAt = time.Date(2026, 11, 25, 14, 7, 32, 123456789, time.FixedZone("", 3600))

func actOf(b Body) Action {
	return Action{ID: "a-18", At: doneAt, By: "KT", Body: b, Unusual: []string{"hold-short"}, Why: "4"}
}

func written(t testing.TB, a Action) []byte {
	t.Helper()
	b, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// fullPlan has every field of a day plan.
var fullPlan = DayPlan{Day: "2026-11-25", Reason: "case 4450 upper came in", People: 2, Presses: 1, From: "08:00", To: "17:00", Down: []string{"bath 2"}, GateMin: 8,
	First: []string{"4450 upper"}, Together: [][]string{{"4417 upper", "4417 lower"}},
	Mixes: []PlanMix{{Cases: []string{"4450 upper"}, At: "2026-11-25T08:20:00+01:00", Latest: "2026-11-25T09:45:00+01:00"}, {Cases: []string{"4417 upper", "4417 lower"}, NotBefore: "2026-11-26T08:00:00+01:00"}},
	Loads: []PlanLoad{{Bath: "bath 1", Programme: "long, 9 h", Cases: []string{"4450 upper"}, In: "2026-11-25T16:55:00+01:00", Latest: "2026-11-25T17:00:00+01:00", Out: "2026-11-26T08:00:00+01:00"}},
	Cases: []PlanCase{{Case: "4450 upper", Finished: "2026-11-26T10:00:00+01:00", LatePercent: 5, Lost: true}, {Case: "4417 upper"}, {Case: "4417 lower"}}}

func ptr(v float64) *float64 { return &v }
