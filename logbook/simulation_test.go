package logbook

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"testing"
	"time"
	_ "time/tzdata" // the zones of the simulation must not depend on the machine

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/timers"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

var (
	simulations = flag.Int("simulations", longrun.Times(40, 1000), "how many shifts to simulate")
	simSeed     = flag.Uint64("simulation-seed", 1, "seed of the first simulated shift")
)

// inMemory gives a folder in memory where there is one, for books that are not about
// the disk.
func inMemory(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "flaskside")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

// bookIn names a book in a new folder: what opens one looks through all that lies beside it.
func bookIn(t testing.TB, root string) string {
	t.Helper()
	dir, err := os.MkdirTemp(root, "book")
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "bench.db")
}

// moment is a point of a simulated shift as it truly was, known to nobody in it.
type moment struct {
	true   time.Duration // gone by in the world since the shift began
	wrong  time.Duration // how far the wall clock is ahead of the world
	frozen time.Duration // how long the machine has stood still in this boot
	boot   int
}

// sim is one simulated shift: a book, its clocks, and the truth beside them.
type sim struct {
	rnd    *rand.Rand
	ck     *simclock.Hand
	at     moment
	b      *Book
	path   string
	ids    int
	looks  int
	acts   map[string]moment     // by the stamp they carry
	want   map[string]bench.What // flask, mix or timer -> the window that must be running
	beat   moment                // the last sign of life
	known  moment                // the one the open book knows
	stages map[int]int           // place of each flask in the route
	sum    simSum
}

// simSum counts what many shifts came to.
type simSum map[string]int

// What is counted.
const (
	sumExact     = "windows seen in the same boot"
	sumEstimated = "windows seen over a restart"
	sumBack      = "of them with the clock found put back"
	sumAhead     = "of them called done early, for the clock was put ahead"
	sumWall      = "wrong by the wall clock alone in the same boot" // the control
	sumWallEarly = "done early by the wall clock alone in the same boot"
)

func stampName(s timers.Stamp) string { return fmt.Sprint(s.At.UnixNano(), s.BootID, s.Boot) }

// These places have a change of the clocks in the night after the shift (tz database).
var simNights = []struct{ zone, day string }{
	{"Europe/Berlin", "2026-10-24"}, {"Europe/Berlin", "2026-03-28"}, {"America/Chicago", "2026-10-31"}, {"America/Chicago", "2026-03-07"},
	{"Australia/Lord_Howe", "2026-04-04"}, {"Antarctica/Troll", "2026-10-24"}, {"Asia/Kolkata", "2026-10-24"},
}

func newSim(seed uint64, dir string, sum simSum) (*sim, error) {
	s := &sim{rnd: rand.New(rand.NewPCG(seed, 11)), path: filepath.Join(dir, fmt.Sprintf("%d.db", seed)), acts: map[string]moment{}, want: map[string]bench.What{}, stages: map[int]int{}, sum: sum}
	n := simNights[s.rnd.IntN(len(simNights))]
	loc, err := time.LoadLocation(n.zone)
	if err != nil {
		return nil, err
	}
	begin, err := time.ParseInLocation("2006-01-02 15:04", n.day+" 15:00", loc)
	if err != nil {
		return nil, err
	}
	s.ck = simclock.At(begin, "boot-0")
	s.b, err = Open(s.path, s.ck)
	return s, err
}

// pass lets something happen to the clocks, and holds what the program would notice
// of it between two looks against it.
func (s *sim) pass() error {
	sec := func(most int) time.Duration {
		return time.Second + time.Duration(s.rnd.Int64N(int64(most)*int64(time.Second)))
	}
	s.run(sec(1)) // nobody does two things at once
	before := s.ck.Read()
	var what timers.ClockWhat
	var d time.Duration
	switch s.rnd.IntN(14) {
	case 0:
		what, d = timers.Slept, 8*time.Hour
		if s.rnd.IntN(3) > 0 {
			d = 3*time.Second + sec(3600)
		}
		s.ck.Sleep(d)
		s.at.true += d
		s.sum["sleeps"]++
	case 1, 2:
		what, d = timers.Stepped, []time.Duration{time.Hour, -time.Hour}[s.rnd.IntN(2)]
		s.ck.Step(d)
		s.at.wrong += d
		s.sum["steps"]++
	case 3:
		what, d = timers.Stepped, 3*time.Second+sec(3600)
		s.ck.Freeze(d)
		s.at.true, s.at.frozen = s.at.true+d, s.at.frozen+d
		s.sum["freezes"]++
	case 4:
		if s.at.wrong != 0 && s.rnd.IntN(2) == 0 { // somebody sets it right
			what, d = timers.Stepped, -s.at.wrong
			s.ck.Step(d)
			s.at.wrong = 0
			s.sum["steps"]++
			break
		}
		loc, err := time.LoadLocation([]string{"Europe/Berlin", "Asia/Tokyo", "America/Phoenix"}[s.rnd.IntN(3)])
		if err != nil {
			return err
		}
		s.ck.In(loc)
		s.sum["zones"]++
	case 5:
		return s.restart()
	case 6: // to the very moment at which something is due
		return s.toTheEnd()
	default:
		d := sec(1200)
		s.run(d)
	}
	if what == "" {
		return nil
	}
	for _, e := range timers.Compare(before, s.ck.Read(), time.Second) {
		if e.What == what && e.By == d {
			return nil
		}
	}
	return fmt.Errorf("%q by %v was not noticed", what, d)
}

func (s *sim) run(d time.Duration) {
	s.ck.Run(d)
	s.at.true += d
}

// restart ends the program, killed or closed, at times with the machine, and begins it
// anew.
func (s *sim) restart() error {
	if s.rnd.IntN(3) == 0 {
		if err := s.b.Close(); err != nil {
			return err
		}
		if s.b.used {
			s.beat = s.at // a last sign of life
		}
		s.sum["closes"]++
	} else {
		s.kill()
		s.sum["kills"]++
	}
	switch s.rnd.IntN(3) {
	case 0:
		off := time.Duration(s.rnd.IntN(7200)) * time.Second
		before := s.ck.Read()
		s.at.boot++
		s.ck.Reboot(off, fmt.Sprintf("boot-%d", s.at.boot))
		s.at.true, s.at.frozen = s.at.true+off, 0
		s.sum["restarts"]++
		if ev := timers.Compare(before, s.ck.Read(), time.Second); len(ev) != 1 || ev[0].What != timers.Rebooted {
			return fmt.Errorf("a restart is noticed as %+v", ev)
		}
		if s.rnd.IntN(3) == 0 { // a flat battery: the clock is wrong from the start
			d := []time.Duration{time.Hour, -time.Hour}[s.rnd.IntN(2)]
			s.ck.Step(d)
			s.at.wrong += d
			s.sum["steps"]++
		}
	case 1:
		s.run(time.Duration(s.rnd.IntN(3600)) * time.Second)
	}
	b, err := Open(s.path, s.ck)
	if err != nil {
		return err
	}
	s.b, s.known = b, s.beat
	return nil
}

// kill drops the book as a killed program does: nothing more is written.
func (s *sim) kill() {
	_ = s.b.db.Load().Close() // lets go of the lock
	if s.b.journal.f != nil {
		_ = s.b.journal.f.Close()
	}
}

// toTheEnd runs to one nanosecond before some end, and on to it.
func (s *sim) toTheEnd() error {
	ws := s.b.State().Bench.Windows()
	if len(ws) == 0 {
		return nil
	}
	w := ws[s.rnd.IntN(len(ws))]
	st := w.Stand(s.b.Now())
	if st.Next == nil || st.Left <= 1 {
		return nil
	}
	m := *st.Next
	s.run(st.Left - 1)
	if got := w.Stand(s.b.Now()); got.For != m.After-1 || got.Next == nil || *got.Next != m {
		return fmt.Errorf("%s: 1 ns before %q %v is said to have passed of %v", w.Key, m.End, got.For, m.After)
	}
	s.run(1)
	if got := w.Stand(s.b.Now()); got.Last == nil || *got.Last != m {
		return fmt.Errorf("%s: %q is not reached after its %v", w.Key, m.End, m.After)
	}
	s.sum["ends"]++
	return nil
}

// say records one act, done now.
func (s *sim) say(body action.Body) error {
	s.ids++
	got, err := s.b.Append(action.Action{ID: fmt.Sprintf("s%d", s.ids), At: s.ck.Read().Wall, By: "KT", Body: body, Why: "8"})
	if err != nil {
		return fmt.Errorf("%s: %w", body.Kind(), err)
	}
	s.acts[stampName(got.Stamp)] = s.at
	s.sum["records"]++
	return nil
}

// act takes some flask a step further, or starts or stops a timer.
func (s *sim) act() error {
	n := 1 + s.rnd.IntN(3) // flask and place are of one number here
	if n == 3 {
		if s.want["timer"] == "" {
			s.want["timer"] = bench.Own
			if s.rnd.IntN(2) == 0 {
				return s.say(action.TimerStart{Label: "tea", Count: "up"})
			}
			return s.say(action.TimerStart{Label: "tea", Count: "down", AimS: 240})
		}
		delete(s.want, "timer")
		return s.say(action.TimerStop{Timer: s.b.State().Bench.Top.Timer})
	}
	flask, mix := fmt.Sprint("flask ", n), fmt.Sprint("mix ", n)
	no := n
	if f := s.b.State().Bench.OnPlace(n); f != nil {
		no = f.No
	}
	route := []struct {
		body func() action.Body
		want bench.What // of the flask
		mix  bench.What
	}{
		{func() action.Body {
			return action.FlaskOpen{Place: n, Case: fmt.Sprint(n), Base: "upper", Size: "medium"}
		}, "", ""},
		{func() action.Body { return action.Coat{Flask: no, Half: "both"} }, bench.DryBoth, ""},
		{func() action.Body { return action.MixMake{Flasks: []int{no}} }, bench.DryBoth, bench.Dough},
		{func() action.Body { return action.MixDough{Mix: s.b.State().Bench.Flasks[no].Mix} }, bench.DryBoth, bench.Dough},
		{func() action.Body { return action.PressIn{Flask: no} }, "", bench.Dough},
		{func() action.Body { return action.PressAt{Flask: no} }, bench.Hold, bench.Dough},
		{func() action.Body { return action.PressOpen{Flask: no} }, "", bench.Dough},
		{func() action.Body { return action.Flash{Flask: no, Grade: "slight"} }, "", bench.Dough},
		{func() action.Body { return action.SheetOut{Flask: no} }, "", bench.Dough},
		{func() action.Body { return action.MetalToMetal{Flask: no} }, "", ""},
		{func() action.Body { return action.Clamp{Flask: no} }, bench.BenchSet, ""},
		{func() action.Body { return action.BathLoad{Flasks: []int{no}, Programme: "long, 9 h"} }, bench.Cure, ""},
		{func() action.Body { return action.BathUnload{Flasks: []int{no}} }, bench.BenchCool, ""},
		{func() action.Body { return action.CoolWater{Flasks: []int{no}} }, bench.WaterCool, ""},
		{func() action.Body { return action.Deflask{Flasks: []int{no}} }, "", ""},
		{func() action.Body { return action.Outcome{Flask: no, Outcome: "finished here"} }, "", ""},
	}
	step := route[s.stages[n]]
	s.stages[n] = (s.stages[n] + 1) % len(route)
	if err := s.say(step.body()); err != nil {
		return err
	}
	for key, what := range map[string]bench.What{flask: step.want, mix: step.mix} {
		if delete(s.want, key); what != "" {
			s.want[key] = what
		}
	}
	return nil
}

// look holds every window against the truth.
func (s *sim) look() error {
	s.looks++
	st, now := s.b.State(), s.b.Now()
	var got, want []string
	var rung map[string]bool // seldom: the alarms ask the whole outlook of each flask
	if s.looks%4 == 0 {
		rung = map[string]bool{}
		for _, a := range st.Bench.Alarms(now) {
			rung[a.Key] = true
		}
	}
	for _, w := range st.Bench.Windows() {
		got = append(got, string(w.What))
		if err := s.window(w, now); err != nil {
			return fmt.Errorf("%s: %w", w.Key, err)
		}
		for _, sg := range w.Signals(now) {
			if rung != nil && !rung[sg.Key] {
				return fmt.Errorf("%s: its alarm is lost", w.Key)
			}
		}
	}
	for _, what := range s.want {
		want = append(want, string(what))
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		return fmt.Errorf("windows %q are running, want %q", got, want)
	}
	return nil
}

// window holds one window against the truth.
func (s *sim) window(w bench.Window, now timers.Now) error {
	from, ok := s.acts[stampName(w.Start)]
	if !ok {
		return fmt.Errorf("begins at %+v, when nothing was done", w.Start)
	}
	st := w.Stand(now)
	truth := s.at.true - from.true
	early := func() error {
		for _, m := range w.Marks {
			if st.For >= m.After && truth < m.After {
				return fmt.Errorf("%q of %v is said to be reached after %v (estimated: %v)", m.End, m.After, truth, st.Estimated)
			}
		}
		return nil
	}
	if from.boot == s.at.boot {
		s.sum[sumExact]++
		stood := s.at.frozen - from.frozen // which no clock of the machine has seen
		if d := (st.For - (truth - stood)).Abs(); d > time.Second || st.Estimated || st.ClockBack {
			return fmt.Errorf("%v in the same boot is shown as %+v; the machine stood still for %v", truth, st.Passed, stood)
		}
		byWall := now.Wall.Sub(w.Start.At)
		if (byWall - truth).Abs() > time.Second {
			s.sum[sumWall]++
		}
		if slices.ContainsFunc(w.Marks, func(m timers.EndMark) bool { return byWall >= m.After && truth < m.After }) {
			s.sum[sumWallEarly]++
		}
		return early()
	}
	s.sum[sumEstimated]++
	if !st.Estimated {
		return fmt.Errorf("%v over a restart is called exact", truth)
	}
	moved := s.at.wrong - from.wrong // how much more the wall clock is ahead than it was
	bound := s.ck.Read().Boot
	if s.known.boot == from.boot && s.known.true >= from.true && s.known != (moment{}) {
		bound += s.known.true - from.true - (s.known.frozen - from.frozen)
	}
	switch {
	case st.For < bound:
		return fmt.Errorf("%v over a restart is shown as %v, and the clocks prove at least %v", truth, st.For, bound)
	case st.For > truth+max(0, moved):
		return fmt.Errorf("%v over a restart is shown as %v, with the clock moved by %v", truth, st.For, moved)
	case st.For < truth+min(0, moved):
		return fmt.Errorf("%v over a restart is shown as %v, with the clock moved by %v", truth, st.For, moved)
	case st.ClockBack && moved >= 0:
		return fmt.Errorf("the clock is called back and was moved by %v", moved)
	}
	if st.ClockBack {
		s.sum[sumBack]++
	}
	if moved <= 0 {
		return early()
	}
	// A clock put ahead between two boots is the one thing no machine can tell: what
	// it says then is an estimate, and is called one.
	if early() != nil {
		s.sum[sumAhead]++
	}
	return nil
}

// shiftOf simulates one shift.
func shiftOf(seed uint64, dir string, sum simSum) error {
	s, err := newSim(seed, dir, sum)
	if err != nil {
		return err
	}
	sum["shifts"]++
	for range 36 {
		if err = s.pass(); err == nil {
			if err = s.look(); err == nil {
				err = s.act()
			}
		}
		if err == nil {
			err = s.look()
		}
		if err != nil {
			s.kill()
			return err
		}
		if s.rnd.IntN(3) == 0 {
			if err := s.b.Beat(); err != nil {
				return err
			}
			s.beat = s.at
		}
	}
	if err := s.b.Close(); err != nil {
		return err
	}
	return os.Remove(s.path)
}

// TestSimulatedShifts plays whole shifts with programs killed and closed, clocks put
// forward and back by an hour, machines that sleep, stand still and restart, and
// summer time that begins or ends in the night. No window is lost; none is done
// early; in the same boot each is right to a second, less what the machine itself
// stood still.
func TestSimulatedShifts(t *testing.T) {
	t.Parallel()
	n := *simulations
	if testing.Short() {
		n = min(n, 40)
	}
	dir := inMemory(t)
	sums := make([]simSum, runtime.GOMAXPROCS(0))
	var wg sync.WaitGroup
	for i := range sums {
		sums[i] = simSum{}
		wg.Go(func() {
			failed := 0
			for seed := *simSeed + uint64(i); seed < *simSeed+uint64(n) && failed < 10; seed += uint64(len(sums)) {
				if err := shiftOf(seed, dir, sums[i]); err != nil {
					t.Errorf("-simulation-seed %d -simulations 1: %v", seed, err)
					failed++
				}
			}
		})
	}
	wg.Wait()
	sum := simSum{}
	for _, part := range sums {
		for what, n := range part {
			sum[what] += n
		}
	}
	t.Logf("%v", sum)
	for _, what := range []string{"kills", "closes", "restarts", "steps", "sleeps", "freezes", "zones", "ends", sumEstimated, sumBack, sumAhead, sumWall, sumWallEarly} {
		if n >= 200 && sum[what] == 0 {
			t.Errorf("%s: none, so that the shifts prove little", what)
		}
	}
}
