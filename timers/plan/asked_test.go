package plan

import "context"

// Rules are all, for comparison.
func Rules() []mixRule {
	return []mixRule{firstCome4, threeToMix, twoAtOnce, twoToMix, oneToMix, fit80, fit95, ownDay}
}

// ByRule is the plan that a rule makes of the cases.
func ByRule(h Lab, cases []Case, r mixRule, v habit) Plan {
	return playable(&h).byRule(cases, r, v)
}

// Costs plays a plan on every draw and gives its cost on each, in points.
func Costs(h Lab, cases []Case, p Plan, draws []draw) []float64 {
	return playable(&h).costs(cases, &p, draws)
}

// Variants are the plans that Pick tries.
func Variants(h Lab, cases []Case) []Plan { return playable(&h).variants(cases) }

// Pick is the variant of the simple rules that costs least on the draws: all are tried on the first few, the best of
// them on all. It fails with ctx's error when that is done.
func Pick(ctx context.Context, h Lab, cases []Case, draws []draw) (Plan, error) {
	return playable(&h).pick(ctx, cases, draws)
}

// Defer puts mixes off to the next working day, one at a time, while that gains two standard errors on the draws: what
// not to do today.
func Defer(ctx context.Context, h Lab, cases []Case, p Plan, draws []draw) (Plan, error) {
	return playable(&h).deferred(ctx, cases, p, draws)
}

// Foretell plays a plan on every draw.
func Foretell(ctx context.Context, h Lab, cases []Case, p Plan, draws []draw) (Foretold, error) {
	return playable(&h).foretell(ctx, cases, &p, draws)
}

// Simulate plays one day by a plan and tells what happened. It wants a house, cases and a plan that their Check has
// passed, and a draw made for as many cases.
func Simulate(h Lab, cases []Case, plan Plan, d draw) result {
	p := newPlayer(playable(&h), cases)
	var events []event
	p.watch = func(e event) { events = append(events, e) }
	r := p.play(&plan, &d)
	r.Events = events
	return r
}

// houseCost are the weights used until a house has its own (house default).
func houseCost() Cost {
	return Cost{Late: 10, TardyH: 1, TardyCap: 16, Lost: 3, OverMin: .05, Mix: .5, Short: .1}
}

// HouseDefaults are the times used until a house has its own (house defaults; the order of the steps is common
// practice, no source). Closures are those of the caller.
func HouseDefaults() Lab {
	return Lab{
		Hands: 1, Presses: 1, Baths: 1, BathPlaces: 6,
		RaiseMin: .7, HoldMin: 1, OpenMin: .3, TrimMin: 1.5, FinalMin: 2,
		CoatMin: 5, DryMin: 12, MixMin: 3, SetMin: 30, BathStartMin: 5, BathOutMin: 5, CoolMin: 45,
		FinishMin: 45, FinishLnSD: .15, CleanMin: 20, ShortMin: 180, LongMin: 540,
		DoughSpan: DoughSpan{DoughMin: 12.5, DoughSDMin: 1.5, EndMin: 41, EndDaySDMin: 3, EndMixSDMin: 1.5},
		Hours:     Hours{OpensMin: 480, ClosesMin: 1020, OvertimeMin: 1080},
		LunchMin:  720, LunchForMin: 30, StartMin: 480,
		Cost: houseCost(),
	}
}
