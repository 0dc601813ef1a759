package check

import (
	"errors"
	"fmt"
	"strings"

	"flaskside/logbook/layout"
)

// FaultKind sorts the faults of a book.
type FaultKind string

// The kinds of faults.
const (
	FaultFile     FaultKind = "file"     // the file is not a book, or cut short
	FaultPages    FaultKind = "pages"    // a page of the store cannot be
	FaultMissing  FaultKind = "missing"  // records that are not there
	FaultChanged  FaultKind = "changed"  // a record is not as it was written
	FaultUnproven FaultKind = "unproven" // nothing shows that a record is as it was written
	FaultIndex    FaultKind = "index"    // a record cannot be found by something, or wrongly
	FaultBench    FaultKind = "bench"    // the bench is not what the records make it
	FaultHead     FaultKind = "head"     // the end of the chain is not what it should be
	FaultTold     FaultKind = "told"     // a head told before is not in the chain
	FaultJournal  FaultKind = "journal"  // the plain journal says otherwise, or is spoilt itself
	FaultFork     FaultKind = "fork"     // another history of the book, outside of it
)

// Fault is one thing in a book that is not as it should be.
type Fault struct {
	Kind FaultKind `json:"kind"`
	Seq  uint64    `json:"seq,omitempty"` // number of the record, 0 where it is about none
	To   uint64    `json:"to,omitempty"`  // last of several in a row
	Day  string    `json:"day,omitempty"` // of the record, as far as it is known
	What string    `json:"what"`

	Branch *layout.Head `json:"branch,omitempty"` // the last record of another history
}

// Names tells whether the fault is about a record.
func (f Fault) Names(seq uint64) bool { return f.Seq != 0 && f.Seq <= seq && seq <= max(f.To, f.Seq) }

// String is one line for people.
func (f Fault) String() string {
	var b strings.Builder
	switch {
	case f.To > f.Seq:
		fmt.Fprintf(&b, "records %d to %d", f.Seq, f.To)
	case f.Seq > 0:
		fmt.Fprintf(&b, "record %d", f.Seq)
	}
	if f.Day != "" {
		fmt.Fprintf(&b, ", %s", f.Day)
	}
	if b.Len() > 0 {
		b.WriteString(": ")
	}
	b.WriteString(f.What)
	return b.String()
}

// Unsound is an error of what was looked through and is not as it should be: a logbook, a copy of
// one, or a seal.
type Unsound struct{ Err error }

// Error says what is not as it should be.
func (e Unsound) Error() string { return e.Err.Error() }

// Unwrap gives the error within.
func (e Unsound) Unwrap() error { return e.Err }

// Unsoundly says what is not as it should be, as [fmt.Errorf] does.
func Unsoundly(format string, a ...any) error { return Unsound{fmt.Errorf(format, a...)} }

// Damaged tells the error of a damaged logbook from others.
func Damaged(err error) error {
	if errors.Is(err, layout.ErrDamaged) {
		return Unsound{err}
	}
	return err
}
