package check

import (
	"fmt"
	"io"
	"slices"

	"flaskside/logbook/words"
)

// Told is a head from outside, and what it is called.
type Told struct {
	Pin  Pin
	Name string
}

// Text says what was found in the logbook at path, and of each head told before whether it is
// proven.
func (r Report) Text(w io.Writer, path string, told []Told) (err error) {
	line := func(format string, a ...any) { // a spoilt file may hold anything
		if err == nil {
			_, err = fmt.Fprintln(w, words.Clean(fmt.Sprintf(format, a...)))
		}
	}
	what := ""
	if r.Book != "" {
		what = fmt.Sprintf(", book %s, format %s, made %s", r.Book, r.Format, r.Created)
	}
	line("logbook  %s, %d bytes%s", path, r.Bytes, what)
	if what = ""; r.Records > 0 {
		what = fmt.Sprintf(", from %s to %s", r.First, r.Last)
	}
	line("records  %d%s", r.Records, what)
	line("head     %s", r.Head)
	if r.Journal != nil {
		line("journal  up to record %d", r.Journal.Seq)
	}
	for _, o := range r.Others {
		line("journal  %s: left as it is", o)
	}
	for _, t := range told {
		// Only what was found counts: where the look was cut short, nothing is proven.
		if slices.Contains(r.Proven, t.Pin) {
			line("%s: in this logbook, and all that stood before it", t.Name)
		} else {
			line("%s: NOT proven, see the faults", t.Name)
		}
	}
	for _, f := range r.Faults {
		line("fault    %s", f)
	}
	if len(r.Faults) == 0 {
		line("faults   none")
	}
	return err
}

// Sound is [Unsound] where there are faults; then says what follows.
func (r Report) Sound(then string) error {
	switch len(r.Faults) {
	case 0:
		return nil
	case 1:
		return Unsoundly("the logbook has a fault: %s", then)
	}
	return Unsoundly("the logbook has %d faults: %s", len(r.Faults), then)
}

// Outside gives the histories that stand in the journals beside a book and not in it.
func (r Report) Outside() (out []Fault) {
	for _, f := range r.Faults {
		if f.Branch != nil {
			out = append(out, f)
		}
	}
	return out
}

// Anew finds a fault that a book made anew must not have, whatever is lost.
func (r Report) Anew() error {
	for _, f := range r.Faults {
		switch f.Kind {
		case FaultMissing, FaultUnproven, FaultFile, FaultBench:
			continue
		case FaultChanged:
			// Of the last two records one contradicts the other, and nothing says which of them
			// is spoilt: both are brought back, and told of.
			if f.Seq+1 == r.Head.Seq {
				continue
			}
		}
		return fmt.Errorf("the new logbook is not sound: %s", f)
	}
	return nil
}

// Text says what was brought back into the book at to, of the file and so many journals, and what
// was not.
func (s Salvaged) Text(w io.Writer, to string, journals int) (err error) {
	line := func(format string, a ...any) {
		if err == nil {
			_, err = fmt.Fprintf(w, format+"\n", a...)
		}
	}
	line("%s: %s, head %s", to, words.Count(int(s.Records), "record", "records"), s.Head)
	line("found    %d in the logbook, %d in %s", s.File, s.Journal, words.Count(journals, "journal", "journals"))
	for _, o := range s.Others {
		line("left out %s", words.Clean(o))
	}
	for _, b := range s.Branches {
		line("outside  %s", b.line())
	}
	for _, f := range s.Lost {
		label := "lost "
		if f.Kind == FaultUnproven || f.Kind == FaultHead {
			label = "doubt"
		}
		line("%s    %s", label, f)
	}
	if len(s.Lost) == 0 {
		line("lost     none")
	}
	return err
}

// Sound is [Unsound] where not all was brought back, or not all is proven.
func (s Salvaged) Sound() error {
	switch n := s.Gone(); {
	case n == 1:
		return Unsoundly("one record could not be brought back")
	case n > 0:
		return Unsoundly("%d records could not be brought back", n)
	case s.Outside() > 0:
		return Unsoundly("not all is in the new logbook: %s beside it, as listed", words.Count(s.Outside(), "record stands", "records stand"))
	case len(s.Lost) > 0:
		return Unsoundly("all records known of were brought back, but not all is proven")
	}
	return nil
}

// line says what stands beside the new logbook, and why.
func (b Branch) line() string {
	what := fmt.Sprintf("record %d", b.From)
	if b.Records > 1 {
		what = fmt.Sprintf("records %d to %d", b.From, b.End.Seq)
	}
	why := "of another history"
	switch {
	case b.Against:
		why = fmt.Sprintf("changed or of another history, for record %d was written on other bytes", b.End.Seq+1)
	case !b.Knows:
		why = "on no record that was brought back"
	}
	return fmt.Sprintf("%s, %s: %s; in %s, to be followed with --branch %s", what, why, words.Clean(b.Text), b.File, b.End)
}
