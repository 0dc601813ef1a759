// Package status tells in plain data how the bench stands: what is on each place,
// which windows run, which alarms stand. It is what `flaskside status` prints, for
// people and, as JSON, for other programs.
package status

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// Status is the bench at one moment. Times are RFC 3339 with the offset of the
// zone asked for; lengths of time are whole seconds.
type Status struct {
	At      time.Time     `json:"at"`               // the moment
	Crew    string        `json:"crew,omitempty"`   // initials of who is at the bench
	Head    logbook.Head  `json:"head"`             // end of the chain of records
	Spoilt  []string      `json:"spoilt,omitempty"` // records it rests on that are not as they were written
	Places  []Place       `json:"places"`           // the places with a flask on them
	Away    []Place       `json:"away,omitempty"`   // flasks at work that stand on no place: in a bath, or where no place was free
	Windows []shownWindow `json:"windows"`          // most urgent first
	Alarms  []shownAlarm  `json:"alarms"`           // most urgent first
}

// Place is a place of the bench with the flask on it, or a flask that stands on none.
type Place struct {
	Place     int          `json:"place"`          // 0 for none
	Bath      int          `json:"bath,omitempty"` // the one it is in, where it stands on no place
	Where     string       `json:"where"`          // in words: place 3, bath 1, no place
	Flask     int          `json:"flask"`
	Case      string       `json:"case"`
	Base      string       `json:"base"`
	Size      action.Size  `json:"size"`
	Tag       string       `json:"tag,omitempty"`
	Stage     string       `json:"stage"`
	Next      string       `json:"next"`   // the step that comes next
	Trials    int          `json:"trials"` // trial closures begun
	LastGrade action.Grade `json:"last_grade,omitempty"`
	Mix       int          `json:"mix,omitempty"`
	MixLetter string       `json:"mix_letter,omitempty"`
	Load      int          `json:"load,omitempty"`
}

// shownWindow is a running window.
type shownWindow struct {
	Key       string    `json:"key"`
	What      string    `json:"what"`
	Flasks    []int     `json:"flasks,omitempty"`
	Mix       int       `json:"mix,omitempty"`
	Load      int       `json:"load,omitempty"`
	Timer     int       `json:"timer,omitempty"`
	Label     string    `json:"label,omitempty"` // of a timer of the user's own, or the step of a case
	Case      string    `json:"case,omitempty"`  // that a step runs for, with its base
	Phase     string    `json:"phase"`           // early, open or over
	Last      string    `json:"last,omitempty"`  // the latest end reached
	Next      string    `json:"next,omitempty"`  // the end that comes next
	LeftS     int       `json:"left_s"`          // until next, rounded up; without one, minus the time since last (or since the start)
	Due       time.Time `json:"due"`             // the hour of next (or of last) on the wall clock
	Estimated bool      `json:"estimated"`       // the machine was restarted since the start: the wall clock decided
}

// shownAlarm is a condition that wants somebody, or did and was answered.
type shownAlarm struct {
	Key      string    `json:"key"`
	What     string    `json:"what"` // the window, or what else
	End      string    `json:"end"`  // which end of it
	Flasks   []int     `json:"flasks,omitempty"`
	Mix      int       `json:"mix,omitempty"`
	Load     int       `json:"load,omitempty"`
	Timer    int       `json:"timer,omitempty"`
	Label    string    `json:"label,omitempty"`
	Case     string    `json:"case,omitempty"`
	State    string    `json:"state"`            // in the words of IEC 62682 / ISA-18.2
	Priority string    `json:"priority"`         // high, medium or low
	Rose     time.Time `json:"rose"`             // when the condition began
	BackS    int       `json:"back_s,omitempty"` // shelved: seconds until it returns
}

// Of tells how the bench of a state stands at a moment.
func Of(st logbook.Snapshot, now timers.Now) Status {
	b := st.Bench
	out := Status{At: now.Wall, Crew: b.Crew, Head: st.Head, Places: []Place{}, Windows: []shownWindow{}, Alarms: []shownAlarm{}}
	for f := range b.OnPlaces() {
		out.Places = append(out.Places, place(b, f, now))
	}
	for _, f := range b.OffPlaces() {
		out.Away = append(out.Away, place(b, f, now))
	}
	byKey := map[string]bench.Window{}
	var ws []timers.Window
	for _, w := range b.Windows() {
		byKey[w.Key] = w
		ws = append(ws, w.Window)
	}
	for _, s := range timers.StandAll(ws, now) {
		out.Windows = append(out.Windows, window(byKey[s.Key], s))
	}
	for _, a := range b.Alarms(now) {
		out.Alarms = append(out.Alarms, alarm(b, byKey, a, now))
	}
	return out
}

func place(b *bench.Bench, f *bench.Flask, now timers.Now) Place {
	p := Place{Place: b.SpotOf(f).Place, Bath: b.SpotOf(f).Bath, Where: b.WhereWords(f), Flask: f.No, Case: f.Case, Base: f.Base, Size: f.Size, Tag: f.Tag, Stage: string(f.Stage),
		Next: string(b.Next(f, now)), Trials: len(f.Trials), Mix: f.Mix, Load: f.Load}
	if j := f.Judged(); len(j) > 0 {
		p.LastGrade = j[len(j)-1].Grade
	}
	if f.Mix > 0 {
		p.MixLetter = words.MixLetter(f.Mix)
	}
	return p
}

func window(w bench.Window, s timers.Standing) shownWindow {
	out := shownWindow{Key: w.Key, What: string(w.What), Flasks: w.Flasks, Mix: w.Mix, Load: w.Load, Timer: w.Timer, Label: w.Label, Case: w.Case,
		Phase: string(s.Phase), LeftS: seconds(s.Left), Due: s.Due, Estimated: s.Estimated}
	if s.Last != nil {
		out.Last = string(s.Last.End)
	}
	if s.Next != nil {
		out.Next = string(s.Next.End)
	}
	return out
}

func alarm(b *bench.Bench, byKey map[string]bench.Window, a timers.Alarm, now timers.Now) shownAlarm {
	key, end := timers.SplitSignalKey(a.Key)
	out := shownAlarm{Key: a.Key, End: string(end), State: string(a.State), Priority: priority(a.Priority), Rose: now.Wall.Add(-a.Since.For), BackS: seconds(a.Back)}
	if w, ok := byKey[key]; ok {
		out.What, out.Flasks, out.Mix, out.Load, out.Timer, out.Label, out.Case = string(w.What), w.Flasks, w.Mix, w.Load, w.Timer, w.Label, w.Case
		return out
	}
	if k, d, ok := b.CaseOfKey(key); ok {
		out.What, out.Case, out.Label = string(bench.CaseTimer), k.Name(), d.Brief()
		return out
	}
	out.What = "closures"
	switch s, ok := bench.SubjectOfKey(key); {
	case ok && s.Class == 'f':
		out.Flasks = []int{s.No}
	case ok && s.Class == 'l': // of its readings
		out.What, out.Load = "bath", s.No
	}
	return out
}

// seconds rounds up, so that nothing reads as reached before it is.
func seconds(d time.Duration) int { return int(math.Ceil(d.Seconds())) }

func priority(p timers.Priority) string {
	switch p {
	case timers.High:
		return "high"
	case timers.Medium:
		return "medium"
	case timers.Low:
		return "low"
	}
	return "none"
}

// AsOf makes the moment at which a bench of the past is looked at: an instant on
// the wall clock, placed on the boot clock where it lies in the present boot.
func AsOf(at time.Time, now timers.Reading) timers.Now {
	at = at.In(now.Wall.Location())
	s := timers.StampAt(at, now)
	if s.BootID == "" && now.BootID != "" {
		s.BootID = "before" // another boot than any of a record: the wall clock decides, and it is said
	}
	return timers.Now{Reading: timers.Reading{Wall: s.At, Boot: s.Boot, Mono: s.Boot, BootID: s.BootID}}
}

// JSON writes it for other programs.
func (s Status) JSON(w io.Writer) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	if err := enc.Encode(s); err != nil {
		return fmt.Errorf("write status: %w", err)
	}
	return nil
}
