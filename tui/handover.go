package tui

import (
	"fmt"
	"sort"
	"time"

	"flaskside/logbook/bench"
	"flaskside/timers"
)

// comingUp is an end that falls due later.
type comingUp struct {
	at    time.Time
	words string
}

// coming lists what falls due until an hour, in order of the hour: what must not be
// forgotten tonight and tomorrow morning.
func (m *Model) coming(until time.Time) []comingUp {
	var out []comingUp
	for _, st := range m.standings {
		w, ok := m.windowByKey(st.Key)
		if !ok {
			continue
		}
		for _, mk := range w.Marks {
			at := m.now.WallOf(w.Start, mk.After)
			if mk.End == timers.Warning || mk.Priority == timers.Silent || !at.After(m.now.Wall) || at.After(until) {
				continue
			}
			al := timers.Alarm{Signal: timers.Signal{Key: timers.SignalKey(w.Key, mk.End)}}
			out = append(out, comingUp{at, m.alarmWords(al)})
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].at.Before(out[j].at) })
	return out
}

// drawHandover is what one shift tells the next: what is running, what waits for a
// hand, what falls due until noon tomorrow.
func (m *Model) drawHandover(f *frame, a area) {
	var s sheet
	s.add(strong, "handover · "+m.now.Wall.Format("Mon 02 Jan 15:04")+" · at the bench: "+orDash(m.by()))
	if m.bench().TookOver {
		s.add(good, fmt.Sprintf("read and taken over by %s, %s", m.by(), m.bench().CrewAt.At.In(m.now.Wall.Location()).Format("Mon 15:04")))
	} else {
		s.add(dim, "whoever takes over reads this and presses +")
	}
	s.gap()
	s.add(dim, "at work")
	n := 0
	for p := 1; p <= 9; p++ {
		fl := m.bench().OnPlace(p)
		if fl == nil {
			continue
		}
		n++
		words, r := m.standWords(fl)
		t, _ := m.flaskTime(fl)
		next := m.stepText(fl, m.bench().Next(fl, m.now))
		s.add(r, fmt.Sprintf("place %d  %-8s %-7s %s %s", p, fl.Case, fl.Base, pad(words, 24), t))
		s.add(dim, "         next: "+next)
	}
	if n == 0 {
		s.add(plain, "the bench is empty")
	}
	y, mo, d := m.now.Wall.Date()
	noon := time.Date(y, mo, d+1, 12, 0, 0, 0, m.now.Wall.Location())
	if due := m.coming(noon); len(due) > 0 {
		s.gap()
		s.add(dim, "not to be forgotten, until noon tomorrow")
		for _, c := range due {
			s.add(plain, fmt.Sprintf("%s  %s", c.at.Format("Mon 15:04 -07:00"), c.words))
		}
	}
	heard := 0
	for _, al := range m.alarms {
		if al.State == timers.Unacknowledged || al.State == timers.Returned {
			if heard == 0 {
				s.gap()
				s.add(dim, "alarms nobody has answered")
			}
			heard++
			s.add(alarm, m.alarmWords(al))
		}
	}
	odd := 0
	for p := 1; p <= 9; p++ {
		fl := m.bench().OnPlace(p)
		if fl == nil || len(fl.Oddities) == 0 {
			continue
		}
		if odd == 0 {
			s.gap()
			s.add(dim, "out of the ordinary")
		}
		odd++
		last := fl.Oddities[len(fl.Oddities)-1]
		s.add(warn, fmt.Sprintf("place %d  %d, last: %s", p, len(fl.Oddities), last.What))
	}
	s.draw(f, a, m.scroll)
}

// standWords are the stage of a flask and how its window stands in a few words, in
// capitals where a hand is wanted now.
func (m *Model) standWords(fl *bench.Flask) (string, role) {
	for _, st := range m.windowsOf(fl) {
		w, _ := m.windowByKey(st.Key)
		switch {
		case st.Phase == timers.Over:
			return windowWords(w, st), alarm
		case w.What == bench.Hold || w.What == bench.Cure || w.What == bench.BenchSet || w.What == bench.BenchCool || w.What == bench.WaterCool:
			r := plain
			if st.Last != nil {
				r = good
			}
			return windowWords(w, st), r
		}
	}
	return m.stageWords(fl)
}
