// Package intake takes an input of actions, one a line, into a logbook, whoever has it: all of
// them or none, the first bad line named; or the good ones, the bad ones listed.
package intake

import (
	"cmp"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/door"
	"flaskside/logbook/reach"
	"flaskside/logbook/words"
)

// badLine is a line that was refused.
type badLine struct {
	no  int
	err error
}

// Error names the line.
func (b badLine) Error() string { return fmt.Sprintf("line %d: %v", b.no, b.err) }

// batch are actions and the line of each.
type batch struct {
	actions []action.Action
	lines   []int
}

func (b *batch) add(l door.Parsed) {
	b.actions, b.lines = append(b.actions, l.Action), append(b.lines, l.No)
}

// Record records the whole input or nothing, and says what became of it. by stands in where an
// action names nobody.
func (k *Input) Record(at reach.At, by string, out io.Writer) error {
	if k.Long() {
		return k.recordLong(at, by, out)
	}
	return k.recordShort(at, by, out)
}

func (k *Input) recordShort(at reach.At, by string, out io.Writer) error {
	var in batch
	var first error // of a line that is no action
	for l, err := range k.lines(by) {
		if err != nil {
			return err
		}
		if l.Err != nil {
			first = badLine{l.No, l.Err}
			break
		}
		in.add(l)
	}
	if first == nil && len(in.actions) == 0 {
		_, err := fmt.Fprintln(out, "nothing to record")
		return err
	}
	as := in.actions
	if first != nil {
		// An earlier line may be bad in itself only to the bench. All are offered
		// together with one that is always refused, so that nothing is written and the
		// first bad line is the one named.
		as = append(slices.Clone(as), action.Action{ID: rand.Text(), At: at.Clock.Read().Wall, Body: action.TakeBack{Of: rand.Text()}})
	}
	told, err := at.RecordAll(as)
	if err != nil {
		return named(err, in.lines, first)
	}
	return say(at, told, in.lines, out)
}

// recordLong records a long input, checked as a whole and written in parts.
func (k *Input) recordLong(at reach.At, by string, out io.Writer) error {
	var lines []int
	told, err := at.RecordLong(k.actions(by, &lines))
	if err != nil {
		return named(err, lines, nil)
	}
	return say(at, told, lines, out)
}

// say tells what became of the lines of an input.
func say(at reach.At, told logbook.Long, lines []int, out io.Writer) error {
	var t tally
	t.add(told, lines)
	return cmp.Or(t.tell(out), t.tellDoubts(at, out))
}

// unread is an error of the input as a whole and not of a line.
type unread struct{ err error }

func (u unread) Error() string { return u.err.Error() }

// named turns a refusal into one that names the line of the input; first is the error of the
// line that stands behind them.
func named(err error, lines []int, first error) error {
	var parted *logbook.Parted
	var bad *logbook.BadLine
	var whole unread
	switch {
	case errors.As(err, &parted):
		return &logbook.Parted{Recorded: parted.Recorded, Refused: parted.Refused, Err: named(parted.Err, lines, first)}
	case errors.As(err, &whole):
		return whole.err
	case errors.As(err, &bad) && bad.Index < len(lines):
		return badLine{lines[bad.Index], bad.Err}
	case errors.As(err, &bad):
		return first
	}
	return err
}

// actions gives those of the input in turn, from its beginning each time; lines gets the line
// of each.
func (k *Input) actions(by string, lines *[]int) iter.Seq2[action.Action, error] {
	return func(yield func(action.Action, error) bool) {
		*lines = (*lines)[:0]
		for l, err := range k.lines(by) {
			*lines = append(*lines, l.No)
			if err != nil {
				yield(action.Action{}, unread{err})
				return
			}
			if !yield(l.Action, l.Err) {
				return
			}
		}
	}
}

// goodAtOnce is how many good lines are handed on together; each is recorded by itself.
const goodAtOnce = 1000

// RecordGood records the good lines, some at a time, and lists the bad ones; where there are
// any the error says how many.
func (k *Input) RecordGood(at reach.At, by string, out, complaints io.Writer) error {
	var w reach.Writer // opened with the first good line
	var t tally
	var bad []badLine
	var in batch
	lines := 0
	flush := func() (err error) {
		if w == nil {
			if w, err = at.Writing(); err != nil {
				return err
			}
		}
		answers, err := w.Append(in.actions, true)
		for i, a := range answers {
			if a.Err != nil {
				bad = append(bad, badLine{in.lines[i], a.Err})
			}
		}
		t.add(reach.Sum(answers), in.lines)
		in = batch{in.actions[:0], in.lines[:0]}
		return err
	}
	var err error
	for l, lerr := range k.lines(by) {
		if err = lerr; err != nil {
			break
		}
		lines++
		if l.Err != nil {
			bad = append(bad, badLine{l.No, l.Err})
			continue
		}
		if in.add(l); len(in.actions) == goodAtOnce {
			if err = flush(); err != nil {
				break
			}
		}
	}
	if err == nil && len(in.actions) > 0 {
		err = flush()
	}
	if w != nil {
		err = cmp.Or(err, w.Close(), t.tell(out), t.tellDoubts(at, out))
	}
	if err != nil || len(bad) == 0 {
		return err
	}
	slices.SortFunc(bad, func(a, b badLine) int { return a.no - b.no })
	for _, b := range bad {
		if _, err := fmt.Fprintln(complaints, words.Refusal(b)); err != nil {
			return fmt.Errorf("list the bad lines: %w", err)
		}
	}
	return fmt.Errorf("%d of %d lines refused", len(bad), lines)
}
