// Package review is what is asked at the end of a month: closures per flask, final
// closures inside the dough's window, the time they took, pin openings, defects
// against what was unusual, remakes and corrections, in numbers with what stands
// behind them. It is pure: [Of] reads a folded bench, [Review.Text], [Review.HTML]
// and [Review.CSV] write.
//
// A review compares no people and names no person: flasks are known by their number
// and case number. It tells figures and their intervals and draws no conclusion; a
// small number is called small.
package review

import (
	"cmp"
	"slices"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/stats"
	"flaskside/timers"
)

// fewFlasks: what rests on fewer flasks than these is called a small number (house
// default).
const fewFlasks = 20

// Review of a period.
type Review struct {
	Lab    string    `json:"lab,omitempty"`
	From   time.Time `json:"from"`  // first instant; its location is the zone of the review
	Until  time.Time `json:"until"` // first instant after the period
	Head   string    `json:"head"`  // end of the chain when the review was made; the caller fills it in
	Opened int       `json:"opened"`
	Closed int       `json:"closed"`   // finally closed in the period
	Ended  int       `json:"ended"`    // with an outcome in the period
	Going  int       `json:"going"`    // on the bench at its end
	Given  int       `json:"given_up"` // of those ended, how many never had a final closure

	Closures    []bySize          `json:"closures"` // by size, then of all; of flasks closed in the period
	Dough       dough             `json:"dough"`    // of flasks closed in the period
	Times       []timeFigures     `json:"times"`    // of flasks closed in the period
	Pin         []bySize          `json:"pin"`      // openings in mm by size, then of all; of flasks ended in the period
	Outcomes    []named           `json:"outcomes"` // shares of the flasks ended in the period
	Defects     []named           `json:"defects"`  // the same; a flask may have several
	AnyDefect   stats.Share       `json:"any_defect"`
	Against     []against         `json:"against"`
	Pieces      []piece           `json:"pieces"`          // of the kinds of which several were used
	Steps       []stepFigures     `json:"steps,omitempty"` // of cases, done in the period
	Boil        boil              `json:"boil"`
	Corrections correctionFigures `json:"corrections"`

	ClosureChart *controlChart `json:"closure_chart,omitempty"` // in the order of final closures
	PinChart     *controlChart `json:"pin_chart,omitempty"`     // in the order of outcomes
	Flasks       []flask       `json:"flasks"`                  // closed or ended in the period, by number
}

// flask is one flask with what the review reads of it.
type flask struct {
	No       int         `json:"flask"`
	Case     string      `json:"case"`
	Base     string      `json:"base"`
	Size     action.Size `json:"size"`
	Closures int         `json:"closures"`
	ClosedAt *time.Time  `json:"closed_at,omitempty"` // in the period
	Dough    where       `json:"dough,omitempty"`     // of a flask closed in the period
	PackedS  *int        `json:"packed_s,omitempty"`  // first in the press until metal to metal, of a flask closed in the period
	EndedAt  *time.Time  `json:"ended_at,omitempty"`  // in the period
	PinMM    *float64    `json:"pin_mm,omitempty"`    // of a flask ended in the period, as the next two
	Outcome  string      `json:"outcome,omitempty"`
	Defects  []string    `json:"defects,omitempty"`
	Unusual  []string    `json:"unusual,omitempty"` // codes of [conditions]
	had
}

// where a final closure lies in the dough's window, which is an estimate.
type where string

// The places.
const (
	inside where = "inside"
	before where = "before"
	after  where = "after"
	noMix  where = "no mix"
)

// dough tells how many final closures came inside the window of their dough.
type dough struct {
	Inside stats.Share `json:"inside"` // of flasks with a mix recorded
	Before int         `json:"before"`
	After  int         `json:"after"`
	NoMix  int         `json:"no_mix"`
}

// bySize are figures of flasks of a size, "" for all; N of the summary counts them.
type bySize struct {
	Size action.Size `json:"size"`
	stats.Summary
	Counts []int `json:"counts,omitempty"` // flasks with 0, 1, 2 … closures, the last with as many or more
}

// mostCounted is the number of closures from which on flasks are counted together.
const mostCounted = 6

// timeFigures is how long a piece of the work took, in seconds.
type timeFigures struct {
	What string `json:"what"`
	stats.Summary
	LeftOut int `json:"left_out"` // beginning or end not recorded, or the wall clock alone tells
}

// named is a share with its name.
type named struct {
	Name string `json:"name"`
	stats.Share
}

// correctionFigures counts the records of the period that count with other values than were
// first written, or not at all.
type correctionFigures struct {
	Records   int          `json:"records"`
	Corrected int          `json:"corrected"`
	TakenBack int          `json:"taken_back"`
	Kinds     []defectKind `json:"kinds"`
}

// defectKind is a kind of record, in the order of the day.
type defectKind struct {
	Kind      action.Kind `json:"kind"`
	Records   int         `json:"records"`
	Corrected int         `json:"corrected"`
	TakenBack int         `json:"taken_back"`
}

// controlChart is a chart of one figure of flasks in order.
type controlChart struct {
	stats.Chart
	Floor  bool      `json:"floor"` // the lower limit would be below zero: there is none
	Flasks []int     `json:"flasks"`
	Values []float64 `json:"values"`
}

// Of reviews a period of a bench, from an instant until before another. The bench must
// hold the records of the period and of the flasks they speak of, up to its end; values
// count as corrected, and what was taken back does not.
// boil is what [Boiling] estimates, or nothing.
func Of(b *bench.Bench, from, until time.Time, boil boil) Review {
	r := Review{Lab: b.House.Lab, From: from, Until: until, Boil: boil, Flasks: []flask{}}
	in := func(t *timers.Stamp) bool { return t != nil && !t.At.Before(from) && t.At.Before(until) }
	odd := unusual(b, boil)
	var closed, ended []*bench.Flask
	for _, no := range bench.Sorted(b.Flasks) {
		f := b.Flasks[no]
		if f.Base == "" || !f.Opened.At.Before(until) {
			continue // its opening is not among the records, or lies beyond
		}
		if in(&f.Opened) {
			r.Opened++
		}
		if f.Ended == nil || !f.Ended.At.Before(until) {
			r.Going++
		}
		row := flask{No: no, Case: f.Case, Base: f.Base, Size: f.Size, Closures: len(f.Trials), Unusual: odd[no], had: hadOf(b, f)}
		if in(f.Metal) {
			closed = append(closed, f)
			row.ClosedAt = &f.Metal.At
			row.Dough = whereClosed(b.MixOf(f), *f.Metal)
			if len(f.Trials) > 0 {
				if s, ok := took(&f.Trials[0].In, f.Metal); ok {
					whole := int(s)
					row.PackedS = &whole
				}
			}
		}
		if in(f.Ended) {
			ended = append(ended, f)
			row.EndedAt, row.PinMM, row.Outcome, row.Defects = &f.Ended.At, f.PinMM, f.Outcome, f.Defects
		}
		if row.ClosedAt != nil || row.EndedAt != nil {
			r.Flasks = append(r.Flasks, row)
		}
	}
	r.Closed, r.Ended = len(closed), len(ended)
	for _, f := range ended {
		if f.Metal == nil {
			r.Given++
		}
	}
	byTime := func(at func(*bench.Flask) *timers.Stamp) func(x, y *bench.Flask) int {
		return func(x, y *bench.Flask) int {
			return cmp.Or(at(x).At.Compare(at(y).At), cmp.Compare(x.No, y.No))
		}
	}
	slices.SortFunc(closed, byTime(func(f *bench.Flask) *timers.Stamp { return f.Metal }))
	slices.SortFunc(ended, byTime(func(f *bench.Flask) *timers.Stamp { return f.Ended }))

	closures := func(f *bench.Flask) (float64, bool) { return float64(len(f.Trials)), true }
	pin := func(f *bench.Flask) (float64, bool) {
		if f.PinMM == nil {
			return 0, false
		}
		return *f.PinMM, true
	}
	r.Closures, r.ClosureChart = sized(closed, closures), chart(closed, closures)
	count(r.Closures, closed)
	r.Pin, r.PinChart = sized(ended, pin), chart(ended, pin)
	r.dough()
	r.Times = times(closed)
	r.ends(ended)
	r.Against, r.Pieces = r.against(), r.pieces()
	r.Steps = stepped(b, in)
	r.Corrections = corrections(b, from, until)
	return r
}

// whereClosed tells where a final closure lies in the window of its mix.
func whereClosed(m *bench.Mix, metal timers.Stamp) where {
	if m == nil {
		return noMix
	}
	switch d := timers.Elapsed(m.Made, metal); {
	case d < m.Window.From:
		return before
	case d > m.Window.To:
		return after
	}
	return inside
}

func (r *Review) dough() {
	n := map[where]int{}
	for _, f := range r.Flasks {
		if f.ClosedAt != nil {
			n[f.Dough]++
		}
	}
	r.Dough = dough{share(n[inside], n[inside]+n[before]+n[after]), n[before], n[after], n[noMix]}
}

// share of counts that are counted here, so that they cannot be wrong.
func share(k, n int) stats.Share {
	s, err := stats.Wilson(k, n)
	if err != nil {
		return stats.Share{High: 1}
	}
	return s
}

// took is the time from one stamp to another in seconds; not ok where one is missing,
// the machine was started anew in between, or time runs back.
func took(from, to *timers.Stamp) (float64, bool) {
	if from == nil || to == nil || from.At.IsZero() || from.BootID != to.BootID {
		return 0, false
	}
	s := timers.Elapsed(*from, *to).Seconds()
	return s, s >= 0
}

// sized summarises a figure of flasks by size and of all.
func sized(fs []*bench.Flask, figure func(*bench.Flask) (float64, bool)) []bySize {
	out := []bySize{}
	for _, size := range append(slices.Clone(action.Sizes), "") {
		var x []float64
		for _, f := range fs {
			if v, ok := figure(f); ok && (size == "" || f.Size == size) {
				x = append(x, v)
			}
		}
		if s, err := stats.Describe(x); err == nil {
			out = append(out, bySize{Size: size, Summary: s})
		}
	}
	return out
}

// count fills in how many flasks had how many closures.
func count(rows []bySize, closed []*bench.Flask) {
	for i := range rows {
		rows[i].Counts = make([]int, mostCounted+1)
		for _, f := range closed {
			if rows[i].Size == "" || rows[i].Size == f.Size {
				rows[i].Counts[min(len(f.Trials), mostCounted)]++
			}
		}
	}
}

// chart of a figure of flasks in order, nil without any.
func chart(fs []*bench.Flask, figure func(*bench.Flask) (float64, bool)) *controlChart {
	var c controlChart
	for _, f := range fs {
		if v, ok := figure(f); ok {
			c.Flasks, c.Values = append(c.Flasks, f.No), append(c.Values, v)
		}
	}
	var err error
	if c.Chart, err = stats.Individuals(c.Values); err != nil {
		return nil
	}
	if c.Floor = c.Low < 0; c.Floor {
		c.Low = 0
	}
	return &c
}

// times tells how long the work on flasks closed took.
func times(closed []*bench.Flask) []timeFigures {
	out := []timeFigures{}
	add := func(what string, spans func(f *bench.Flask, add func(from, to *timers.Stamp))) {
		t := timeFigures{What: what}
		var x []float64
		for _, f := range closed {
			spans(f, func(from, to *timers.Stamp) {
				if s, ok := took(from, to); ok {
					x = append(x, s)
				} else {
					t.LeftOut++
				}
			})
		}
		if s, err := stats.Describe(x); err == nil {
			t.Summary = s
			out = append(out, t)
		}
	}
	add("trial closure, press to judged", func(f *bench.Flask, add func(from, to *timers.Stamp)) {
		for i := range f.Trials {
			add(&f.Trials[i].In, f.Trials[i].Judged)
		}
	})
	add("judged to in the press again", func(f *bench.Flask, add func(from, to *timers.Stamp)) {
		for i := 1; i < len(f.Trials); i++ {
			add(f.Trials[i-1].Judged, &f.Trials[i].In)
		}
	})
	add("final, sheet out to clamped", func(f *bench.Flask, add func(from, to *timers.Stamp)) { add(f.SheetOut, f.Clamped) })
	add("first press to metal to metal", func(f *bench.Flask, add func(from, to *timers.Stamp)) {
		if len(f.Trials) > 0 {
			add(&f.Trials[0].In, f.Metal)
		}
	})
	return out
}

// ends counts outcomes and defects.
func (r *Review) ends(ended []*bench.Flask) {
	outcomes, defects, some := map[string]int{}, map[string]int{}, 0
	for _, f := range ended {
		outcomes[f.Outcome]++
		for _, d := range slices.Compact(slices.Sorted(slices.Values(f.Defects))) {
			defects[d]++
		}
		if len(f.Defects) > 0 {
			some++
		}
	}
	named := func(names []string, counts map[string]int) []named {
		out := []named{}
		for _, n := range names {
			out = append(out, named{n, share(counts[n], len(ended))})
		}
		return out
	}
	r.Outcomes, r.Defects, r.AnyDefect = named(action.Outcomes, outcomes), named(action.Defects, defects), share(some, len(ended))
}

// corrections counts what was corrected of the records of a period.
func corrections(b *bench.Bench, from, until time.Time) correctionFigures {
	by := map[action.Kind]*defectKind{}
	out := correctionFigures{Kinds: []defectKind{}}
	for i := range b.Items {
		it := &b.Items[i]
		kind := it.Action.Kind()
		switch it.Body.(type) {
		case action.Correct, action.TakeBack:
			continue
		}
		if it.Stamp.At.Before(from) || !it.Stamp.At.Before(until) {
			continue
		}
		k := by[kind]
		if k == nil {
			k = &defectKind{Kind: kind}
			by[kind] = k
		}
		k.Records++
		switch {
		case it.TakenBack != nil:
			k.TakenBack++
		case it.Corrected():
			k.Corrected++
		}
	}
	for _, kind := range action.Kinds() {
		if k := by[kind]; k != nil {
			out.Records += k.Records
			out.Corrected += k.Corrected
			out.TakenBack += k.TakenBack
			if k.Corrected+k.TakenBack > 0 {
				out.Kinds = append(out.Kinds, *k)
			}
		}
	}
	return out
}
