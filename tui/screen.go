package tui

import (
	"cmp"
	"fmt"
	"strings"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"

	"flaskside/logbook/words"
	"flaskside/timers"
)

// Smallest screen that holds the bench.
const (
	minW = 80
	minH = 24
)

// View draws the screen.
func (m *Model) View() tea.View {
	v := m.modes()
	if m.w > 0 && m.h > 0 {
		v.SetContent(m.draw().styled(m.theme))
	}
	return v
}

// modes is all of a view but what stands in it; every field that switches something on is
// set on every frame.
func (m *Model) modes() tea.View {
	v := tea.NewView("")
	v.AltScreen = true
	v.MouseMode = tea.MouseModeCellMotion
	v.WindowTitle = m.windowTitle()
	v.KeyboardEnhancements.ReportEventTypes = true
	v.ProgressBar = m.progress()
	return v
}

// progress shows the most urgent window in the task bar, where there is one: how much
// of the way to its next end has gone, and in the colour of an error while an alarm
// waits.
func (m *sight) progress() *tea.ProgressBar {
	for _, al := range m.alarms {
		if al.State == timers.Unacknowledged {
			return tea.NewProgressBar(tea.ProgressBarError, 100)
		}
	}
	for _, st := range m.standings {
		if st.Next != nil && st.Next.After > 0 {
			return tea.NewProgressBar(tea.ProgressBarDefault, int(100*st.For/st.Next.After))
		}
	}
	return nil
}

// windowTitle says in the title of the window what comes next.
func (m *sight) windowTitle() string {
	for _, al := range m.alarms {
		if al.State == timers.Unacknowledged {
			return "! " + m.alarmWords(al) + " · flaskside"
		}
	}
	for _, st := range m.standings {
		if st.Next != nil {
			w, _ := m.windowByKey(st.Key)
			return words.Brief(st.Left) + " " + timerWords(w, st, 99) + " · flaskside"
		}
	}
	return "flaskside"
}

// draw makes the frame of the page at hand.
func (m *Model) draw() *frame { return m.drawOn(newFrame(m.w, m.h)) }

// drawOn draws it on an empty frame.
func (m *Model) drawOn(f *frame) *frame {
	defer m.glance()()
	m.drawStrip(f)
	if m.small() {
		m.drawSmall(f)
		return f
	}
	p := m.page
	if m.over() != nil {
		m.lay()           // first: it may want the rows of the message
		p = &benchPage{m} // what is asked is asked there
	}
	if p.step() == "" {
		h := m.h - 1
		if m.drawMirror(f, h) {
			h--
		}
		p.draw(f, area{0, 1, m.w, h})
		return f
	}
	p.draw(f, area{0, 2, m.w, m.h - 2 - m.footH()})
	m.drawFoot(f)
	return f
}

// area is a rectangle of the frame.
type area struct{ x, y, w, h int }

// drawStrip is the top line: time, hands, and the most urgent alarm.
func (m *Model) drawStrip(f *frame) {
	at := m.now.Wall.Format("Mon 02 Jan 15:04:05")
	by := m.by()
	by = cmp.Or(by, "who is here? + 6")
	waiting, shelved := 0, 0
	var top *timers.Alarm
	for i := range m.alarms {
		switch m.alarms[i].State {
		case timers.Unacknowledged, timers.Returned:
			waiting++
			if top == nil {
				top = &m.alarms[i]
			}
		case timers.Shelved:
			shelved++
		}
	}
	x := 1 + ansi.StringWidth(at)
	title, flood := m.cfg.Title, m.floodOn
	rest := func() int { // what the alarm has
		w := f.w - x - 2
		if by != "" {
			w -= 2 + ansi.StringWidth(by)
		}
		if title != "" {
			w -= 2 + ansi.StringWidth(title)
		}
		return w
	}
	var head, tail string
	if top != nil && m.lost == nil {
		// The place of the alarm comes before all else that stands here.
		least := 0
		for _, give := range []func(){func() {}, func() { title = "" }, func() { by = "" }, func() { flood = false }} {
			give()
			head, tail = m.alarmEnds(top, waiting, flood, rest())
			if least = ansi.StringWidth(head+tail) + m.placeWidth(*top); rest() >= least {
				break
			}
		}
	}
	f.text(1, 0, strong, at)
	if by != "" {
		x = f.text(x+2, 0, plain, by)
	}
	if title != "" {
		x = f.text(x+2, 0, warn, title)
	}
	x += 2
	width := f.w - x
	switch {
	case m.gone():
		f.put(x, 0, width, alarm, pad(" THE BENCH IS NOT RUNNING · waiting for it ", width))
	case m.lost != nil:
		f.put(x, 0, width, alarm, pad(" LOGBOOK OUT OF REACH · ENTER tries again ", width))
	case top != nil:
		r := alarm
		if top.Priority == timers.Low {
			r = warn
		}
		s := head + m.alarmFit(*top, max(0, width-ansi.StringWidth(head+tail)))
		f.put(x, 0, width, r, pad(s, max(0, width-ansi.StringWidth(tail)))+tail)
	default:
		m.drawQuiet(f, width, shelved)
	}
}

// drawQuiet is the end of the top line while no alarm waits: those that were answered, and
// the mirror where it wants to be told of.
func (m *Model) drawQuiet(f *frame, width, shelved int) {
	answered := m.answeredWords(shelved)
	s, r := m.mirror.Short(m.now.Wall), warn
	switch {
	case s == "":
		s, r = answered, dim
	case answered != "" && ansi.StringWidth(s+" · "+answered) <= width:
		s += " · " + answered
	}
	f.right(f.w-1, 0, r, fit(s, max(0, width)))
}

// drawMirror tells of the mirror at the end of a row, where the top line has something else to say.
func (m *Model) drawMirror(f *frame, y int) (told bool) {
	s := m.mirror.Short(m.now.Wall)
	if s == "" || m.lost == nil && len(m.unanswered()) == 0 {
		return false
	}
	f.right(f.w-1, y, warn, " "+fit(s, f.w-4)+" ")
	return true
}

// answeredWords say how many alarms were answered, so many of them snoozed.
func (m *sight) answeredWords(shelved int) string {
	n := len(m.alarms)
	if n == 0 {
		return ""
	}
	if shelved > 0 {
		return fmt.Sprintf("%d acknowledged, %d snoozed", n-shelved, shelved)
	}
	return fmt.Sprintf("%d acknowledged", n)
}

// alarmEnds is what stands before and behind the words of the alarm at the top.
func (m *Model) alarmEnds(top *timers.Alarm, waiting int, flood bool, width int) (head, tail string) {
	head = fmt.Sprintf(" ▲%d ", top.Priority)
	if waiting > 1 {
		head = fmt.Sprintf(" ▲%d (%d) ", top.Priority, waiting)
	}
	tail = " . got it "
	if !m.hears() {
		tail = " "
	}
	if !flood {
		return head, tail
	}
	if width < 80 {
		return head, fmt.Sprintf(" FLOOD %d", m.floodN) + tail
	}
	return head, " " + m.floodWords() + tail
}

// answers tells whether alarms can be acknowledged at this screen at all.
func (m *Model) answers() bool { return m.cfg.Keeper.Me().May("alarm-heard") == nil }

// hears tells whether the point acknowledges: everywhere but in a field.
func (m *Model) hears() bool {
	if !m.answers() {
		return false
	}
	if m.over() == nil || m.over().into() == nil {
		return true
	}
	_, whole := m.lay()
	return !whole // a question that is not seen takes no key
}

// tighter are fewer words for an alarm, taken one after the other where it is not whole in the top line.
var tighter = []struct{ is, becomes string }{
	{"BOTH HALVES: ", ""}, {" (estimate)", ""}, {": CHECK IT", ""}, {"TIME IS ", "TIME "}, {" PAST THE HOUSE LIMIT", " PAST LIMIT"}, {": WORKING TIME ", ": TIME "},
}

// alarmFit are the words of an alarm in a width, in fewer where they must be; where they are
// cut the place stays.
func (m *sight) alarmFit(al timers.Alarm, width int) string {
	words := m.alarmWords(al)
	if ansi.StringWidth(words) <= width {
		return words
	}
	tail := m.placeTail(al, 0)
	said := strings.TrimSuffix(words, tail)
	if ansi.StringWidth(tail) > width/2 { // of many cases one is named
		tail = m.placeTail(al, 1)
	}
	room := max(0, width-ansi.StringWidth(tail))
	for _, t := range tighter {
		if ansi.StringWidth(said) <= room {
			break
		}
		said = strings.Replace(said, t.is, t.becomes, 1)
	}
	return fit(said, room) + tail
}

// placeTail is the end of the words of an alarm that says where it is, with so many cases at
// most; "" for nowhere.
func (m *sight) placeTail(al timers.Alarm, most int) string {
	place := ""
	key, _ := timers.SplitSignalKey(al.Key)
	if w, ok := m.windowByKey(key); ok {
		place = m.whereWords(w.Flasks, most)
	} else if l, ok := m.bench().LoadOfKey(al.Key); ok {
		place = m.whereWords(m.bench().StillIn(l), most)
	}
	if place == "" {
		return ""
	}
	return " · " + place
}

// placeWidth is the least that the words of an alarm want: a few of them, and where it is.
func (m *sight) placeWidth(al timers.Alarm) int {
	const few = 6
	return min(ansi.StringWidth(m.alarmWords(al)), few+ansi.StringWidth(m.placeTail(al, 1)))
}

// small tells whether the window is too small for the bench. Read out, it has no size.
func (m *Model) small() bool { return !m.aloud && (m.w < minW || m.h < minH) }

// drawSmall is what fits a window that is too small: what is asked, where all of it has a
// place, or else the alarms.
func (m *Model) drawSmall(f *frame) {
	said := fmt.Sprintf("window too small: %dx%d; needs %dx%d", m.w, m.h, minW, minH)
	if m.over() != nil {
		a, whole := m.lay()
		if whole {
			m.over().draw(f, a)
			m.drawKeys(f, m.h-1)
			return
		}
		said = fmt.Sprintf("a question waits: %dx%d is too small for it", m.w, m.h)
	}
	f.text(1, 1, warn, said)
	m.drawMirror(f, 2)
	y := 3
	lines, how := m.message() // what a key did, or why it did nothing
	lines = lines[:min(len(lines), max(0, f.h-1-y))]
	end := f.h - 1 - len(lines)
	for i, l := range lines {
		f.put(1, end+i, f.w-2, how, l)
	}
	for _, al := range m.alarms {
		if y >= end {
			break
		}
		mark := "▲"
		if al.State == timers.Acknowledged || al.State == timers.Shelved {
			mark = "·"
		}
		head := fmt.Sprintf("%s%d ", mark, al.Priority)
		f.put(1, y, f.w-2, strong, head+m.alarmFit(al, f.w-2-ansi.StringWidth(head)))
		y++
	}
	for _, st := range m.standings {
		if y >= end {
			break
		}
		w, _ := m.windowByKey(st.Key)
		f.put(1, y, f.w-2, plain, fmt.Sprintf("%7s %s %s", words.Brief(st.Left), timerWords(w, st, f.w-14), m.placesOf(w)))
		y++
	}
	m.drawKeys(f, m.h-1)
}

// drawOver draws what is asked over the bench, or says that it has no place.
func (m *Model) drawOver(f *frame) {
	a, whole := m.lay()
	if a != m.low() {
		for y := max(2, a.y-1); y < a.y+a.h; y++ {
			f.fill(0, y, f.w, plain)
		}
		f.rule(0, a.y-1, f.w)
	}
	if !whole {
		f.text(1, a.y+1, warn, "a question waits, and this window is too small for it: make it larger")
		return
	}
	m.over().draw(f, a)
}

// message is what is said above the keys: broken, so that nothing of it is cut.
func (m *Model) message() (lines []string, r role) {
	if m.hushed && m.over() != nil {
		return nil, plain
	}
	if m.toast != "" {
		return wrap(m.toast, m.w-2), m.toastIs
	}
	return wrap(m.trouble, m.w-2), warn
}

// footH is the height of the last lines: rule, bright line, message, keys.
func (m *Model) footH() int {
	lines, _ := m.message()
	return 3 + min(mostSaid, max(1, len(lines)))
}

// mostSaid is the most lines of a message.
const mostSaid = 4

// drawFoot is the last lines: what comes next, what was said, the keys.
func (m *Model) drawFoot(f *frame) {
	y := f.h - m.footH()
	f.rule(0, y, f.w)
	for x := range f.w { // what comes down from above ends in the rule
		if s := f.cells[(y-1)*f.w+x].s; f.cells[(y-1)*f.w+x].role == dim && (s == "│" || s == "├" || s == "┤" || s == "┼") {
			f.text(x, y, dim, "┴")
		}
	}
	m.drawMirror(f, y)
	f.fill(0, y+1, f.w, step)
	f.put(1, y+1, f.w-2, step, m.stepLine())
	lines, r := m.message()
	for i, s := range lines[:min(len(lines), mostSaid)] {
		f.put(1, y+2+i, f.w-2, r, s)
	}
	m.drawKeys(f, f.h-1)
}

// drawKeys is the row of keys.
func (m *Model) drawKeys(f *frame, y int) {
	x := 1
	for _, k := range m.keysHere() {
		if k.off {
			x += ansi.StringWidth(k.key+" "+k.words) + 3
			continue
		}
		x = f.text(x, y, accent, k.key)
		x = max(f.text(x+1, y, plain, k.words), x+1+k.room) + 3
	}
}

// keysHere lists the keys that work where the screen stands.
func (m *Model) keysHere() []hint {
	heard := hint{key: ".", words: "got it", off: len(m.unanswered()) == 0 || !m.answers()}
	o := m.over()
	switch {
	case o != nil:
		if _, whole := m.lay(); !whole {
			return []hint{heard, {key: "ctrl+c", words: "leave"}}
		}
		keys := o.keys()
		if o.into() == nil {
			keys = append(keys, heard)
		}
		return keys
	case m.small():
		return []hint{heard, {key: "+", words: "new, or leave"}}
	case m.atHome() || m.page.step() == "":
		return m.page.keys()
	}
	return append(m.page.keys(), heard)
}

func (m *Model) stepLine() string {
	if o := m.over(); o != nil {
		if s := o.step(); ansi.StringWidth(s) <= m.w-2 {
			return s
		}
		return "type the number of your answer"
	}
	return m.page.step()
}
