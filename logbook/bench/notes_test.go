package bench_test

import (
	"encoding/json"
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/house"
	"flaskside/timers/longrun"
)

// In a house that takes no notes no record ever holds words of people's own, whatever is told,
// whatever it is corrected to; and nothing else is refused for it.
func TestWhereNoNotesAreTakenNoneAre(outer *testing.T) {
	longrun.Checks(outer, 20, 100)
	refused, kept := 0, 0
	rapid.Check(outer, func(t *rapid.T) {
		p := newPaper(outer)
		h := house.Default()
		h.NoNotes = true
		p.do(0, action.Settings{House: h}, "1")
		p.do(0, open(1))
		for range rapid.IntRange(5, 40).Draw(t, "steps") {
			p.ck.Run(time.Duration(rapid.SampledFrom([]int{1, 60, 900}).Draw(t, "passes")) * time.Second)
			now := p.now()
			var old []string
			for _, it := range p.b.Items {
				old = append(old, it.Action.ID)
			}
			body := benchtest.Draw(t, p.b, now, old)
			if c, ok := body.(action.Correct); ok && rapid.Bool().Draw(t, "words") {
				c.Set = json.RawMessage(rapid.SampledFrom([]string{`{"remark":"she called"}`, `{"text":"x"}`, `{"reason":"he said so"}`}).Draw(t, "set"))
				body = c
			}
			switch body.(type) {
			case action.Settings, action.ClockEvent, action.TakeBack:
				continue // they could end it
			}
			why := rapid.SampledFrom([]string{"", "1", "9", "she was away"}).Draw(t, "why")
			raw, err := json.Marshal(body)
			if err != nil {
				t.Fatal(err)
			}
			own := action.OwnWords(body.Kind(), raw, why)
			_, err = p.tryAt(0, body, why)
			told := err != nil && errors.Is(err, bench.ErrNoNotes)
			switch {
			case own && err == nil:
				t.Fatalf("recorded: %s %s, because %q", body.Kind(), raw, why)
			case told && !own:
				t.Fatalf("refused: %s %s, because %q", body.Kind(), raw, why)
			case told:
				refused++
			case err == nil:
				kept++
			}
		}
	})
	if refused == 0 || kept == 0 {
		outer.Errorf("%d refused, %d recorded: nothing was tried", refused, kept)
	}
}

// What is told by choosing is no word of one's own.
func TestOwnWords(t *testing.T) {
	for _, c := range []struct {
		body action.Body
		why  string
		own  bool
	}{
		{action.Note{Flask: 1, Text: "x"}, "", true},
		{action.Coat{Flask: 1, Half: "both"}, "", false},
		{action.Coat{Flask: 1, Half: "both"}, "4", false},
		{action.Coat{Flask: 1, Half: "both"}, "she was away", true},
		{action.CaseIn{Case: "4417", Base: "upper"}, "", false},
		{action.CaseIn{Case: "4417", Base: "upper", Remark: "for the old lady"}, "", true},
		{action.CaseOff{Case: "4417", Reason: action.CaseOffReasons[0]}, "", false},
		{action.CaseOff{Case: "4417", Reason: "the doctor withdrew it"}, "", true},
		{action.LotOut{Lot: "P-1", Reason: "recalled"}, "", false},
		{action.EquipOut{Name: "C1", Reason: "worn"}, "", false},
		{action.DayPlan{Reason: "2 cases are new"}, "", false},
		{action.CaseStep{Case: "4417", Values: []action.StepValue{{Name: "who", Text: "she"}}}, "", true},
		{action.Correct{Of: "a", Set: json.RawMessage(`{"remark":"x"}`)}, "", true},
		{action.Correct{Of: "a", Set: json.RawMessage(`{"due":"2026-12-01T08:00:00Z"}`)}, "another due time", false},
	} {
		raw, err := json.Marshal(c.body)
		if err != nil {
			t.Fatal(err)
		}
		if got := action.OwnWords(c.body.Kind(), raw, c.why); got != c.own {
			t.Errorf("%s %s, because %q: %v", c.body.Kind(), raw, c.why, got)
		}
	}
}
