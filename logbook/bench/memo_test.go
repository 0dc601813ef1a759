package bench

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/flash"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/longrun"
)

// TestMemo: the same question is worked out once, another one anew, and what is kept
// has an end.
func TestMemo(t *testing.T) {
	k := newMemo()
	s := flash.HouseDefaults()
	grams := 3.0
	h := flash.History{Size: flash.Medium, Trials: []flash.Trial{{Grade: flash.Heavy}}}
	keys := func(h flash.History, s flash.TrendSettings, g flash.Grade, least int) int {
		t.Helper()
		if _, err := k.outlook(s, h, g, least); err != nil {
			t.Fatal(err)
		}
		return len(k.m)
	}
	first, again := keys(h, s, flash.Slight, 1), keys(h, s, flash.Slight, 1)
	if first != 1 || again != 1 {
		t.Error("asked twice, kept twice")
	}
	other := s
	other.GradeSD = 0.5
	n := 1
	for name, got := range map[string]func() int{
		"size": func() int { return keys(flash.History{Size: flash.Large, Trials: h.Trials}, s, flash.Slight, 1) },
		"grams": func() int {
			return keys(flash.History{Size: h.Size, Trials: []flash.Trial{{Grade: flash.Heavy, Grams: &grams}}}, s, flash.Slight, 1)
		},
		"since": func() int {
			return keys(flash.History{Size: h.Size, Trials: h.Trials, AddedSince: true}, s, flash.Slight, 1)
		},
		"settings": func() int { return keys(h, other, flash.Slight, 1) },
		"grade":    func() int { return keys(h, s, flash.None, 1) },
		"least":    func() int { return keys(h, s, flash.Slight, 2) },
	} {
		if n++; got() != n {
			t.Errorf("another %s is taken for the same", name)
		}
	}
	for i := range memoSize + 1 {
		g := 1 + float64(i)/100
		keys(flash.History{Size: h.Size, Trials: []flash.Trial{{Grade: flash.Heavy, Grams: &g}}}, s, flash.Slight, 1)
		if len(k.m) > memoSize {
			t.Fatalf("%d kept", len(k.m))
		}
	}
}

// anyRecord is a record of the kinds that the verdict, the outlook and the press order
// rest on, at any time and in any order, about one of three flasks and mixes.
func anyRecord(rt *rapid.T, n int, earlier []record.Record) record.Record {
	no := rapid.IntRange(1, 3)
	f, m := no.Draw(rt, "flask"), no.Draw(rt, "mix")
	some := rapid.SliceOfNDistinct(no, 1, 3, rapid.ID[int]).Draw(rt, "flasks")
	grade := rapid.SampledFrom(action.Grades).Draw(rt, "grade")
	grams := rapid.SampledFrom([]float64{0, 0, 0.01, 0.15, 1, 7.2, 1000}).Draw(rt, "grams")
	seconds := rapid.SampledFrom([]int{0, 1, 60, 600, 2700, 14 * 24 * 3600})
	h := house.Default()
	h.Press.MinTrials = rapid.IntRange(1, 20).Draw(rt, "least")
	h.Press.Presses, h.Press.Hands = no.Draw(rt, "presses"), no.Draw(rt, "hands")
	h.Work = house.Work{RaiseS: rapid.IntRange(0, 3600).Draw(rt, "raise"), FinalS: rapid.IntRange(0, 3600).Draw(rt, "final")}
	h.Flash.Prior.Medium = flash.Prior{FirstG: rapid.SampledFrom([]float64{0.001, 8, 1000}).Draw(rt, "first"), FirstSD: rapid.SampledFrom([]float64{0.05, 2}).Draw(rt, "first sd"),
		Kept: rapid.SampledFrom([]float64{0.01, 0.3, 0.99}).Draw(rt, "kept"), KeptSD: rapid.SampledFrom([]float64{0.02, 1}).Draw(rt, "kept sd")}
	of := "none"
	if len(earlier) > 0 {
		of = rapid.SampledFrom(earlier).Draw(rt, "of").Action.ID
	}
	dough := seconds.Draw(rt, "dough")
	body := rapid.SampledFrom([]action.Body{
		action.FlaskOpen{Flask: f, Place: f, Case: "4417", Base: "upper", Size: rapid.SampledFrom(action.Sizes).Draw(rt, "size")},
		action.Coat{Flask: f, Half: rapid.SampledFrom(action.Halves).Draw(rt, "half"), DryMinS: seconds.Draw(rt, "dry")},
		action.MixMake{Mix: m, Flasks: some, RoomC: 23, DoughS: dough, WorkS: max(dough, seconds.Draw(rt, "work"))},
		action.MixServe{Mix: m, Flasks: some}, action.MixDough{Mix: m}, action.MixStiff{Mix: m},
		action.PressIn{Flask: f, Press: 1, Added: rapid.Bool().Draw(rt, "added")},
		action.PressAt{Flask: f, PressurePSI: rapid.SampledFrom([]float64{1, 2999, 3000, 20000}).Draw(rt, "psi"), HoldS: seconds.Draw(rt, "hold")},
		action.PressOpen{Flask: f}, action.Flash{Flask: f, Grade: grade, Grams: grams}, action.Flash{Flask: f, Grade: grade},
		action.FlashMore{Flask: f, Grams: 3}, action.DoughAdd{Flask: f}, action.Inspect{Flask: f},
		action.SheetOut{Flask: f}, action.MetalToMetal{Flask: f}, action.Clamp{Flask: f}, action.Outcome{Flask: f, Outcome: "remake"},
		action.Settings{House: h},
		action.Correct{Of: of, Set: json.RawMessage(`{"grade":"` + grade + `"}`)}, action.TakeBack{Of: of},
	}).Draw(rt, "body")
	at := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC).Add(time.Duration(rapid.IntRange(-7200, 7200).Draw(rt, "at")) * time.Second)
	stamp := timers.Stamp{At: at}
	if rapid.Bool().Draw(rt, "boot") {
		stamp.BootID, stamp.Boot = "boot-1", time.Hour
	}
	return record.Record{Seq: uint64(n), Stamp: stamp, Action: action.Action{ID: rapid.StringMatching(`[a-z]{6}`).Draw(rt, "id"), At: at, By: "KT", Body: body}}
}

// TestAnyRecords: whatever was written, the bench answers, with numbers that are
// numbers; without flash seen and nobody having looked no flask is ever ready.
func TestAnyRecords(t *testing.T) {
	longrun.Checks(t, 20, 100)
	rapid.Check(t, func(rt *rapid.T) {
		var recs []record.Record
		for n := range rapid.IntRange(1, 40).Draw(rt, "n") {
			recs = append(recs, anyRecord(rt, n+1, recs))
		}
		now := timers.Now{Reading: timers.Reading{Wall: time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC).Add(time.Duration(rapid.IntRange(-9000, 90000).Draw(rt, "now")) * time.Second), Boot: 3 * time.Hour, BootID: "boot-1"}}
		b := Fold(recs, Counters{})
		finite := func(what string, v any) {
			if _, err := json.Marshal(v); err != nil {
				rt.Fatalf("%s: %v", what, err)
			}
		}
		for _, no := range Sorted(b.Flasks) {
			f := b.Flasks[no]
			v := b.Verdict(f, now)
			finite("verdict", v)
			if v.Ready != (len(v.Reasons) == 0) {
				rt.Fatalf("ready %v with %v", v.Ready, v.Reasons)
			}
			shown := f.Inspected
			for _, tr := range f.Judged() {
				shown = shown || tr.Grade != "none"
			}
			if v.Ready && (!shown || len(f.Judged()) == 0) {
				rt.Fatalf("flask %d is ready after %+v", no, f.Judged())
			}
			o, err := b.Outlook(f, now)
			if err != nil {
				rt.Fatalf("outlook of flask %d: %v", no, err)
			}
			finite("outlook", o)
			if o.Median > o.At80 || o.Allowed < -1 || v.Ready && o.Median != 0 {
				rt.Fatalf("likely %d, %d, allowed %d, ready %v", o.Median, o.At80, o.Allowed, v.Ready)
			}
			finite("history", b.History(f))
		}
		b.Windows()
		b.Alarms(now)
		a, err := b.PressOrder(now)
		if err != nil {
			rt.Fatalf("press order: %v", err)
		}
		finite("advice", a)
		again, err := b.PressOrder(now)
		if err != nil || again.Next != a.Next {
			rt.Fatalf("asked again: %+v, %v, was %+v", again.Next, err, a.Next)
		}
		c, err := b.CostOfMix(now, "medium", 2)
		if err != nil {
			rt.Fatalf("cost of a mix: %v", err)
		}
		finite("cost", c)
	})
}

// TestFirstWithoutFlash: none at the first closure is a short mould (common practice,
// no source) and never ready, whatever pressure, hold, settings and dough; nor is any
// number of closures without flash, until somebody looks.
func TestFirstWithoutFlash(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		h := newHands()
		set := house.Default()
		set.Press.MinTrials = rapid.IntRange(1, 3).Draw(rt, "least")
		set.Press.Grade = rapid.SampledFrom([]string{"none", "slight"}).Draw(rt, "house grade")
		h.do(0, action.Settings{House: set})
		h.open(1, rapid.SampledFrom(action.Sizes).Draw(rt, "size"))
		h.mix(1, 1)
		h.ck.Run(15 * time.Minute)
		for n := range rapid.IntRange(1, 4).Draw(rt, "closures") {
			h.closures("none")
			if rapid.Bool().Draw(rt, "more dough") {
				h.do(0, action.DoughAdd{Flask: 1})
			}
			b := h.bench()
			v := b.Verdict(b.Flasks[1], h.now())
			if v.Ready {
				rt.Fatalf("ready after %d closures without flash", n+1)
			}
			if b.Next(b.Flasks[1], h.now()) != DoPress {
				rt.Fatalf("next is %s", b.Next(b.Flasks[1], h.now()))
			}
			words := false
			for _, r := range v.Reasons {
				words = words || strings.Contains(r.Mend, "mould may be underfilled: add dough and close again, or check it and record it as full")
			}
			if !words {
				rt.Fatalf("the short mould is not told: %+v", v.Reasons)
			}
		}
	})
}
