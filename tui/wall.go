package tui

import (
	"fmt"
	"strings"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bath"
	"flaskside/logbook/bench"
	"flaskside/logbook/keep"
	"flaskside/logbook/mirror"
	"flaskside/logbook/timeline"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/each"
	"flaskside/timers/press"
	"flaskside/tui/chart"
)

// Wall is the bench as a board on the wall tells it: the words and figures of the screen as
// plain data, for whoever draws them in another way.
type Wall struct {
	Now    timers.Now
	Crew   string // initials of who is at the bench
	Alarms []WallAlarm
	Flood  string // said of a flood of alarms; "" for none
	Quiet  string // said where no alarm waits: those that were answered
	Mirror string // said where the mirror of the book wants to be told of
	Tiles  []WallTile
	Free   []int // places without a flask
	Timers []WallTimer
	Press  []string // the press order in short lines
	Baths  []wallBath
	Line   timeline.DayBars
	Labels []string  // of the rows of the line
	Coming []wallDue // until noon tomorrow
}

// wallDue is something that comes due.
type wallDue struct {
	Key   string // of the timer, and which end of it
	At    time.Time
	Words string
}

// WallAlarm is an alarm that nobody has answered.
type WallAlarm struct {
	Key      string
	Priority int // 1 is the highest
	Words    string
	Where    string // the place, or the bath with its cases; "" for nowhere
	Rose     time.Time
	Over     bool // its cause is gone
}

// Mood says what a piece of the board wants.
type Mood string

// The moods.
const (
	Calm  Mood = ""
	Good  Mood = "good"  // ready, reached
	Soon  Mood = "soon"  // a limit comes near
	Alarm Mood = "alarm" // past its latest
)

// WallTime is a length of time that runs.
type WallTime struct {
	Key       string        // of the timer
	Left      time.Duration // until its next end, below zero since the last one
	Ahead     bool          // there is a next end
	Estimated bool
	Due       time.Time // the hour of that end
	Mood      Mood
}

// Brief is the time for a narrow column, as the list of the bench has it.
func (t WallTime) Brief() string { return words.Brief(t.Left) }

// Digits are the time in large digits and their unit, as the far view has them.
func (t WallTime) Digits() (digits, unit string) { return farSpan(t.Left) }

// WallTile is one of the large pieces: a place with its flask, a load in a bath, or a case
// that something runs for.
type WallTile struct {
	Tag     string // the number of the place, B and the number of the bath, the end of a case number
	Case    string // of a load its cases
	Base    string
	Size    string
	Stage   string // one short word
	Verdict string // one or two short words, "" for none
	Words   string // the stage as the bench says it
	Next    string // the step that comes next
	Time    *WallTime
	Mood    Mood
	Load    bool // flasks in a bath, or such as have no place
	Step    bool // of a case, not of a flask
}

// WallTimer is a running timer.
type WallTimer struct {
	WallTime
	Words string // what the time leads to
	Where string // the places of its flasks
	Line  timeline.Bar
}

// wallBath is a load in a bath.
type wallBath struct {
	Head    string
	Lines   []WallLine
	Picture *chart.BathPicture // nil until it is worked out
}

// WallLine is a sentence, and what it wants.
type WallLine struct {
	Text string
	Mood Mood
}

// WallDesk is what was worked out beside the board.
type WallDesk struct {
	Press  *press.Advice
	Cures  map[int]keep.CureEstimate // by load
	Flood  keep.AlarmRate
	Mirror mirror.Health
}

// CureCases lists the loads in the baths, with what their estimate rests on.
func CureCases(st logbook.Snapshot) (out []bath.LoadCase) {
	m := sight{st: st}
	for _, l := range m.loadsIn() {
		out = append(out, bath.Of(m.bench(), l))
	}
	return out
}

// WallOf tells the bench as it stands at a moment.
func WallOf(st logbook.Snapshot, now timers.Now, desk WallDesk) Wall {
	m := &sight{st: st, now: now, w: 160, h: 45, sel: 1, mirror: desk.Mirror, floodN: desk.Flood.N, floodOn: desk.Flood.On}
	m.look()
	m.advice = desk.Press
	m.cures.views = map[int]*cureView{}
	for no, c := range desk.Cures {
		m.cures.views[no] = &cureView{CureEstimate: c}
	}
	out := Wall{Now: now, Crew: oneLine(m.bench().Crew), Line: timeline.Of(m.bench(), now)}
	m.wallAlarms(&out)
	m.wallTiles(&out)
	for _, st := range m.standings {
		w, _ := m.windowByKey(st.Key)
		out.Timers = append(out.Timers, WallTimer{WallTime: m.wallTime(st), Words: oneLine(timerWords(w, st, 60)), Where: m.placesOf(w), Line: timeline.BarOf(st, now)})
	}
	out.Press = append(out.Press, each.Of(m.pressLines(80), oneLine)...)
	if len(out.Press) > 0 {
		out.Press = append(out.Press, bench.YouDecide)
	}
	out.Baths = append(out.Baths, each.Of(m.loadsIn(), m.wallBath)...)
	out.Labels = append(out.Labels, each.Of(m.timeLabels(out.Line, true), oneLine)...)
	_, noon := m.untilMorning()
	for _, c := range m.coming(noon) {
		out.Coming = append(out.Coming, wallDue{c.key, c.at, oneLine(strings.TrimSpace(c.words))})
	}
	return out
}

// wallAlarms are those that nobody has answered; of the others it is said how many they are.
func (m *sight) wallAlarms(out *Wall) {
	for _, al := range m.unanswered() {
		tail := m.placeTail(al, 0)
		out.Alarms = append(out.Alarms, WallAlarm{Key: al.Key, Priority: int(al.Priority), Words: oneLine(strings.TrimSuffix(m.alarmWords(al), tail)),
			Where: oneLine(strings.TrimPrefix(tail, " · ")), Rose: m.now.Wall.Add(-al.Since.For), Over: al.State == timers.Returned})
	}
	if m.floodOn {
		out.Flood = m.floodWords()
	}
	if len(out.Alarms) == 0 {
		shelved := each.Count(m.alarms, func(al timers.Alarm) bool { return al.State == timers.Shelved })
		out.Quiet = m.answeredWords(shelved)
	}
	out.Mirror = m.mirror.Short(m.now.Wall)
}

func (m *sight) wallTiles(out *Wall) {
	add := func(fl *bench.Flask, t tile) *WallTile {
		said, _ := m.stageWords(fl)
		w := WallTile{Tag: t.place, Case: oneLine(fl.Case), Base: oneLine(fl.Base), Size: words.SizeLetter(fl.Size), Stage: t.stage, Verdict: t.verdict,
			Words: said, Next: oneLine(m.stepText(fl, m.bench().Next(fl, m.now))), Mood: moodOf(t.role)}
		if st, ok := m.flaskStanding(fl); ok {
			at := m.wallTime(st)
			w.Time = &at
		}
		out.Tiles = append(out.Tiles, w)
		return &out.Tiles[len(out.Tiles)-1]
	}
	for fl := range m.bench().OnPlaces() {
		add(fl, m.tileOf(fl))
	}
	for _, g := range m.groups() {
		w := add(m.speaker(g), m.offTile(g))
		w.Case, w.Base, w.Size, w.Load = oneLine(casesIn(g.flasks, 30)), "", "", true
		if g.bath == "" {
			w.Case = noPlace + ": " + w.Case
		}
	}
	for _, s := range m.caseStands(mostTiles - len(out.Tiles)) {
		t := m.caseTile(s)
		at := m.wallTime(s.Standing)
		w := WallTile{Tag: oneLine(t.place), Case: oneLine(s.w.Case), Stage: oneLine(t.stage), Verdict: t.verdict, Words: oneLine(s.w.Label), Time: &at, Mood: moodOf(t.role), Step: true}
		if k, _, ok := m.bench().CaseOfKey(s.w.Key); ok {
			w.Next = oneLine(m.caseStepWords(k))
		}
		out.Tiles = append(out.Tiles, w)
	}
	for p := 1; p <= action.Places; p++ {
		if m.bench().OnPlace(p) == nil {
			out.Free = append(out.Free, p)
		}
	}
}

func (m *sight) wallBath(l *bench.Load) wallBath {
	out := wallBath{Head: oneLine(m.loadHead(l))}
	for _, b := range m.shortLines(l, 120) {
		out.Lines = append(out.Lines, WallLine{oneLine(b.s), moodOf(b.r)})
	}
	if v := m.cures.views[l.No]; v != nil && v.Err == nil {
		p := m.bathPicture(l, v)
		out.Picture = &p
	}
	return out
}

// wallTime is a timer as it stands.
func (m *sight) wallTime(st timers.Standing) WallTime {
	return WallTime{Key: st.Key, Left: st.Left, Ahead: st.Next != nil, Estimated: st.Estimated, Due: st.Due, Mood: moodOf(timeRole(st))}
}

// moodOf is what a role of the screen wants.
func moodOf(r role) Mood {
	switch r {
	case good:
		return Good
	case warn:
		return Soon
	case alarm, late:
		return Alarm
	}
	return Calm
}

// floodWords say how many alarms came together.
func (m *sight) floodWords() string { return fmt.Sprintf("FLOOD, %d in 10 min", m.floodN) }
