// Package equipment tells the register of equipment: how each piece stands, in words, as
// tables and as a list of what is due. It is pure; what is reckoned stands in package bench.
package equipment

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/lot"
	"flaskside/logbook/tables"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers/each"
)

// Listed is a piece of the register as tables give it.
type Listed struct {
	Piece     string     `json:"piece"` // as people say it
	Item      string     `json:"item"`
	Name      string     `json:"name"`
	Product   string     `json:"product,omitempty"`
	On        string     `json:"on,omitempty"`
	RatedPSI  float64    `json:"rated_psi,omitempty"`
	ScalePSI  float64    `json:"scale_psi,omitempty"`
	ClassPct  float64    `json:"class_pct,omitempty"`
	Litres    float64    `json:"litres,omitempty"`
	Spring    bool       `json:"spring,omitempty"`
	EveryDays int        `json:"every_days,omitempty"`
	CheckedAt *time.Time `json:"checked_at,omitempty"` // the latest check up to now, in use
	CheckedBy string     `json:"checked_by,omitempty"`
	Found     string     `json:"found,omitempty"`
	OffC      *float64   `json:"off_c,omitempty"` // by how much it reads too high, where it is off the most
	OffPSI    *float64   `json:"off_psi,omitempty"`
	WaterAt   *time.Time `json:"water_at,omitempty"`
	WaterBy   string     `json:"water_by,omitempty"`
	DueBy     string     `json:"due_by,omitempty"` // last day on which the next check or change is in time
	State     Condition  `json:"state"`
	Says      string     `json:"says"`
	In        *time.Time `json:"in,omitempty"`
	InBy      string     `json:"in_by,omitempty"`
	Out       *time.Time `json:"out,omitempty"`
	OutBy     string     `json:"out_by,omitempty"`
	Reason    string     `json:"reason,omitempty"`
}

// Condition sorts the pieces by what is to be done.
type Condition string

// The states. Unchecked is an instrument without a check, or water that was never recorded
// as changed: nothing is known of it.
const (
	InUse     Condition = "in use"
	Dated     Condition = "next date known"
	Unchecked Condition = "not known"
	Overdue   Condition = "overdue"
	Off       Condition = "off"
	OutOfUse  Condition = "out of use"
)

// Wants tells whether something is to be done about it now.
func (s Condition) Wants() bool { return s == Unchecked || s == Overdue || s == Off }

// of tells how a piece stands at an instant.
func of(k bench.KnownPiece, h house.House, now time.Time) Listed {
	l := Listed{Piece: k.Piece().String(), Item: string(k.Item), Name: k.Name, Product: k.Product, On: k.On, RatedPSI: k.RatedPSI, ScalePSI: k.ScalePSI, ClassPct: k.ClassPct,
		Litres: k.Litres, Spring: k.Spring, EveryDays: k.EveryDays, InBy: k.InBy, OutBy: k.OutBy, Reason: k.Reason, WaterBy: k.WaterBy}
	if k.In != nil {
		l.In = &k.In.At
	}
	if n, err := strconv.Atoi(k.Name); k.Item == action.Bath && err == nil && n >= 1 && n <= len(h.Baths) {
		l.Litres = h.Baths[n-1].Litres
	}
	if k.Out != nil {
		l.Out, l.State = &k.Out.At, OutOfUse
		l.Says = fmt.Sprintf("out of use since %s: %s", dayText(k.Out.At, now), k.Reason)
		return l
	}
	if k.Water != nil && !k.Water.At.After(now) {
		l.WaterAt = &k.Water.At
	}
	s := k.Standing(now)
	l.DueBy = s.Due.String()
	t := action.Teller{Units: h.Units}
	if s.Last != nil {
		l.CheckedAt, l.CheckedBy = &s.Last.At.At, s.Last.By
		found := each.Of(s.Last.Points(), func(p action.CheckPoint) string { return t.Point(k.Item, p) })
		l.Found = strings.Join(found, ", ")
		off := s.Off.Off
		if k.Item == action.Gauge {
			l.OffPSI = &off
		} else {
			l.OffC = &off
		}
	}
	l.State, l.Says = l.stands(k, s, t, now)
	if n, err := strconv.Atoi(k.Name); err == nil && (k.Item == action.Press || k.Item == action.Bath) && n > h.Spots(string(k.Item)) {
		l.Says += fmt.Sprintf("; not in the settings, which have %d", h.Spots(string(k.Item)))
	}
	return l
}

func (l Listed) stands(k bench.KnownPiece, s bench.Upkeep, t action.Teller, now time.Time) (Condition, string) {
	next := ""
	if l.DueBy != "" {
		next = ", next by " + words.Day(l.DueBy)
	}
	switch {
	case k.Item.Checked() && s.Last == nil && s.Later:
		return Unchecked, "no check recorded up to now: those recorded are dated later"
	case k.Item.Checked() && s.Last == nil:
		return Unchecked, "no check recorded"
	case k.Item.Checked():
		on := "checked " + dayText(s.Last.At.At, now) + ": " + l.Found
		switch {
		case s.Overdue:
			return Overdue, "CHECK WAS DUE by " + words.Day(l.DueBy) + "; " + on
		case s.OffByMuch():
			return Off, "OFF by more than " + allowed(k.Item, s.Allowed, t.Units) + "; " + on + next
		}
		return Dated, on + next
	case k.Item.Filled() && l.WaterAt == nil:
		return Unchecked, "no change of water recorded"
	case k.Item.Filled() && s.Overdue:
		return Overdue, "WATER WAS DUE by " + words.Day(l.DueBy) + "; changed " + dayText(*l.WaterAt, now)
	case k.Item.Filled():
		return Dated, "water changed " + dayText(*l.WaterAt, now) + next
	}
	return InUse, "in use"
}

// dayText is the day of an instant as people write it.
func dayText(t, now time.Time) string { return words.Day(t.In(now.Location()).Format(time.DateOnly)) }

func allowed(item action.PieceKind, v float64, u house.Units) string {
	if item == action.Gauge {
		return units.FormatPressure(v, u.Pressure)
	}
	return units.FormatTempSpan(v, u.Temperature)
}

// About says what a piece is, in a few words: what it is fitted to, its rated load, its
// water.
func (l Listed) About(u house.Units) string {
	var out []string
	add := func(is bool, what string) {
		if is {
			out = append(out, what)
		}
	}
	add(l.On != "", "on "+l.On)
	add(l.Spring, "springs")
	add(l.RatedPSI > 0, "rated "+units.FormatPressure(l.RatedPSI, u.Pressure))
	add(l.ScalePSI > 0, "to "+units.FormatPressure(l.ScalePSI, u.Pressure))
	add(l.ClassPct > 0, fmt.Sprintf("class %g", l.ClassPct))
	add(l.Litres > 0, fmt.Sprintf("%g L", l.Litres))
	add(l.Product != "", l.Product)
	return strings.Join(out, ", ")
}

// Lines lists the register of a bench at an instant: what is in use, then what is not.
func Lines(b *bench.Bench, now time.Time) []Listed {
	out := []Listed{}
	held, gone := b.Pieces()
	for _, k := range slices.Concat(held, gone) {
		out = append(out, of(k, b.House, now))
	}
	return out
}

// Due lists what wants something now or within so many days, the longest overdue first, then
// what is not known, then what comes.
func Due(lines []Listed, now time.Time, within int) []Listed {
	last := lot.DateOf(now.AddDate(0, 0, within)).String()
	out := slices.DeleteFunc(slices.Clone(lines), func(l Listed) bool {
		return l.State == OutOfUse || !l.State.Wants() && (l.DueBy == "" || l.DueBy > last)
	})
	rank := func(l Listed) string {
		switch l.State {
		case Overdue:
			return "0" + l.DueBy
		case Off:
			return "1"
		case Unchecked:
			return "2"
		}
		return "3" + l.DueBy
	}
	slices.SortStableFunc(out, func(x, y Listed) int { return strings.Compare(rank(x), rank(y)) })
	return out
}

// Text writes lines to be read; none is what is said where there are none.
func Text(w io.Writer, lines []Listed, u house.Units, none string) error {
	if len(lines) == 0 {
		_, err := fmt.Fprintln(w, none)
		return err
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "equipment\tstate\tabout")
	for _, l := range lines {
		fmt.Fprintf(t, "%s\t%s\t%s\n", plain(l.Piece), l.Says, plain(l.About(u)))
	}
	return t.Flush()
}

// plain takes out what would move the columns.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' {
			return ' '
		}
		return r
	}, s)
}

// CSV writes lines for a spreadsheet: RFC 4180 with a header line, times in RFC 3339, stored
// units, nothing that would run as a formula.
func CSV(w io.Writer, lines []Listed) error {
	number := func(v float64) string {
		if v == 0 {
			return ""
		}
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	off := func(v *float64) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'f', 3, 64)
	}
	stamp := func(t *time.Time) string {
		if t == nil {
			return ""
		}
		return t.Local().Format(time.RFC3339)
	}
	rows := [][]string{{"item", "name", "state", "due_by", "on", "rated_psi", "scale_psi", "class_pct", "litres", "spring", "every_days", "checked_at", "checked_by", "found", "off_c", "off_psi",
		"water_at", "water_by", "product", "in", "in_by", "out", "out_by", "reason"}}
	for _, l := range lines {
		spring := ""
		if l.Spring {
			spring = "yes"
		}
		rows = append(rows, []string{l.Item, tables.Defuse(l.Name), string(l.State), l.DueBy, l.On, number(l.RatedPSI), number(l.ScalePSI), number(l.ClassPct), number(l.Litres), spring, number(float64(l.EveryDays)),
			stamp(l.CheckedAt), tables.Defuse(l.CheckedBy), l.Found, off(l.OffC), off(l.OffPSI), stamp(l.WaterAt), tables.Defuse(l.WaterBy), tables.Defuse(l.Product), stamp(l.In), tables.Defuse(l.InBy), stamp(l.Out), tables.Defuse(l.OutBy), l.Reason})
	}
	if err := tables.Write(w, rows); err != nil {
		return fmt.Errorf("write the register of equipment: %w", err)
	}
	return nil
}
