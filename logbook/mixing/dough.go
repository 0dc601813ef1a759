// Package mixing tells how much powder and liquid a mix takes, and when it can be worked in a room.
package mixing

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/logbook/units"
	"flaskside/timers/dough"
)

// Dough is what is told of a resin in a room.
type Dough struct {
	Resin string `json:"resin"`
	dough.Conditions
	Window     dough.WorkingTime `json:"window"`
	Marks      ownMarks          `json:"marks"`
	Used       dough.Resin       `json:"resin_used"` // with the times fitted to the marks, where there are enough
	Parameters []dough.Parameter `json:"parameters"`
	Adopted    *logbook.Head     `json:"adopted,omitempty"`
	Note       string            `json:"note"`

	unit units.TempUnit // as the house reads
}

// Text writes it to be read; adopt tells that the times fitted were to be adopted.
func (a Dough) Text(w io.Writer, adopt bool) error {
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

// ownMarks are the book's own marks behind an answer.
type ownMarks struct {
	Dough     int      `json:"dough"`
	Stiff     int      `json:"stiff"`
	SetAside  int      `json:"set_aside"`
	Q10Fitted bool     `json:"q10_fitted"`
	Q10       float64  `json:"q10"`
	Wanting   []string `json:"wanting,omitempty"`
	words     string
}

// fitted fits a resin of the house to the marks of the book.
func fitted(h house.House, name string, marks []dough.Mark) (Dough, error) {
	is, err := h.PickResin(name)
	if err != nil {
		return Dough{}, err
	}
	fit, err := dough.FitMarks(asSet(is), marks)
	if err != nil {
		return Dough{}, err
	}
	a := Dough{unit: h.Units.Temperature, Resin: is.Name, Used: is, Note: leaflet,
		Marks: ownMarks{fit.Dough.Marks, fit.Work.Marks, fit.SetAside, fit.Q10Fitted, fit.Q10, fit.Wanting, fit.String()}}
	if fit.Dough.Fitted || fit.Work.Fitted || fit.Q10Fitted {
		if a.Used, err = fit.Apply(asSet(is)); err != nil {
			return Dough{}, err
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

// In tells of a resin of the house in a room, fitted to the marks of the book. Room and jar are
// temperatures as typed, "" where they are the usual ones.
func In(h house.House, name string, marks []dough.Mark, room, jar string, jarOutMin float64) (Dough, error) {
	a, err := fitted(h, name, marks)
	if err != nil {
		return a, err
	}
	if a.Conditions, err = conditions(a.Used, h.Units, room, jar, jarOutMin); err == nil {
		a.Window, err = dough.Estimate(a.Used, a.Conditions, dough.MixMarks{})
	}
	return a, err
}

// Adopt puts the fitted resin in the place of its namesake in the settings.
func (a Dough) Adopt(h house.House) (house.House, error) {
	if a.Used.MarksBehind == 0 {
		return h, errors.New("nothing adopted: the book has too few marks of its own for this resin")
	}
	h.Resins = slices.Clone(h.Resins)
	for i := range h.Resins {
		if h.Resins[i].Name == a.Used.Name {
			h.Resins[i] = a.Used
		}
	}
	return h, nil
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

// leaflet goes with every figure of a mix.
const leaflet = "estimate; the resin maker's leaflet comes first"

// Text writes the proportions of a mix to be read.
func Text(w io.Writer, p dough.Proportions) error {
	percent := func(f float64) string { return fmt.Sprintf("%.1f %%", 100*f) }
	lines := []string{
		fmt.Sprintf("%s · %.3g units · %.3g:1 by mass", p.Resin, p.Units, p.MassRatio),
		fmt.Sprintf("powder  %8s   %s poured", units.FormatMass(p.PowderG), strings.Replace(units.FormatVolume(p.PowderBulkCC), "mL", "cc", 1)),
		fmt.Sprintf("liquid  %8s   %s", units.FormatMass(p.LiquidG), units.FormatVolume(p.LiquidML)),
		fmt.Sprintf("dough   %8s   %s", units.FormatMass(p.DoughG), units.FormatVolume(p.DoughML)),
	}
	if p.LeftoverML >= 0 {
		lines = append(lines, fmt.Sprintf("for moulds of %s it leaves %s (%s) for trials", units.FormatVolume(p.MouldCM3), units.FormatVolume(p.LeftoverML), units.FormatMass(p.LeftoverG)))
	}
	lines = append(lines, fmt.Sprintf("liquid is %s of the true volume; shrinks %s to %s by volume in the cure (a free body %s in length; held by the mould less)",
		percent(p.LiquidVolumeFrac), percent(p.ShrinkageLow), percent(p.Shrinkage), percent(p.FreeLinear)))
	for _, c := range p.Cautions {
		lines = append(lines, "caution: "+c)
	}
	_, err := fmt.Fprintln(w, strings.Join(append(lines, leaflet), "\n"))
	return err
}

// maxMixes is how many of the latest mixes are looked at for marks (house default).
const maxMixes = 2000

// Marks gives the marks of the latest mixes of a resin in a logbook, the first resin's for an
// empty name.
func Marks(book *logbook.Book, resin string) ([]dough.Mark, error) {
	b := book.State().Bench
	r, err := b.House.PickResin(resin)
	if err != nil {
		return nil, err
	}
	var recs []record.Record
	seen := map[uint64]bool{}
	for n := max(1, b.Top.Mix-maxMixes+1); n <= b.Top.Mix; n++ {
		of, err := book.Of(action.Subject{Class: 'm', No: n})
		if err != nil {
			return nil, err
		}
		for _, r := range of {
			if !seen[r.Seq] {
				seen[r.Seq] = true
				recs = append(recs, r)
			}
		}
	}
	slices.SortFunc(recs, func(a, b record.Record) int { return cmp.Compare(a.Seq, b.Seq) })
	return bench.Fold(recs, bench.Counters{}).Marks(r.Name), nil
}
