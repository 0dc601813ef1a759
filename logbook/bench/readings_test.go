package bench_test

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/timers"
	"flaskside/timers/simclock"
)

// bath is a book with flasks in a bath and a hand on the clock.
type bath struct {
	t    *testing.T
	ck   *simclock.Hand
	book *logbook.Book
	n    int
}

// newBath has two flasks that went in a moment ago, each a load of its own where
// apart is set.
func newBath(t *testing.T, h house.House, loads ...[]int) *bath {
	t.Helper()
	b := &bath{t: t, ck: simclock.At(time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC), "boot-1")}
	book, err := logbook.Open(filepath.Join(t.TempDir(), "b.db"), b.ck)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = book.Close() })
	b.book = book
	b.do(action.Settings{House: h})
	for i := 1; i <= 2; i++ {
		b.do(action.FlaskOpen{Place: i, Case: fmt.Sprint(4400 + i), Base: "upper", Size: "medium"})
	}
	for _, fs := range loads {
		b.do(action.BathLoad{Flasks: fs, Programme: h.Programmes[0].Name, BathC: 74})
	}
	return b
}

func (b *bath) do(body action.Body) logbook.Saved {
	b.t.Helper()
	b.n++
	s, err := b.book.Append(action.Action{ID: fmt.Sprint("r", b.n), At: b.ck.Read().Wall, By: "KT", Body: body, Why: "8"})
	if err != nil {
		b.t.Fatal(err)
	}
	return s
}

func (b *bath) read(after time.Duration, tempC float64, source string) {
	b.t.Helper()
	b.ck.Run(after)
	b.do(action.BathReading{Bath: 1, TempC: tempC, Source: source})
}

// alarms lists those of readings: end, state.
func (b *bath) alarms() []string {
	var out []string
	for _, al := range b.book.State().Bench.Alarms(b.book.Now()) {
		if _, end := timers.SplitSignalKey(al.Key); end == bench.OutOfBand || end == bench.ProbeSilent {
			out = append(out, fmt.Sprintf("%s: %s", end, al.State))
		}
	}
	return out
}

func (b *bath) want(when string, want ...string) {
	b.t.Helper()
	if got := b.alarms(); fmt.Sprint(got) != fmt.Sprint(want) {
		b.t.Errorf("%s: alarms are %q, want %q", when, got, want)
	}
}

func (b *bath) hear() {
	b.t.Helper()
	for _, al := range b.book.State().Bench.Alarms(b.book.Now()) {
		b.do(action.AlarmHeard{Alarm: al.Key})
	}
}

// TestBandAlarm goes through the states of IEC 62682 / ISA-18.2 (from memory): a
// bath leaves its band, comes back unanswered, leaves it again and is answered.
func TestBandAlarm(t *testing.T) {
	b := newBath(t, house.Default(), []int{1, 2})
	b.read(time.Minute, 74, bench.Typed)
	b.read(10*time.Minute, 72, bench.Typed) // on the edge is in the band
	b.want("in band")
	b.read(10*time.Minute, 71.9, bench.Typed)
	b.want("out", "out of band: unacknowledged")
	b.read(10*time.Minute, 73.9, bench.Typed)
	b.want("back", "out of band: returned to normal unacknowledged")
	b.hear()
	b.want("back and heard")
	b.read(time.Hour, 78, bench.Typed)
	b.want("out again", "out of band: unacknowledged")
	b.hear()
	b.want("heard", "out of band: acknowledged")
	b.read(5*time.Minute, 75, bench.Typed)
	b.want("back")
	b.read(5*time.Minute, 77, bench.Typed) // swings about the edge: the same alarm
	b.want("swinging", "out of band: acknowledged")
	x := b.book.State().Bench.Excursions(b.book.State().Bench.Loads[1])
	if len(x) != 3 || !x[2].Open || x[0].WorstC != 71.9 || x[1].WorstC != 78 {
		t.Errorf("the excursions are %+v", x)
	}
}

// TestBandOfTheHouse takes the band from the settings, and none from a ramp.
func TestBandOfTheHouse(t *testing.T) {
	h := house.Default()
	h.Baths[0].BandK = 5
	h.Programmes[0].Stages = []house.Stage{{TempC: 74, RampS: 3600, HoldS: 3600}}
	b := newBath(t, h, []int{1})
	b.read(10*time.Minute, 30, bench.Typed)
	b.want("in the ramp")
	b.read(51*time.Minute, 69.1, bench.Typed)
	b.want("within 5 K")
	b.read(time.Minute, 68.9, bench.Typed)
	b.want("beyond", "out of band: unacknowledged")
	b.read(80*time.Minute, 60, bench.Typed)
	b.want("after the programme", "out of band: unacknowledged")
}

// TestOneBathOneAlarm: two loads in one bath do not ring twice for one fault, and a
// load that went in while the bath was off does not ring again.
func TestOneBathOneAlarm(t *testing.T) {
	b := newBath(t, house.Default(), []int{1})
	b.read(time.Minute, 60, bench.Typed)
	b.do(action.BathLoad{Flasks: []int{2}, Programme: "long, 9 h", BathC: 60})
	b.read(time.Minute, 61, bench.Typed)
	b.want("both", "out of band: unacknowledged")
	b.read(time.Minute, 73, bench.Typed)
	b.want("both back", "out of band: returned to normal unacknowledged")
}

// TestSilentProbe: a probe that says nothing for five minutes is told, goes away by
// itself, and a typed reading does not stand in for it.
func TestSilentProbe(t *testing.T) {
	b := newBath(t, house.Default(), []int{1, 2})
	b.ck.Run(time.Hour)
	b.want("no probe, no alarm")
	b.read(time.Minute, 74, "probe")
	b.ck.Run(5 * time.Minute)
	b.want("five minutes")
	b.ck.Run(time.Second)
	b.want("longer", "probe silent: unacknowledged")
	b.read(0, 74, bench.Typed)
	b.want("typed meanwhile", "probe silent: unacknowledged")
	b.read(time.Minute, 74, "probe")
	b.want("speaks again", "probe silent: returned to normal unacknowledged")
	b.hear()
	b.want("heard")
	for _, al := range b.book.State().Bench.Alarms(b.book.Now()) {
		t.Errorf("%s still stands", al.Key)
	}
	b.ck.Run(6 * time.Minute)
	b.want("silent again", "probe silent: unacknowledged")
	b.do(action.BathUnload{Flasks: []int{1, 2}})
	b.want("flasks out", "probe silent: returned to normal unacknowledged")
	b.ck.Run(time.Hour)
	b.want("flasks out an hour", "probe silent: returned to normal unacknowledged")
	b.do(action.Outcome{Flask: 1, Outcome: "remake"})
	b.do(action.Outcome{Flask: 2, Outcome: "remake"})
	b.want("finished")
}

// TestProbeBeforeTheLoad: silence counts from when the flasks went in.
func TestProbeBeforeTheLoad(t *testing.T) {
	b := newBath(t, house.Default())
	b.read(0, 74, "probe")
	b.ck.Run(9 * time.Minute)
	b.do(action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h", BathC: 74})
	b.ck.Run(4 * time.Minute)
	b.want("four minutes in")
	b.ck.Run(2 * time.Minute)
	b.want("six minutes in", "probe silent: unacknowledged")
}

// TestClockSetBack: readings go on after somebody set the wall clock back, and stand
// where they belong on the load's time.
func TestClockSetBack(t *testing.T) {
	b := newBath(t, house.Default(), []int{1})
	b.read(time.Hour, 74, "probe")
	b.ck.Step(-30 * time.Minute)
	b.read(time.Minute, 73, "probe")
	l := b.book.State().Bench.Loads[1]
	got := b.book.State().Bench.ReadingsOf(l)
	if len(got) != 2 || got[0].At.Sub(l.In.At) != time.Hour || got[1].At.Sub(l.In.At) != time.Hour+time.Minute {
		t.Errorf("the readings are %+v", got)
	}
	if r, ok := b.book.State().Bench.LastReading(1); !ok || r.TempC != 73 {
		t.Errorf("the last reading is %+v", r)
	}
}

// TestReadingsEndWithTheLoad: what the bath reads after the flasks are out is not
// theirs.
func TestReadingsEndWithTheLoad(t *testing.T) {
	b := newBath(t, house.Default(), []int{1}, []int{2})
	b.read(time.Minute, 74, bench.Typed)
	b.ck.Run(time.Minute)
	b.do(action.BathUnload{Flasks: []int{1}})
	b.read(time.Minute, 50, bench.Typed)
	st := b.book.State().Bench
	if n := len(st.ReadingsOf(st.Loads[1])); n != 1 {
		t.Errorf("the load that is out has %d readings", n)
	}
	if n := len(st.ReadingsOf(st.Loads[2])); n != 2 {
		t.Errorf("the load that is in has %d readings", n)
	}
}

// BenchmarkAlarmsOfANight is what the screen asks each second after a night of
// readings a minute.
func BenchmarkAlarmsOfANight(b *testing.B) {
	h := house.Default()
	l := &bench.Load{No: 1, Bath: 1, Flasks: []int{1}, Stages: h.Programmes[0].Stages, In: timers.Stamp{At: time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC)}}
	be := &bench.Bench{House: h, Loads: map[int]*bench.Load{1: l}, Flasks: map[int]*bench.Flask{1: {No: 1, Load: 1, Stage: bench.InBath}}}
	for i := range 9 * 60 {
		be.Readings = append(be.Readings, bench.BathReading{Bath: 1, At: timers.Stamp{At: l.In.At.Add(time.Duration(i) * time.Minute)}, TempC: 74, Source: "probe"})
	}
	now := timers.Now{Reading: timers.Reading{Wall: l.In.At.Add(9 * time.Hour)}}
	b.ReportAllocs()
	for b.Loop() {
		be.Alarms(now)
	}
}

// TestProbeKeepsNothingAway: however much a probe reads, what hands did last can be
// taken back, and what an empty bath read last is known.
func TestProbeKeepsNothingAway(t *testing.T) {
	b := newBath(t, house.Default(), []int{1, 2})
	s := b.do(action.Outcome{Flask: 1, Outcome: "remake"})
	b.do(action.Outcome{Flask: 2, Outcome: "remake"})
	for range 400 {
		b.read(time.Minute, 74, "probe")
	}
	st := b.book.State().Bench
	if n := len(st.Readings); n > 64 { // the book looks now and then what it can let go of
		t.Errorf("of an empty bath %d readings are kept", n)
	}
	if r, ok := st.LastReading(1); !ok || r.At.At != b.ck.Read().Wall {
		t.Errorf("the last reading is %+v", r)
	}
	if _, ok := st.Item(s.Action.ID); !ok {
		t.Error("what was done an hour ago is no longer at hand")
	}
}
