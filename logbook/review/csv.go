package review

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/stats"
	"flaskside/logbook/tables"
)

// Table names a table of the CSV form.
type Table string

// The tables: a row for each figure, or for each flask.
const (
	Figures  Table = "figures"
	PerFlask Table = "flasks"
)

// Tables lists them.
func Tables() []Table { return []Table{Figures, PerFlask} }

// CSV writes a table as RFC 4180 has it: a header line, lines ended by CR LF, UTF-8.
// Text that a spreadsheet would run as a formula has an apostrophe put before it;
// shares are from 0 to 1, times are seconds or RFC 3339, openings mm.
func (r Review) CSV(w io.Writer, t Table) error {
	var rows [][]string
	//exhaustive:enforce
	switch t {
	case Figures:
		rows = r.figureRows()
	case PerFlask:
		rows = r.flaskRows()
	default:
		return fmt.Errorf("there is no table %q: the tables are figures and flasks", t)
	}
	if err := tables.Write(w, rows); err != nil {
		return fmt.Errorf("write table %s: %w", t, err)
	}
	return nil
}

func num(v float64) string { return strconv.FormatFloat(v, 'g', 10, 64) }

func (r Review) figureRows() [][]string {
	rows := [][]string{{"part", "of", "figure", "count", "n", "value", "low", "high", "p", "least_p"}}
	add := func(part, of, figure, count string, n int, value ...string) {
		row := []string{part, tables.Defuse(of), figure, count, strconv.Itoa(n), "", "", "", "", ""}
		copy(row[5:], value)
		rows = append(rows, row)
	}
	whole := func(part string, n int) { add(part, "", "number", strconv.Itoa(n), n) }
	shared := func(part, of, figure string, s stats.Share) {
		v := []string{"", num(s.Low), num(s.High)}
		if s.N > 0 {
			v[0] = num(s.Value)
		}
		add(part, of, figure, strconv.Itoa(s.Count), s.N, v...)
	}
	summary := func(part, of string, s stats.Summary) {
		for _, x := range []struct {
			name string
			v    float64
		}{{"mean", s.Mean}, {"sd", s.SD}, {"median", s.Median}, {"quartile 1", s.Q1}, {"quartile 3", s.Q3}, {"least", s.Min}, {"most", s.Max}} {
			if x.name != "sd" || s.N > 1 {
				add(part, of, x.name, "", s.N, num(x.v))
			}
		}
	}
	chart := func(part string, c *controlChart) {
		if c == nil || !c.Limits {
			return
		}
		low := num(c.Low)
		if c.Floor {
			low = ""
		}
		add(part, "", "centre and limits", strconv.Itoa(len(c.Outside)), c.N, num(c.Center), low, num(c.High))
		add(part, "", "moving range and limit", strconv.Itoa(len(c.Jumps)), c.N-1, num(c.MeanRange), "", num(c.RangeHigh))
	}
	whole("flasks opened", r.Opened)
	whole("flasks closed", r.Closed)
	whole("flasks ended", r.Ended)
	whole("flasks going", r.Going)
	for _, s := range r.Closures {
		summary("closures", sizeWords(s.Size), s.Summary)
		for i, n := range s.Counts {
			figure := fmt.Sprintf("flasks with %d", i)
			if i == mostCounted {
				figure += " or more"
			}
			add("closures", sizeWords(s.Size), figure, strconv.Itoa(n), s.N)
		}
	}
	chart("closures chart", r.ClosureChart)
	shared("dough window (estimate)", "", "inside", r.Dough.Inside)
	add("dough window (estimate)", "", "before", strconv.Itoa(r.Dough.Before), r.Dough.Inside.N)
	add("dough window (estimate)", "", "after", strconv.Itoa(r.Dough.After), r.Dough.Inside.N)
	add("dough window (estimate)", "", "no mix", strconv.Itoa(r.Dough.NoMix), r.Closed)
	for _, t := range r.Times {
		summary("seconds", t.What, t.Summary)
	}
	for _, s := range r.Pin {
		summary("pin mm", sizeWords(s.Size), s.Summary)
	}
	chart("pin chart", r.PinChart)
	for _, n := range r.Outcomes {
		shared("outcomes", n.Name, "share", n.Share)
	}
	shared("defects", "any", "share", r.AnyDefect)
	for _, n := range r.Defects {
		shared("defects", n.Name, "share", n.Share)
	}
	for _, a := range r.Against {
		comparedFigures(add, shared, &compared{"against unusual", "without", "defects of flasks with", a.Words, a.Defect, a.Remake, a.Kinds})
	}
	r.pieceFigures(add, shared)
	r.stepFigures(add, shared, summary)
	c := r.Corrections
	add("records", "", "corrected", strconv.Itoa(c.Corrected), c.Records)
	add("records", "", "taken back", strconv.Itoa(c.TakenBack), c.Records)
	for _, k := range c.Kinds {
		add("records", string(k.Kind), "corrected", strconv.Itoa(k.Corrected), k.Records)
		add("records", string(k.Kind), "taken back", strconv.Itoa(k.TakenBack), k.Records)
	}
	return rows
}

func (r Review) flaskRows() [][]string {
	rows := [][]string{{"flask", "case", "base", "size", "closures", "closed_at", "dough_window", "packed_s", "ended_at", "pin_mm", "outcome", "defects", "unusual", "bath", "press", "tag", "clamp"}}
	when := func(t *time.Time) string {
		if t == nil {
			return ""
		}
		return t.In(r.From.Location()).Format(time.RFC3339)
	}
	for _, f := range r.Flasks {
		packed, pin := "", ""
		if f.PackedS != nil {
			packed = strconv.Itoa(*f.PackedS)
		}
		if f.PinMM != nil {
			pin = num(*f.PinMM)
		}
		rows = append(rows, []string{strconv.Itoa(f.No), tables.Defuse(f.Case), f.Base, string(f.Size), strconv.Itoa(f.Closures), when(f.ClosedAt), string(f.Dough), packed,
			when(f.EndedAt), pin, f.Outcome, strings.Join(f.Defects, "; "), strings.Join(f.Unusual, "; "), f.had.piece(action.Bath), f.had.piece(action.Press), tables.Defuse(f.Tag), tables.Defuse(f.Clamp)})
	}
	return rows
}
