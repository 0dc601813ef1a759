package flash

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// Rule is what the house asks of a flask before its final closure.
type Rule struct {
	Grade       Grade   `json:"grade"`        // most flash at the last trial: none or slight
	MinTrials   int     `json:"min_trials"`   // minimum number of trial closures
	PressurePSI float64 `json:"pressure_psi"` // least, on the gauge
	HoldS       float64 `json:"hold_s"`       // least at pressure, seconds
	FinalS      float64 `json:"final_s"`      // how long a final closure takes, seconds
}

// validate returns an error that names the first value that cannot be.
func (r Rule) validate() error {
	switch {
	case r.Grade != None && r.Grade != Slight:
		return fmt.Errorf("house grade %q: it is none or slight", r.Grade)
	case r.MinTrials < 1 || r.MinTrials > MaxTrials:
		return fmt.Errorf("house minimum of %d trials: it is from 1 to %d", r.MinTrials, MaxTrials)
	case !(r.PressurePSI > 0) || math.IsInf(r.PressurePSI, 0):
		return fmt.Errorf("house pressure %g psi: it must be above 0", r.PressurePSI)
	case !(r.HoldS >= 0) || math.IsInf(r.HoldS, 0):
		return fmt.Errorf("house hold %g s: it must be 0 or more", r.HoldS)
	case !(r.FinalS >= 0) || math.IsInf(r.FinalS, 0):
		return fmt.Errorf("final closure of %g s: it must be 0 or more", r.FinalS)
	}
	return nil
}

// Closure is a trial closure as the verdict sees it.
type Closure struct {
	Trial
	PressurePSI float64 `json:"pressure_psi"` // 0 where not recorded
	HoldS       float64 `json:"hold_s"`       // at pressure, seconds; 0 where not recorded
}

// Input is all that the verdict rests on.
type Input struct {
	Rule       Rule
	Closures   []Closure // in order
	AddedSince bool      // dough was added after the last of them
	SeenFull   bool      // somebody looked and recorded that the mould is full
	DoughLeftS *float64  // until the dough's working window ends, seconds, below 0 when it has; nil without a known mix
}

// ReasonCode names one reason not to close for the last time yet.
type ReasonCode string

// The codes.
const (
	DoughOver     ReasonCode = "dough-over"
	NoTrials      ReasonCode = "no-trials"
	AddedLast     ReasonCode = "dough-added"
	ShortMould    ReasonCode = "short-mould"
	NeverFull     ReasonCode = "never-full"
	FlashAbove    ReasonCode = "flash-above"
	FlashGrew     ReasonCode = "flash-grew"
	FewTrials     ReasonCode = "few-trials"
	PressureGap   ReasonCode = "pressure-unknown"
	PressureLow   ReasonCode = "pressure-low"
	HoldGap       ReasonCode = "hold-unknown"
	HoldShort     ReasonCode = "hold-short"
	DoughTooShort ReasonCode = "dough-short"
	DoughUnknown  ReasonCode = "dough-unknown"
)

// reasons is each code's words, in the order in which reasons are given: what is not so,
// and what would mend it. LAST, BEFORE and HOUSE stand for grades, DONE and LEAST for
// numbers of trials. Pressures and times are left to those who know the units people read:
// they are Have and Want of the Reason.
func reasons() []Reason {
	return []Reason{
		{Code: DoughOver, Why: "the dough's working time is over", Mend: "do not close on it: a new mix"},
		{Code: NoTrials, Why: "no trial closure yet", Mend: "make the first trial closure"},
		{Code: AddedLast, Why: "dough was added since the last trial", Mend: "close again with the sheet and judge the flash"},
		{Code: ShortMould, Why: "no flash at the first trial", Mend: "mould may be underfilled: add dough and close again, or check it and record it as full"},
		{Code: NeverFull, Why: "no flash seen yet", Mend: "mould may be underfilled: add dough and close again, or check it and record it as full"},
		{Code: FlashAbove, Why: "last trial LAST", Mend: "trim and close again: the house asks for HOUSE or less"},
		{Code: FlashGrew, Why: "last trial LAST after BEFORE", Mend: "close again: the flash should hold or fall"},
		{Code: FewTrials, Why: "DONE of LEAST trials", Mend: "close again"},
		{Code: PressureGap, Why: "pressure of the last trial not recorded", Mend: "close again at the house pressure, or record what the gauge showed"},
		{Code: PressureLow, Why: "last trial below the house pressure", Mend: "close again at the house pressure"},
		{Code: HoldGap, Why: "hold of the last trial not recorded", Mend: "close again for the house hold, or record how long it was held"},
		{Code: HoldShort, Why: "last trial held too short", Mend: "close again for the house hold"},
		{Code: DoughTooShort, Why: "a final closure takes longer than the dough has left", Mend: "close now only if it can be quicker, or a new mix"},
		{Code: DoughUnknown, Why: "no mix recorded, so the dough's time is not known", Mend: "record the mix, or judge the dough yourself"},
	}
}

// Reason is one thing that does not hold, and what would mend it.
type Reason struct {
	Code ReasonCode `json:"code"`
	Why  string     `json:"why"`
	Mend string     `json:"mend"`
	Have float64    `json:"have,omitempty"` // psi, seconds or trials, where the code is about one
	Want float64    `json:"want,omitempty"`
}

// Verdict on the final closure. It is an estimate beside the eye of the person, who
// decides.
type Verdict struct {
	Ready   bool     `json:"ready"`
	Reasons []Reason `json:"reasons,omitempty"` // all that do not hold, the most telling first
}

// String is the verdict in one line, with its first reason.
func (v Verdict) String() string {
	if v.Ready {
		return "READY for final closure"
	}
	if len(v.Reasons) == 0 {
		return "not yet"
	}
	if r := v.Reasons[0]; r.Code == ShortMould || r.Code == NeverFull {
		return "not yet: " + r.Mend
	}
	return "not yet: " + v.Reasons[0].Why
}

// Ready gives the verdict. A flask is ready when all of these hold:
//
//  1. the mould has been shown full: flash was seen at some trial, or somebody looked;
//  2. the last trial is at most the house grade and no worse than the one before, and the
//     house minimum of trials was made;
//  3. it was made at the house pressure or more, for the house hold or more;
//  4. no dough was added since;
//  5. the dough stays workable for as long as a final closure takes.
//
// Errors: a rule or a closure that cannot be.
func Ready(in Input) (Verdict, error) {
	if err := in.check(); err != nil {
		return Verdict{}, err
	}
	type figures struct{ have, want float64 }
	found := map[ReasonCode]figures{}
	say := func(c ReasonCode, have, want float64) { found[c] = figures{have, want} }
	r, n := in.Rule, len(in.Closures)

	full := in.SeenFull
	for _, c := range in.Closures {
		full = full || c.Grade > None
	}
	fill := strings.NewReplacer("HOUSE", r.Grade.String())
	if n == 0 {
		say(NoTrials, 0, float64(r.MinTrials))
	} else {
		last, before := in.Closures[n-1], in.Closures[max(n-2, 0)]
		fill = strings.NewReplacer("LAST", last.Grade.String(), "BEFORE", before.Grade.String(), "HOUSE", r.Grade.String(),
			"DONE", fmt.Sprint(n), "LEAST", fmt.Sprint(r.MinTrials))
		if in.AddedSince {
			say(AddedLast, 0, 0)
		}
		switch {
		case full:
		case n == 1:
			say(ShortMould, 0, 0)
		default:
			say(NeverFull, 0, 0)
		}
		switch {
		case last.Grade > r.Grade:
			say(FlashAbove, 0, 0)
		case last.Grade > before.Grade:
			say(FlashGrew, 0, 0)
		}
		if n < r.MinTrials {
			say(FewTrials, float64(n), float64(r.MinTrials))
		}
		under(say, last.PressurePSI, r.PressurePSI, PressureGap, PressureLow)
		under(say, last.HoldS, r.HoldS, HoldGap, HoldShort)
	}
	switch left := in.DoughLeftS; {
	case left == nil:
		say(DoughUnknown, 0, r.FinalS)
	case *left <= 0:
		say(DoughOver, *left, r.FinalS)
	case *left < r.FinalS:
		say(DoughTooShort, *left, r.FinalS)
	}

	v := Verdict{Ready: len(found) == 0}
	for _, reason := range reasons() {
		if f, ok := found[reason.Code]; ok {
			reason.Why, reason.Mend, reason.Have, reason.Want = fill.Replace(reason.Why), fill.Replace(reason.Mend), f.have, f.want
			v.Reasons = append(v.Reasons, reason)
		}
	}
	return v, nil
}

// under says gap where nothing was recorded and low where too little was.
func under(say func(ReasonCode, float64, float64), have, want float64, gap, low ReasonCode) {
	switch {
	case have >= want:
	case have == 0:
		say(gap, 0, want)
	default:
		say(low, have, want)
	}
}

func (in Input) check() error {
	if err := in.Rule.validate(); err != nil {
		return err
	}
	if left := in.DoughLeftS; left != nil && (math.IsNaN(*left) || math.IsInf(*left, 0)) {
		return errors.New("the dough's time left must be a number of seconds")
	}
	trials := make([]Trial, len(in.Closures))
	for i, c := range in.Closures {
		trials[i] = c.Trial
		if !(c.PressurePSI >= 0) || math.IsInf(c.PressurePSI, 0) {
			return fmt.Errorf("trial %d: pressure %g psi: it is 0 or more", i+1, c.PressurePSI)
		}
		if !(c.HoldS >= 0) || math.IsInf(c.HoldS, 0) {
			return fmt.Errorf("trial %d: hold %g s: it is 0 or more", i+1, c.HoldS)
		}
	}
	return CheckTrials(trials)
}

// Allowed is how many more trial closures fit before the final one into the dough's time
// left, each taking trialS seconds and the final closure finalS; 0 where not even that
// fits, and never more than MaxTrials.
func Allowed(leftS, trialS, finalS float64) int {
	n := math.Floor((leftS - finalS) / trialS)
	if !(n > 0) || !(trialS > 0) {
		return 0
	}
	return int(math.Min(n, MaxTrials))
}
