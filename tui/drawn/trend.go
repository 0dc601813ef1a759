package drawn

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/asked"
	"flaskside/logbook/bench"
	"flaskside/logbook/flash"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/logbook/units"
	"flaskside/timers"
	"flaskside/timers/dough"
	"flaskside/timers/each"
	"flaskside/tui/chart"
)

// Trend is what is told of the flash trend of a flask. The fields of the posterior are those of
// the reference cases.
type Trend struct {
	Flask int    `json:"flask,omitempty"`
	Place int    `json:"place,omitempty"`
	Case  string `json:"case,omitempty"`
	Base  string `json:"base,omitempty"`
	flash.History
	flash.Posterior
	Closed  bool           `json:"closed"`  // the final closure is made
	Ready   bool           `json:"ready"`   // for the final closure
	Verdict string         `json:"verdict"` // in words
	Reasons []flash.Reason `json:"reasons"` // all that do not hold, with what would mend each
	Likely  int            `json:"likely"`  // closures likely still wanted by the house rule, 13 for more than 12
	Likely8 int            `json:"likely_80"`
	Allowed *int           `json:"allowed"` // how many the dough's time allows; null where it is not known
	Note    string         `json:"note"`

	outlook bench.Outlook
	bench   *bench.Bench
}

// say puts the verdict into words.
func (r *Trend) say() {
	if !r.Closed {
		r.Verdict = flash.Verdict{Ready: r.Ready, Reasons: r.Reasons}.String()
	}
}

// Text writes it to be read, the chart with plain characters where ascii is set.
func (r Trend) Text(w io.Writer, ascii bool) error {
	var b strings.Builder
	switch {
	case r.Flask == 0:
		fmt.Fprintf(&b, "%s base, closures as typed, taken as made at the house pressure and hold\n", r.Size)
	case !r.bench.Flasks[r.Flask].AtWork():
		fmt.Fprintf(&b, "case %s · %s · %s · flask %d · off the bench\n", r.Case, r.Base, r.Size, r.Flask)
	default:
		fmt.Fprintf(&b, "case %s · %s · %s · flask %d · %s\n", r.Case, r.Base, r.Size, r.Flask, r.bench.WhereWords(r.bench.Flasks[r.Flask]))
	}
	trials := each.Of(r.Trials, flash.Trial.String)
	if len(trials) == 0 {
		trials = []string{"none yet"}
	}
	if r.AddedSince {
		trials = append(trials, "then dough added")
	}
	fmt.Fprintf(&b, "closures: %s\n\n", strings.Join(trials, ", "))
	pic := flash.NewPicture(r.bench.House.Flash, r.History, r.Posterior)
	if r.Closed {
		pic = pic.Closed()
	}
	for _, row := range chart.Draw(pic, chartW, chartH, ascii) {
		line := each.Of(row, func(c chart.Cell) rune { return c.Rune })
		b.WriteString(strings.TrimRight(string(line), " ") + "\n")
	}
	b.WriteString("\n")
	switch {
	case r.Closed, r.Ready:
		b.WriteString(r.Verdict + "\n")
	default:
		b.WriteString("not yet:\n")
		for _, x := range r.Reasons {
			fmt.Fprintf(&b, "  · %s → %s\n", x.Why, x.Mend)
		}
	}
	if !r.Closed {
		short := ""
		if r.outlook.Short() {
			short = "TOO LATE? "
		}
		if !r.Ready {
			b.WriteString(short + r.outlook.LikelyWords() + "\n")
		}
		b.WriteString(r.outlook.NextWords() + "\n")
	}
	b.WriteString(bench.YouDecide + "\n")
	text := b.String()
	if ascii {
		text = strings.NewReplacer("·", "-", "→", "->", "≤", "<=").Replace(text)
	}
	_, err := io.WriteString(w, text)
	return err
}

// TrendAt is the trend of a flask by its number or, where that is 0, by its place.
func TrendAt(b *bench.Bench, flask, place int, now timers.Now) (Trend, error) {
	if place > 0 {
		if flask = b.Places[place]; flask == 0 {
			return Trend{}, fmt.Errorf("place %d is empty", place)
		}
	}
	f := b.Flasks[flask]
	if f == nil || f.LastID == "" {
		return Trend{}, fmt.Errorf("there is no flask %d in this logbook", flask)
	}
	return trendOf(b, f, now)
}

// trendOf puts together what is known of a flask.
func trendOf(b *bench.Bench, f *bench.Flask, now timers.Now) (Trend, error) {
	out, err := b.Outlook(f, now)
	if err != nil {
		return Trend{}, fmt.Errorf("flask %d: %w", f.No, err)
	}
	r := Trend{Flask: f.No, Place: f.Place, Case: f.Case, Base: f.Base, History: b.History(f), Posterior: out.Posterior,
		Closed: f.ClosedForGood(), Reasons: []flash.Reason{}, Note: bench.YouDecide, Likely: out.Median, Likely8: out.At80, outlook: out, bench: b}
	if r.Trials == nil {
		r.Trials = []flash.Trial{}
	}
	if r.Closed {
		r.Verdict, r.Likely, r.Likely8 = "the final closure is made", 0, 0
		return r, nil
	}
	if out.Allowed >= 0 {
		r.Allowed = &out.Allowed
	}
	v := b.Verdict(f, now)
	r.Ready = v.Ready
	for _, reason := range v.Reasons {
		reason.Why = b.ReasonWords(reason)
		r.Reasons = append(r.Reasons, reason)
	}
	r.say()
	return r, nil
}

// Size of the chart in characters.
const chartW, chartH = 76, 12

// Supposed is closures that no logbook holds.
type Supposed struct {
	Size   flash.Size
	Trials []flash.Trial
	Dough  *time.Duration // how long it can still be worked; nil where that is not known
}

// Suppose reads what is typed of closures: the size of the base, grades in order with weights,
// and how long the dough can still be worked, "" where that is not known.
func Suppose(size, trials, dough string) (q Supposed, err error) {
	if q.Size, err = flash.ParseSize(size); err != nil {
		return q, asked.Wrongly("--size: %w", err)
	}
	if q.Trials, err = flash.ParseTrials(trials); err != nil {
		return q, asked.Wrongly("--trials: %w", err)
	}
	if dough != "" {
		d, err := units.ParseDuration(dough, time.Minute)
		if err != nil {
			return q, asked.Wrongly("--dough: %w", err)
		}
		q.Dough = &d
	}
	return q, nil
}

// Trend works out what they foretell.
func (q Supposed) Trend(h house.House) (Trend, error) {
	b := q.bench(h)
	r, err := trendOf(b, b.Flasks[1], timers.Now{})
	r.Flask, r.Place, r.Case, r.Base = 0, 0, "", ""
	for i := range r.Reasons {
		if x := &r.Reasons[i]; x.Code == flash.DoughUnknown {
			x.Why, x.Mend = "how long the dough can be worked was not given", "give it with --dough, or judge the dough yourself"
		}
	}
	r.say()
	return r, err
}

// bench makes a bench with the closures told, each at the house pressure for the
// house hold, on flask 1, at the zero time.
func (q Supposed) bench(h house.House) *bench.Bench {
	bodies := []action.Body{action.FlaskOpen{Flask: 1, Place: 1, Case: "?", Base: "upper", Size: q.Size}}
	if q.Dough != nil {
		bodies = append(bodies, action.MixMake{Mix: 1, Flasks: []int{1}})
	}
	for _, t := range q.Trials {
		f := action.Flash{Flask: 1, Grade: action.Grade(t.Grade.String())}
		if t.Grams != nil {
			f.Grams = *t.Grams
		}
		bodies = append(bodies, action.PressIn{Flask: 1, Added: t.Added}, action.PressAt{Flask: 1, PressurePSI: h.Press.PressurePSI}, action.PressOpen{Flask: 1}, f)
	}
	var recs []record.Record
	for i, body := range bodies {
		recs = append(recs, record.Record{Seq: uint64(i + 1), Action: action.Action{ID: strconv.Itoa(i), Body: body}})
	}
	b := bench.Fold(recs, bench.Counters{})
	b.House = h
	for i := range b.Flasks[1].Trials {
		b.Flasks[1].Trials[i].HeldS = h.Press.HoldS
	}
	if q.Dough != nil {
		b.Mixes[1].Window = dough.WorkingTime{To: *q.Dough}
	}
	return b
}
