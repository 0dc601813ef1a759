package review

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"slices"

	"flaskside/logbook/stats"
	"flaskside/logbook/words"
	"flaskside/timers/each"
)

//go:embed page.html
var pageHTML string

// grid is a table of the page: its head, its rows, and which columns are words.
type grid struct {
	Head []string
	Rows [][]string
	Left []bool
}

// gridOf makes a table of rows whose first is the head; nil without others.
func gridOf(rows [][]string, left ...int) *grid {
	if len(rows) < 2 {
		return nil
	}
	g := &grid{Head: rows[0], Rows: rows[1:], Left: make([]bool, len(rows[0]))}
	for i := range g.Left {
		g.Left[i] = slices.Contains(left, i)
	}
	return g
}

type picture struct {
	Name, Limits, Outside, Jumps string
	SVG                          template.HTML
}

type notes struct {
	Shares, People, Dough, Times, Fisher, Some, Many, Fixed, Limits string
}

type sheet struct {
	Title, Lab, Head, Chain, Without           string
	Any                                        bool
	Notes                                      notes
	DoughOf, DoughRate, DoughSmall, DoughRest  string
	Corrections                                string
	Closures, Times, Pin, Ends, Against, Kinds *grid
	Remakes, CorrectionKinds                   *grid
	Pieces, PieceKinds                         *grid
	Steps                                      *grid
	StepNotes                                  string
	PieceNotes                                 string
	Charts                                     []picture
}

// HTML writes the review as one page that needs nothing else, runs no script and
// prints on A4 and on Letter.
func (r Review) HTML(w io.Writer) error {
	t, err := template.New("review").Parse(pageHTML)
	if err != nil {
		return fmt.Errorf("make the page of the review: %w", err)
	}
	if err := t.Execute(w, r.sheet()); err != nil {
		return fmt.Errorf("write review: %w", err)
	}
	return nil
}

func (r Review) sheet() sheet {
	c := r.Corrections
	s := sheet{Title: r.title(), Lab: r.Lab, Head: r.head(), Chain: r.Head, Any: len(r.Flasks) > 0, Without: joined(r.without()),
		Notes: notes{noteShares, notePeople, noteDough, noteTimes, noteFisher + " " + noteSmall, "", r.noteMany(), noteLow + " " + r.Boil.words() + " " + noteFixed, noteLimits},
		Corrections: fmt.Sprintf("%s of this time; %d corrected, %d undone (%s %%).", words.Count(c.Records, "record", "records"), c.Corrected, c.TakenBack,
			percent(share(c.Corrected+c.TakenBack, c.Records).Value)),
		DoughOf: ofWords(r.Dough.Inside), DoughRate: rateWords(r.Dough.Inside), DoughSmall: small(r.Dough.Inside.N),
		DoughRest: fmt.Sprintf("%d before it, %d after it; %s without a mix recorded.", r.Dough.Before, r.Dough.After, flasks(r.Dough.NoMix)),
		Closures:  gridOf(closureRows(r.Closures), 0, 12), Times: gridOf(timeRows(r.Times), 0, 3), Pin: gridOf(pinRows(r.Pin), 0, 5, 7),
	}
	if r.Ended > 0 {
		rows := [][]string{{"", "flasks", "share (95 % interval)", ""}}
		add := func(name string, x stats.Share) {
			rows = append(rows, []string{name, ofWords(x), rateWords(x), small(x.N)})
		}
		for _, n := range r.Outcomes {
			add(n.Name, n.Share)
		}
		add("any defect", r.AnyDefect)
		for _, n := range r.Defects {
			add("– "+n.Name, n.Share)
		}
		s.Ends = gridOf(rows, 0, 2, 3)
	}
	against := [][]string{{"", "with it", "% (95 %)", "without", "% (95 %)", "difference (95 %)", "Fisher"}}
	kinds := [][]string{append(append([]string{""}, shortDefects()...), "remake")}
	for _, a := range r.Against {
		d := a.Defect
		if pWords(d) == cannotTell {
			s.Notes.Some = noteSome
		}
		against = append(against, []string{a.Words, ofWords(d.With), rateShort(d.With), ofWords(d.Without), rateShort(d.Without), diffWords(d), pWords(d)})
		row := []string{a.Words}
		row = append(row, each.Of(a.Kinds, dot)...)
		kinds = append(kinds, append(row, dot(a.Remake.With.Count)))
	}
	s.Against, s.Kinds = gridOf(against, 0, 2, 4, 5, 6), gridOf(kinds, 0)
	if len(r.Steps) > 0 {
		s.Steps, s.StepNotes = gridOf(stepRows(r.Steps), 0), noteSteps
	}
	if len(r.Pieces) > 0 {
		rows, pieceKinds := r.pieceRows()
		s.Pieces, s.PieceKinds, s.PieceNotes = gridOf(rows, 0, 2, 3, 4), gridOf(pieceKinds, 0), r.notesPieces()
	}
	for _, x := range []struct {
		name, unit, axis string
		c                *controlChart
	}{{"Closures per flask, in order", "", ", trial closures", r.ClosureChart}, {"Pin opening, in order", " mm", ", mm", r.PinChart}} {
		if x.c != nil {
			p := picture{Name: x.name, Limits: x.c.limits(x.unit), SVG: x.c.svg(x.name, x.axis)}
			if x.c.Limits {
				p.Outside, p.Jumps = r.told(x.c, x.c.Outside), r.told(x.c, x.c.Jumps)
			}
			s.Charts = append(s.Charts, p)
		}
	}
	remakes := [][]string{{"flask", "case", "base", "defects", "unusual in its record"}}
	for _, f := range r.remakes() {
		remakes = append(remakes, []string{fmt.Sprint(f.No), f.Case, string(f.Size) + " " + f.Base, joined(f.Defects), unusualWords(f.Unusual)})
	}
	s.Remakes = gridOf(remakes, 0, 1, 2, 3, 4)
	s.CorrectionKinds = gridOf(c.rows(), 0)
	return s
}
