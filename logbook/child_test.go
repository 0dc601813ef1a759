package logbook

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

// The test binary runs itself again as another process where that is what a test is
// about: what it is to do stands in the environment.
const (
	childDoes = "FLASKSIDE_TEST_CHILD" // "write", "hold" or "few"
	childBook = "FLASKSIDE_TEST_BOOK"
	childSeed = "FLASKSIDE_TEST_SEED"
)

func TestMain(m *testing.M) {
	var err error
	switch os.Getenv(childDoes) {
	case "":
		flag.Parse()
		longrun.AllChecks(20, 100)
		longrun.Waits(6)
		code := m.Run()
		dropBigBook()
		os.Exit(code)
	case "write":
		err = writeForEver(os.Getenv(childBook))
	case "hold":
		err = hold(os.Getenv(childBook))
	case "few":
		err = writeFew(os.Getenv(childBook))
	case "long":
		err = writeLongInput(os.Getenv(childBook))
	}
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	os.Exit(0)
}

// spawn prepares another process; one that hangs ends after a minute.
func spawn(t *testing.T, does, book string, seed uint64) *exec.Cmd {
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	t.Cleanup(cancel)
	c := exec.CommandContext(ctx, os.Args[0])
	c.Env = append(os.Environ(), childDoes+"="+does, childBook+"="+book, childSeed+"="+strconv.FormatUint(seed, 10))
	return c
}

// busy does invented work at a book: whatever comes next, at a random place, with
// now and then a note or a taking back.
type busy struct {
	b    *Book
	ck   *simclock.Hand
	rnd  *rand.Rand
	name string
	n    int
}

// newBusy goes on after what the book holds.
func newBusy(b *Book, ck *simclock.Hand, seed uint64) *busy {
	for _, it := range b.State().Bench.Items {
		if d := it.Stamp.At.Sub(ck.Read().Wall); d >= 0 {
			ck.Run(d + time.Second)
		}
	}
	return &busy{b: b, ck: ck, rnd: rand.New(rand.NewPCG(seed, 1)), name: strconv.FormatUint(seed, 36)}
}

// next is one action.
func (s *busy) next() action.Action {
	s.ck.Run(time.Duration(1+s.rnd.IntN(90)) * time.Second)
	s.n++
	return action.Action{ID: fmt.Sprintf("%s-%d", s.name, s.n), At: s.ck.Read().Wall, By: "KT", Why: "8", Body: s.body()}
}

func (s *busy) body() action.Body {
	b := s.b.State().Bench
	place := 1 + s.rnd.IntN(9)
	f := b.OnPlace(place)
	if f == nil {
		return action.FlaskOpen{Place: place, Case: fmt.Sprint(4000 + s.rnd.IntN(1000)), Base: "upper", Size: "medium"}
	}
	n := f.No
	switch s.rnd.IntN(12) {
	case 0:
		return action.Note{Flask: n, Text: strings.Repeat("x", 1+s.rnd.IntN(300))}
	case 1:
		for _, no := range bench.Sorted(b.Timers) {
			if b.Timers[no].Stopped == nil {
				return action.TimerStop{Timer: no}
			}
		}
		return action.TimerStart{Label: "tea", Count: "down", AimS: 240}
	case 2:
		if it := b.Items[len(b.Items)-1]; it.TakenBack == nil {
			switch it.Body.(type) {
			case action.Flash, action.Note, action.PressAt, action.Remount:
				return action.TakeBack{Of: it.Action.ID}
			}
		}
	}
	switch b.Next(f, s.b.Now()) {
	case bench.DoCoat:
		return action.Coat{Flask: n, Half: action.Halves[s.rnd.IntN(3)]}
	case bench.DoMix:
		return action.MixMake{Flasks: []int{n}}
	case bench.DoDough:
		return action.MixDough{Mix: f.Mix}
	case bench.DoPress:
		if len(f.Judged()) >= 3 { // ready or not, for the press is wanted
			return action.SheetOut{Flask: n}
		}
		return action.PressIn{Flask: n}
	case bench.DoReach:
		return action.PressAt{Flask: n}
	case bench.DoOpen:
		return action.PressOpen{Flask: n}
	case bench.DoJudge:
		return action.Flash{Flask: n, Grade: action.Grades[s.rnd.IntN(3)]}
	case bench.DoFinal:
		return action.SheetOut{Flask: n}
	case bench.DoMetal:
		return action.MetalToMetal{Flask: n}
	case bench.DoClamp:
		return action.Clamp{Flask: n}
	case bench.DoLoad:
		return action.BathLoad{Flasks: []int{n}, Programme: "long, 9 h"}
	case bench.DoUnload:
		return action.BathUnload{Flasks: []int{n}}
	case bench.DoWater:
		return action.CoolWater{Flasks: []int{n}}
	case bench.DoDeflask:
		return action.Deflask{Flasks: []int{n}}
	case bench.DoRemount:
		return action.Remount{Flask: n, PinMM: 0.2}
	}
	return action.Outcome{Flask: n, Outcome: "finished here"}
}

func seedOf() uint64 {
	n, err := strconv.ParseUint(os.Getenv(childSeed), 10, 64)
	if err != nil {
		return 1
	}
	return n
}

// writeForEver is the child that is killed: it acknowledges each record on its
// output, once it is saved.
func writeForEver(path string) error {
	ck := simclock.At(start, "boot-1")
	if seedOf()%3 > 0 {
		if err := makeNewest(path, ck); err != nil {
			return err
		}
	}
	b, err := Open(path, ck)
	if err != nil {
		return err
	}
	fmt.Println("open")
	s := newBusy(b, ck, seedOf())
	for {
		a := s.next()
		got, err := b.Append(a)
		if err != nil {
			return fmt.Errorf("%s: %w", a.Kind(), err)
		}
		fmt.Println("ack", got.Seq, a.ID)
		if s.n%10 == 0 {
			if err := b.Beat(); err != nil {
				return err
			}
		}
	}
}

// hold is the child that has the book open, until its input ends.
func hold(path string) error {
	b, err := Open(path, simclock.At(start, "boot-1"))
	if err != nil {
		return err
	}
	done := b.Announce("bench")
	fmt.Println("open")
	_, _ = fmt.Scanln() // until the parent lets go
	done()
	return b.Close()
}

// few is how many records writeFew wants to write.
const few = 3

// writeFew is the child whose disk fails: it says of each record what the book said,
// and what the bench it goes on with holds. It stays on one thread, for faults are
// counted by thread.
func writeFew(path string) error {
	runtime.LockOSThread()
	ck := simclock.At(start, "boot-1")
	b, err := Open(path, ck)
	if err != nil {
		return err
	}
	fmt.Println("open")
	s := newBusy(b, ck, seedOf())
	for range few {
		a := s.next()
		got, err := b.Append(a)
		_, shown := b.State().Bench.Item(a.ID)
		answer := "saved"
		switch {
		case errors.Is(err, ErrNotSaved):
			answer = "not-saved"
		case errors.Is(err, ErrUnknown):
			answer = "unknown"
		case err != nil:
			return fmt.Errorf("%s: %w", a.Kind(), err)
		case got.Action.ID != a.ID:
			answer = "another"
		}
		fmt.Println(answer, a.ID, shown)
	}
	return b.Close()
}
