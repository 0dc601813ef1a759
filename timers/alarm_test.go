package timers_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"flaskside/timers"
	"flaskside/timers/simclock"
)

// The state diagram of IEC 62682 / ISA-18.2, from memory: rows are states, columns
// events. "unshelve" is there twice, for it depends on whether the condition holds.
func TestStateDiagram(t *testing.T) {
	const (
		no = timers.Normal
		un = timers.Unacknowledged
		ac = timers.Acknowledged
		rt = timers.Returned
		sh = timers.Shelved
	)
	type column struct {
		event  timers.Event
		active bool
	}
	columns := []column{
		{timers.Rise, true}, {timers.Return, false}, {timers.Acknowledge, true},
		{timers.Shelve, true}, {timers.Unshelve, true}, {timers.Unshelve, false},
	}
	table := map[timers.State][6]timers.State{
		//   rise return acknowledge shelve unshelve: active, not
		no: {un, no, no, sh, no, no},
		un: {un, rt, ac, sh, un, un},
		ac: {ac, no, ac, sh, ac, ac},
		rt: {un, rt, no, sh, rt, rt},
		sh: {sh, sh, sh, sh, un, no},
	}
	for from, row := range table {
		for i, want := range row {
			c := columns[i]
			if got := from.Step(c.event, c.active); got != want {
				t.Errorf("%q on %q (active %v) gives %q, want %q", from, c.event, c.active, got, want)
			}
			// Only unshelving asks whether the condition holds.
			if c.event != timers.Unshelve {
				if got := from.Step(c.event, !c.active); got != want {
					t.Errorf("%q on %q depends on the condition: %q and %q", from, c.event, got, want)
				}
			}
		}
		if got := from.Step("no such event", true); got != from {
			t.Errorf("%q on an unknown event gives %q", from, got)
		}
	}
}

func TestSurvey(t *testing.T) {
	const m = time.Minute
	// Each case tells the story of one signal that rose 10 min ago; times are minutes
	// ago.
	for _, c := range []struct {
		name    string
		cleared time.Duration // 0: still there
		answers []timers.Answer
		want    timers.State // Normal: not listed
		back    time.Duration
	}{
		{name: "rose", want: timers.Unacknowledged},
		{name: "heard", answers: []timers.Answer{{Shelf: 0, At: ago(5 * m)}}, want: timers.Acknowledged},
		{name: "went away unheard", cleared: 3 * m, want: timers.Returned},
		{name: "heard, then went away", cleared: 3 * m, answers: []timers.Answer{{At: ago(5 * m)}}, want: timers.Normal},
		{name: "went away, then heard", cleared: 5 * m, answers: []timers.Answer{{At: ago(3 * m)}}, want: timers.Normal},
		{name: "snoozed", answers: []timers.Answer{{Shelf: 7 * m, At: ago(5 * m)}}, want: timers.Shelved, back: 2 * m},
		{name: "a nanosecond left snoozed", answers: []timers.Answer{{Shelf: 5*m + 1, At: ago(5 * m)}}, want: timers.Shelved, back: 1},
		{name: "back from the shelf", answers: []timers.Answer{{Shelf: 5 * m, At: ago(5 * m)}}, want: timers.Unacknowledged},
		{name: "went away snoozed", cleared: m, answers: []timers.Answer{{Shelf: 7 * m, At: ago(5 * m)}}, want: timers.Shelved, back: 2 * m},
		{name: "back from the shelf when it was gone", cleared: m, answers: []timers.Answer{{Shelf: 4 * m, At: ago(5 * m)}}, want: timers.Normal},
		{name: "heard, then shelved", answers: []timers.Answer{{At: ago(6 * m)}, {Shelf: 7 * m, At: ago(5 * m)}}, want: timers.Shelved, back: 2 * m},
		{name: "shelved, then heard", answers: []timers.Answer{{Shelf: 7 * m, At: ago(5 * m)}, {At: ago(4 * m)}}, want: timers.Acknowledged},
		{name: "shelved twice", answers: []timers.Answer{{Shelf: m, At: ago(5 * m)}, {Shelf: 3 * m, At: ago(2 * m)}}, want: timers.Shelved, back: m},
		{name: "another was heard", answers: []timers.Answer{{Key: "other", At: ago(m)}}, want: timers.Unacknowledged},
	} {
		t.Run(c.name, func(t *testing.T) {
			sg := timers.Signal{Key: "k", Priority: timers.High, Rose: ago(10 * m)}
			if c.cleared > 0 {
				s := ago(c.cleared)
				sg.Cleared = &s
			}
			for i := range c.answers {
				if c.answers[i].Key == "" {
					c.answers[i].Key = "k"
				}
			}
			got := timers.Survey([]timers.Signal{sg}, c.answers, now(surveyClock()))
			if c.want == timers.Normal {
				if len(got) != 0 {
					t.Fatalf("listed as %q, want it gone", got[0].State)
				}
				return
			}
			if len(got) != 1 || got[0].State != c.want || got[0].Back != c.back || got[0].Since.For != 10*m {
				t.Errorf("got %+v, want %q, back in %v", got, c.want, c.back)
			}
		})
	}
}

func surveyClock() *simclock.Hand {
	ck := simclock.At(at, "boot-1")
	ck.Run(time.Hour)
	return ck
}

// ago is a stamp some time before surveyClock.
func ago(d time.Duration) timers.Stamp {
	s := stamp(surveyClock())
	s.At, s.Boot = s.At.Add(-d), s.Boot-d
	return s
}

// A shelf ends when it should through sleep, a stepped clock and a restart.
func TestShelfThroughClockTrouble(t *testing.T) {
	ck := simclock.At(at, "boot-1")
	sg := []timers.Signal{{Key: "k", Priority: timers.Low, Rose: stamp(ck)}}
	an := []timers.Answer{{Key: "k", At: stamp(ck), Shelf: 5 * time.Minute}}
	state := func() timers.State { return timers.Survey(sg, an, now(ck))[0].State }
	ck.Step(-time.Hour)
	ck.Run(5*time.Minute - 1)
	if got := state(); got != timers.Shelved {
		t.Errorf("1 ns early: %q", got)
	}
	ck.Run(1)
	if got := state(); got != timers.Unacknowledged {
		t.Errorf("after 5 min with the wall clock set back: %q", got)
	}
	ck = simclock.At(at, "boot-1")
	ck.Sleep(5 * time.Minute)
	if got := state(); got != timers.Unacknowledged {
		t.Errorf("after 5 min of sleep: %q", got)
	}
	ck = simclock.At(at, "boot-1")
	ck.Reboot(4*time.Minute, "boot-2")
	if got := state(); got != timers.Shelved {
		t.Errorf("4 min later, after a restart: %q", got)
	}
	ck.Run(time.Minute)
	if got := state(); got != timers.Unacknowledged {
		t.Errorf("5 min later, after a restart: %q", got)
	}
}

func TestSurveyOrder(t *testing.T) {
	const m = time.Minute
	gone := ago(m)
	sig := func(key string, p timers.Priority, rose time.Duration, cleared *timers.Stamp) timers.Signal {
		return timers.Signal{Key: key, Priority: p, Rose: ago(rose), Cleared: cleared}
	}
	got := timers.Survey([]timers.Signal{
		sig("shelved high", timers.High, 50*m, nil),
		sig("heard high", timers.High, 40*m, nil),
		sig("returned high", timers.High, 40*m, &gone),
		sig("new low", timers.Low, 30*m, nil),
		sig("new high young", timers.High, 2*m, nil),
		sig("new high old", timers.High, 3*m, nil),
		sig("returned low", timers.Low, 40*m, &gone),
		sig("new medium a", timers.Medium, 5*m, nil),
		sig("new medium b", timers.Medium, 5*m, nil),
	}, []timers.Answer{{Key: "heard high", At: ago(m)}, {Key: "shelved high", At: ago(m), Shelf: time.Hour}}, now(surveyClock()))
	var keys []string
	for _, a := range got {
		keys = append(keys, a.Key)
	}
	want := []string{"new high old", "new high young", "new medium a", "new medium b", "new low", "returned high", "returned low", "heard high", "shelved high"}
	if !slices.Equal(keys, want) {
		t.Errorf("order %q\n want %q", keys, want)
	}
}

func un(key string, p timers.Priority) timers.Alarm {
	return timers.Alarm{Signal: timers.Signal{Key: key, Priority: p}, State: timers.Unacknowledged}
}

func TestBell(t *testing.T) {
	every := map[timers.Priority]time.Duration{timers.High: 30 * time.Second, timers.Medium: 90 * time.Second, timers.Low: 0} // house defaults
	a, b, low := un("a", timers.High), un("b", timers.Medium), un("low", timers.Low)
	heard := a
	heard.State = timers.Acknowledged
	shelved := a
	shelved.State = timers.Shelved
	returned := a
	returned.State = timers.Returned
	type look struct {
		at     float64 // seconds
		alarms []timers.Alarm
		want   string // "" silent
	}
	for _, c := range []struct {
		name  string
		looks []look
	}{
		{"nothing", []look{{0, nil, ""}, {1, nil, ""}}},
		{"once per rise", []look{{0, []timers.Alarm{a}, "a"}, {1, []timers.Alarm{a}, ""}, {29.9, []timers.Alarm{a}, ""}}},
		{"again on the schedule", []look{{0, []timers.Alarm{a}, "a"}, {30, []timers.Alarm{a}, "a"}, {59, []timers.Alarm{a}, ""}, {60, []timers.Alarm{a}, "a"}}},
		{"late looks do not pile up", []look{{0, []timers.Alarm{a}, "a"}, {300, []timers.Alarm{a}, "a"}, {301, []timers.Alarm{a}, ""}}},
		{"a schedule of nothing, once only", []look{{0, []timers.Alarm{low}, "low"}, {3600, []timers.Alarm{low}, ""}}},
		{"two at once, a second apart", []look{{0, []timers.Alarm{a, b}, "a"}, {0.5, []timers.Alarm{a, b}, ""}, {1, []timers.Alarm{a, b}, "b"}, {2, []timers.Alarm{a, b}, ""}}},
		{"many frames in one second", []look{{0, []timers.Alarm{a, b}, "a"}, {0.1, []timers.Alarm{a, b}, ""}, {0.9, []timers.Alarm{a, b}, ""}, {0.999, []timers.Alarm{a, b}, ""}}},
		{"heard is silent", []look{{0, []timers.Alarm{a}, "a"}, {30, []timers.Alarm{heard}, ""}, {600, []timers.Alarm{heard}, ""}}},
		{"never rings for what is heard, shelved or returned", []look{{0, []timers.Alarm{heard}, ""}, {1, []timers.Alarm{shelved}, ""}, {2, []timers.Alarm{returned}, ""}}},
		{"rises again", []look{{0, []timers.Alarm{a}, "a"}, {2, nil, ""}, {4, []timers.Alarm{a}, "a"}}},
		{"back from the shelf", []look{{0, []timers.Alarm{a}, "a"}, {2, []timers.Alarm{shelved}, ""}, {4, []timers.Alarm{a}, "a"}}},
		{"rises again within the second", []look{{0, []timers.Alarm{a}, "a"}, {0.2, nil, ""}, {0.4, []timers.Alarm{a}, ""}, {1, []timers.Alarm{a}, "a"}}},
		{"a new one need not wait for the schedule of another", []look{{0, []timers.Alarm{a}, "a"}, {10, []timers.Alarm{a, b}, "b"}, {30, []timers.Alarm{a, b}, "a"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			bell := timers.Bell{Every: every}
			for _, l := range c.looks {
				got := ""
				// The running clock need not begin at zero.
				if al := bell.Ring(l.alarms, time.Hour+time.Duration(l.at*float64(time.Second))); al != nil {
					got = al.Key
				}
				if got != l.want {
					t.Errorf("at %g s it rings for %q, want %q", l.at, got, l.want)
				}
			}
		})
	}
	var zero timers.Bell
	if al := zero.Ring([]timers.Alarm{a}, 0); al == nil || al.Key != "a" {
		t.Errorf("a bell without a schedule does not ring at a rise")
	}
}

// Never more than one sound a second, however alarms come and go.
func TestBellAtMostOneASecond(t *testing.T) {
	bell := timers.Bell{Every: map[timers.Priority]time.Duration{timers.High: time.Second}}
	var last time.Duration = -time.Hour
	rang := 0
	for i := range 2000 {
		at := time.Duration(i) * 70 * time.Millisecond
		var al []timers.Alarm
		for k := range i % 5 {
			al = append(al, un(fmt.Sprint("k", (i/3+k)%7), timers.High))
		}
		if bell.Ring(al, at) != nil {
			rang++
			if at-last < time.Second {
				t.Fatalf("rang at %v and at %v", last, at)
			}
			last = at
		}
	}
	if rang < 100 {
		t.Errorf("rang %d times in 140 s", rang)
	}
}
