package logbook

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/timers/simclock"
)

// The rig of the tests that watch or spoil the system calls of a book at work: the
// test binary starts itself anew as a child that does errands on one thread of the
// system, and strace is tied to that thread alone while an errand is done. Calls are
// so counted from the first of the errand on.

// answer is what the child says, a line of JSON each, on a pipe.
type answer struct {
	Say  string `json:"say"`
	ID   string `json:"id,omitempty"` // of the action; of the last of several
	Seq  uint64 `json:"seq,omitempty"`
	Hash string `json:"hash,omitempty"`
	Text string `json:"text,omitempty"`
	TID  int    `json:"tid,omitempty"`
}

// What the child says.
const (
	sayReady    = "ready"
	sayOpened   = "opened"
	sayUnopened = "not opened"
	saySaved    = "saved"
	sayNotSaved = "not saved"
	sayUnknown  = "unknown"
	sayRefused  = "refused" // by the bench: what the action rests on is not there
	sayWrong    = "wrong"   // an answer that may never be given
	sayDone     = "done"
)

// errand is what the child is asked, a line of JSON each.
type errand struct {
	Do    string // "day" or "settle"
	Path  string // of the book
	Steps int    // of the scripted day
}

const childEnv = "FLASKSIDE_RIG_CHILD"

// scriptedDay gives what is recorded, in order; several actions of one step go into
// one commit.
func scriptedDay() (steps [][]action.Action, after []time.Duration) {
	n := 0
	say := func(wait time.Duration, why string, bodies ...action.Body) {
		var as []action.Action
		for _, b := range bodies {
			n++
			as = append(as, action.Action{ID: fmt.Sprintf("d%04d", n), By: "KT", Body: b, Why: why})
		}
		steps, after = append(steps, as), append(after, wait)
	}
	say(0, "8", action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	say(minute, "8", action.Coat{Flask: 1, Half: "both"})
	say(minute, "8", action.Note{Flask: 1, Text: "one"}, action.Note{Flask: 1, Text: "two"}, action.TimerStart{Label: "kettle", Count: "down", AimS: 300})
	say(10*minute, "8", action.MixMake{Flasks: []int{1}})
	say(10*minute, "8", action.MixDough{Mix: 1})
	for _, g := range []string{"heavy", "slight"} {
		say(minute, "8", action.PressIn{Flask: 1})
		say(minute, "8", action.PressAt{Flask: 1})
		say(minute, "8", action.PressOpen{Flask: 1})
		say(minute, "8", action.Flash{Flask: 1, Grade: action.Grade(g)})
	}
	say(minute, "8", action.SheetOut{Flask: 1})
	say(minute, "8", action.MetalToMetal{Flask: 1})
	say(minute, "8", action.Clamp{Flask: 1})
	say(31*minute, "8", action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h"})
	say(9*time.Hour, "8", action.BathUnload{Flasks: []int{1}})
	say(30*minute, "8", action.CoolWater{Flasks: []int{1}})
	say(15*minute, "8", action.Deflask{Flasks: []int{1}})
	say(minute, "8", action.Remount{Flask: 1, PinMM: 0.4})
	say(minute, "8", action.Outcome{Flask: 1, Outcome: "adjusted"})
	return steps, after
}

// rigWorker is the child's side.
type rigWorker struct {
	out     *os.File
	ck      *simclock.Hand
	b       *Book
	path    string
	unknown map[string]bool
}

// TestRigChild is the child; started by hand it has nothing to do.
func TestRigChild(t *testing.T) {
	if os.Getenv(childEnv) == "" {
		return
	}
	runtime.LockOSThread()
	const anyTracer = ^uintptr(0)
	_, _, _ = syscall.RawSyscall(syscall.SYS_PRCTL, 0x59616d61, anyTracer, 0) // PR_SET_PTRACER; not every system asks for it
	w := &rigWorker{out: os.NewFile(3, "answers")}
	w.say(answer{Say: sayReady, TID: syscall.Gettid()})
	in := bufio.NewScanner(os.Stdin)
	for in.Scan() {
		var e errand
		if err := json.Unmarshal(in.Bytes(), &e); err != nil {
			t.Fatal(err)
		}
		switch e.Do {
		case "day":
			w.day(e)
		case "settle":
			w.settle()
		}
		w.say(answer{Say: sayDone})
	}
}

func (w *rigWorker) say(a answer) {
	line, err := json.Marshal(a)
	if err == nil {
		_, err = w.out.Write(append(line, '\n'))
	}
	if err != nil {
		os.Exit(3) // nobody is listening
	}
}

func (w *rigWorker) open() bool {
	b, err := Open(w.path, w.ck)
	if err != nil {
		w.say(answer{Say: sayUnopened, Text: err.Error()})
		return false
	}
	w.b = b
	w.say(answer{Say: sayOpened})
	return true
}

// day records the first steps of the scripted day as a person would: what is not
// saved is tried once more, where that is not known the book is opened again.
func (w *rigWorker) day(e errand) {
	*w = rigWorker{out: w.out, ck: simclock.At(start, "boot-1"), path: e.Path, unknown: map[string]bool{}}
	for tries := 1; !w.open(); tries++ {
		if tries == 2 {
			return
		}
	}
	steps, after := scriptedDay()
	tried := false
	for i, as := range steps[:e.Steps] {
		w.ck.Run(after[i])
		for k := range as {
			as[k].At = w.ck.Read().Wall
		}
		if said := w.append(as); said == sayNotSaved {
			w.append(as)
		} else if said == sayUnknown && !tried {
			tried = true // while the trouble lasts it is no use to ask again and again
			if w.b.Reopen() == nil {
				w.append(as)
			}
		}
		if i%4 == 2 {
			_ = w.b.Beat() // a sign of life that fails is no harm
		}
	}
}

func (w *rigWorker) append(as []action.Action) string {
	id := as[len(as)-1].ID
	out, err := w.b.AppendAll(as)
	a := answer{ID: id}
	var bad *BadLine
	switch {
	case err == nil:
		last := out[len(out)-1]
		a.Say, a.Seq, a.Hash = saySaved, last.Seq, last.Hash().String()
	case errors.Is(err, ErrNotSaved):
		a.Say, a.Text = sayNotSaved, err.Error()
	case errors.Is(err, ErrUnknown):
		a.Say, a.Text = sayUnknown, err.Error()
	case errors.As(err, &bad):
		a.Say, a.Text = sayRefused, err.Error()
	default:
		a.Say, a.Text = sayWrong, err.Error()
	}
	w.unknown[id] = a.Say == sayUnknown
	w.say(a)
	return a.Say
}

// settle is what comes when the trouble is over: the book can be reached again, says
// of each action it did not know whether it is there, and takes another.
func (w *rigWorker) settle() {
	if w.b == nil {
		if !w.open() {
			return
		}
	} else if err := w.b.Reopen(); err != nil {
		w.say(answer{Say: sayUnopened, Text: err.Error()})
		return
	}
	for id, unknown := range w.unknown {
		if !unknown {
			continue
		}
		switch r, there, err := w.b.ByID(id); {
		case err != nil:
			w.say(answer{Say: sayWrong, ID: id, Text: err.Error()})
		case there:
			w.say(answer{Say: saySaved, ID: id, Seq: r.Seq, Hash: r.Hash().String()})
		default:
			w.say(answer{Say: sayNotSaved, ID: id})
		}
	}
	w.ck.Run(minute)
	w.append([]action.Action{{ID: "settled", At: w.ck.Read().Wall, By: "KT", Body: action.TimerStart{Label: "egg", Count: "down", AimS: 60}}})
	if err := w.b.Close(); err != nil {
		w.say(answer{Say: sayWrong, Text: "close: " + err.Error()})
	}
}

// rigChild is the parent's side.
type rigChild struct {
	t       *testing.T
	cmd     *exec.Cmd
	in      *os.File
	answers chan answer
	stderr  strings.Builder
	tid     int
}

func startRig(t *testing.T) *rigChild {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := &rigChild{t: t, cmd: exec.Command(exe, "-test.run=^TestRigChild$", "-test.count=1"), answers: make(chan answer, 1000)}
	c.cmd.Env = append(os.Environ(), childEnv+"=1")
	c.cmd.Stderr = &c.stderr
	inR, inW, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	outR, outW, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	c.cmd.Stdin, c.cmd.ExtraFiles, c.in = inR, []*os.File{outW}, inW
	if err := c.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	_, _ = inR.Close(), outW.Close() // the child has them
	go func() {
		defer close(c.answers)
		defer func() { _ = outR.Close() }()
		sc := bufio.NewScanner(outR)
		for sc.Scan() {
			var a answer
			if json.Unmarshal(sc.Bytes(), &a) == nil {
				c.answers <- a
			}
		}
	}()
	t.Cleanup(c.stop)
	a, ok := c.next()
	if !ok || a.Say != sayReady {
		t.Fatalf("the child does not begin: %+v\n%s", a, c.stderr.String())
	}
	c.tid = a.TID
	return c
}

func (c *rigChild) stop() {
	if c.cmd == nil {
		return
	}
	_ = c.in.Close() // it ends at the end of its input, or is ended
	over := time.AfterFunc(10*time.Second, func() { _ = c.cmd.Process.Kill() })
	_ = c.cmd.Wait()
	over.Stop()
	c.cmd = nil
}

// next gives the next answer; false where the child ended or says nothing.
func (c *rigChild) next() (answer, bool) {
	select {
	case a, ok := <-c.answers:
		return a, ok
	case <-time.After(60 * time.Second):
		_ = c.cmd.Process.Kill() // it hangs, which its silence tells
		return answer{Say: sayWrong, Text: "hangs"}, false
	}
}

// ask has an errand done and gives the answers.
func (c *rigChild) ask(e errand) (out []answer, ok bool) {
	line, err := json.Marshal(e)
	if err != nil {
		c.t.Fatal(err)
	}
	if _, err := c.in.Write(append(line, '\n')); err != nil {
		return nil, false
	}
	for {
		a, ok := c.next()
		if !ok || a.Say == sayDone {
			return out, ok
		}
		out = append(out, a)
	}
}

// trace ties strace to the child's thread; the function given takes it off again and
// waits for it.
func (c *rigChild) trace(args ...string) (off func()) {
	c.t.Helper()
	cmd := exec.Command("strace", append([]string{"-p", fmt.Sprint(c.tid)}, args...)...)
	told, err := cmd.StderrPipe()
	if err != nil {
		c.t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		c.t.Fatal(err)
	}
	sc := bufio.NewScanner(told)
	tied := false
	for !tied && sc.Scan() {
		if strings.Contains(sc.Text(), "not permitted") {
			c.t.Skip("strace may not watch another process here: " + sc.Text())
		}
		tied = strings.Contains(sc.Text(), "attached")
	}
	if !tied {
		c.t.Fatalf("strace %q cannot be tied to the child", args)
	}
	return func() {
		_ = cmd.Process.Signal(os.Interrupt) // gone already where the child died
		for sc.Scan() {                      // until it has said all
		}
		_ = cmd.Wait() // ends by the signal
	}
}
