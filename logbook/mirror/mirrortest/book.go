// Package mirrortest holds every kind of place for mirrors to the same tests. For tests alone.
package mirrortest

import (
	"fmt"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// Start is a Wednesday morning.
var Start = time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)

// Invented is a logbook in memory: records and their chain, and nothing else.
type Invented struct {
	Name string // identity
	Recs []record.Record
}

// NewBook makes a book with n records; words go into each.
func NewBook(id string, n int, words string) *Invented {
	b := &Invented{Name: id}
	b.Add(n, words)
	return b
}

// Add records notes about a flask, every third a coat, which holds no words of people.
func (b *Invented) Add(n int, words string) {
	for range n {
		seq := uint64(len(b.Recs) + 1)
		prev := record.Genesis(b.Name)
		if seq > 1 {
			prev = b.Recs[seq-2].Hash()
		}
		at := Start.Add(time.Duration(seq) * time.Minute)
		var body action.Body = action.Note{Flask: 1, Text: fmt.Sprintf("%s %d", words, seq)}
		if seq%3 == 0 {
			body = action.Coat{Flask: 1, Half: "both", Lot: fmt.Sprint("S-", seq%11)}
		}
		r, err := record.Write(seq, prev, timers.Reading{Wall: at}, timers.Stamp{At: at}, action.Action{ID: fmt.Sprintf("%s-%s-%d", b.Name, words, seq), At: at, By: "KT", Body: body})
		if err != nil {
			panic(err)
		}
		b.Recs = append(b.Recs, r)
	}
}

// Upto gives a copy of the book as it was when it had n records.
func (b *Invented) Upto(n int) *Invented {
	return &Invented{b.Name, append([]record.Record(nil), b.Recs[:n]...)}
}

// ID is the identity.
func (b *Invented) ID() string { return b.Name }

// State gives the head alone.
func (b *Invented) State() logbook.Snapshot { return logbook.Snapshot{Head: b.Head(len(b.Recs))} }

// Head is the head as it was with n records.
func (b *Invented) Head(n int) logbook.Head {
	if n == 0 {
		return logbook.Head{Hash: record.Genesis(b.Name)}
	}
	return logbook.Head{Seq: uint64(n), Hash: b.Recs[n-1].Hash()}
}

// Each gives the records from a number on.
func (b *Invented) Each(from uint64, f func(record.Record) (bool, error)) error {
	for i := max(from, 1) - 1; i < uint64(len(b.Recs)); i++ {
		if more, err := f(b.Recs[i]); err != nil || !more {
			return err
		}
	}
	return nil
}
