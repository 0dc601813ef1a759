package review

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/stats"
	"flaskside/timers/each"
)

// had is the equipment that a flask had, as far as its records tell it.
type had struct {
	Bath  int    `json:"bath,omitempty"`
	Press int    `json:"press,omitempty"` // of the final closure
	Tag   string `json:"tag,omitempty"`   // of the flask's metal
	Clamp string `json:"clamp,omitempty"`
}

func hadOf(b *bench.Bench, f *bench.Flask) had {
	h := had{Tag: f.Tag, Clamp: f.Clamp}
	if f.Metal != nil {
		h.Press = f.Press
	}
	if l := b.LoadOf(f); l != nil && f.InBath != nil {
		h.Bath = l.Bath
	}
	return h
}

func (h had) piece(kind action.PieceKind) string {
	number := func(n int) string {
		if n == 0 {
			return ""
		}
		return strconv.Itoa(n)
	}
	switch kind {
	case action.Bath:
		return number(h.Bath)
	case action.Press:
		return number(h.Press)
	case action.FlaskMetal:
		return h.Tag
	case action.ClampItem:
		return h.Clamp
	}
	return ""
}

// held are the kinds of equipment that defects are held against.
var held = []action.PieceKind{action.Bath, action.Press, action.FlaskMetal, action.ClampItem}

// piece is a piece of equipment with the defects of the flasks ended that had it, and of
// those that had another of its kind.
type piece struct {
	Piece  string     `json:"piece"`
	Item   string     `json:"item"`
	Defect comparison `json:"any_defect"`
	Remake comparison `json:"remake"`
	Kinds  []int      `json:"kinds"` // of the flasks with it, those with each of the defects, in their order
}

// pieces holds defects against each piece of a kind of which several were used.
func (r *Review) pieces() []piece {
	out := []piece{}
	for _, kind := range held {
		names := map[string]string{} // by key, as written first
		for _, f := range r.Flasks {
			if name := f.had.piece(kind); f.EndedAt != nil && name != "" {
				key := action.Piece{Item: kind, Name: name}.Key()
				names[key] = cmp.Or(names[key], name)
			}
		}
		if len(names) < 2 {
			continue
		}
		var some []piece
		for key, name := range names {
			n := counts{kinds: make([]int, len(action.Defects))}
			for _, f := range r.Flasks {
				with := f.had.piece(kind)
				if f.EndedAt == nil || with == "" {
					continue
				}
				n.add(&f, action.Piece{Item: kind, Name: with}.Key() == key)
			}
			some = append(some, piece{action.Piece{Item: kind, Name: name}.String(), string(kind), compare(n.defect), compare(n.remake), n.kinds})
		}
		slices.SortFunc(some, func(x, y piece) int { return bench.ByNumber(x.Piece, y.Piece) })
		out = append(out, some...)
	}
	return out
}

const notePieces = "Each piece against the others of its kind, of the flasks whose record names one. Cases, sizes and hands are not the same on each, and a flask has several pieces: it does not tell a cause."

// pieceRows are the table of defects by equipment, and that of their kinds.
func (r Review) pieceRows() (rows, kinds [][]string) {
	rows = [][]string{{"", "with it", "%", "others %", ""}}
	kinds = [][]string{append(append([]string{"of the flasks with it:"}, shortDefects()...), "remake")}
	for _, p := range r.Pieces {
		d := p.Defect
		rows = append(rows, []string{p.Piece, fmt.Sprintf("%d/%d", d.With.Count, d.With.N), rateShort(d.With), rateShort(d.Without), pWords(d)})
		row := []string{p.Piece}
		row = append(row, each.Of(p.Kinds, dot)...)
		kinds = append(kinds, append(row, dot(p.Remake.With.Count)))
	}
	return rows, kinds
}

// notesPieces are said beneath the table.
func (r Review) notesPieces() string {
	words := notePieces
	n, few := 0, false
	for _, p := range r.Pieces {
		if p.Defect.tells() {
			n++
		}
		few = few || pWords(p.Defect) == cannotTell
	}
	if few {
		words += " " + noteSome
	}
	if n > 1 {
		words += " " + manyWords(n)
	}
	return words + " " + noteSmall
}

// manyWords warn of what so many comparisons bring about by themselves.
func manyWords(n int) string {
	return fmt.Sprintf("%d comparisons stand here: by chance alone up to %.2g of them would have a p of 0.05 or less.", n, float64(n)*(1-stats.Confidence))
}

func (r Review) textPieces(p *page) {
	if len(r.Pieces) == 0 {
		return
	}
	p.section("ANY DEFECT, BY BATH, PRESS, FLASK AND CLAMP")
	rows, kinds := r.pieceRows()
	p.table(rows, 0, 2, 3, 4)
	p.say("%s", r.notesPieces())
	p.WriteString("\n")
	p.table(kinds, 0)
}

// pieceFigures are the rows of the figures by equipment.
func (r Review) pieceFigures(add addFigure, shared addShare) {
	for _, x := range r.Pieces {
		comparedFigures(add, shared, &compared{"by equipment", "others", "defects of flasks with equipment", x.Piece, x.Defect, x.Remake, x.Kinds})
	}
}

// addFigure and addShare write a row of the figures.
type (
	addFigure func(part, of, figure, count string, n int, value ...string)
	addShare  func(part, of, figure string, s stats.Share)
)

// compared is what flasks with something are held against in the table of figures.
type compared struct {
	by, others, defects string // what the rows are called
	of                  string
	defect, remake      comparison
	kinds               []int
}

// comparedFigures are the rows of one comparison: any defect and remakes, with it and
// without, and its defects by kind.
func comparedFigures(add addFigure, shared addShare, c *compared) {
	for _, x := range []struct {
		name string
		c    comparison
	}{{"any defect", c.defect}, {"remake", c.remake}} {
		part := x.name + " " + c.by
		shared(part, c.of, "with", x.c.With)
		shared(part, c.of, c.others, x.c.Without)
		d := x.c.Difference
		add(part, c.of, "difference", "", x.c.With.N+x.c.Without.N, num(d.Value), num(d.Low), num(d.High), num(x.c.Two), num(x.c.Least))
	}
	for i, n := range c.kinds {
		add(c.defects, c.of, action.Defects[i], strconv.Itoa(n), c.defect.With.N)
	}
}
