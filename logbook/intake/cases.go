package intake

import (
	"errors"
	"fmt"
	"io"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/cases"
	"flaskside/logbook/reach"
	"flaskside/logbook/record"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// Cases takes a table of cases into a logbook: all of its rows or none, each bad one named among
// the complaints. name is what the table is called, taken makes the action of a row; dry says what
// is wrong and records nothing.
func Cases(at reach.At, table io.Reader, name string, taken func(action.Body) action.Action, dry bool, out, complaints io.Writer) error {
	lines, err := cases.ReadCSV(table, at.Clock.Read().Wall.Local())
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	if len(lines) == 0 {
		return fmt.Errorf("%s: the table names no case", name)
	}
	b := bench.Fold(nil, bench.Counters{})
	if at.Made() { // else it is made with them
		st, err := at.State()
		if err != nil {
			return err
		}
		b = st.Bench
	}
	bad, as := 0, make([]action.Action, 0, len(lines))
	for _, l := range lines {
		a, err := taken(l.Case), l.Err
		as = append(as, a)
		if err == nil { // each as after those before it
			read := at.Clock.Read()
			stamp := timers.StampAt(a.At, read)
			if a, err = b.Check(a, stamp, timers.Now{Reading: read}); err == nil {
				b = b.Extend(record.Record{Seq: b.Top.Seq + 1, Stamp: stamp, Action: a})
			}
		}
		if err != nil {
			bad++
			fmt.Fprintf(complaints, "line %d: %s\n", l.No, words.Refusal(ByWhy(err)))
		}
	}
	if bad > 0 {
		return fmt.Errorf("%d of %s cannot be taken in: nothing was recorded", bad, words.Count(len(lines), "line", "lines"))
	}
	said := fmt.Sprintf("%s can be taken in; nothing was recorded", words.Count(len(lines), "case", "cases"))
	if !dry {
		answers, rerr := at.Record(as)
		if err = rerr; err == nil {
			said = fmt.Sprintf("%s taken in; records %d to %d", words.Count(len(answers), "case", "cases"), answers[0].Record.Seq, answers[len(answers)-1].Record.Seq)
		}
	} else if at.Made() { // the logbook knows of flasks that the bench has let go of
		_, err = reach.Read(at, func(book *logbook.Book) (bool, error) { return true, book.Rehearse(as) })
	}
	var one *logbook.BadLine
	switch {
	case errors.As(err, &one):
		return fmt.Errorf("line %d: %w: nothing was recorded", lines[one.Index].No, ByWhy(one.Err))
	case err != nil:
		return err
	}
	_, err = fmt.Fprintln(out, said)
	return err
}

// ByWhy says how a reason is given where one is asked for.
func ByWhy(err error) error {
	var odd *bench.NeedsReason
	if !errors.As(err, &odd) {
		return err
	}
	return fmt.Errorf("%s: say --why to record it anyway", odd.What())
}
