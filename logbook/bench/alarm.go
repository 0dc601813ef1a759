package bench

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/record"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// Answers to alarms: heard, shelved.
var alarms = subject{
	rules: []rule{
		on(func(c *checker, a action.AlarmHeard) (action.AlarmHeard, error) { return a, c.alarm(a.Alarm) },
			func(b *Bench, a action.AlarmHeard, it *Item) {
				b.Answers = append(b.Answers, timers.Answer{Key: a.Alarm, At: it.Stamp})
			}, uncorrected, aside,
			alive(func(l *living, a action.AlarmHeard, _ int, _ *Item) bool { return l.alarm(a.Alarm) })),
		on(func(c *checker, a action.AlarmShelve) (action.AlarmShelve, error) { return a, c.alarm(a.Alarm) },
			func(b *Bench, a action.AlarmShelve, it *Item) {
				b.Answers = append(b.Answers, timers.Answer{Key: a.Alarm, At: it.Stamp, Shelf: time.Duration(a.ForS) * time.Second})
			}, uncorrected, aside,
			alive(func(l *living, a action.AlarmShelve, _ int, _ *Item) bool { return l.alarm(a.Alarm) })),
	},
}

// What a window is about.
type What string

// The windows of the bench.
const (
	DryBoth   What = "both halves drying"
	DryCast   What = "cast half drying"
	DryTeeth  What = "teeth half drying"
	Dough     What = "dough"
	Hold      What = "press hold"
	BenchSet  What = "bench set"
	Cure      What = "cure"
	BenchCool What = "bench cooling"
	WaterCool What = "water cooling"
	Own       What = "timer"
	CaseTimer What = "case step"
)

// Window is a running window with what it belongs to.
type Window struct {
	timers.Window
	What   What
	Flasks []int
	Mix    int
	Load   int
	Timer  int
	Label  string // of a timer of the user's own, or what runs for a case
	Case   string // the case and its base that it runs for, where no flask does
	Place  string // that the step of a case needs; "" for one that waits anywhere
}

// Of names the mix that a window belongs to, or the case: "" for neither.
func (w Window) Of() string {
	if w.Mix > 0 {
		return words.MixLetter(w.Mix)
	}
	return w.Case
}

// Keys name a window for ever, through restarts and exports.
func flaskKey(no int, what string) string { return fmt.Sprintf("flask/%d/%s", no, what) }

// SubjectOfKey tells which subject a window or signal key belongs to.
func SubjectOfKey(key string) (action.Subject, bool) {
	parts := strings.Split(key, "/")
	if len(parts) < 2 {
		return action.Subject{}, false
	}
	no, err := strconv.Atoi(strings.SplitN(parts[1], "#", 2)[0])
	if err != nil {
		return action.Subject{}, false
	}
	switch parts[0] {
	case "flask":
		return action.Subject{Class: 'f', No: no}, true
	case "mix":
		return action.Subject{Class: 'm', No: no}, true
	case "load":
		return action.Subject{Class: 'l', No: no}, true
	case "timer":
		return action.Subject{Class: 't', No: no}, true
	}
	return action.Subject{}, false
}

// alarm refuses an answer to an alarm that does not stand.
func (c *checker) alarm(key string) error {
	for _, al := range c.b.Alarms(c.then) {
		if al.Key == key {
			return nil
		}
	}
	return fmt.Errorf("there is no alarm %q", key)
}

// atOnce is within what time two answers to one alarm are one (house default): a screen whose line is slow shows the alarm for
// so long after somebody has answered it.
const atOnce = 20 * time.Second

// Answered gives the record by which an alarm was answered already as body answers it: two hands at two screens reach
// for it at once, and what the second one does changes nothing. One that is back and sounds is not answered.
func (b *Bench) Answered(body action.Body, then timers.Stamp, now timers.Now) (rec record.Record, ok bool) {
	key, is := answers(body)
	if !is || slices.ContainsFunc(b.Alarms(asOf(now, then.At)), func(al timers.Alarm) bool { return al.Key == key && al.State == timers.Unacknowledged }) {
		return rec, false
	}
	for i := len(b.Items) - 1; i >= 0; i-- {
		it := &b.Items[i]
		if of, is := answers(it.Body); !is || of != key || it.TakenBack != nil {
			continue
		}
		apart := between(it.Stamp, then)
		if it.Body == body && apart.Abs() <= atOnce {
			return it.Record, true
		}
		if apart >= 0 { // answered otherwise since
			return rec, false
		}
	}
	return rec, false
}

// answers tells which alarm a body answers.
func answers(body action.Body) (key string, is bool) {
	switch a := body.(type) {
	case action.AlarmHeard:
		return a.Alarm, true
	case action.AlarmShelve:
		return a.Alarm, true
	}
	return "", false
}

// alarm tells whether the bench rests on what an alarm is about.
func (l *living) alarm(key string) bool {
	s, ok := SubjectOfKey(key)
	_, _, ofCase := l.b.CaseOfKey(key)
	return ok && l.thing(s) || ofCase
}
