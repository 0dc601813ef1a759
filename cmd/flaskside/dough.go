package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/logbook/tables"
	"flaskside/logbook/units"
	"flaskside/timers"
	"flaskside/timers/dough"
	"flaskside/timers/sysclock"
)

// doughCommand tells from when to when a mix can be worked in a room.
func doughCommand(o *options) *cobra.Command {
	var room, jar, resin string
	var jarOut float64
	var asJSON, adopt bool
	c := &cobra.Command{
		Use:   "dough",
		Short: "When a mix can be worked in this room, and what that is based on",
		Long: "Moves a resin's times to the temperature of the room, and to that of a jar from the refrigerator. Where the\n" +
			"logbook has marks of its own for the resin (dough reached, too stiff) the times, and with enough of them the\n" +
			"temperature factor, are fitted to those, and it is said how many stand behind. --adopt records the fitted\n" +
			"times as settings, so that the bench works by them.",
		Example: "flaskside dough --room 27\nflaskside dough --room 81F --jar-c 5 --json\nflaskside dough --adopt --by KT",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if jarOut != 0 && jar == "" {
				return wrongUsage("--jar-out-min goes with --jar-c")
			}
			clock := sysclock.New()
			h, marks, err := marksOf(o.book, resin, clock)
			if err != nil {
				return err
			}
			a, err := doughIn(h, resin, marks)
			if err != nil {
				return err
			}
			a.unit = h.Units.Temperature
			cond, err := conditions(a.Used, h.Units, room, jar, jarOut)
			if err != nil {
				return err
			}
			a.Conditions = cond
			if a.Window, err = dough.Estimate(a.Used, cond, dough.MixMarks{}); err != nil {
				return err
			}
			if adopt {
				if a.Adopted, err = adoptResin(h, a.Used, o, clock); err != nil {
					return err
				}
			}
			return deliver("", c.OutOrStdout(), func(w io.Writer) error {
				if asJSON {
					return tables.JSON(w, a)
				}
				return a.text(w, adopt)
			})
		},
	}
	c.Flags().StringVar(&room, "room", "", "the room's temperature in the house's unit, or with a C or an F (default: that of the resin's times)")
	c.Flags().StringVar(&resin, "resin", "", "a resin of the house settings (default: the first)")
	c.Flags().StringVar(&jar, "jar-c", "", "temperature of the refrigerator that powder and liquid came from, in the house's unit or with a C or an F")
	c.Flags().Float64Var(&jarOut, "jar-out-min", 0, "minutes they stood in the room before mixing")
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON, for other programs")
	c.Flags().BoolVar(&adopt, "adopt", false, "record the times fitted to the book's marks as settings")
	return c
}

// doughAnswer is what is told of a resin in a room.
type doughAnswer struct {
	Resin string `json:"resin"`
	dough.Conditions
	Window     dough.WorkingTime `json:"window"`
	Marks      doughMarks        `json:"marks"`
	Used       dough.Resin       `json:"resin_used"` // with the times fitted to the marks, where there are enough
	Parameters []dough.Parameter `json:"parameters"`
	Adopted    *logbook.Head     `json:"adopted,omitempty"`
	Note       string            `json:"note"`

	unit units.TempUnit // as the house reads
}

// doughMarks are the book's own marks behind an answer.
type doughMarks struct {
	Dough     int      `json:"dough"`
	Stiff     int      `json:"stiff"`
	SetAside  int      `json:"set_aside"`
	Q10Fitted bool     `json:"q10_fitted"`
	Q10       float64  `json:"q10"`
	Wanting   []string `json:"wanting,omitempty"`
	words     string
}

// doughIn fits a resin of the house to the marks of the book.
func doughIn(h house.House, name string, marks []dough.Mark) (doughAnswer, error) {
	is, err := pickResin(h, name)
	if err != nil {
		return doughAnswer{}, err
	}
	fit, err := dough.FitMarks(asSet(is), marks)
	if err != nil {
		return doughAnswer{}, err
	}
	a := doughAnswer{Resin: is.Name, Used: is, Note: leaflet,
		Marks: doughMarks{fit.Dough.Marks, fit.Work.Marks, fit.SetAside, fit.Q10Fitted, fit.Q10, fit.Wanting, fit.String()}}
	if fit.Dough.Fitted || fit.Work.Fitted || fit.Q10Fitted {
		if a.Used, err = fit.Apply(asSet(is)); err != nil {
			return doughAnswer{}, err
		}
	}
	a.Parameters = dough.Parameters(a.Used)
	return a, nil
}

// asSet is a resin without what was fitted to marks before: the same marks must not
// count twice.
func asSet(r dough.Resin) dough.Resin {
	if r.MarksBehind == 0 {
		return r
	}
	d := dough.HouseDefault()
	r.DoughFromMin, r.WorkUntilMin, r.Q10 = d.DoughFromMin, d.WorkUntilMin, d.Q10
	r.DoughLnSD, r.WorkLnSD, r.MixLnSD, r.Q10LnSD = d.DoughLnSD, d.WorkLnSD, d.MixLnSD, d.Q10LnSD
	r.MarksBehind, r.Q10Fitted = 0, false
	return r
}

// conditions reads where a mix stands.
func conditions(r dough.Resin, in house.Units, room, jar string, jarOutMin float64) (dough.Conditions, error) {
	c := dough.Conditions{RoomC: r.RefTempC}
	var err error
	if room != "" {
		if c.RoomC, err = house.ReadTemp("--room", "mix.room_c", room, in); err != nil {
			return c, err
		}
	}
	if jar != "" {
		c.Stored = &dough.Storage{OutMin: jarOutMin}
		if c.Stored.TempC, err = house.ReadTemp("--jar-c", "mix.jar_c", jar, in); err != nil {
			return c, err
		}
	}
	return c, c.Validate()
}

// maxMixes is how many of the latest mixes are looked at for marks (house default).
const maxMixes = 2000

// marksOf gives the settings in force and the marks of a resin, the first one's for
// an empty name; without a book there are the default settings and no marks.
func marksOf(path, resin string, clock timers.Clock) (house.House, []dough.Mark, error) {
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return house.Default(), nil, nil
	}
	book, done, err := reading(path, clock)
	if err != nil {
		return house.House{}, nil, err
	}
	defer done()
	h := book.State().Bench.House
	r, err := pickResin(h, resin)
	if err != nil {
		return h, nil, err
	}
	var recs []record.Record
	seen := map[uint64]bool{}
	top := book.State().Bench.Top.Mix
	for n := max(1, top-maxMixes+1); n <= top; n++ {
		of, err := book.Of(action.Subject{Class: 'm', No: n})
		if err != nil {
			return h, nil, err
		}
		for _, r := range of {
			if !seen[r.Seq] {
				seen[r.Seq] = true
				recs = append(recs, r)
			}
		}
	}
	slices.SortFunc(recs, func(a, b record.Record) int { return cmp.Compare(a.Seq, b.Seq) })
	return h, bench.Fold(recs, bench.Counters{}).Marks(r.Name), nil
}

// adoptResin puts a resin in the place of its namesake in the settings; no head
// where nothing would change.
func adoptResin(h house.House, r dough.Resin, o *options, clock timers.Clock) (*logbook.Head, error) {
	if r.MarksBehind == 0 {
		return nil, errors.New("nothing adopted: the book has too few marks of its own for this resin")
	}
	is := h
	is.Resins = append([]dough.Resin(nil), h.Resins...)
	for i := range is.Resins {
		if is.Resins[i].Name == r.Name {
			is.Resins[i] = r
		}
	}
	if same, err := equal(h, is); err != nil || same {
		return nil, err
	}
	head, err := recordSettings(is, "the book's own marks", "learned from the logbook", o, clock)
	return &head, err
}

func (a doughAnswer) text(w io.Writer, adopt bool) error {
	min := func(d time.Duration) string { return fmt.Sprintf("%.0f", d.Minutes()) }
	where := "room " + units.FormatTemp(a.RoomC, a.unit)
	if s := a.Stored; s != nil {
		where += fmt.Sprintf(", parts from %s", units.FormatTemp(s.TempC, a.unit))
		if s.OutMin > 0 {
			where += fmt.Sprintf(", %g min in the room", s.OutMin)
		}
	}
	lines := []string{
		a.Resin + " · " + where,
		fmt.Sprintf("dough from %s min (%s to %s) to %s min (%s to %s) after mixing", min(a.Window.From), min(a.Window.FromLow), min(a.Window.FromHigh), min(a.Window.To), min(a.Window.ToLow), min(a.Window.ToHigh)),
		"based on: " + units.TextIn(a.Marks.words, a.unit),
	}
	if a.Marks.Dough+a.Marks.Stiff == 0 {
		lines[2] = "based on: 0 marks of the lab's own; the times are the settings', the temperature factor assumed"
	}
	for _, c := range a.Window.Cautions {
		lines = append(lines, "caution: "+units.TextIn(c, a.unit))
	}
	switch {
	case a.Adopted != nil:
		lines = append(lines, "adopted; head "+a.Adopted.String())
	case adopt:
		lines = append(lines, "the settings in force say the same: nothing to adopt")
	}
	_, err := fmt.Fprintln(w, strings.Join(append(lines, leaflet), "\n"))
	return err
}
