package day

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/record"
	"flaskside/logbook/words"
)

// Whole is what a trail is made from: the records about a flask, and between two instants.
type Whole interface {
	Of(s action.Subject) ([]record.Record, error)
	Between(from, until time.Time) ([]record.Record, error)
}

// TrailFrom makes the sheet of one flask's whole life out of a book, the readings of the
// bath while it was in it among them.
func TrailFrom(book Whole, flask int, head string, loc *time.Location) (Sheet, error) {
	recs, err := book.Of(action.Subject{Class: 'f', No: flask})
	if err != nil {
		return Sheet{}, err
	}
	if f := bench.Fold(recs, bench.Counters{}).Flasks[flask]; f != nil && f.InBath != nil {
		until := time.Unix(1<<40, 0)
		if f.OutBath != nil {
			until = f.OutBath.At.Add(time.Nanosecond)
		}
		read, err := book.Between(f.InBath.At, until)
		if err != nil {
			return Sheet{}, err
		}
		known := map[uint64]bool{}
		for _, r := range recs {
			known[r.Seq] = true
		}
		ids := map[string]bool{}
		for _, r := range read {
			_, ok := r.Action.Body.(action.BathReading)
			if ok {
				ids[r.Action.ID] = true
			}
			if (ok || ids[corrects(r)]) && !known[r.Seq] {
				recs = append(recs, r)
			}
		}
		slices.SortFunc(recs, func(a, b record.Record) int { return cmp.Compare(a.Seq, b.Seq) })
	}
	return trailOf(recs, flask, head, loc)
}

// readFor tells whether a bath reading is one of a flask's stay in that bath.
func readFor(b *bench.Bench, f *bench.Flask, r action.BathReading, at time.Time) bool {
	l := b.LoadOf(f)
	return l != nil && f.InBath != nil && r.Bath == l.Bath && !at.Before(f.InBath.At) && (f.OutBath == nil || !at.After(f.OutBath.At))
}

// trailOf makes the sheet of one flask's whole life from its records and those of its
// mixes and loads: what others did with those mixes and loads is left out.
func trailOf(recs []record.Record, flask int, head string, loc *time.Location) (Sheet, error) {
	whole := bench.Fold(recs, bench.Counters{})
	f := whole.Flasks[flask]
	if f == nil {
		return Sheet{}, fmt.Errorf("the logbook knows no flask %d", flask)
	}
	keep := map[string]bool{}
	for range 2 { // a correction of a correction is kept with it
		for _, it := range whole.Items {
			about := it.Body.Subjects()
			switch a := it.Body.(type) {
			case action.Correct:
				keep[it.Action.ID] = keep[a.Of]
				continue
			case action.TakeBack:
				keep[it.Action.ID] = keep[a.Of]
				continue
			}
			if r, ok := it.Body.(action.BathReading); ok {
				keep[it.Action.ID] = readFor(whole, f, r, it.Stamp.At)
				continue
			}
			flasks := 0
			own := false
			for _, s := range about {
				if s.Class == 'f' {
					flasks++
					own = own || s.No == flask
				}
			}
			keep[it.Action.ID] = own || flasks == 0 && (slices.Contains(about, action.Subject{Class: 'm', No: f.Mix}) || slices.Contains(about, action.Subject{Class: 'l', No: f.Load}))
		}
	}
	var kept []record.Record
	for _, it := range whole.Items {
		if keep[it.Action.ID] {
			kept = append(kept, it.Record)
		}
	}
	if len(kept) == 0 {
		return Sheet{}, fmt.Errorf("the logbook knows no flask %d", flask)
	}
	return sheetOf(kept, head, loc), nil
}

// sheetOf is the sheet of records alone, from the first of them to the last by their instants.
func sheetOf(recs []record.Record, head string, loc *time.Location) Sheet {
	byInstant := func(a, b record.Record) int { return a.Stamp.At.Compare(b.Stamp.At) }
	from, until := slices.MinFunc(recs, byInstant).Stamp.At, slices.MaxFunc(recs, byInstant).Stamp.At
	return Sheet{Bench: bench.Fold(recs, bench.Counters{}), Head: head, From: from.In(loc), Until: until.Add(time.Nanosecond).In(loc)}
}

// Trail writes the audit trail of a flask as text: each record in order of the book,
// who and when, what it said first and what it counts as now, with every correction
// and taking back, who made it, when and why.
func (s Sheet) Trail(w io.Writer, flask int) error {
	f := s.Bench.Flasks[flask]
	if f == nil {
		return fmt.Errorf("the logbook knows no flask %d", flask)
	}
	var b strings.Builder
	for _, l := range s.provisos() {
		fmt.Fprintf(&b, "%s\n", l)
	}
	fmt.Fprintf(&b, "AUDIT TRAIL   case %s   %s, %s   flask %d\n", f.Case, f.Base, f.Size, flask)
	fmt.Fprintf(&b, "Times as done; where a record was written more than a minute later, that is said too.\n\n")
	for _, it := range s.Bench.Items {
		switch it.Body.(type) {
		case action.Correct, action.TakeBack:
			if it.TakenBack == nil {
				continue // told with what they are about
			}
		}
		at := it.Stamp.At.In(s.From.Location())
		fmt.Fprintf(&b, "%6d  %s  %-8s %s\n", it.Seq, at.Format("2006-01-02 15:04:05 -07:00"), orNone(it.Action.By), s.teller().Tell(it.Body))
		if d := it.Written.Sub(it.Record.Stamp.At); d > time.Minute || d < -time.Minute {
			fmt.Fprintf(&b, "        written %s\n", it.Written.In(s.From.Location()).Format("2006-01-02 15:04:05 -07:00"))
		}
		if len(it.Action.Unusual) > 0 {
			why := words.Reason(it.Action.Why)
			why = cmp.Or(why, "reason given before")
			fmt.Fprintf(&b, "        unusual: %s; reason: %s\n", unusualWords(it.Action.Unusual), why)
		}
		for i, cs := range s.changes(it) {
			c := it.Corrections[i]
			for _, ch := range cs {
				fmt.Fprintf(&b, "        corrected %s%s (record %d): %s was %s, is %s\n", c.Stamp.At.In(s.From.Location()).Format("2006-01-02 15:04:05 -07:00"), who(c.Action), c.Seq, words.Field(ch.name), orNone(s.short(ch.name, ch.was)), orNone(s.short(ch.name, ch.is)))
			}
		}
		if tb := it.TakenBack; tb != nil {
			fmt.Fprintf(&b, "        UNDONE %s%s (record %d)\n", tb.Stamp.At.In(s.From.Location()).Format("2006-01-02 15:04:05 -07:00"), who(tb.Action), tb.Seq)
		}
	}
	fmt.Fprintf(&b, "\nLogbook head: %s\n", s.Head)
	_, err := io.WriteString(w, b.String())
	return err
}
