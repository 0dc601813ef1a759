package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/flash"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/logbook/status"
	"flaskside/logbook/tables"
	"flaskside/logbook/units"
	"flaskside/timers"
	"flaskside/timers/dough"
	"flaskside/timers/sysclock"
	"flaskside/tui/chart"
)

// trendCommand prints the flash trend of a flask, or of closures told on the command
// line.
func trendCommand(o *options) *cobra.Command {
	var q trendQuestion
	var asJSON, ascii bool
	c := &cobra.Command{
		Use:   "trend [FLASK]",
		Short: "Print the flash trend of a flask, its verdict and its forecast",
		Long: "Prints the chart, the verdict on the final closure with what would mend each reason, and the forecast for\n" +
			"a flask of the logbook by its number, or by its place with --place. With --size and --trials it does\n" +
			"so for closures typed here, taken as made at the house pressure and hold: grades in order, a weight in grams\n" +
			"after a colon, + where dough was added before that closure. All forecasts are estimates; you decide.",
		Example: "flaskside trend 12\nflaskside trend --place 3 --json\nflaskside trend --size medium --trials heavy:7.2,heavy,+heavy,slight --dough 20min",
		RunE: func(c *cobra.Command, args []string) error {
			changed := c.Flags().Changed
			if err := q.read(args, changed); err != nil {
				return err
			}
			r, err := q.answer(o.book, sysclock.New())
			if err != nil {
				return err
			}
			return deliver("", c.OutOrStdout(), func(w io.Writer) error {
				if asJSON {
					return tables.JSON(w, r)
				}
				return r.text(w, ascii)
			})
		},
	}
	c.Flags().IntVar(&q.place, "place", 0, "the flask on this place of the bench, 1 to 9")
	c.Flags().StringVar(&q.size, "size", "", "size of the base: small, medium or large")
	c.Flags().StringVar(&q.trials, "trials", "", "closures so far, as in heavy:7.2,heavy,+heavy,slight")
	c.Flags().StringVar(&q.left, "dough", "", "with --size: how long the dough can still be worked, as in 20min")
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON, for other programs")
	c.Flags().BoolVar(&ascii, "ascii", false, "draw the chart with plain characters")
	atFlag(c, &q.at)
	return c
}

// trendQuestion is what is asked about.
type trendQuestion struct {
	place              int
	size, trials, left string
	at                 string

	flask int
	told  []flash.Trial
	dough *time.Duration
}

// read makes out what is asked.
func (q *trendQuestion) read(args []string, changed func(string) bool) (err error) {
	told := changed("size") || changed("trials") || changed("dough")
	switch {
	case len(args) > 1:
		return wrongUsage("trend takes one flask, not %d", len(args))
	case told && (len(args) > 0 || changed("place") || changed("at")):
		return wrongUsage("--size, --trials and --dough are for closures typed here: leave flask, --place and --at out")
	case told && q.size == "":
		return wrongUsage("--size is missing: the closures are of a small, medium or large base")
	case len(args) > 0 && changed("place"):
		return wrongUsage("name the flask by its number or by its place, not both")
	case !told && len(args) == 0 && !changed("place"):
		return wrongUsage("which flask? give its number, or --place, or --size and --trials")
	case changed("place") && (q.place < 1 || q.place > action.Places):
		return wrongUsage("--place must be 1 to %d, not %d", action.Places, q.place)
	case len(args) > 0:
		if q.flask, err = strconv.Atoi(args[0]); err != nil || q.flask < 1 {
			return wrongUsage("%q is not the number of a flask", args[0])
		}
	case told:
		if _, err := flash.ParseSize(q.size); err != nil {
			return wrongUsage("--size: %w", err)
		}
		if q.told, err = flash.ParseTrials(q.trials); err != nil {
			return wrongUsage("--trials: %w", err)
		}
		if q.left != "" {
			d, err := units.ParseDuration(q.left, time.Minute)
			if err != nil {
				return wrongUsage("--dough: %w", err)
			}
			q.dough = &d
		}
	}
	return nil
}

// answer works the trend out.
func (q *trendQuestion) answer(path string, clock timers.Clock) (trendReport, error) {
	if q.size != "" {
		h, err := settingsOf(path, clock)
		if err != nil {
			return trendReport{}, err
		}
		b := q.supposed(h)
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
	b, now, err := q.bench(path, clock)
	if err != nil {
		return trendReport{}, err
	}
	no := q.flask
	if q.place > 0 {
		if no = b.Places[q.place]; no == 0 {
			return trendReport{}, fmt.Errorf("place %d is empty", q.place)
		}
	}
	f := b.Flasks[no]
	if f == nil || f.LastID == "" {
		return trendReport{}, fmt.Errorf("there is no flask %d in this logbook", no)
	}
	return trendOf(b, f, now)
}

// bench gives the bench the flask stands on, or stood on when it left. One that is off
// the living bench may still be named there, by records that it shares with others: that
// is no flask to be read.
func (q *trendQuestion) bench(path string, clock timers.Clock) (*bench.Bench, timers.Now, error) {
	past, then, err := asOf(q.at, clock.Read().Wall)
	if err != nil {
		return nil, timers.Now{}, err
	}
	now := timers.Now{Reading: clock.Read()}
	if !past {
		st, err := standing(path, clock)
		if err != nil {
			return nil, now, err
		}
		now.Beat = st.Beat
		if f := st.Bench.Flasks[q.flask]; q.flask == 0 || f.AtWork() {
			return st.Bench, now, nil
		}
	}
	b, err := readFrom(path, clock, func(book *logbook.Book) (*bench.Bench, error) {
		if past {
			return book.AsOf(then)
		}
		return allOf(book, q.flask)
	})
	if past {
		now = status.AsOf(then, clock.Read())
	}
	return b, now, err
}

// allOf folds all there is about one flask, under the settings in force.
func allOf(book *logbook.Book, flask int) (*bench.Bench, error) {
	recs, err := book.Of(action.Subject{Class: 'f', No: flask})
	if err != nil {
		return nil, err
	}
	b := bench.Fold(recs, bench.Counters{})
	b.House = book.State().Bench.House
	return b, nil
}

// supposed makes a bench with the closures told, each at the house pressure for the
// house hold, on flask 1, at the zero time.
func (q *trendQuestion) supposed(h house.House) *bench.Bench {
	bodies := []action.Body{action.FlaskOpen{Flask: 1, Place: 1, Case: "?", Base: "upper", Size: action.Size(q.size)}}
	if q.dough != nil {
		bodies = append(bodies, action.MixMake{Mix: 1, Flasks: []int{1}})
	}
	for _, t := range q.told {
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
	if q.dough != nil {
		b.Mixes[1].Window = dough.WorkingTime{To: *q.dough}
	}
	return b
}

// trendReport is what is printed of a trend. The fields of the posterior are those of
// the reference cases.
type trendReport struct {
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

// trendOf puts together what is known of a flask.
func trendOf(b *bench.Bench, f *bench.Flask, now timers.Now) (trendReport, error) {
	out, err := b.Outlook(f, now)
	if err != nil {
		return trendReport{}, fmt.Errorf("flask %d: %w", f.No, err)
	}
	r := trendReport{Flask: f.No, Place: f.Place, Case: f.Case, Base: f.Base, History: b.History(f), Posterior: out.Posterior,
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

// say puts the verdict into words.
func (r *trendReport) say() {
	if !r.Closed {
		r.Verdict = flash.Verdict{Ready: r.Ready, Reasons: r.Reasons}.String()
	}
}

// Size of the chart in characters.
const chartW, chartH = 76, 12

func (r trendReport) text(w io.Writer, ascii bool) error {
	var b strings.Builder
	switch {
	case r.Flask == 0:
		fmt.Fprintf(&b, "%s base, closures as typed, taken as made at the house pressure and hold\n", r.Size)
	case !r.bench.Flasks[r.Flask].AtWork():
		fmt.Fprintf(&b, "case %s · %s · %s · flask %d · off the bench\n", r.Case, r.Base, r.Size, r.Flask)
	default:
		fmt.Fprintf(&b, "case %s · %s · %s · flask %d · %s\n", r.Case, r.Base, r.Size, r.Flask, r.bench.WhereWords(r.bench.Flasks[r.Flask]))
	}
	trials := make([]string, 0, len(r.Trials))
	for _, t := range r.Trials {
		trials = append(trials, t.String())
	}
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
		line := make([]rune, 0, len(row))
		for _, c := range row {
			line = append(line, c.Rune)
		}
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
