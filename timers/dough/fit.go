package dough

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"
)

// MarkKind says which end of the window a mark is of.
type MarkKind string

// The two marks a technician makes.
const (
	DoughReached MarkKind = "dough"
	TooStiff     MarkKind = "stiff"
)

// Mark is one mark from the book: when, in minutes since mixing, and where.
type Mark struct {
	Kind    MarkKind
	Minutes float64
	Conditions
}

// What a fit asks of the book (house defaults).
const (
	minLevelMarks = 3  // of one kind, to move that time
	minQ10Marks   = 10 // of both kinds, to fit Q10
	minQ10SpanK   = 5  // warmest less coolest room
	setAsideTimes = 4  // a mark this many times off the middle of its kind is a slip of the key
	priorMarks    = 5  // marks the assumed spread between mixes counts for
	maxFitMarks   = 10000

	// A fit that knows ln Q10 less well than the assumed Q10 is known is no gain.
	assumedQ10LnSD = 0.25
)

// ResinFit is what a book of marks says about one resin. Times are minutes at the
// resin's reference temperature.
type ResinFit struct {
	Dough, Work level
	SetAside    int // marks left out: impossible, or far off all others

	CoolestC, WarmestC float64 // of the marks used; the dough's own mean, where the parts came from elsewhere

	// Q10 as fitted, or the resin's own where Q10Fitted is false. ActivationK is
	// the slope behind it, of ln t over 1/T in kelvin.
	Q10Fitted   bool
	Q10, LnSD   float64
	ActivationK float64

	// MixLnSD is the spread of ln t from mix to mix: what the marks scatter about the
	// fit, less what judging and thermometer add, weighed with what was assumed.
	MixLnSD float64

	// Wanting says, one line each, what could not be fitted and how many marks it
	// would take.
	Wanting []string
}

// level is the time of one kind of mark.
type level struct {
	Marks   int
	Fitted  bool
	Minutes float64 // the resin's own where not fitted
	LnSE    float64 // standard error of ln Minutes; 0 where not fitted
}

// marks is how many marks the fit rests on.
func (f ResinFit) marks() int { return f.Dough.Marks + f.Work.Marks }

// FitMarks fits the resin's times, and with enough marks over a wide enough
// range of rooms its Q10, by ordinary least squares of ln t on 1/T: one line for
// each kind of mark, with one slope, as one chemistry drives both. Q10 is that
// slope over the 10 K about the reference temperature. Where it cannot be fitted,
// or the marks would know it less well than the assumption does, Q10 stays and
// only the levels are fitted, on times moved to the reference temperature by it.
//
// Parts from a refrigerator count at the mean temperature that gives the same
// book minutes. Marks that cannot be, or lie four times off the middle of their
// kind, are set aside and counted. With too few marks nothing is fitted, and
// Wanting says how many more it takes. Give the resin as it was set, not as a fit
// of the same marks left it. It refuses a resin that does not validate
// and more than 10000 marks.
func FitMarks(r Resin, marks []Mark) (ResinFit, error) {
	if err := r.Validate(); err != nil {
		return ResinFit{}, err
	}
	if len(marks) > maxFitMarks {
		return ResinFit{}, fmt.Errorf("%d marks, at most %d are read: give the newest", len(marks), maxFitMarks)
	}
	f := ResinFit{
		Dough: level{Minutes: r.DoughFromMin}, Work: level{Minutes: r.WorkUntilMin},
		Q10: r.Q10, LnSD: r.Q10LnSD, MixLnSD: r.MixLnSD,
	}
	dough, work := usable(r, marks, DoughReached), usable(r, marks, TooStiff)
	f.Dough.Marks, f.Work.Marks = len(dough), len(work)
	f.SetAside = len(marks) - f.marks()
	if f.marks() > 0 {
		f.CoolestC, f.WarmestC = math.Inf(1), math.Inf(-1)
		for _, m := range slices.Concat(dough, work) {
			f.CoolestC, f.WarmestC = min(f.CoolestC, m.tempC), max(f.WarmestC, m.tempC)
		}
	}
	f.fitQ10(r, dough, work)
	f.fitLevels(r, dough, work)
	return f, nil
}

// seenMark is a mark that can be used.
type seenMark struct {
	ln    float64 // of minutes
	book  float64 // ln of book minutes by the resin's own Q10
	tempC float64 // mean of the dough up to the mark
}

// usable are the marks of one kind that can be and lie near the others.
func usable(r Resin, marks []Mark, kind MarkKind) []seenMark {
	var out []seenMark
	for _, m := range marks {
		if m.Kind != kind || m.Conditions.Validate() != nil || !(m.Minutes > 0 && m.Minutes <= maxMark.Minutes()) {
			continue
		}
		k := newClock(r, m.Conditions)
		s := seenMark{ln: math.Log(m.Minutes), book: math.Log(k.book(m.Minutes)), tempC: m.RoomC}
		if k.u != 0 { // Q10 is then above 1
			mean := r.RefTempC + 10*(s.book-s.ln)/math.Log(r.Q10)
			s.tempC = held(mean, min(m.RoomC, m.Stored.TempC), max(m.RoomC, m.Stored.TempC))
		}
		out = append(out, s)
	}
	if len(out) < minLevelMarks { // too few for a middle to mean anything
		return out
	}
	books := make([]float64, len(out))
	for i, s := range out {
		books[i] = s.book
	}
	slices.Sort(books)
	middle := stat.Quantile(0.5, stat.Empirical, books, nil)
	return slices.DeleteFunc(out, func(s seenMark) bool { return math.Abs(s.book-middle) > math.Log(setAsideTimes) })
}

// inverseK is 1/T less 1/Tref in 1/K, so that a line's intercept is ln t at the
// reference temperature.
func inverseK(tempC, refTempC float64) float64 {
	const zeroC = 273.15
	return 1/(tempC+zeroC) - 1/(refTempC+zeroC)
}

// fitQ10 fits the slope where the marks allow.
func (f *ResinFit) fitQ10(r Resin, dough, work []seenMark) {
	var groups []points
	var span float64 // widest within one kind: between kinds nothing is learned of the slope
	for _, marks := range [][]seenMark{dough, work} {
		var g points
		coolest, warmest := math.Inf(1), math.Inf(-1)
		for _, m := range marks {
			g.x, g.y = append(g.x, inverseK(m.tempC, r.RefTempC)), append(g.y, m.ln)
			coolest, warmest = min(coolest, m.tempC), max(warmest, m.tempC)
		}
		if len(marks) > 0 {
			groups, span = append(groups, g), max(span, warmest-coolest)
		}
	}
	n := f.marks()
	if n < minQ10Marks {
		f.want("Q10 stays %.3g: %d marks, %d more needed", r.Q10, n, minQ10Marks-n)
		return
	}
	if span < minQ10SpanK {
		f.want("Q10 stays %.3g: the rooms of the %d marks lie within %.1f K, %d K more needed", r.Q10, n, span, minQ10SpanK)
		return
	}
	l := fitLine(groups)
	tenK := inverseK(r.RefTempC-5, r.RefTempC) - inverseK(r.RefTempC+5, r.RefTempC)
	lnQ10, se := l.Slope*tenK, l.SlopeSE*tenK
	if !(lnQ10 >= 0 && lnQ10 <= math.Log(5)) {
		f.want("Q10 stays %.3g: the %d marks give %.2g, dough has 1 to 5: more marks, or a slip among them", r.Q10, n, math.Exp(held(lnQ10, -5, 5)))
		return
	}
	if se > assumedQ10LnSD {
		// The standard error falls with the root of the number of marks.
		more := math.Ceil(float64(n) * (math.Pow(se/assumedQ10LnSD, 2) - 1))
		f.want("Q10 stays %.3g: the %d marks scatter too much, about %.0f more needed", r.Q10, n, min(more, 999))
		return
	}
	f.Q10Fitted, f.Q10, f.LnSD, f.ActivationK = true, math.Exp(lnQ10), max(se, 0.01), l.Slope
	f.fitSpread(r, l.ResidSD, l.DF)
	if len(dough) >= minLevelMarks {
		f.Dough = level{Marks: len(dough), Fitted: true, Minutes: math.Exp(l.Intercept[0]), LnSE: l.InterceptSE[0]}
	}
	if last := len(groups) - 1; len(work) >= minLevelMarks {
		f.Work = level{Marks: len(work), Fitted: true, Minutes: math.Exp(l.Intercept[last]), LnSE: l.InterceptSE[last]}
	}
}

// fitLevels fits the levels where the slope did not, and says what is wanting.
func (f *ResinFit) fitLevels(r Resin, dough, work []seenMark) {
	var sse float64
	var df int
	for _, k := range []struct {
		level *level
		marks []seenMark
		what  string
	}{{&f.Dough, dough, "time to dough"}, {&f.Work, work, "working time"}} {
		n := len(k.marks)
		if n < minLevelMarks {
			f.want("%s stays %.3g min: %d marks, %d more needed", k.what, k.level.Minutes, n, minLevelMarks-n)
			continue
		}
		if k.level.Fitted {
			continue
		}
		books := make([]float64, n)
		for i, m := range k.marks {
			books[i] = m.book
		}
		mean, variance := stat.MeanVariance(books, nil)
		sse, df = sse+variance*float64(n-1), df+n-1
		*k.level = level{Marks: n, Fitted: true, Minutes: math.Exp(mean)}
	}
	if df == 0 {
		return
	}
	scatter := f.fitSpread(r, math.Sqrt(sse/float64(df)), df)
	for _, l := range []*level{&f.Dough, &f.Work} {
		if l.Fitted {
			l.LnSE = scatter / math.Sqrt(float64(l.Marks))
		}
	}
}

// fitSpread weighs the scatter the marks show with the one assumed, as the
// conjugate update of a variance that priorMarks marks stand behind, sets
// MixLnSD from it and returns it.
func (f *ResinFit) fitSpread(r Resin, sd float64, df int) (scatter float64) {
	room := roomSDC * math.Log(f.Q10) / 10
	around := markLnSD*markLnSD + room*room // in every mark, but not of the mix
	v := (priorMarks*(r.MixLnSD*r.MixLnSD+around) + float64(df)*sd*sd) / float64(priorMarks+df)
	f.MixLnSD = math.Sqrt(max(v-around, 0.05*0.05))
	return math.Sqrt(v)
}

func (f *ResinFit) want(format string, args ...any) {
	f.Wanting = append(f.Wanting, fmt.Sprintf(format, args...))
}

// Apply puts what was fitted into a copy of the resin, for the house to adopt.
// It refuses a fit that would leave the resin's times in the wrong order or
// beyond what a resin can have.
func (f ResinFit) Apply(r Resin) (Resin, error) {
	if f.Dough.Fitted {
		r.DoughFromMin, r.DoughLnSD = f.Dough.Minutes, held(f.Dough.LnSE, 0.01, 1)
	}
	if f.Work.Fitted {
		r.WorkUntilMin, r.WorkLnSD = f.Work.Minutes, held(f.Work.LnSE, 0.01, 1)
	}
	if f.Dough.Fitted || f.Work.Fitted {
		r.MixLnSD = held(f.MixLnSD, 0.01, 1)
		r.MarksBehind = f.marks()
	}
	if f.Q10Fitted {
		r.Q10, r.Q10LnSD, r.Q10Fitted = f.Q10, held(f.LnSD, 0.01, 1), true
	}
	if err := r.Validate(); err != nil {
		return Resin{}, fmt.Errorf("the marks do not give a resin: %w", err)
	}
	return r, nil
}

// String says in one line what stands behind the fit.
func (f ResinFit) String() string {
	s := fmt.Sprintf("%d marks (%d dough, %d too stiff)", f.marks(), f.Dough.Marks, f.Work.Marks)
	if f.SetAside > 0 {
		s += fmt.Sprintf(", %d set aside", f.SetAside)
	}
	if f.Q10Fitted {
		s += fmt.Sprintf("; Q10 %.2f (80 %%: %.2f to %.2f) fitted from rooms of %.0f to %.0f °C",
			f.Q10, f.Q10*math.Exp(-zEighty*f.LnSD), f.Q10*math.Exp(zEighty*f.LnSD), f.CoolestC, f.WarmestC)
	}
	if len(f.Wanting) > 0 {
		s += "; " + strings.Join(f.Wanting, "; ")
	}
	return s
}
