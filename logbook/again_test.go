package logbook

import (
	"bytes"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/timers"
	"flaskside/timers/simclock"
)

// Whatever a bench took can be said again, as it was told and as it was recorded, and is known for
// what it is: a long input that is given again after a power cut goes on where it ended.
func TestWhateverWasTakenCanBeSaidAgain(t *testing.T) {
	t.Parallel()
	dir := inMemory(t)
	said := map[action.Kind]int{}
	rapid.Check(t, func(rt *rapid.T) {
		w := &walk{t: rt, ck: simclock.At(start, "boot-1")}
		var err error
		if w.b, err = Open(bookIn(t, dir), w.ck); err != nil {
			rt.Fatal(err)
		}
		defer func() { _ = w.b.Close() }() // thrown away
		var told []action.Action
		var saved []Saved
		for range rapid.IntRange(1, 60).Draw(rt, "actions") {
			w.pass()
			a := w.draw()
			s, err := w.b.Append(a)
			if err != nil || s.Action.ID != a.ID { // refused, or an alarm that was answered at that moment already
				continue
			}
			w.ids = append(w.ids, a.ID)
			told, saved = append(told, a), append(saved, s)
		}
		w.pass()
		for i, a := range told {
			said[a.Kind()]++
			for how, a := range map[string]action.Action{"told": a, "recorded": saved[i].Action} {
				again, err := w.b.Append(a)
				if err != nil || !again.Already || !bytes.Equal(again.Raw, saved[i].Raw) {
					rt.Fatalf("%s said again as it was %s: %v\n told %+v\n is %s", a.Kind(), how, err, a.Body, saved[i].Raw)
				}
			}
		}
	})
	t.Log(said)
}

// Of two who acknowledge one alarm at once the second has no record; what they gave can be given again, also when the bench
// has long let go of what sounded.
func TestASecondAnswerCanBeGivenAgain(t *testing.T) {
	ck := simclock.At(start, "boot-1")
	b, err := Open(filepath.Join(inMemory(t), "b.db"), ck)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = b.Close() }() // thrown away
	n := 0
	act := func(by string, body action.Body) action.Action {
		n++
		return action.Action{ID: fmt.Sprint("a", n), At: ck.Read().Wall, By: by, Body: body}
	}
	do := func(a action.Action) Saved {
		s, err := b.Append(a)
		if err != nil {
			t.Fatalf("%s: %v", a.Kind(), err)
		}
		return s
	}
	do(act("KT", action.TimerStart{Label: "plaster", Count: "down", AimS: 60}))
	ck.Run(2 * time.Minute)
	key := b.State().Bench.Alarms(b.Now())[0].Key
	first, second := act("KT", action.AlarmHeard{Alarm: key}), act("MB", action.AlarmHeard{Alarm: key})
	is := do(first)
	if s := do(second); !s.Already || s.Seq != is.Seq {
		t.Fatalf("the second answer is record %d, there already: %v; want %d", s.Seq, s.Already, is.Seq)
	}
	do(act("KT", action.TimerStop{Timer: 1}))
	ck.Run(48 * time.Hour)
	for range 2 * pruneEvery {
		do(act("KT", action.Crew{Initials: "KT"}))
	}
	if len(b.State().Bench.Answers) != 0 {
		t.Fatal("the bench still rests on the answer")
	}
	if s := do(second); !s.Already || s.Seq != is.Seq {
		t.Errorf("given again it is record %d, there already: %v; want %d", s.Seq, s.Already, is.Seq)
	}
	third := act("MB", action.AlarmHeard{Alarm: key})
	if s, err := b.Append(third); err == nil {
		t.Errorf("two days later the alarm is acknowledged once more: record %d", s.Seq)
	}
}

// An alarm that was snoozed for ten seconds sounds again after them: whoever snoozes it then has a
// record, though the one before is not twenty seconds old.
func TestSnoozedAgainWhenItIsBack(t *testing.T) {
	h := newHands(t)
	alarm := func() timers.Alarm { return h.b.State().Bench.Alarms(h.b.Now())[0] }
	h.do(0, action.TimerStart{Label: "plaster", Count: "down", AimS: 60})
	h.ck.Run(2 * time.Minute)
	snooze := action.AlarmShelve{Alarm: alarm().Key, ForS: 10}
	first := h.do(0, snooze, "1")
	if s := h.do(3*time.Second, snooze, "1"); !s.Already || s.Seq != first.Seq {
		t.Fatalf("snoozed while it is: record %d, there already: %v", s.Seq, s.Already)
	}
	h.ck.Run(7 * time.Second)
	if is := alarm().State; is != timers.Unacknowledged {
		t.Fatalf("after the snooze the alarm is %s", is)
	}
	if s := h.do(0, snooze, "1"); s.Already {
		t.Fatal("snoozed once more when it sounds again, it has no record")
	}
	if is := alarm().State; is != timers.Shelved {
		t.Fatalf("snoozed once more the alarm is %s", is)
	}
}

// A time that was wrong moves the alarm that was acknowledged: when it is reached it sounds, and whoever acknowledges that has
// a record, though the one before is not twenty seconds old. So it is with a step that is undone and taken anew.
func TestAnsweredBeforeItRoseAgain(t *testing.T) {
	coat := action.Coat{Flask: 1, Half: "both"}
	for name, c := range map[string]struct {
		begins action.Body
		after  time.Duration
		move   func(h *hands, begun Saved)
	}{
		"corrected": {action.TimerStart{Label: "plaster", Count: "down", AimS: 60}, 70 * time.Second, func(h *hands, begun Saved) {
			h.do(time.Second, action.Correct{Of: begun.Action.ID, Set: []byte(`{"aim_s":80}`)})
			h.ck.Run(15 * time.Second)
		}},
		"taken anew": {coat, 11 * time.Minute, func(h *hands, begun Saved) {
			h.do(time.Second, action.TakeBack{Of: begun.Action.ID})
			h.do(time.Second, action.Coat{Flask: 1, Half: "both", DryMinS: 10}, "1")
			h.ck.Run(11 * time.Second)
		}},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHands(t)
			alarm := func() timers.Alarm {
				als := h.b.State().Bench.Alarms(h.b.Now())
				return als[len(als)-1]
			}
			h.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
			begun := h.do(0, c.begins)
			h.ck.Run(c.after)
			heard := action.AlarmHeard{Alarm: alarm().Key}
			h.do(0, heard)
			if is := alarm().State; is != timers.Acknowledged {
				t.Fatalf("acknowledged the alarm is %s", is)
			}
			c.move(h, begun)
			heard.Alarm = alarm().Key
			if is := alarm().State; is != timers.Unacknowledged {
				t.Fatalf("reached once more the alarm is %s", is)
			}
			if s := h.do(0, heard); s.Already {
				t.Fatal("acknowledged when it sounds again, it has no record")
			}
			if is := alarm().State; is != timers.Acknowledged {
				t.Fatalf("acknowledged once more the alarm is %s", is)
			}
			if s := h.do(time.Second, heard); !s.Already {
				t.Fatal("acknowledged twice at once, it has two records")
			}
		})
	}
}
