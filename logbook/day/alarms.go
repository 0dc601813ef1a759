package day

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/record"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// rung is an alarm of the day.
type rung struct {
	kind     string // what it is about, the flasks left out
	flasks   []int
	priority timers.Priority
	rose     timers.Stamp
	heard    *timers.Stamp // acknowledged; nil: never
	by       string
	shelved  bool          // put snoozed before, or instead
	stepped  *timers.Stamp // gone with the step that was due; nil: not so
	known    time.Time     // when the record that made it possible was written
	silent   bool          // it was over before that: no open bench could sound it
	later    string        // the alarm that takes its place; "" where the ends of its window tell
}

// mostLooks bounds how often the bench is put together anew to find alarms.
const mostLooks = 600

// watch looks for alarms in the bench as it stood from record to record.
type watch struct {
	found map[string]*rung
	open  map[string]bool      // those on at the last look
	last  timers.Stamp         // the record that followed that look
	wrote time.Time            // when that record was written
	known map[string]time.Time // by window: when the record ahead of the look that showed it first was written
	beats beats

	answered map[string]bool // acknowledged before the day
}

// look notes what is on at a moment, and what went since the last look: ahead of it stands
// a record that was written at one time, behind it one that was written at another.
func (w *watch) look(b *bench.Bench, at timers.Stamp, ahead, behind time.Time) {
	now := w.beats.now(at)
	on := map[string]bool{}
	windows := map[string]bool{}
	note := func(key string, p timers.Priority, rose timers.Stamp, kind string, flasks []int) {
		on[key] = true
		if w.found[key] == nil {
			known := ahead
			if window, _ := timers.SplitSignalKey(key); !w.known[window].IsZero() {
				known = w.known[window]
			}
			w.found[key] = &rung{kind: kind, flasks: slices.Clone(flasks), priority: p, rose: rose, known: known}
		}
	}
	for _, win := range b.Windows() {
		windows[win.Key] = true
		if w.known[win.Key].IsZero() {
			w.known[win.Key] = ahead
		}
		passed := now.Since(win.Start).For
		for _, m := range win.Marks { // each end that was reached rang, also between two records
			if m.Priority == timers.Silent || passed < m.After {
				continue
			}
			note(timers.SignalKey(win.Key, m.End), m.Priority, win.Rose(m, now), timerWords(win, m.End), win.Flasks)
		}
	}
	for _, al := range b.Alarms(now) {
		if key, end := timers.SplitSignalKey(al.Key); !windows[key] {
			kind, flasks := otherWords(b, al.Key)
			note(al.Key, al.Priority, al.Rose, kind+words.Alarm(end), flasks)
			if end == bench.ShortOfDough && len(flasks) == 1 { // until the working time is over
				w.found[al.Key].later = timers.SignalKey(fmt.Sprintf("mix/%d/dough", b.Flasks[flasks[0]].Mix), timers.Limit)
			}
		}
	}
	for key := range w.open { // what another took the place of went by no step
		if later := w.found[key].later; later != "" && on[later] {
			on[key] = true
		}
	}
	for key := range w.open {
		if !on[key] {
			ended := w.last
			w.found[key].stepped = &ended
			w.found[key].silent = !w.wrote.After(w.found[key].known)
		}
	}
	w.open, w.last, w.wrote = on, at, behind
}

// alarms lists the alarms that rose in the day or were answered in it, in order,
// and whether all were looked for. Of the ends of one window that nobody answered
// the last one stands for all. The bench is put together as it stood before
// each record of the day: an alarm is not written down, its answer is.
func (s Sheet) alarms() (out []rung, all bool) {
	w := watch{found: map[string]*rung{}, known: map[string]time.Time{}, answered: map[string]bool{}}
	var before []record.Record
	var b *bench.Bench // before the record at hand; nil: to be put together
	looks := 0
	var ahead time.Time
	for _, it := range s.Bench.Items {
		key, shelf := "", false
		switch a := it.Action.Body.(type) {
		case action.AlarmHeard:
			key = a.Alarm
		case action.AlarmShelve:
			key, shelf = a.Alarm, true
		}
		_, reading := it.Action.Body.(action.BathReading) // what a reading raises stays until the next look
		if s.has(it.Record.Stamp.At) && !reading && looks < mostLooks {
			if b == nil {
				looks++
				b = bench.Fold(slices.Clone(before), bench.Counters{})
				b.Inherit(s.Bench)
			}
			w.look(b, it.Record.Stamp, ahead, it.Written)
		}
		before, ahead = append(before, it.Record), it.Written
		w.beats.pass(it.Record.Stamp)
		if key == "" {
			b = nil // while an answer changes no window
			continue
		}
		if it.TakenBack == nil {
			w.answer(s, it, key, shelf)
		}
	}
	w.look(s.Bench, s.endStamp(), ahead, time.Time{})
	for key, r := range w.found {
		if r.heard == nil && w.answered[key] {
			continue // by the clock as it was moved since it rose in the day, but it is older
		}
		if !s.has(r.rose.At) && (r.heard == nil || !s.has(r.heard.At)) {
			continue
		}
		if r.heard == nil && !r.shelved && w.superseded(key, r) {
			continue // the later end stands for it, as on the screen
		}
		out = append(out, *r)
	}
	slices.SortFunc(out, func(a, b rung) int {
		return cmp.Or(a.rose.At.Compare(b.rose.At), cmp.Compare(a.priority, b.priority), strings.Compare(a.kind, b.kind), slices.Compare(a.flasks, b.flasks))
	})
	return out, looks < mostLooks
}

// answer notes that an alarm was acknowledged or, as shelf says, snoozed.
func (w *watch) answer(s Sheet, it bench.Item, key string, shelf bool) {
	if !shelf && it.Stamp.At.Before(s.From) {
		w.answered[key] = true
	}
	r := w.found[key]
	if r == nil || r.heard != nil || !s.has(it.Stamp.At) {
		return
	}
	if shelf {
		r.shelved = true
		return
	}
	at := it.Stamp
	r.heard, r.by = &at, it.Action.By
}

// superseded tells whether a later end of the same window rang before anything was
// done about it.
func (w watch) superseded(key string, r *rung) bool {
	if later := w.found[r.later]; later != nil {
		return r.stepped == nil || later.rose.At.Before(r.stepped.At)
	}
	window, end := timers.SplitSignalKey(key)
	ends := []timers.End{timers.Floor, timers.Warning, timers.Limit}
	i := slices.Index(ends, end)
	return i >= 0 && slices.ContainsFunc(ends[i+1:], func(e timers.End) bool {
		later := w.found[timers.SignalKey(window, e)]
		return later != nil && (r.stepped == nil || later.rose.At.Before(r.stepped.At))
	})
}

// beats is what the records tell of the clocks up to one of them.
type beats struct {
	last, before timers.Stamp // of this boot and of the one before; zero where there is none
}

// pass takes the next record of the book.
func (b *beats) pass(st timers.Stamp) {
	if b.last.BootID != st.BootID {
		b.before = b.last
	}
	b.last = st
}

// now is a moment with the sign of life that the boot before it left in the records.
func (b *beats) now(at timers.Stamp) timers.Now {
	beat := b.last
	if beat.BootID == at.BootID {
		beat = b.before
	}
	return timers.Now{Reading: timers.Reading{Wall: at.At, Boot: at.Boot, BootID: at.BootID}, Beat: timers.Beat{Wall: beat.At, BootID: beat.BootID, Boot: beat.Boot}}
}

// endStamp is the end of the sheet on the clock since boot, too, as far as the last record up to it tells:
// where the wall clock was moved, it alone would make timers run for longer or shorter than they did.
func (s Sheet) endStamp() timers.Stamp {
	end := timers.Stamp{At: s.end()}
	for _, it := range s.Bench.Items {
		if st := it.Record.Stamp; st.BootID != "" && !st.At.After(end.At) {
			end.BootID, end.Boot = st.BootID, st.Boot+end.At.Sub(st.At)
		}
	}
	return end
}

// now is the end of the sheet, for what runs at it.
func (s Sheet) now() timers.Now {
	var b beats
	for _, it := range s.Bench.Items {
		b.pass(it.Record.Stamp)
	}
	return b.now(s.endStamp())
}

// end is the last instant that the sheet can know of: when it was made, or the
// day's end.
func (s Sheet) end() time.Time {
	end := s.Until
	for _, t := range []time.Time{s.Made, s.Known} {
		if !t.IsZero() && t.Before(end) {
			end = t
		}
	}
	return end
}

// since gives the time from an alarm's rise to a moment.
func (r rung) since(at *timers.Stamp) time.Duration {
	p, ok := took(r.rose, at)
	if !ok {
		return 0 // done at the moment it rose, or a little ahead of it
	}
	return p.For.Round(time.Second)
}

// answer words what became of an alarm, and the time until then.
func (s Sheet) answer(r rung) (words, after string) {
	switch {
	case r.heard != nil:
		return s.clock(r.heard.At), units.FormatDuration(r.since(r.heard))
	case r.shelved:
		return "snoozed", ""
	case r.stepped != nil:
		return "cleared by the next step " + s.clock(r.stepped.At), units.FormatDuration(r.since(r.stepped))
	}
	return "not acknowledged", ""
}

// rank names the priorities.
var rank = map[timers.Priority]string{timers.High: "1 high", timers.Medium: "2 medium", timers.Low: "3 low"}

// total sums up alarms: how many, and how soon they were acknowledged.
func total(all []rung) string {
	var soon []time.Duration
	high, silent := 0, 0
	for _, r := range all {
		if r.heard != nil {
			soon = append(soon, r.since(r.heard))
		}
		if r.priority == timers.High {
			high++
		}
		if r.silent && r.heard == nil && !r.shelved {
			silent++
		}
	}
	words := fmt.Sprintf("%d in all, %d of them high; %d acknowledged", len(all), high, len(soon))
	if silent > 0 {
		words += fmt.Sprintf("; %d worked out, over before they were written down", silent)
	}
	if len(soon) > 0 {
		slices.Sort(soon)
		words += fmt.Sprintf(", half of them within %s, the last after %s", units.FormatDuration(soon[(len(soon)-1)/2]), units.FormatDuration(soon[len(soon)-1]))
	}
	return words
}

// alarmed writes the alarms of the day: how many, how soon they were acknowledged, each
// that a person answered or should have, and the others by their kind.
func (s Sheet) alarmed(p *page) {
	all, whole := s.alarms()
	if len(all) == 0 && whole {
		return
	}
	p.section("ALARMS")
	if len(all) > 0 {
		p.line(2, "%s", total(all))
	}
	for _, r := range all {
		if r.plainly() {
			continue
		}
		words, after := s.answer(r)
		if r.heard != nil {
			words = "acknowledged " + words + byWhom(r.by)
		}
		if after != "" {
			words += ", after " + after
		}
		p.line(2, "%s  %s   %s%s   %s", s.clock(r.rose.At), rank[r.priority], r.kind, s.andNamed(r.flasks), words)
	}
	for _, g := range groups(all) {
		p.line(2, "%d x %s (%s), cleared by the next step, after %s", g.n, g.kind, rank[g.priority], g.after())
	}
	if !whole {
		p.line(2, "The day has too many records to look for every alarm: there may be more.")
	}
}

// byWhom writes initials behind something, where they are known.
func byWhom(initials string) string {
	if initials == "" {
		return ""
	}
	return " by " + initials
}

// alarmRows is the table of alarms: when each rose, what became of it and how soon.
func (s Sheet) alarmRows(tame func(string) string) [][]string {
	rows := [][]string{{"rose_at", "alarm", "flask", "priority", "answer", "answered_at", "after_s", "by"}}
	all, _ := s.alarms()
	for _, r := range all {
		answer, at := "not acknowledged", (*timers.Stamp)(nil)
		switch {
		case r.heard != nil:
			answer, at = "acknowledged", r.heard
		case r.shelved:
			answer = "snoozed"
		case r.silent:
			answer = "worked out"
		case r.stepped != nil:
			answer, at = "cleared by the next step", r.stepped
		}
		when, after := "", ""
		if at != nil {
			when, after = s.when(at), strconv.Itoa(int(r.since(at).Seconds()))
		}
		rows = append(rows, []string{s.when(&r.rose), tame(r.kind), list(r.flasks), strings.Fields(rank[r.priority])[0], answer, when, after, tame(r.by)})
	}
	return rows
}

// plainly tells whether an alarm ended as most do, with the step that was due, or could be
// heard by nobody.
func (r rung) plainly() bool {
	return r.heard == nil && !r.shelved && r.stepped != nil && (r.silent || r.priority != timers.High)
}

// group is alarms of one kind that ended with the step that was due.
type group struct {
	kind        string
	priority    timers.Priority
	n           int
	from, until timers.Stamp // rise of the first and of the last
	least, most time.Duration
}

// groups sums up the alarms that ended plainly.
func groups(all []rung) []group {
	var out []group
	for _, r := range all {
		if !r.plainly() {
			continue
		}
		if r.silent {
			r.kind += ", worked out: over before it was written down"
		}
		i := slices.IndexFunc(out, func(g group) bool { return g.kind == r.kind })
		after := r.since(r.stepped)
		if i < 0 {
			out = append(out, group{kind: r.kind, priority: r.priority, from: r.rose, least: after, most: after})
			i = len(out) - 1
		}
		g := &out[i]
		g.n, g.until, g.least, g.most = g.n+1, r.rose, min(g.least, after), max(g.most, after)
	}
	return out
}

func (g group) after() string {
	if g.least == g.most {
		return units.FormatDuration(g.most)
	}
	return units.FormatDuration(g.least) + " to " + units.FormatDuration(g.most)
}

// timerWords say what has happened when an end of a timer is reached.
func timerWords(w bench.Window, end timers.End) string {
	return words.TimerAlarm(w.What, end, w.Label, w.Of())
}

// otherWords say what an alarm is about that no timer raises, ahead of what it says.
func otherWords(b *bench.Bench, key string) (about string, flasks []int) {
	if l, ok := b.LoadOfKey(key); ok {
		return b.BathOf(l).Name + ": ", l.Flasks
	}
	if k, d, ok := b.CaseOfKey(key); ok {
		return "case " + k.Name() + ", " + d.Brief() + ": ", nil
	}
	if sub, ok := bench.SubjectOfKey(key); ok && sub.Class == 'f' {
		return "", []int{sub.No}
	}
	return key + ": ", nil
}
