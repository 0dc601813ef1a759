package tui

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	tea "charm.land/bubbletea/v2"

	"flaskside/timers/each"
)

// A form asks for one thing after another with the number pad alone: numbered
// choices, or digits. What was typed stays when one goes back, and until the
// record is on the disk.
type form struct {
	title  string
	about  string   // what it is about, where the title does not say
	lines  []string // said above the question: a caution, what is unusual
	fields []*field
	at     int
	note   string          // why the last key or answer was not taken
	live   func() []string // said beneath what was answered, worked out as it is drawn
	done   func(f *form) tea.Cmd
	sent   bool // answered, waiting for the disk
	laid   laid // as it is on the screen
}

// called is by what the question is known again.
func (f *form) called() string {
	if f.about == "" {
		return f.title
	}
	return f.title + " · " + f.about
}

// get finds a field by name.
func (f *form) get(name string) *field {
	for _, fd := range f.fields {
		if fd.name == name {
			return fd
		}
	}
	return &field{}
}
func (f *form) choice(name string) int { return f.get(name).choice }
func (f *form) num(name string) float64 {
	fd := f.get(name)
	if fd.reread != nil {
		return fd.reread(f)
	}
	return fd.number
}
func (f *form) text(name string) string { return f.get(name).typed }
func (f *form) picks(name string) []int {
	var out []int
	for i, on := range f.get(name).picked {
		if on {
			out = append(out, i)
		}
	}
	return out
}

// picked gives those of a list that were picked in a field.
func picked[T any](f *form, name string, of []T) []T {
	return each.Of(f.picks(name), func(i int) T { return of[i] })
}

// begin is at the first question that is asked.
func (f *form) begin() {
	for f.at = 0; f.at < len(f.fields)-1; f.at++ {
		if fd := f.fields[f.at]; fd.when == nil || fd.when(f) {
			return
		}
	}
}

// index is where a field stands among all.
func (f *form) index(name string) int {
	return slices.IndexFunc(f.fields, func(fd *field) bool { return fd.name == name })
}

// into is the field that characters go into.
func (f *form) into() *field {
	if fd := f.fields[f.at]; fd.typing() {
		return fd
	}
	return nil
}

// taken reads the answer of a field; wrong says what cannot be taken.
func (f *form) taken(fd *field) (wrong string) {
	//exhaustive:enforce
	switch fd.kind {
	case pickOne:
		if !f.offered(fd) {
			return f.digitWords()
		}
	case pickMany:
		if n := len(f.picks(fd.name)); n < fd.least {
			return fmt.Sprintf("choose at least %d, then ENTER", fd.least)
		}
	case number:
		s := cmp.Or(fd.typed, fd.preset)
		if s == "" && !fd.may {
			return "type a number, then ENTER; - goes back"
		}
		var v float64
		if s != "" {
			var err error
			if v, err = fd.value(s); err != nil {
				return err.Error()
			}
		}
		fd.number = v
	case lineText:
		fd.typed = cmp.Or(fd.typed, fd.preset)
		s := strings.TrimSpace(fd.typed)
		if s == "" && !fd.may {
			return "type it, then ENTER; - goes back"
		}
		if fd.value != nil && s != "" {
			if _, err := fd.value(s); err != nil {
				return err.Error()
			}
		}
	}
	return ""
}

// accept takes the answer of a field and goes on; on the last one the form is
// done.
func (f *form) accept(fd *field) tea.Cmd {
	if fd.lost > 0 {
		f.note = fd.tooLong(fd.lost)
		return nil
	}
	if wrong := f.taken(fd); wrong != "" {
		f.note = wrong
		return nil
	}
	if fd.read != nil {
		fd.read(f)
	}
	if fd.other != nil && fd.other(f) {
		return nil
	}
	for next := f.at + 1; next < len(f.fields); next++ {
		if fd := f.fields[next]; fd.when == nil || fd.when(f) {
			f.at, fd.page = next, 0
			if fd.reach != nil {
				return fd.reach(f)
			}
			return nil
		}
	}
	return f.done(f)
}

// turnTo chooses an option and turns to the page it stands on.
func (f *form) turnTo(fd *field, choice int) {
	fd.choice = choice
	for fd.page = 0; fd.page < len(fd.options) && !f.offered(fd); fd.page++ { //nolint:revive // the loop is all
	}
}

// back goes to the question before, or leaves the form where there is none.
func (f *form) back() fate {
	for prev := f.at - 1; prev >= 0; prev-- {
		if fd := f.fields[prev]; fd.when == nil || fd.when(f) {
			f.at = prev
			return stays
		}
	}
	return left
}

// answers lists what was answered so far, in one line.
func (f *form) answers() string {
	var out []string
	for _, fd := range f.fields[:f.at] {
		if fd.when != nil && !fd.when(f) {
			continue
		}
		//exhaustive:enforce
		switch fd.kind {
		case pickOne:
			out = append(out, fd.options[fd.choice-1])
		case pickMany:
			out = append(out, strings.Join(picked(f, fd.name, fd.options), ", "))
		case number:
			if s := cmp.Or(fd.typed, fd.preset); s != "" {
				out = append(out, strings.TrimSpace(s+" "+fd.unit))
			}
		case lineText:
			if s := fd.typed; s != "" {
				if fd.as != nil {
					s = fd.as(s)
				}
				out = append(out, s)
			}
		}
	}
	return strings.Join(out, " · ")
}
