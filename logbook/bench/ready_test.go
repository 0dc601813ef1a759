package bench

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/flash"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/simclock"
)

// hands write records at a bench whose clock is moved by hand.
type hands struct {
	ck   *simclock.Hand
	recs []record.Record
}

func newHands() *hands {
	return &hands{ck: simclock.At(time.Date(2026, 11, 25, 8, 0, 0, 0, time.FixedZone("", 3600)), "boot-1")}
}

// do lets time pass and records something; it gives the id.
func (h *hands) do(after time.Duration, body action.Body) string {
	h.ck.Run(after)
	r, n := h.ck.Read(), len(h.recs)+1
	id := fmt.Sprintf("a%03d", n)
	h.recs = append(h.recs, record.Record{Seq: uint64(n), Stamp: timers.StampAt(r.Wall, r), Action: action.Action{ID: id, At: r.Wall, By: "KT", Body: body}})
	return id
}

func (h *hands) bench() *Bench   { return Fold(h.recs, Counters{}) }
func (h *hands) now() timers.Now { return timers.Now{Reading: h.ck.Read()} }

// work is the time the test's mixes can be worked, from mixing.
const work = 45 * time.Minute

// open brings a flask to where its first trial closure is next: separator dry, dough
// reached by its time, half an hour of it left.
func (h *hands) open(no int, size action.Size) {
	h.do(0, action.FlaskOpen{Flask: no, Place: no, Case: fmt.Sprint(4400 + no), Base: "upper", Size: size})
	h.do(0, action.Coat{Flask: no, Half: "both", DryMinS: 600})
}

func (h *hands) mix(no int, flasks ...int) {
	h.do(0, action.MixMake{Mix: no, Flasks: flasks, RoomC: 23, DoughS: 600, WorkS: int(work.Seconds())})
}

// closure is one trial closure of flask 1: 120 s from press to judged when held for 60.
func (h *hands) closure(grade action.Grade, psi float64, hold time.Duration) {
	h.do(0, action.PressIn{Flask: 1})
	h.do(42*time.Second, action.PressAt{Flask: 1, PressurePSI: psi, HoldS: 60})
	h.do(hold, action.PressOpen{Flask: 1})
	h.do(18*time.Second, action.Flash{Flask: 1, Grade: grade})
}

func (h *hands) closures(grades ...action.Grade) {
	for _, g := range grades {
		h.closure(g, 3000, time.Minute)
	}
}

// TestVerdictFromRecords: each rule of the house, as records break it, with what the
// verdict says would mend it, and that it does. The rules themselves are a house
// default; that no flash at the first closure is a short mould is common practice, no
// source.
func TestVerdictFromRecords(t *testing.T) {
	none := house.Default()
	none.Press.Grade = "none"
	three := house.Default()
	three.Press.MinTrials = 3
	for _, c := range []struct {
		name   string
		do     func(h *hands)
		want   []flash.ReasonCode // none for READY
		mend   string             // of the first reason
		mended func(h *hands)
	}{
		{name: "all hold", do: func(h *hands) { h.closures("heavy", "slight") }},
		{"not pressed", func(h *hands) {}, []flash.ReasonCode{flash.NoTrials}, "make the first trial closure", func(h *hands) { h.closures("heavy", "slight") }},
		{"1 no flash at the first", func(h *hands) { h.closures("none") }, []flash.ReasonCode{flash.ShortMould, flash.FewTrials}, "add dough and close again, or check it",
			func(h *hands) { h.do(0, action.DoughAdd{Flask: 1}); h.closures("slight", "slight") }},
		{"1 no flash at the first, looked", func(h *hands) { h.closures("none") }, []flash.ReasonCode{flash.ShortMould, flash.FewTrials}, "check it and record it as full",
			func(h *hands) { h.do(0, action.Inspect{Flask: 1}); h.closures("none") }},
		{"1 no flash ever", func(h *hands) { h.closures("none", "none", "none") }, []flash.ReasonCode{flash.NeverFull}, "add dough",
			func(h *hands) { h.do(0, action.Inspect{Flask: 1}) }},
		{"1 looked, then dough added", func(h *hands) {
			h.closures("none", "none")
			h.do(0, action.Inspect{Flask: 1})
			h.do(0, action.DoughAdd{Flask: 1})
			h.closures("none")
		},
			[]flash.ReasonCode{flash.NeverFull}, "add dough", func(h *hands) { h.do(0, action.Inspect{Flask: 1}) }},
		{"2 heavy", func(h *hands) { h.closures("heavy", "heavy") }, []flash.ReasonCode{flash.FlashAbove}, "trim and close again", func(h *hands) { h.closures("slight") }},
		{"2 the house wants none", func(h *hands) { h.do(0, action.Settings{House: none}); h.closures("heavy", "slight") }, []flash.ReasonCode{flash.FlashAbove}, "the house asks for none", func(h *hands) { h.closures("none") }},
		{"2 more than before", func(h *hands) { h.closures("heavy", "none", "slight") }, []flash.ReasonCode{flash.FlashGrew}, "close again", func(h *hands) { h.closures("slight") }},
		{"2 too few", func(h *hands) { h.closures("slight") }, []flash.ReasonCode{flash.FewTrials}, "close again", func(h *hands) { h.closures("slight") }},
		{"2 too few for this house", func(h *hands) { h.do(0, action.Settings{House: three}); h.closures("heavy", "slight") }, []flash.ReasonCode{flash.FewTrials}, "close again", func(h *hands) { h.closures("slight") }},
		{"3 pressure low", func(h *hands) { h.closures("heavy"); h.closure("slight", 2900, time.Minute) }, []flash.ReasonCode{flash.PressureLow}, "house pressure", func(h *hands) { h.closures("slight") }},
		{"3 pressure not recorded", func(h *hands) {
			h.closures("heavy")
			h.do(0, action.PressIn{Flask: 1})
			h.do(0, action.PressOpen{Flask: 1})
			h.do(0, action.Flash{Flask: 1, Grade: "slight"})
		}, []flash.ReasonCode{flash.PressureGap, flash.HoldGap}, "record what the gauge showed", func(h *hands) { h.closures("slight") }},
		{"3 hold short", func(h *hands) { h.closures("heavy"); h.closure("slight", 3000, 59*time.Second) }, []flash.ReasonCode{flash.HoldShort}, "house hold", func(h *hands) { h.closures("slight") }},
		{"3 an earlier closure may have been lower", func(h *hands) { h.closure("heavy", 1500, 10*time.Second); h.closures("slight") }, nil, "", nil},
		{"4 dough added since", func(h *hands) { h.closures("heavy", "slight"); h.do(0, action.DoughAdd{Flask: 1}) }, []flash.ReasonCode{flash.AddedLast}, "close again with the sheet", func(h *hands) { h.closures("slight") }},
		{"4 dough added, closed, not judged", func(h *hands) {
			h.closures("heavy", "slight")
			h.do(0, action.DoughAdd{Flask: 1})
			h.do(0, action.PressIn{Flask: 1})
		}, []flash.ReasonCode{flash.AddedLast}, "judge the flash", func(h *hands) { h.closures("slight") }},
		{"5 dough over", func(h *hands) { h.closures("heavy", "slight"); h.ck.Run(work) }, []flash.ReasonCode{flash.DoughOver}, "a new mix",
			func(h *hands) { h.mix(2, 1); h.closures("heavy", "slight") }},
		{"5 marked too stiff", func(h *hands) { h.closures("heavy", "slight"); h.do(0, action.MixStiff{Mix: 1}) }, []flash.ReasonCode{flash.DoughOver}, "a new mix",
			func(h *hands) { h.mix(2, 1); h.closures("heavy", "slight") }},
		{"5 marked too stiff, then dough by mistake", func(h *hands) {
			h.closures("heavy", "slight")
			h.do(0, action.MixStiff{Mix: 1})
			h.do(time.Second, action.MixDough{Mix: 1})
		},
			[]flash.ReasonCode{flash.DoughOver}, "a new mix", func(h *hands) { h.mix(2, 1); h.closures("heavy", "slight") }},
		{"5 dough shorter than a final closure", func(h *hands) {
			h.closures("heavy", "slight")
			h.ck.Run(work - 15*time.Minute - 4*time.Minute - 119*time.Second)
		}, []flash.ReasonCode{flash.DoughTooShort}, "a new mix", func(h *hands) { h.mix(2, 1); h.closures("heavy", "slight") }},
		{"5 dough just long enough", func(h *hands) {
			h.closures("heavy", "slight")
			h.ck.Run(work - 15*time.Minute - 4*time.Minute - 121*time.Second)
		}, nil, "", nil},
		// Closures made with an earlier dough say nothing of the new one.
		{"new mix, not pressed", func(h *hands) { h.closures("heavy", "slight"); h.mix(2, 1) }, []flash.ReasonCode{flash.NoTrials}, "first trial closure", func(h *hands) { h.closures("heavy", "slight") }},
		{"new mix, no flash at its first", func(h *hands) { h.closures("heavy", "slight"); h.mix(2, 1); h.closures("none") },
			[]flash.ReasonCode{flash.ShortMould, flash.FewTrials}, "mould may be underfilled", func(h *hands) { h.do(0, action.Inspect{Flask: 1}); h.closures("none") }},
		{"new mix, looked only before it", func(h *hands) {
			h.closures("heavy")
			h.do(0, action.Inspect{Flask: 1})
			h.ck.Run(time.Second)
			h.mix(2, 1)
			h.closures("none", "none")
		},
			[]flash.ReasonCode{flash.NeverFull}, "mould may be underfilled", func(h *hands) { h.do(0, action.Inspect{Flask: 1}) }},
		{"a mix that stood, given later", func(h *hands) {
			h.mix(2, 2)
			h.closures("heavy", "slight")
			h.do(time.Second, action.MixServe{Mix: 2, Flasks: []int{1}})
		},
			[]flash.ReasonCode{flash.NoTrials}, "first trial closure", func(h *hands) { h.closures("heavy", "slight") }},
		{"the same mix said twice", func(h *hands) { h.closures("heavy", "slight"); h.do(0, action.MixServe{Mix: 1, Flasks: []int{1}}) }, nil, "", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := newHands()
			h.open(1, "medium")
			h.mix(1, 1)
			h.ck.Run(15 * time.Minute)
			c.do(h)
			b := h.bench()
			v := b.Verdict(b.Flasks[1], h.now())
			var got []flash.ReasonCode
			for _, r := range v.Reasons {
				got = append(got, r.Code)
			}
			if !slices.Equal(got, c.want) || v.Ready != (len(c.want) == 0) {
				t.Fatalf("ready %v, reasons %v, want %v", v.Ready, got, c.want)
			}
			if v.Ready {
				if v.String() != "READY for final closure" {
					t.Errorf("in words %q", v)
				}
				return
			}
			if !strings.Contains(v.Reasons[0].Mend, c.mend) {
				t.Errorf("would be mended by %q, want %q", v.Reasons[0].Mend, c.mend)
			}
			if !strings.HasPrefix(v.String(), "not yet: ") {
				t.Errorf("in words %q", v)
			}
			c.mended(h)
			b = h.bench()
			if v := b.Verdict(b.Flasks[1], h.now()); !v.Ready {
				t.Errorf("after what would mend it: %v", v.Reasons)
			}
		})
	}
}

// TestVerdictWithoutAMix says so, and is mended by recording the mix.
func TestVerdictWithoutAMix(t *testing.T) {
	h := newHands()
	h.open(1, "medium")
	h.ck.Run(15 * time.Minute)
	h.closures("heavy", "slight")
	b := h.bench()
	v := b.Verdict(b.Flasks[1], h.now())
	if v.Ready || len(v.Reasons) != 1 || v.Reasons[0].Code != flash.DoughUnknown || v.Reasons[0].Mend == "" {
		t.Errorf("%+v", v)
	}
	if o, err := b.Outlook(b.Flasks[1], h.now()); err != nil || o.Allowed != -1 || o.Median != 0 {
		t.Errorf("outlook allows %d of %d, %v", o.Allowed, o.Median, err)
	}
	h.mix(1, 1)
	b = h.bench()
	if v := b.Verdict(b.Flasks[1], h.now()); !v.Ready {
		t.Errorf("with the mix recorded: %+v", v)
	}
}

// TestVerdictFollowsCorrections: the values that count are the corrected ones.
func TestVerdictFollowsCorrections(t *testing.T) {
	h := newHands()
	h.open(1, "medium")
	h.mix(1, 1)
	h.ck.Run(15 * time.Minute)
	h.closures("heavy", "heavy")
	flashID := h.recs[len(h.recs)-1].Action.ID
	fix := h.do(0, action.Correct{Of: flashID, Set: json.RawMessage(`{"grade":"slight"}`)})
	b := h.bench()
	if v := b.Verdict(b.Flasks[1], h.now()); !v.Ready {
		t.Errorf("the grade corrected to slight: %+v", v)
	}
	h.do(0, action.TakeBack{Of: fix})
	b = h.bench()
	if v := b.Verdict(b.Flasks[1], h.now()); v.Ready || v.Reasons[0].Code != flash.FlashAbove {
		t.Errorf("the correction taken back: %+v", v)
	}
}

// TestHistoryOfFlask: what the trend is fitted to.
func TestHistoryOfFlask(t *testing.T) {
	h := newHands()
	h.open(1, "large")
	h.mix(1, 1)
	h.ck.Run(15 * time.Minute)
	h.closures("heavy")
	h.do(0, action.FlashMore{Flask: 1, Grams: 7.2})
	h.closures("heavy")
	h.do(0, action.PressIn{Flask: 1, Added: true}) // let down again without judging
	h.closures("slight")
	h.mix(2, 1)
	want := func(step, trials string, since bool) {
		t.Helper()
		b := h.bench()
		got := b.History(b.Flasks[1])
		var words []string
		for _, x := range got.Trials {
			words = append(words, x.String())
		}
		if s := strings.Join(words, ","); s != trials || got.AddedSince != since || got.Size != flash.Large {
			t.Errorf("%s: %s %s, added since %v; want %s, %v", step, got.Size, s, got.AddedSince, trials, since)
		}
	}
	want("a new mix", "heavy:7.2,heavy,+slight", true)
	h.closures("heavy", "slight")
	want("pressed anew", "heavy:7.2,heavy,+slight,+heavy,slight", false)
	h.do(0, action.DoughAdd{Flask: 1})
	want("dough added", "heavy:7.2,heavy,+slight,+heavy,slight", true)
	h.closures("slight")
	want("closed", "heavy:7.2,heavy,+slight,+heavy,slight,+slight", false)
}

// TestOutlook: what is likely wanted, at least what the house asks for, against what
// the dough allows.
func TestOutlook(t *testing.T) {
	h := newHands()
	h.open(1, "medium")
	h.mix(1, 1)
	h.ck.Run(15*time.Minute + 5*time.Second)
	outlook := func() Outlook {
		t.Helper()
		b := h.bench()
		o, err := b.Outlook(b.Flasks[1], h.now())
		if err != nil {
			t.Fatal(err)
		}
		return o
	}
	// A closure takes 42+60+18+90 s and the final one 120 s (house default).
	allowed := func() int {
		return int(math.Floor((work.Seconds() - h.now().Since(h.recs[2].Stamp).For.Seconds() - 120) / 210))
	}
	o := outlook()
	// Common practice, no source: 2 to 4 closures for a medium base.
	if o.Median < 2 || o.At80 > 4 || o.Allowed != allowed() {
		t.Errorf("before the first: likely %d, %d, allowed %d, want %d", o.Median, o.At80, o.Allowed, allowed())
	}
	if o.Further[0] != 0 || o.Further[1] != 0 {
		t.Errorf("fewer than the house minimum is given a chance: %v", o.Further)
	}
	h.closures("slight")
	if o := outlook(); o.Median != 1 || o.Allowed != allowed() {
		t.Errorf("slight at the first: likely %d more, want 1, for the house wants two; allowed %d, want %d", o.Median, o.Allowed, allowed())
	}
	h.closures("slight")
	if o := outlook(); o.Median != 0 || o.At80 != 0 {
		t.Errorf("ready: likely %d more", o.Median)
	}
	h.do(0, action.DoughAdd{Flask: 1})
	if o := outlook(); o.Median < 1 {
		t.Errorf("dough added: likely %d more", o.Median)
	}
	h.do(0, action.MixStiff{Mix: 1})
	if o := outlook(); o.Allowed != 0 {
		t.Errorf("too stiff, and %d closures are allowed", o.Allowed)
	}
	strict := house.Default()
	strict.Press.MinTrials = 20 // more than the forecast looks ahead
	h.do(0, action.Settings{House: strict})
	if o := outlook(); o.Median != flash.MaxAhead+1 && o.Median != flash.MaxAhead {
		t.Errorf("a house that wants twenty closures: likely %d more", o.Median)
	}
	b := h.bench()
	if _, err := b.CostOfMix(h.now(), "medium", 1); err != nil {
		t.Errorf("a house that wants twenty closures: %v", err)
	}
}

// TestShortOfDough: the alarm rises when what is likely wanted no longer fits, stays
// acknowledged, and goes with the next record.
func TestShortOfDough(t *testing.T) {
	for _, c := range []struct {
		name   string
		grades []action.Grade
	}{{"before the first closure", nil}, {"one heavy", []action.Grade{"heavy"}}, {"two heavy", []action.Grade{"heavy", "heavy"}}} {
		t.Run(c.name, func(t *testing.T) {
			h := newHands()
			h.open(1, "medium")
			h.mix(1, 1)
			h.ck.Run(15 * time.Minute)
			h.closures(c.grades...)
			b := h.bench()
			short := func() (al timers.Alarm, on bool) {
				b = h.bench()
				for _, a := range b.Alarms(h.now()) {
					if strings.HasSuffix(a.Key, "#"+string(ShortOfDough)) {
						return a, true
					}
				}
				return timers.Alarm{}, false
			}
			o, err := b.Outlook(b.Flasks[1], h.now())
			if err != nil || o.Median < 1 {
				t.Fatalf("likely %d, %v", o.Median, err)
			}
			// The moment from which the closures likely wanted no longer fit before the end.
			at := b.Mixes[1].Window.To - 120*time.Second - time.Duration(o.Median)*210*time.Second
			until := func() time.Duration { return at - h.now().Since(b.Mixes[1].Made).For }
			if until() < time.Minute {
				t.Fatalf("too late for the test: %v", until())
			}
			for _, early := range []time.Duration{until(), time.Second, 0} {
				h.ck.Run(max(0, until()-early))
				if a, on := short(); on {
					t.Fatalf("%v early: %+v", early, a)
				}
				if o, _ := b.Outlook(b.Flasks[1], h.now()); o.Allowed < o.Median {
					t.Fatalf("%v early the dough allows %d of %d", early, o.Allowed, o.Median)
				}
			}
			h.ck.Run(time.Second)
			a, on := short()
			if !on || a.State != timers.Unacknowledged || a.Priority != timers.High {
				t.Fatalf("a second later: %v %+v", on, a)
			}
			if o, _ := b.Outlook(b.Flasks[1], h.now()); o.Allowed != o.Median-1 {
				t.Errorf("the alarm is up and the dough allows %d of %d", o.Allowed, o.Median)
			}
			if got := h.now().Since(a.Rose).For; got.Round(time.Millisecond) != time.Second {
				t.Errorf("rose %v ago, want a second", got)
			}
			if s, ok := SubjectOfKey(a.Key); !ok || s.No != 1 || s.Class != 'f' {
				t.Errorf("key %s is about %v", a.Key, s)
			}
			rose := a.Rose.At
			h.ck.Run(time.Minute)
			if a, on := short(); !on || a.State != timers.Unacknowledged || a.Rose.At.Sub(rose).Abs() > time.Millisecond {
				t.Errorf("a minute later: %v %+v", on, a)
			}
			h.do(time.Second, action.AlarmHeard{Alarm: a.Key})
			for range 3 {
				if a, on := short(); !on || a.State != timers.Acknowledged {
					t.Errorf("after it was heard: %v %+v", on, a)
				}
				h.ck.Run(20 * time.Second)
			}
			h.do(0, action.Note{Flask: 1, Text: "looks dry"})
			if a, on := short(); !on || a.State != timers.Acknowledged {
				t.Errorf("a note brought it back: %v %+v", on, a)
			}
			h.do(0, action.PressIn{Flask: 1})
			if a, on := short(); on {
				t.Errorf("in the press again: %+v", a)
			}
			h.do(42*time.Second, action.PressAt{Flask: 1, PressurePSI: 3000, HoldS: 60})
			h.do(time.Minute, action.PressOpen{Flask: 1})
			h.do(18*time.Second, action.Flash{Flask: 1, Grade: "heavy"})
			if a, on := short(); !on || a.State != timers.Unacknowledged || !a.Rose.At.Equal(h.ck.Read().Wall) {
				t.Errorf("heavy once more: %v %+v, want it anew from when it was judged", on, a)
			}
			h.do(0, action.Correct{Of: h.recs[len(h.recs)-1].Action.ID, Set: json.RawMessage(`{"grade":"slight"}`)})
			if len(c.grades) == 0 {
				return // one slight is one too few for the house
			}
			if a, on := short(); on {
				t.Errorf("ready, and still: %+v", a)
			}
		})
	}
}

// TestNoShortageWithoutNeed: no alarm for what is ready, closed, stiff or without a mix.
func TestNoShortageWithoutNeed(t *testing.T) {
	for name, do := range map[string]func(h *hands){
		"ready": func(h *hands) { h.closures("heavy", "slight") },
		"closed": func(h *hands) {
			h.closures("heavy", "heavy")
			h.do(0, action.SheetOut{Flask: 1})
			h.do(0, action.MetalToMetal{Flask: 1})
		},
		"stiff":    func(h *hands) { h.closures("heavy"); h.do(0, action.MixStiff{Mix: 1}) },
		"finished": func(h *hands) { h.closures("heavy"); h.do(0, action.Outcome{Flask: 1, Outcome: "remake"}) },
		"in press": func(h *hands) { h.do(0, action.PressIn{Flask: 1}) },
	} {
		h := newHands()
		h.open(1, "medium")
		h.mix(1, 1)
		h.ck.Run(15 * time.Minute)
		do(h)
		b := h.bench()
		h.ck.Run(work)
		for _, a := range b.Alarms(h.now()) {
			if strings.Contains(a.Key, string(ShortOfDough)) {
				t.Errorf("%s: %+v", name, a)
			}
		}
	}
}

func BenchmarkVerdict(b *testing.B) {
	h := newHands()
	h.open(1, "medium")
	h.mix(1, 1)
	h.closures("heavy", "heavy", "slight")
	bn := h.bench()
	for b.Loop() {
		bn.Verdict(bn.Flasks[1], h.now())
	}
}
