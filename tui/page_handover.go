package tui

import (
	"fmt"
	"slices"
	"sort"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/bench"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/each"
)

// comingUp is an end that falls due later, or fell due.
type comingUp struct {
	at    time.Time
	key   string // of the signal
	words string
}

// endOf is an end of a window with its hour, in the words of its alarm.
func (m *sight) endOf(at time.Time, window string, e timers.End) comingUp {
	key := timers.SignalKey(window, e)
	return comingUp{at, key, m.alarmWords(timers.Alarm{Signal: timers.Signal{Key: key}})}
}

// coming lists what falls due until an hour, in order of the hour: what must not be
// forgotten tonight and tomorrow morning.
func (m *sight) coming(until time.Time) []comingUp {
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
			out = append(out, m.endOf(at, w.Key, mk.End))
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].at.Before(out[j].at) })
	return out
}

// longAway is how long no program ran before whoever starts it is told what one shift
// tells the next; shorter, it is the same hands (house default).
const longAway = 30 * time.Minute

// unknownSince is how far back the ends that fell due are listed where nobody ever
// took the bench over.
const unknownSince = 12 * time.Hour

// fellDue lists the ends that were reached since the bench was last taken over and
// still wait for a hand, the earliest first.
func (m *sight) fellDue() []comingUp {
	since := m.now.Wall.Add(-unknownSince)
	if b := m.bench(); b.TookOver {
		since = m.now.Wall.Add(-m.now.Since(b.CrewAt).For)
	}
	var out []comingUp
	for _, st := range m.standings {
		if st.Last == nil || st.Last.Priority == timers.Silent {
			continue
		}
		at := m.now.WallOf(st.Start, st.Last.After)
		if at.Before(since) {
			continue
		}
		out = append(out, m.endOf(at, st.Key, st.Last.End))
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].at.Before(out[j].at) })
	return out
}

// untilMorning splits what comes into tonight and tomorrow morning: at six, until noon.
func (m *sight) untilMorning() (six, noon time.Time) {
	y, mo, d := m.now.Wall.Date()
	loc := m.now.Wall.Location()
	return time.Date(y, mo, d+1, 6, 0, 0, 0, loc), time.Date(y, mo, d+1, 12, 0, 0, 0, loc)
}

// unanswered lists the alarms that nobody has answered.
func (m *sight) unanswered() []timers.Alarm {
	return each.That(m.alarms, func(al timers.Alarm) bool { return al.State == timers.Unacknowledged || al.State == timers.Returned })
}

// takeOver has the page acknowledged by whoever takes over, with initials.
func (m *Model) takeOver() tea.Cmd {
	if me := m.cfg.Keeper.Me(); me.Fixed { // else others may stand at it
		if err := me.TakesOver(me.By, m.house()); err != nil {
			m.say(warn, err.Error())
			return nil
		}
	}
	return m.who("who takes over, having read this?", true)
}

// handoverPage is what one shift tells the next: what is running, what fell due and
// waits for a hand, what must not be forgotten until noon tomorrow.
type handoverPage struct{ leaf }

func (p *handoverPage) draw(f *frame, a area) { p.show(f, a, p.sheet) }

func (p *handoverPage) step() string { return "+  taken over: read, with your initials" }

func (p *handoverPage) keys() []hint {
	return append(p.leaf.keys(), hint{key: "+", words: "take over"})
}

func (p *handoverPage) key(key string) (tea.Cmd, bool) {
	switch key {
	case "+":
		return p.m.takeOver(), true
	case "*", "f":
		p.m.home()
		return nil, true
	}
	return p.leaf.key(key)
}

func (p *handoverPage) sheet(a area) *sheet {
	m, s := p.m, newSheet(a)
	s.add(strong, "handover · "+m.now.Wall.Format("Mon 02 Jan 15:04")+" · at the bench: "+orDash(m.atTheBench()))
	if b := m.bench(); b.TookOver {
		s.add(good, fmt.Sprintf("read and taken over by %s, %s", b.Crew, m.instant(b.CrewAt.At)))
	} else {
		s.add(dim, "whoever takes over reads this and presses +")
	}
	s.gap()
	s.head(dim, "at work")
	n := 0
	for fl := range m.bench().AtWork() {
		n++
		words, r := m.standWords(fl)
		t, _ := m.flaskTime(fl)
		if st, ok := m.flaskStanding(fl); ok && a.w >= 100 {
			t = lengthLeft(st.Left)
		}
		next := m.stepText(fl, m.bench().Next(fl, m.now))
		s.add(r, fmt.Sprintf("%-2s %-8s %-7s %s %6s → %s", m.tagOf(fl), fl.Case, fl.Base, pad(words, handoverWords), t, next))
	}
	if n == 0 {
		s.add(plain, "the bench is empty")
	}
	m.casesAtWork(s)
	waiting := m.unanswered()
	list := func(title string, what []comingUp) {
		if len(what) > 0 {
			s.gap()
			s.head(dim, title)
		}
		for _, c := range what {
			mark, r := "  ", plain
			if i := slices.IndexFunc(waiting, func(al timers.Alarm) bool { return al.Key == c.key }); i >= 0 {
				mark, r = "▲ ", warn
				waiting = slices.Delete(waiting, i, i+1)
			}
			s.add(r, mark+m.instant(c.at)+"  "+c.words)
		}
	}
	list("fell due, and waits for a hand (▲: alarm not answered)", m.fellDue())
	six, noon := m.untilMorning()
	due := m.coming(noon)
	night := sort.Search(len(due), func(i int) bool { return !due[i].at.Before(six) })
	list("not to be forgotten today and tonight", due[:night])
	list("not to be forgotten tomorrow morning, until noon", due[night:])
	if len(waiting) > 0 {
		s.gap()
		s.head(dim, "other alarms nobody has answered")
		for _, al := range waiting {
			s.add(warn, "▲ "+m.alarmWords(al))
		}
	}
	odd := 0
	for fl := range m.bench().AtWork() {
		if len(fl.Oddities) == 0 {
			continue
		}
		if odd == 0 {
			s.gap()
			s.head(dim, "out of the ordinary")
		}
		odd++
		last := fl.Oddities[len(fl.Oddities)-1]
		s.add(warn, fmt.Sprintf("%s  %d, last: %s", m.bench().CallWords(fl), len(fl.Oddities), words.Unusual(last.What)))
	}
	m.mirrorSheet(s, a.w-4)
	return s
}

// atTheBench are the initials of who stands there: whoever looks on from elsewhere does not.
func (m *Model) atTheBench() string {
	if m.cfg.Keeper.Me().Away {
		return m.bench().Crew
	}
	return m.by()
}

// mirrorSheet tells how the mirror of the logbook stands, where the house has one.
func (m *sight) mirrorSheet(s *sheet, width int) {
	said := m.mirror.Sentences(m.now.Wall)
	if len(said) == 0 {
		return
	}
	s.gap()
	s.head(dim, "the mirror, "+m.mirror.To)
	r := plain
	if m.mirror.Short(m.now.Wall) != "" {
		r = warn
	}
	for _, l := range said {
		s.wrapped(r, l, width)
	}
}

// handoverWords is the room for how a flask stands.
const handoverWords = 20

// standWords are the stage of a flask and how its window stands in a few words, in
// capitals where a hand is wanted now.
func (m *sight) standWords(fl *bench.Flask) (string, role) {
	for _, st := range m.windowsOf(fl) {
		w, _ := m.windowByKey(st.Key)
		switch {
		case st.Phase == timers.Over:
			return timerWords(w, st, handoverWords), alarm
		case w.What == bench.Hold || w.What == bench.Cure || w.What == bench.BenchSet || w.What == bench.BenchCool || w.What == bench.WaterCool:
			r := plain
			if st.Last != nil {
				r = good
			}
			return timerWords(w, st, handoverWords), r
		}
	}
	return m.stageWords(fl)
}
