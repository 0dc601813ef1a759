package review

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"flaskside/logbook/action"
	"flaskside/logbook/stats"
	"flaskside/logbook/words"
	"flaskside/timers/each"
)

// width is what a line keeps to, where words allow.
const width = 80

// page gathers the lines of a review.
type page struct{ bytes.Buffer }

func (p *page) section(name string) { p.WriteString("\n" + name + "\n") }

// say writes words, broken to the width.
func (p *page) say(format string, a ...any) {
	row := " "
	for _, word := range strings.Fields(fmt.Sprintf(format, a...)) {
		if row != " " && utf8.RuneCountInString(row)+1+utf8.RuneCountInString(word) > width {
			p.WriteString(row + "\n")
			row = " "
		}
		row += " " + word
	}
	p.WriteString(row + "\n")
}

// table writes rows in columns; those named in left are set to the left, others to the
// right.
func (p *page) table(rows [][]string, left ...int) {
	var wide []int
	for _, r := range rows {
		for i, cell := range r {
			if i == len(wide) {
				wide = append(wide, 0)
			}
			wide[i] = max(wide[i], utf8.RuneCountInString(cell))
		}
	}
	gap, all := "  ", 0
	for _, w := range wide {
		all += w + len(gap)
	}
	if all > width {
		gap = " "
	}
	isLeft := map[int]bool{}
	for _, i := range left {
		isLeft[i] = true
	}
	for _, r := range rows {
		line := "  "
		for i, cell := range r {
			pad := strings.Repeat(" ", wide[i]-utf8.RuneCountInString(cell))
			if isLeft[i] {
				line += cell + pad + gap
			} else {
				line += pad + cell + gap
			}
		}
		p.WriteString(strings.TrimRight(line, " ") + "\n")
	}
}

// Text writes the review for people.
func (r Review) Text(w io.Writer) error {
	p := &page{}
	p.WriteString("REVIEW   " + r.title() + "\n")
	if r.Lab != "" {
		p.WriteString(r.Lab + "\n")
	}
	p.WriteString("\n")
	p.say("%s", r.head())
	if len(r.Flasks) == 0 {
		p.say("No flask was finally closed or finished in this time: nothing to review.")
	} else {
		p.say("%s", noteShares)
		p.say("%s", notePeople)
		r.textWork(p)
		r.textEnds(p)
		r.textAgainst(p)
		r.textPieces(p)
		r.textChart(p, "CLOSURES PER FLASK, IN ORDER", r.ClosureChart, "")
		r.textChart(p, "PIN OPENING, IN ORDER", r.PinChart, " mm")
		if r.ClosureChart != nil || r.PinChart != nil {
			p.say("%s", noteLimits)
		}
		r.textRemakes(p)
	}
	r.textSteps(p)
	r.textCorrections(p)
	p.WriteString("\nLogbook head when this review was made: " + r.Head + "\n")
	if _, err := w.Write(p.Bytes()); err != nil {
		return fmt.Errorf("write review: %w", err)
	}
	return nil
}

func closureRows(sized []bySize) [][]string {
	head := []string{"size", "flasks", "mean", "median", "most"}
	for i := range mostCounted {
		head = append(head, fmt.Sprint(i))
	}
	rows := [][]string{append(head, fmt.Sprintf("%d+", mostCounted), "")}
	for _, s := range sized {
		row := []string{sizeWords(s.Size), fmt.Sprint(s.N), figure(s.Mean), figure(s.Median), fmt.Sprintf("%.0f", s.Max)}
		for _, n := range s.Counts {
			cell := "."
			if n > 0 {
				cell = fmt.Sprint(n)
			}
			row = append(row, cell)
		}
		rows = append(rows, append(row, small(s.N)))
	}
	return rows
}

func timeRows(ts []timeFigures) [][]string {
	rows := [][]string{{"", "timed", "median", "middle half", "longest", "left out"}}
	for _, t := range ts {
		rows = append(rows, []string{t.What, fmt.Sprint(t.N), minutes(t.Median), minutes(t.Q1) + " to " + minutes(t.Q3), minutes(t.Max), dot(t.LeftOut)})
	}
	return rows
}

func pinRows(sized []bySize) [][]string {
	rows := [][]string{{"size", "flasks", "mean mm", "sd", "median", "middle half", "most", ""}}
	for _, s := range sized {
		sd := "–"
		if s.N > 1 {
			sd = figure(s.SD)
		}
		rows = append(rows, []string{sizeWords(s.Size), fmt.Sprint(s.N), figure(s.Mean), sd, figure(s.Median), figure(s.Q1) + " to " + figure(s.Q3), figure(s.Max), small(s.N)})
	}
	return rows
}

func (r Review) textWork(p *page) {
	if r.Closed > 0 {
		p.section("TRIAL CLOSURES PER FLASK, of flasks finally closed")
		p.table(closureRows(r.Closures), 0, 12)
		p.section("FINAL CLOSURE INSIDE THE WORKING TIME")
		p.table([][]string{{"inside", ofWords(r.Dough.Inside), rateWords(r.Dough.Inside), small(r.Dough.Inside.N)}}, 0, 2, 3)
		p.say("%d before it, %d after it; %s without a mix recorded.", r.Dough.Before, r.Dough.After, flasks(r.Dough.NoMix))
		p.say("%s", noteDough)
	}
	if len(r.Times) > 0 {
		p.section("TIME PER CLOSURE, of flasks finally closed")
		p.table(timeRows(r.Times), 0, 3)
		p.say("%s", noteTimes)
	}
	if len(r.Pin) > 0 {
		p.section("PIN OPENING, of flasks ended")
		p.table(pinRows(r.Pin), 0, 5, 7)
	}
}

func (r Review) textEnds(p *page) {
	if r.Ended == 0 {
		return
	}
	p.section("OUTCOMES AND DEFECTS, of flasks ended")
	rows := each.Of(r.Outcomes, func(n named) []string { return []string{n.Name, ofWords(n.Share), rateWords(n.Share)} })
	rows = append(rows, []string{"any defect", ofWords(r.AnyDefect), rateWords(r.AnyDefect)})
	for _, n := range r.Defects {
		rows = append(rows, []string{"  " + n.Name, ofWords(n.Share), rateWords(n.Share)})
	}
	p.table(rows, 0, 2)
	if w := small(r.Ended); w != "" {
		p.say("%s: a %s.", flasks(r.Ended), w)
	}
}

func (r Review) textAgainst(p *page) {
	if r.Ended == 0 {
		return
	}
	p.section("ANY DEFECT, AGAINST WHAT WAS UNUSUAL IN THE RECORD")
	if len(r.Against) > 0 {
		rows := [][]string{{"", "with it", "%", "without %", ""}}
		kinds := [][]string{append(append([]string{"of the flasks with it:"}, shortDefects()...), "remake")}
		few := false
		for _, a := range r.Against {
			d := a.Defect
			rows = append(rows, []string{a.Words, fmt.Sprintf("%d/%d", d.With.Count, d.With.N), rateShort(d.With), rateShort(d.Without), pWords(d)})
			few = few || pWords(d) == cannotTell
			row := []string{a.Words}
			row = append(row, each.Of(a.Kinds, dot)...)
			kinds = append(kinds, append(row, dot(a.Remake.With.Count)))
		}
		p.table(rows, 0, 2, 3, 4)
		if few {
			p.say("%s", noteSome)
		}
		p.say("%s %s", noteFisher, noteSmall)
		if words := r.noteMany(); words != "" {
			p.say("%s", words)
		}
		p.WriteString("\n")
		p.table(kinds, 0)
	}
	if none := r.without(); len(none) > 0 {
		p.say("None of these on any finished flask: %s.", joined(none))
	}
	p.say("%s %s %s", noteLow, r.Boil.words(), noteFixed)
}

// shortDefects heads narrow columns.
func shortDefects() []string {
	out := make([]string, len(action.Defects))
	for i, d := range action.Defects {
		out[i], _, _ = strings.Cut(d, " ")
	}
	return out
}

func dot(n int) string {
	if n == 0 {
		return "."
	}
	return fmt.Sprint(n)
}

// rateShort: 8.1 (4.6-14).
func rateShort(s stats.Share) string {
	if s.N == 0 {
		return "–"
	}
	return fmt.Sprintf("%s (%s-%s)", percent(s.Value), percent(s.Low), percent(s.High))
}

func (r Review) textRemakes(p *page) {
	rows := r.remakes()
	if r.Ended == 0 {
		return
	}
	p.section("REMAKES")
	if len(rows) == 0 {
		p.say("None of %s ended.", flasks(r.Ended))
	}
	for _, f := range rows {
		words := fmt.Sprintf("case %s, %s %s (flask %d): ", f.Case, f.Size, f.Base, f.No)
		if len(f.Defects) == 0 {
			words += "no defect named"
		}
		words += joined(f.Defects)
		if len(f.Unusual) > 0 {
			words += "; " + unusualWords(f.Unusual)
		}
		p.say("%s", words)
	}
}

func (r Review) textCorrections(p *page) {
	p.section("CORRECTIONS")
	c := r.Corrections
	s := share(c.Corrected+c.TakenBack, c.Records)
	p.say("%s of this time; %d corrected, %d undone (%s %%).", words.Count(c.Records, "record", "records"), c.Corrected, c.TakenBack, percent(s.Value))
	if len(c.Kinds) == 0 {
		return
	}
	p.table(c.rows(), 0)
}

// rows lists the kinds of record that were corrected or taken back, in the words of the
// day sheet.
func (c correctionFigures) rows() [][]string {
	rows := [][]string{{"", "records", "corrected", "undone"}}
	for _, k := range c.Kinds {
		rows = append(rows, []string{words.Kind(k.Kind), fmt.Sprint(k.Records), dot(k.Corrected), dot(k.TakenBack)})
	}
	return rows
}

func (r Review) textChart(p *page, name string, c *controlChart, unit string) {
	if c == nil {
		return
	}
	p.section(name)
	p.say("%s", c.limits(unit))
	if c.Limits {
		for _, line := range c.plot() {
			p.WriteString(line + "\n")
		}
		if per := c.perColumn(); per > 1 {
			p.say("o a flask inside the limits, X one outside, = mean, - limit; each column holds up to %d flasks.", per)
		} else {
			p.say("o a flask inside the limits, X one outside, = mean, - limit.")
		}
		p.say("Outside: %s.", r.told(c, c.Outside))
		p.say("Far from the one before: %s.", r.told(c, c.Jumps))
	}
}
