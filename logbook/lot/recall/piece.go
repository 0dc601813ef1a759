package recall

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/lot"
	"flaskside/logbook/tables"
	"flaskside/logbook/words"
)

// pieceUse is one flask that had a piece of equipment.
type pieceUse struct {
	Flask     int       `json:"flask"`
	Case      string    `json:"case"`
	Base      string    `json:"base,omitempty"`
	First     time.Time `json:"first"`
	Last      time.Time `json:"last"`
	Times     int       `json:"times"`             // records that name it
	Outcome   string    `json:"outcome,omitempty"` // "" while the flask is at work
	Defects   []string  `json:"defects,omitempty"`
	EndedAt   time.Time `json:"ended_at,omitzero"`
	Corrected bool      `json:"corrected,omitempty"`
	Record    uint64    `json:"record"` // the first that names it
}

// PieceList is what a piece of equipment was used for, by flask.
type PieceList struct {
	Asked string     `json:"asked"`
	Uses  []pieceUse `json:"uses"`
	Once  []uint64   `json:"once,omitempty"` // numbers of records that named it and were corrected or taken back since
}

// thePiece looks for a piece of equipment.
type thePiece struct{ action.Piece }

func (p thePiece) named(body action.Body) []naming {
	for _, q := range action.PiecesUsed(body) {
		if q.Key() == p.Key() {
			return []naming{{string(q.Item), q.Name, lot.Same}}
		}
	}
	return nil
}

func (thePiece) room(body action.Body) bool {
	switch body.(type) {
	case action.FlaskOpen, action.PressIn, action.MetalToMetal, action.Clamp, action.BathLoad:
		return true
	}
	return false
}

func (p thePiece) set(raw json.RawMessage) bool {
	var set struct {
		Tag   string `json:"tag"`
		Clamp string `json:"clamp"`
		Press int    `json:"press"`
		Bath  int    `json:"bath"`
	}
	if err := json.Unmarshal(raw, &set); err != nil {
		return false // a correction of something else
	}
	for _, body := range []action.Body{action.FlaskOpen{Tag: set.Tag}, action.Clamp{Clamp: set.Clamp}, action.PressIn{Press: set.Press}, action.BathLoad{Bath: set.Bath}} {
		if len(p.named(body)) > 0 {
			return true
		}
	}
	return false
}

// FindPiece lists the flasks that had a press, a bath, a clamp or the metal of a flask; loc
// is the zone of the times. Of a gauge or a thermometer no flask is known by itself.
func FindPiece(book Book, asked action.Piece, loc *time.Location) (PieceList, error) {
	switch asked.Item {
	case action.Press, action.Bath, action.FlaskMetal, action.ClampItem:
	default:
		return PieceList{}, fmt.Errorf("no flask is recorded with a %s: ask for the press, the bath, the flask or the clamp", asked.Item)
	}
	f := &finder{book, thePiece{asked}, map[int]*bench.Flask{}}
	uses, once, err := f.find(loc)
	out := PieceList{Asked: asked.String(), Uses: []pieceUse{}, Once: once}
	for _, u := range uses { // by flask and time
		n := len(out.Uses)
		if n == 0 || out.Uses[n-1].Flask != u.Flask {
			out.Uses = append(out.Uses, pieceUse{Flask: u.Flask, Case: u.Case, Base: u.Base, First: u.At, Outcome: u.Outcome, Defects: f.flasks[u.Flask].Defects, EndedAt: u.EndedAt, Record: u.Record})
			n++
		}
		l := &out.Uses[n-1]
		l.Times, l.Last, l.Corrected = l.Times+1, u.At, l.Corrected || u.Corrected
	}
	return out, err
}

// CSV writes the list for a spreadsheet, as [List.CSV] does.
func (l PieceList) CSV(w io.Writer) error {
	rows := [][]string{{"equipment", "flask", "case", "base", "first", "last", "times", "outcome", "defects", "ended_at", "corrected", "record"}}
	for _, u := range l.Uses {
		ended, corrected := "", ""
		if !u.EndedAt.IsZero() {
			ended = u.EndedAt.Format(time.RFC3339)
		}
		if u.Corrected {
			corrected = "yes"
		}
		rows = append(rows, []string{tables.Defuse(l.Asked), strconv.Itoa(u.Flask), tables.Defuse(u.Case), u.Base, u.First.Format(time.RFC3339), u.Last.Format(time.RFC3339), strconv.Itoa(u.Times),
			u.Outcome, strings.Join(u.Defects, "; "), ended, corrected, strconv.FormatUint(u.Record, 10)})
	}
	if err := tables.Write(w, rows); err != nil {
		return fmt.Errorf("write the list of flasks: %w", err)
	}
	return nil
}

// JSON writes the list for other programs.
func (l PieceList) JSON(w io.Writer) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	if err := enc.Encode(l); err != nil {
		return fmt.Errorf("write the list of flasks: %w", err)
	}
	return nil
}

// Text writes the list to be read.
func (l PieceList) Text(w io.Writer) error {
	var b bytes.Buffer
	say := func(format string, a ...any) { fmt.Fprintf(&b, format+"\n", a...) }
	uses := make([]Use, len(l.Uses))
	for i, u := range l.Uses {
		uses[i].Flask = u.Flask
	}
	say("%s: %s", l.Asked, counted(uses))
	if len(l.Uses) > 0 {
		say("")
		t := tabwriter.NewWriter(&b, 0, 8, 2, ' ', 0)
		_, _ = fmt.Fprintln(t, "flask\tcase\tfirst\tlast\ttimes\toutcome") // a buffer takes everything
		for _, u := range l.Uses {
			name, outcome := u.Case+" "+u.Base, u.Outcome
			if u.Corrected {
				name += " *"
			}
			if outcome == "" {
				outcome = "at work"
			}
			if len(u.Defects) > 0 {
				outcome += ": " + strings.Join(words.Defects(u.Defects), ", ")
			}
			_, _ = fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%d\t%s\n", u.Flask, name, u.First.Format(time.DateOnly), u.Last.Format(time.DateOnly), u.Times, outcome)
		}
		_ = t.Flush()
	}
	if slices.ContainsFunc(l.Uses, func(u pieceUse) bool { return u.Corrected }) {
		say("\n*  the record was corrected")
	}
	if len(l.Once) > 0 {
		say("\nnamed it, and were corrected or taken back since: records %s", strings.Trim(fmt.Sprint(l.Once), "[]"))
	}
	if _, err := b.WriteTo(w); err != nil {
		return fmt.Errorf("write the list of flasks: %w", err)
	}
	return nil
}
