package logbook

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

// diskFault is one failure of the disk: from its n-th call on, once or for ever, a call
// of the system gives an error.
type diskFault struct {
	call  string
	n     int
	ever  bool
	errno string
	then  *diskFault // another beside it
}

func (f diskFault) String() string {
	s := fmt.Sprintf("%s number %d", f.call, f.n)
	if f.ever {
		s = fmt.Sprintf("%s from number %d on", f.call, f.n)
	}
	s += ": " + f.errno
	if f.then != nil {
		s += ", then " + f.then.String()
	}
	return s
}

// strace is the fault in the words of strace(1).
func (f diskFault) strace() []string {
	when := fmt.Sprint(f.n)
	if f.ever {
		when += "+"
	}
	args := []string{"-e", fmt.Sprintf("inject=%s:error=%s:when=%s", f.call, f.errno, when)}
	if f.then != nil {
		args = append(args, f.then.strace()...)
	}
	return args
}

// canInject tells whether faults can be put under another process here.
func canInject(t *testing.T) {
	t.Helper()
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Skip("no strace here: a failing disk cannot be made")
	}
	if out, err := exec.Command(strace, "-f", "--seccomp-bpf", "-qq", "-e", "trace=none", "true").CombinedOutput(); err != nil {
		t.Skipf("strace is here and may not trace: %v: %s", err, out)
	}
}

// seedBook makes a book of a few records, for a child to go on with.
func seedBook(t *testing.T, records int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "seed.db")
	ck := simclock.At(start, "boot-1")
	if err := makeNewest(path, ck); err != nil {
		t.Fatal(err)
	}
	b, err := Open(path, ck)
	if err != nil {
		t.Fatal(err)
	}
	s := newBusy(b, ck, 7)
	for range records {
		a := s.next()
		if _, err := b.Append(a); err != nil {
			t.Fatalf("%s: %v", a.Kind(), err)
		}
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

func copyFile(t testing.TB, from, to string) {
	t.Helper()
	v, err := os.ReadFile(from)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(to, v, 0o600); err != nil {
		t.Fatal(err)
	}
}

// told is what a child said of one record.
type told struct {
	answer, id string
	shown      bool // on the bench it went on with
}

// underFault lets a child write a few records to a copy of the seed while the disk
// fails, and tells what it said, which of that is true, and whether the fault
// happened at all.
func underFault(t *testing.T, seed string, f diskFault) (answers []told, inBook map[string]bool, happened bool) {
	t.Helper()
	dir := t.TempDir()
	path, log := filepath.Join(dir, "book.db"), filepath.Join(dir, "strace.txt")
	copyFile(t, seed, path)
	c := spawn(t, "few", path, 99)
	// Only calls on the book itself count and fail, not those of the child's start.
	calls := f.call
	if f.then != nil {
		calls += "," + f.then.call
	}
	c.Args = append(append([]string{"strace", "-f", "-qq", "-e", "trace=" + calls, "--seccomp-bpf", "-o", log, "-P", path}, f.strace()...), c.Args...)
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Fatal(err)
	}
	c.Path = strace
	out, err := c.Output()
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if lines[0] != "open" {
		if !strings.HasPrefix(lines[0], "error open logbook") || len(lines) > 1 {
			t.Errorf("%v: the child says %q (%v)", f, out, err)
		}
		lines = lines[:1] // it could not even open the book
	}
	for _, line := range lines[1:] {
		w := strings.Fields(line)
		if len(w) == 3 && w[0] != "error" {
			answers = append(answers, told{w[0], w[1], w[2] == "true"})
		} else if !strings.HasPrefix(line, "error ") || len(answers) != few {
			t.Errorf("%v: the child says %q", f, line) // only closing may fail beside
		}
	}
	trace, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	inBook = map[string]bool{}
	for _, r := range wholeBook(t, path) {
		inBook[r.Action.ID] = true
	}
	b, err := Open(path, simclock.At(start.AddDate(1, 0, 0), "boot-2"))
	if err != nil {
		t.Errorf("%v: the book cannot be opened afterwards: %v", f, err)
		return answers, inBook, true
	}
	if err := b.Close(); err != nil {
		t.Errorf("%v: %v", f, err)
	}
	return answers, inBook, bytes.Contains(trace, []byte("(INJECTED)"))
}

// holdAgainst holds what was said against the book: saved is in it, not saved is not, and
// nothing is shown as done that is not.
func holdAgainst(t *testing.T, f diskFault, answers []told, inBook map[string]bool) {
	t.Helper()
	lost := false
	for _, s := range answers {
		switch {
		case s.answer == "saved" && !inBook[s.id]:
			t.Errorf("%v: %s was called saved and is not in the book", f, s.id)
		case s.answer == "not-saved" && inBook[s.id]:
			t.Errorf("%v: %s was called not saved and is in the book", f, s.id)
		case s.answer != "saved" && s.answer != "not-saved" && s.answer != "unknown":
			t.Errorf("%v: %s: %s", f, s.id, s.answer)
		case s.answer == "saved" && !s.shown:
			t.Errorf("%v: %s is saved and not on the bench", f, s.id)
		case s.answer == "not-saved" && s.shown:
			t.Errorf("%v: %s is on the bench and was called not saved", f, s.id)
		case lost && s.answer != "unknown":
			t.Errorf("%v: %s was called %s after the book was lost", f, s.id, s.answer)
		}
		lost = lost || s.answer == "unknown"
	}
}

func answersOf(answers []told) string {
	var out []string
	for _, s := range answers {
		out = append(out, s.answer)
	}
	return strings.Join(out, " ")
}

// A commit writes its pages, syncs them, writes one page that points to them, and
// syncs that. What the book says when one of these fails, and of the records after.
func TestCommitFails(t *testing.T) {
	t.Parallel()
	canInject(t)
	seed := seedBook(t, 40)
	for _, c := range []struct {
		diskFault
		want string
	}{
		{diskFault{call: "fdatasync", n: 1, errno: "EIO"}, "not-saved saved saved"},
		{diskFault{call: "fdatasync", n: 2, errno: "EIO"}, "saved saved saved"}, // it is in the file after all
		{diskFault{call: "fdatasync", n: 3, errno: "EIO"}, "saved not-saved saved"},
		{diskFault{call: "fdatasync", n: 4, errno: "EIO"}, "saved saved saved"},
		{diskFault{call: "pwrite64", n: 1, errno: "EIO"}, "not-saved saved saved"},
		{diskFault{call: "pwrite64", n: 1, errno: "ENOSPC"}, "not-saved saved saved"},
		{diskFault{call: "pwrite64", n: 2, errno: "EIO"}, "not-saved saved saved"},
		{diskFault{call: "fdatasync", n: 1, ever: true, errno: "EIO"}, "unknown unknown unknown"},
		{diskFault{call: "fdatasync", n: 2, ever: true, errno: "EIO"}, "unknown unknown unknown"},
		{diskFault{call: "fdatasync", n: 3, ever: true, errno: "EIO"}, "saved unknown unknown"},
		{diskFault{call: "pwrite64", n: 1, ever: true, errno: "ENOSPC"}, "unknown unknown unknown"},
	} {
		answers, inBook, happened := underFault(t, seed, c.diskFault)
		if !happened {
			t.Errorf("%v: nothing failed", c.diskFault)
		}
		holdAgainst(t, c.diskFault, answers, inBook)
		if got := answersOf(answers); got != c.want {
			t.Errorf("%v: the book says %q, want %q", c.diskFault, got, c.want)
		}
	}
}

// A commit fails, and then the book cannot be reached again: not looked at, not
// locked, not mapped. Nobody knows then, and nobody says otherwise; opened later the
// book is whole.
func TestReopenFails(t *testing.T) {
	t.Parallel()
	canInject(t)
	seed := seedBook(t, 40)
	for _, c := range []struct {
		call, errno string
		opens       int // from which number on it can be opened in the first place
	}{{"openat", "EMFILE", 4}, {"flock", "ENOLCK", 2}, {"mmap", "ENOMEM", 2}} {
		unknown := 0
		for n := longrun.Times(c.opens, 1); n <= 12; n++ {
			f := diskFault{call: "fdatasync", n: 1 + n%2, errno: "EIO", then: &diskFault{call: c.call, n: n, ever: true, errno: c.errno}}
			answers, inBook, _ := underFault(t, seed, f)
			holdAgainst(t, f, answers, inBook)
			if len(answers) == 0 {
				continue
			}
			if answers[0].answer != "unknown" {
				break // beyond the last call of opening it again
			}
			unknown++
		}
		if unknown == 0 {
			t.Errorf("%s never failed while the book was opened again", c.call)
		}
	}
}
