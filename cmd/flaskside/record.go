package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/door"
	"flaskside/timers"
	"flaskside/timers/sysclock"
)

// Bounds of one input; a day has some hundred actions.
const (
	maxInput   = 64 << 20 // bytes
	maxActions = 100_000
)

// recordCommand appends actions given as JSON Lines.
func recordCommand(o *options) *cobra.Command {
	var keepGoing, schema bool
	c := &cobra.Command{
		Use:   "record",
		Short: "Record actions given as JSON Lines on the standard input",
		Long: "Reads one action a line, each with its own time, and records all of them or none; the first bad line\n" +
			"is named with the reason. An action whose id is in the logbook already is not recorded again. A long\n" +
			"input is checked whole and then recorded in parts: after a power cut give it again, and it carries on.",
		Example: "flaskside record < actions.jsonl\nflaskside record --keep-going < actions.jsonl\nflaskside record --schema",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if schema {
				return deliver("", c.OutOrStdout(), func(w io.Writer) error { _, err := w.Write(action.Schema()); return err })
			}
			raw, err := keepInput(c.InOrStdin())
			if err != nil {
				return err
			}
			defer raw.close()
			clock := sysclock.New()
			if keepGoing {
				return recordGood(raw, o, clock, c.OutOrStdout(), c.ErrOrStderr())
			}
			if raw.long() {
				return recordLong(raw, o, clock, c.OutOrStdout())
			}
			in, err := readActions(raw.reader(), o.by, false)
			if err != nil {
				return err
			}
			return in.recordAll(o.book, clock, c.OutOrStdout())
		},
	}
	c.Flags().BoolVar(&keepGoing, "keep-going", false, "record the good lines and list the bad ones")
	c.Flags().BoolVar(&schema, "schema", false, "print the JSON Schema of an action")
	return c
}

// badLine is a line that was refused.
type badLine struct {
	no  int
	err error
}

// Error names the line.
func (b badLine) Error() string { return fmt.Sprintf("line %d: %v", b.no, b.err) }

// input is what was read.
type input struct {
	actions []action.Action
	lines   []int // the line of each action
	bad     []badLine
}

// readActions reads actions until the end or, unless it is to keep going, the first
// line that is none. by stands in where an action names nobody.
func readActions(r io.Reader, by string, keepGoing bool) (input, error) {
	var in input
	for l, err := range linesOf(r, by) {
		if err != nil {
			return input{}, err
		}
		if l.Err != nil {
			in.bad = append(in.bad, badLine{l.No, l.Err})
			if !keepGoing {
				return in, nil
			}
			continue
		}
		in.actions, in.lines = append(in.actions, l.Action), append(in.lines, l.No)
	}
	return in, nil
}

// linesOf gives the lines of an input in turn, and an error where there are too many or none
// can be read.
func linesOf(r io.Reader, by string) iter.Seq2[door.Parsed, error] {
	return func(yield func(door.Parsed, error) bool) {
		n := 0
		for l, err := range door.Lines(&bounded{r: r, left: maxInput}) {
			if err != nil {
				yield(l, fmt.Errorf("read the standard input: %w", err))
				return
			}
			if n++; n > maxActions {
				yield(l, fmt.Errorf("the input has more than %d lines: give it in parts", maxActions))
				return
			}
			if l.Action.By == "" {
				l.Action.By = by
			}
			if !yield(l, nil) {
				return
			}
		}
	}
}

// bounded reads no more than it may and says so.
type bounded struct {
	r    io.Reader
	left int
}

// Read gives an error where more is there than may be read.
func (b *bounded) Read(p []byte) (int, error) {
	if b.left <= 0 {
		return 0, fmt.Errorf("it has more than %d MiB: give it in parts", maxInput>>20)
	}
	n, err := b.r.Read(p[:min(len(p), b.left)])
	b.left -= n
	return n, err
}

// named turns a refusal into one that names the line of the input.
func (in input) named(err error) error {
	var bad *logbook.BadLine
	if !errors.As(err, &bad) {
		return err
	}
	if bad.Index < len(in.lines) {
		return badLine{in.lines[bad.Index], bad.Err}
	}
	return in.bad[0]
}

// recordAll records the whole input or nothing.
func (in input) recordAll(path string, clock timers.Clock, out io.Writer) error {
	if len(in.bad) == 0 && len(in.actions) == 0 {
		_, err := fmt.Fprintln(out, "nothing to record")
		return err
	}
	as := in.actions
	if len(in.bad) > 0 {
		// An earlier line may be bad in itself only to the bench. All are offered
		// together with one that is always refused, so that nothing is written and the
		// first bad line is the one named.
		as = append(slices.Clone(as), action.Action{ID: newID(), At: clock.Read().Wall, Body: action.TakeBack{Of: newID()}})
	}
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		if err := rehearse(clock, offered(as)); err != nil {
			return in.named(err) // and no empty logbook is left behind
		}
	}
	w, err := writing(path, clock)
	if err != nil {
		return err
	}
	var t tally
	if d, ok := w.(atDoor); ok && len(as) > door.MaxActions {
		var told logbook.Long
		told, err = d.AppendLong(eachOf(as), clock, howFar())
		t = tallyOf(told, in.lines)
	} else {
		var answers []door.Reply
		if answers, err = w.Append(as, false); err == nil {
			t.count(in.lines, answers)
		}
	}
	if cerr := w.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return namedPart(err, in.named)
	}
	return cmp.Or(t.tell(out), t.tellDoubts(path, clock, out))
}

// eachOf gives actions in turn.
func eachOf(as []action.Action) iter.Seq2[action.Action, error] {
	return func(yield func(action.Action, error) bool) {
		for _, a := range as {
			if !yield(a, nil) {
				return
			}
		}
	}
}

// offered offers actions to a book.
func offered(as []action.Action) func(*logbook.Book) error {
	return func(b *logbook.Book) error { return b.Rehearse(as) }
}

// rehearse offers something to a book that is thrown away.
func rehearse(clock timers.Clock, offer func(*logbook.Book) error) error {
	dir, err := os.MkdirTemp("", "flaskside-")
	if err != nil {
		return fmt.Errorf("make a scratch folder: %w", err)
	}
	defer func() { _ = os.RemoveAll(dir) }() // a scratch folder left over harms nobody
	book, err := logbook.Open(filepath.Join(dir, "scratch.db"), clock)
	if err != nil {
		return err
	}
	err = offer(book)
	_ = book.Close() // thrown away
	return err
}

// recordGood records the good lines and lists the bad ones, some at a time.
func recordGood(raw *wholeInput, o *options, clock timers.Clock, out, complaints io.Writer) error {
	var w writer // opened with the first good line
	var t tally
	var bad []badLine
	var in input
	lines := 0
	flush := func() (err error) {
		if w == nil {
			if w, err = writing(o.book, clock); err != nil {
				return err
			}
		}
		answers, err := w.Append(in.actions, true)
		for i, a := range answers {
			if a.Err != nil {
				bad = append(bad, badLine{in.lines[i], a.Err})
			}
		}
		t.count(in.lines, answers)
		in.actions, in.lines = in.actions[:0], in.lines[:0]
		return err
	}
	var err error
	for l, lerr := range linesOf(raw.reader(), o.by) {
		if err = lerr; err != nil {
			break
		}
		lines++
		if l.Err != nil {
			bad = append(bad, badLine{l.No, l.Err})
			continue
		}
		in.actions, in.lines = append(in.actions, l.Action), append(in.lines, l.No)
		if len(in.actions) == goodAtOnce {
			if err = flush(); err != nil {
				break
			}
		}
	}
	if err == nil && len(in.actions) > 0 {
		err = flush()
	}
	if w != nil {
		err = cmp.Or(err, w.Close(), t.tell(out), t.tellDoubts(o.book, clock, out))
	}
	if err != nil || len(bad) == 0 {
		return err
	}
	slices.SortFunc(bad, func(a, b badLine) int { return a.no - b.no })
	for _, b := range bad {
		if _, err := fmt.Fprintln(complaints, oneLine(b)); err != nil {
			return fmt.Errorf("list the bad lines: %w", err)
		}
	}
	return fmt.Errorf("%d of %d lines refused", len(bad), lines)
}

// goodAtOnce is how many good lines are handed on together; each is recorded by itself.
const goodAtOnce = 1000

// tally counts what became of actions.
type tally struct {
	fresh, repeated int
	first           uint64   // number of the first that was recorded; 0 for none
	again           []string // the first few
	head            string
}

// repeatsTold is how many actions are named that were in the book already.
const repeatsTold = 5

func (t *tally) count(lines []int, answers []door.Reply) {
	for i, a := range answers {
		switch {
		case a.Err != nil:
		case a.Already:
			t.repeat(lines[i], a.Seq)
		default:
			if t.fresh++; t.first == 0 {
				t.first = a.Seq
			}
			t.head = logbook.Head{Seq: a.Seq, Hash: a.Hash()}.String()
		}
	}
}

func (t *tally) repeat(line int, seq uint64) {
	if t.repeated++; len(t.again) < repeatsTold {
		t.again = append(t.again, fmt.Sprintf("line %d is record %d", line, seq))
	}
}

func (t *tally) tell(out io.Writer) error {
	words := []string{fmt.Sprintf("%d recorded", t.fresh)}
	if t.head != "" {
		words = append(words, "head "+t.head)
	}
	if t.repeated > 0 {
		word := fmt.Sprintf("%d in the book already (%s", t.repeated, strings.Join(t.again, ", "))
		if t.repeated > len(t.again) {
			word += ", …"
		}
		words = append(words, word+")")
	}
	_, err := fmt.Fprintln(out, strings.Join(words, "; "))
	return err
}

// tellDoubts says once what speaks against the gauges and thermometers of what was recorded, as
// the bench does where it is recorded there.
func (t *tally) tellDoubts(path string, clock timers.Clock, out io.Writer) error {
	if t.fresh == 0 {
		return nil
	}
	st, err := standing(path, clock)
	if err != nil {
		return err
	}
	for _, d := range st.Bench.ToldFrom(t.first) {
		if _, err := fmt.Fprintf(out, "record %d: %s. It stands on the day sheet.\n", d.Seq, d.Words(st.Bench.House.Units)); err != nil {
			return err
		}
	}
	return nil
}
