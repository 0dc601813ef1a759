package intake

import (
	"cmp"
	"fmt"
	"io"
	"strings"

	"flaskside/logbook"
	"flaskside/logbook/reach"
)

// tally counts what became of actions.
type tally struct {
	fresh, repeated int
	first           uint64   // number of the first that was recorded; 0 for none
	again           []string // the first few
	head            string
}

// repeatsTold is how many actions are named that were in the book already.
const repeatsTold = 5

// add takes in what became of actions; lines has the line of each.
func (t *tally) add(told logbook.Long, lines []int) {
	t.fresh += told.Recorded
	t.repeated += told.Repeated
	if told.Recorded > 0 {
		t.first, t.head = cmp.Or(t.first, told.First), told.Head.String()
	}
	for _, r := range told.Again[:min(len(told.Again), repeatsTold-len(t.again))] {
		t.again = append(t.again, fmt.Sprintf("line %d is record %d", lines[r.Index], r.Seq))
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
func (t *tally) tellDoubts(at reach.At, out io.Writer) error {
	if t.fresh == 0 {
		return nil
	}
	st, err := at.State()
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
