package logbook

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"flaskside/logbook/check"
	"flaskside/timers/longrun"
)

var sweepFull = flag.Bool("sweep-full", false, "make every system call of the scripted day fail in every way")

// faulty is one way in which a system call fails: the n-th, or all from the n-th on.
type faulty struct {
	call, error string
	n           int
	forever     bool
	only        string // path the call must be about, "" for any
	without     string // another call that fails all the time, "" for none
}

func (f faulty) String() string {
	s := fmt.Sprintf("%s %d fails with %s", f.call, f.n, f.error)
	if f.forever {
		s += " and so do all after it"
	}
	return s
}

func (f faulty) args() []string {
	when := fmt.Sprint(f.n)
	if f.forever {
		when += "+"
	}
	args := []string{"-e", "trace=" + f.call, "-e", fmt.Sprintf("inject=%s:error=%s:when=%s", f.call, f.error, when)}
	if f.only != "" {
		args = append(args, "-P", f.only)
	}
	if f.without != "" {
		args = append(args, "-e", "trace="+f.call+","+f.without, "-e", "inject="+f.without+":error=EPERM:when=1+")
	}
	return args
}

// sweep is a run of the error sweep.
type sweep struct {
	t     *testing.T
	c     *rigChild
	root  string
	steps int
	sums  map[string]int
	runs  int
	made  map[string]int // how many calls of each kind a day without faults makes
}

// swept are the calls that are made to fail.
var swept = []string{"pwrite64", "fdatasync", "fsync", "ftruncate", "openat", "linkat", "renameat", "unlinkat", "write", "mmap"}

// journalOf is the journal that the scripted day writes.
func journalOf(path string) string {
	return check.JournalName(path, start.UTC().Format(journalMonth), "", false)
}

// run does the scripted day under a fault and holds what the child said against the
// file; it tells whether the fault struck.
func (s *sweep) run(f faulty) (struck bool) {
	s.t.Helper()
	path := bookIn(s.t, s.root)
	defer func() { _ = os.RemoveAll(filepath.Dir(path)) }()
	if f.only != "" {
		f.only = journalOf(path)
	}
	calls, said, ok := s.day(path, f.args())
	for line := range strings.Lines(string(calls)) {
		struck = struck || strings.HasPrefix(line, f.call+"(") && strings.Contains(line, "(INJECTED)")
	}
	if ok {
		var more []answer
		more, ok = s.c.ask(errand{Do: "settle"})
		said = append(said, more...)
	}
	if !ok {
		s.t.Errorf("%v: the program dies or hangs after %v\n%s", f, said, s.c.stderr.String())
		s.c.stop()
		s.c = startRig(s.t)
		return struck
	}
	s.judge(f, path, said)
	return struck
}

// day does the scripted day under strace and gives the calls that this tells of, and what the child said.
func (s *sweep) day(path string, args []string) (calls []byte, said []answer, ok bool) {
	s.t.Helper()
	log := path + ".calls"
	off := s.c.trace(append(args, "-o", log)...)
	said, ok = s.c.ask(errand{Do: "day", Path: path, Steps: s.steps})
	off()
	calls, err := os.ReadFile(log)
	if err != nil {
		s.t.Fatal(err)
	}
	s.runs++
	return calls, said, ok
}

// calls counts the calls of a day without faults that one could strike.
func (s *sweep) calls(f faulty) int {
	if f.without != "" {
		return 1 // once the other call failed
	}
	if s.made == nil {
		s.made = map[string]int{}
		path := bookIn(s.t, s.root)
		defer func() { _ = os.RemoveAll(filepath.Dir(path)) }()
		calls, _, _ := s.day(path, []string{"-y", "-e", "trace=" + strings.Join(swept, ",")})
		for line := range strings.Lines(string(calls)) {
			call, rest, _ := strings.Cut(line, "(")
			if call != "write" || strings.Contains(rest, "<"+journalOf(path)+">") {
				s.made[call]++
			}
		}
	}
	return s.made[f.call]
}

// judge holds the answers against the book.
func (s *sweep) judge(f faulty, path string, said []answer) {
	last := map[string]answer{}
	unsettled := false // some action was not saved, so that another may be refused
	for _, a := range said {
		s.sums[a.Say]++
		switch a.Say {
		case sayWrong:
			s.t.Errorf("%v: %+v", f, a)
		case sayRefused:
			if !unsettled {
				s.t.Errorf("%v: %s is refused: %s", f, a.ID, a.Text)
			}
		case sayNotSaved, sayUnknown:
			unsettled = true
		}
		if a.ID == "" {
			continue
		}
		if was, ok := last[a.ID]; ok && was.Say == saySaved && a.Say != saySaved {
			s.t.Errorf("%v: %s was saved, then %s", f, a.ID, a.Say)
		} else if ok && was.Say == sayUnknown && a.Say != sayUnknown {
			s.sums["unknown, then "+a.Say]++
		}
		last[a.ID] = a
	}
	if last["settled"].Say != saySaved {
		s.t.Errorf("%v: when it is over the book cannot be written: %+v", f, said[max(0, len(said)-3):])
		return
	}
	recs, faults := faultsOf(path)
	if len(faults) > 0 {
		s.t.Errorf("%v: the book has faults: %v", f, faults)
		return
	}
	rep, err := Verify(path, check.Verifying{})
	if err != nil || len(rep.Faults) > 0 {
		s.t.Errorf("%v: %v\n%s", f, err, lines(rep.Faults))
	}
	in := map[string]string{}
	for _, r := range recs {
		in[r.Action.ID] = r.Hash().String()
	}
	steps, _ := scriptedDay()
	for _, as := range append(steps[:s.steps:s.steps], nil) {
		id := "settled"
		if as != nil {
			id = as[len(as)-1].ID
		}
		a := last[id]
		hash, there := in[id]
		switch {
		case a.Say == saySaved && hash != a.Hash:
			s.t.Errorf("%v: %s was called saved, and the book has %q for it, want %s", f, id, hash, a.Hash)
		case a.Say != saySaved && there:
			s.t.Errorf("%v: %s was called %q at the end, and is in the book", f, id, a.Say)
		}
		for _, other := range as { // of one commit: all or none
			if _, with := in[other.ID]; with != there {
				s.t.Errorf("%v: %s is in the book: %v, %s: %v", f, id, there, other.ID, with)
			}
		}
	}
}

// struck is how many faults struck, and at which call the last.
type struck struct{ struck, last int }

// all has one fault strike at one call after the other, until the day runs through untouched.
func (s *sweep) all(f faulty, kind int) (out struck) {
	step := 1
	if !*sweepFull {
		step = max(1, map[string]int{"pwrite64": 5, "fdatasync": 3, "openat": 3}[f.call])
		if f.forever {
			step *= 5 // whatever began it, the rest of the day is the same
		}
		if testing.Short() {
			step *= 2
		}
		f.n = kind // another beginning for each kind
	}
	for f.n = 1 + f.n%step; s.run(f); f.n += step {
		out.struck, out.last = out.struck+1, f.n
	}
	return out
}

// some has one fault strike at the first call and at the last of a day without faults, one that lasts from the middle on.
func (s *sweep) some(f faulty) (out struck) {
	last := s.calls(f)
	at := []int{1, last}
	if f.forever {
		at = []int{(1 + last) / 2}
	}
	for _, n := range slices.Compact(at) {
		if f.n = n; !s.run(f) {
			if f.call == "mmap" && n > 1 {
				break // whoever needs memory makes it, too: now more often and now less
			}
			s.t.Errorf("%v: nothing failed, of %d calls", f, last)
			break
		}
		out.struck, out.last = out.struck+1, f.n
	}
	return out
}

// TestErrorSweep makes the 1st, 2nd, 3rd … call of each kind fail until a day runs
// through untouched (the method of sqlite.org/testing.html, "I/O error testing"),
// once and for ever. What the program says of each action is saved, not saved, or
// unknown and later one of the two, and the book agrees each time.
func TestErrorSweep(t *testing.T) {
	t.Parallel()
	canInject(t)
	s := &sweep{t: t, root: t.TempDir(), steps: 6, sums: map[string]int{}}
	if *sweepFull {
		steps, _ := scriptedDay()
		s.steps = len(steps)
	}
	s.c = startRig(t)
	points := 0
	var seen []string
	for i, call := range swept {
		most := 0
		for kind := range 4 {
			f := faulty{call: call, error: []string{"EIO", "ENOSPC"}[kind%2], forever: kind >= 2}
			if call == "mmap" && f.forever && longrun.Raced() {
				continue // the race detector needs memory, too, and dies
			}
			if call == "write" {
				f.only = "journal" // the answers of the child are written too
			}
			if call == "renameat" {
				f.without = "linkat" // a book is renamed into place only where it cannot be linked
			}
			if *sweepFull || longrun.Set() {
				n := s.all(f, kind)
				points, most = points+n.struck, max(most, n.last)
			} else if (i+kind+kind/2)%2 == 0 { // of each call one error once, and the other for ever
				n := s.some(f)
				points, most = points+n.struck, max(most, n.last)
			}
			if t.Failed() {
				break
			}
		}
		seen = append(seen, fmt.Sprintf("%s %d", call, most))
	}
	t.Logf("%d faults struck in %d runs of a day of %d steps (highest call: %s); answers %v", points, s.runs, s.steps, strings.Join(seen, ", "), s.sums)
	if s.sums[saySaved] == 0 || s.sums[sayNotSaved] == 0 || s.sums[sayUnknown] == 0 {
		t.Errorf("not every answer was given: %v", s.sums)
	}
}
