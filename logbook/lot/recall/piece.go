package recall

import (
	"bytes"
	"cmp"
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
	"flaskside/logbook/record"
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

// fitted is where a gauge or a thermometer was, as the register has it.
type fitted struct {
	On   string    `json:"on"`
	From time.Time `json:"from"`
	To   time.Time `json:"to,omitzero"` // zero while it is there
}

// PieceList is what a piece of equipment was used for, by flask.
type PieceList struct {
	Asked  string     `json:"asked"`
	Fitted []fitted   `json:"fitted,omitempty"`
	Uses   []pieceUse `json:"uses"`
	Once   []uint64   `json:"once,omitempty"` // numbers of records that named it and were corrected or taken back since
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

// FindPiece lists the flasks that had a press, a bath, a clamp or the metal of a flask, and
// those that were pressed or cured by a gauge or a thermometer while the register had it fitted
// to their press or bath; loc is the zone of the times. Errors: a kind that no flask is recorded
// with, a gauge or a thermometer that was never fitted to a press or a bath.
func FindPiece(book Source, asked action.Piece, loc *time.Location) (PieceList, error) {
	f := &finder{book: book, flasks: map[int]*bench.Flask{}}
	out := PieceList{Asked: asked.String(), Uses: []pieceUse{}}
	switch asked.Item {
	case action.Press, action.Bath, action.FlaskMetal, action.ClampItem:
		f.thing = thePiece{asked}
		uses, once, err := f.find(loc)
		out.add(f, uses)
		out.Once = once
		return out, err
	case action.Gauge, action.Thermometer:
	default:
		return out, fmt.Errorf("no flask is recorded with a %s: ask for the press, the bath, the flask, the clamp, the gauge or the thermometer", asked.Item)
	}
	var err error
	if out.Fitted, err = fittings(book, asked, loc); err != nil {
		return out, err
	}
	var uses []Use
	for _, at := range places(out.Fitted) {
		f.thing = thePiece{at}
		found, once, err := f.find(loc)
		if err != nil {
			return out, err
		}
		out.Once = append(out.Once, once...)
		uses = append(uses, slices.DeleteFunc(found, func(u Use) bool {
			return !slices.ContainsFunc(out.Fitted, func(w fitted) bool {
				return w.On == at.String() && w.had(u, f.flasks[u.Flask])
			})
		})...)
	}
	if len(out.Fitted) == 0 {
		return out, fmt.Errorf("the register does not say what %s was fitted to: flaskside equipment take-in %s '%s' --on 'PLACE NUMBER'", asked, asked.Item, asked.Name)
	}
	slices.SortStableFunc(uses, func(a, b Use) int { return cmp.Or(cmp.Compare(a.Flask, b.Flask), a.At.Compare(b.At)) })
	slices.Sort(out.Once)
	out.add(f, uses)
	return out, nil
}

// add puts uses, by flask and time, together by flask.
func (l *PieceList) add(f *finder, uses []Use) {
	for _, u := range uses {
		n := len(l.Uses)
		if n == 0 || l.Uses[n-1].Flask != u.Flask {
			l.Uses = append(l.Uses, pieceUse{Flask: u.Flask, Case: u.Case, Base: u.Base, First: u.At, Outcome: u.Outcome, Defects: f.flasks[u.Flask].Defects, EndedAt: u.EndedAt, Record: u.Record})
			n++
		}
		p := &l.Uses[n-1]
		p.Times, p.Last, p.Corrected = p.Times+1, u.At, p.Corrected || u.Corrected
	}
}

// had tells whether a use was by the instrument while it was there. A flask in a bath was, where
// any of its stay was: which part counts nobody can say.
func (w fitted) had(u Use, f *bench.Flask) bool {
	end := u.At
	if strings.HasPrefix(w.On, string(action.Bath)) && f.InBath != nil {
		switch {
		case !f.InBath.At.Equal(u.At):
			end = f.InBath.At // it went in once more: until when it was in before is not known
		case f.OutBath != nil:
			end = f.OutBath.At
		default:
			return w.To.IsZero() || u.At.Before(w.To)
		}
	}
	return (w.To.IsZero() || u.At.Before(w.To)) && !end.Before(w.From)
}

// places lists the presses and baths among what an instrument was fitted to, each once.
func places(fitted []fitted) (out []action.Piece) {
	for _, w := range fitted {
		p, err := action.ParsePiece(w.On)
		if err == nil && (p.Item == action.Press || p.Item == action.Bath) && !slices.Contains(out, p) {
			out = append(out, p)
		}
	}
	return out
}

// fittings tells what an instrument was fitted to and when, by the records as they count now.
func fittings(book Source, asked action.Piece, loc *time.Location) ([]fitted, error) {
	var recs []record.Record
	of := map[string]bool{}
	err := book.Each(1, func(r record.Record) (bool, error) {
		p, is := action.PieceOf(r.Action.Body)
		amended, amends := action.Amends(r.Action.Body)
		if is && p.Key() == asked.Key() || amends && of[amended] {
			of[r.Action.ID] = true
			recs = append(recs, r)
		}
		return true, nil
	})
	if err != nil {
		return nil, fmt.Errorf("read the logbook: %w", err)
	}
	type told struct {
		at time.Time
		on string // "" for nothing
	}
	var all []told
	for _, it := range bench.Fold(recs, bench.Counters{}).Items {
		switch a := it.Body.(type) {
		case action.EquipIn:
			if it.TakenBack == nil {
				all = append(all, told{it.Stamp.At.In(loc), a.On})
			}
		case action.EquipOut:
			if it.TakenBack == nil {
				all = append(all, told{it.Stamp.At.In(loc), ""})
			}
		}
	}
	slices.SortStableFunc(all, func(x, y told) int { return x.at.Compare(y.at) })
	var out []fitted
	for _, t := range all {
		n := len(out)
		if n > 0 && out[n-1].To.IsZero() {
			if out[n-1].On == t.on {
				continue
			}
			out[n-1].To = t.at
		}
		if t.on != "" {
			out = append(out, fitted{On: t.on, From: t.at})
		}
	}
	return out, nil
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

// Text writes the list to be read.
func (l PieceList) Text(w io.Writer) error {
	var b bytes.Buffer
	say := func(format string, a ...any) { fmt.Fprintf(&b, format+"\n", a...) }
	uses := make([]Use, len(l.Uses))
	for i, u := range l.Uses {
		uses[i].Flask = u.Flask
	}
	say("%s: %s", l.Asked, counted(uses))
	for _, w := range l.Fitted {
		until := "until now"
		if !w.To.IsZero() {
			until = "to " + words.Day(w.To.Format(time.DateOnly))
		}
		say("on %s from %s %s", w.On, words.Day(w.From.Format(time.DateOnly)), until)
	}
	if len(l.Uses) > 0 {
		say("")
		t := tabwriter.NewWriter(&b, 0, 8, 2, ' ', 0)
		_, _ = fmt.Fprintln(t, "flask\tcase\tfirst\tlast\ttimes\toutcome") // a buffer takes everything
		for _, u := range l.Uses {
			name, outcome := u.Case+" "+u.Base, u.Outcome
			if u.Corrected {
				name += " *"
			}
			outcome = cmp.Or(outcome, "at work")
			if len(u.Defects) > 0 {
				outcome += ": " + strings.Join(words.Defects(u.Defects), ", ")
			}
			_, _ = fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%d\t%s\n", u.Flask, name, u.First.Format(time.DateOnly), u.Last.Format(time.DateOnly), u.Times, outcome)
		}
		_ = t.Flush()
	}
	toldSince(say, slices.ContainsFunc(l.Uses, func(u pieceUse) bool { return u.Corrected }), l.Once)
	if _, err := b.WriteTo(w); err != nil {
		return fmt.Errorf("write the list of flasks: %w", err)
	}
	return nil
}
