// Package tui is the bench on a screen. It knows how things look and which key
// means what; what may be done, and what was done, it asks of the logbook. It
// never opens the book: it is handed one.
//
// One keypress travels: key, action, check and record in the logbook, and only
// when the record is on the disk does the screen show it. Every screen is drawn on
// a grid of cells ([frame]) by a plain function of the model.
package tui

import (
	"errors"
	"fmt"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/timers"
	"flaskside/timers/press"
)

// Keeper is the logbook as the screen sees it.
type Keeper interface {
	State() logbook.State
	Append(action.Action) (logbook.Saved, error)
	Now() timers.Now
	Beat() error
	Reopen() error
}

// Config is what the screen is handed.
type Config struct {
	Keeper   Keeper
	Hands    timers.Clock       // the clock that tells a doubled key from two
	NewID    func() string      // an id for each action
	Every    time.Duration      // how often the screen looks at the clock
	Tick     time.Duration      // how long that is on the keeper's clock
	By       string             // initials given on the command line
	Title    string             // stands in the top line; the demo says what it is
	ScanHold time.Duration      // how long a key may wait for the next of a scan; 0: scans on the bench are not looked for
	OnAlarm  func(words string) // told of each alarm that sounds; nil for nobody
	Notify   Notify             // how the terminal is told of an alarm beside the bell; "" for auto
	Script   *Script            // a shift that plays itself, for the demo
}

type page int

const (
	pageBoard page = iota
	pageFlask
	pagePress
	pageHelp
	pageAway
	pageFar
	pageHandover
	pageLot
	pageLots
	pageReview
)

// Model is the whole screen.
type Model struct {
	cfg     Config
	st      logbook.State
	now     timers.Now
	w, h    int
	theme   *theme
	light   bool   // the background of the terminal
	profile string // of its colours, by name

	sel    int // selected place, 1 to 9
	page   page
	scroll int
	forms  []*form                      // the last one is asked
	drafts map[string]map[string]string // typed and left, by the form's title and the field's name

	saving  bool
	queue   []tea.KeyPressMsg // pressed while a record was on its way to the disk
	toast   string
	toastIs role
	toastAt time.Duration
	trouble string // shown where no toast is, until a key is pressed
	lost    error  // the book cannot be reached

	lastKey   string
	lastKeyAt time.Duration
	lastInto  *field   // the field that the last key went into
	doubt     *heldKey // may be the first repeat of a key held down
	doubts    int
	leaning   bool          // on a key
	repeats   bool          // the terminal reports them as such
	keyAt     time.Duration // the latest key of all
	bell      timers.Bell
	raw       func(s string) tea.Cmd // sends to the terminal what is no screen
	notice    notice
	flood     timers.Flood
	floodN    int // alarms of the last ten minutes
	floodOn   bool
	before    timers.Reading
	beatAt    time.Duration
	away      []awayItem
	awayNotes []string
	afterAway page // what follows that page
	windows   []bench.Window
	standings []timers.Standing
	alarms    []timers.Alarm
	left      bool
	lot       string    // what is known of the lot asked for
	review    string    // of the month asked for
	reviewOf  time.Time // that month's begin
	burst     []heldKey // keys held back: a scan may have begun
	burstGen  int

	advice     *press.Advice // the latest press order
	mixCost    *press.MixCost
	advising   bool
	advisedAt  time.Duration
	advisedSeq uint64

	cures cureDesk // what goes on in the flasks in the baths
}

// Messages of the screen's own.
type (
	tickMsg    struct{}
	changedMsg struct{ st logbook.State }
	savedMsg   struct {
		saved logbook.Saved
		err   error
		what  action.Action
		then  func(logbook.Saved) tea.Cmd
	}
	reopenedMsg struct{ err error }
)

// Changed tells the screen that the book changed through another door.
func Changed(st logbook.State) tea.Msg { return changedMsg{st} }

// New makes the screen. It shows at once what fell due while no program ran.
func New(cfg Config) *Model {
	m := &Model{cfg: cfg, theme: newTheme(true, ""), sel: 1, w: 80, h: 24, notice: cfg.Notify.of(""),
		raw: func(s string) tea.Cmd { return tea.Raw(s) }}
	m.bell.Every = map[timers.Priority]time.Duration{}
	m.refresh(cfg.Keeper.State())
	m.before = m.now.Reading
	m.lookBack()
	for p := 1; p <= 9; p++ {
		if m.bench().OnPlace(p) != nil {
			m.sel = p
			break
		}
	}
	if m.by() == "" && len(m.house().Crew) > 0 {
		m.who("who is at the bench?", false)
	}
	return m
}

func (m *Model) bench() *bench.Bench { return m.st.Bench }
func (m *Model) house() house.House  { return m.st.Bench.House }

// selected is the flask on the selected place, or nil.
func (m *Model) selected() *bench.Flask { return m.bench().OnPlace(m.sel) }

// refresh takes a new state of the book and works out all that hangs on it and on
// the time.
func (m *Model) refresh(st logbook.State) {
	m.st = st
	m.lookAtClock()
	a := st.Bench.House.Alarms
	m.bell.Every[timers.High] = time.Duration(a.HighS) * time.Second
	m.bell.Every[timers.Medium] = time.Duration(a.MediumS) * time.Second
	m.bell.Every[timers.Low] = time.Duration(a.LowS) * time.Second
}

func (m *Model) lookAtClock() {
	m.now = m.cfg.Keeper.Now()
	m.windows = m.bench().Windows()
	plainWs := make([]timers.Window, len(m.windows))
	for i, w := range m.windows {
		plainWs[i] = w.Window
	}
	m.standings = timers.StandAll(plainWs, m.now)
	m.alarms = m.bench().Alarms(m.now)
	m.floodN, m.floodOn = m.flood.Look(m.alarms, m.now)
	m.bell.Flood = m.floodOn
}

func (m *Model) windowByKey(key string) (bench.Window, bool) {
	for _, w := range m.windows {
		if w.Key == key {
			return w, true
		}
	}
	return bench.Window{}, false
}

// Init starts the one chain of ticks and asks the terminal about its background and its
// name.
func (m *Model) Init() tea.Cmd {
	return tea.Batch(m.tick(), tea.RequestBackgroundColor, tea.RequestTerminalVersion)
}

func (m *Model) tick() tea.Cmd {
	return tea.Every(m.cfg.Every, func(time.Time) tea.Msg { return tickMsg{} })
}

// Update takes one message.
func (m *Model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.w, m.h = msg.Width, msg.Height
	case tea.BackgroundColorMsg:
		m.light = !msg.IsDark()
		m.theme = newTheme(!m.light, m.profile)
	case tea.ColorProfileMsg:
		m.profile = msg.String()
		m.theme = newTheme(!m.light, m.profile)
	case tea.KeyboardEnhancementsMsg:
		m.repeats = msg.SupportsEventTypes()
	case doubtMsg:
		if d := m.doubt; d != nil && msg.gen == m.doubts {
			m.doubt = nil
			return m, m.count(d.k, d.at)
		}
	case tea.TerminalVersionMsg:
		m.notice = m.cfg.Notify.of(msg.Name)
	case tickMsg:
		return m, tea.Batch(m.tick(), m.onTick())
	case changedMsg:
		m.refresh(msg.st)
		return m, tea.Batch(m.ring(), m.adviseLate(), m.cureLate())
	case adviceMsg:
		return m, m.onAdvice(msg)
	case cureMsg:
		return m, m.onCure(msg)
	case linesMsg:
		msg.f.lines = msg.lines
	case tellMsg:
		m.say(warn, msg.line)
	case troubleMsg:
		m.trouble = msg.line
	case savedMsg:
		return m, m.onSaved(msg)
	case reopenedMsg:
		m.saving = false
		if msg.err != nil {
			m.say(alarm, "the logbook still cannot be reached: "+msg.err.Error())
			return m, nil
		}
		m.lost = nil
		m.refresh(m.cfg.Keeper.State())
		m.say(good, "the logbook can be reached again")
	case tea.KeyPressMsg:
		if m.toast == "" { // it was seen
			m.trouble = ""
		}
		cmd, held := m.hold(msg)
		if held {
			return m, cmd
		}
		return m, tea.Batch(cmd, m.onKey(msg, m.cfg.Hands.Read().Mono))
	case lotMsg:
		m.lot = msg.text
		if msg.err != nil {
			m.lot = msg.err.Error()
		}
	case reviewMsg:
		m.reviewDone(msg)
	case tea.PasteMsg:
		if f := m.form(); f != nil && !m.saving {
			f.paste(msg)
		}
	case burstMsg:
		if msg.gen == m.burstGen {
			return m, m.release()
		}
	case tea.MouseClickMsg:
		return m, m.onClick(msg.Mouse())
	case tea.MouseWheelMsg:
		m.onWheel(msg.Mouse())
	}
	return m, nil
}

// say shows a line for a while.
func (m *Model) say(r role, s string) {
	m.toast, m.toastIs, m.toastAt = s, r, m.cfg.Hands.Read().Mono
}

// toastFor is how long a line stays.
const toastFor = 8 * time.Second

// onTick looks at the clocks, tells what happened to them, and rings.
func (m *Model) onTick() tea.Cmd {
	m.lookAtClock()
	if m.toast != "" && m.cfg.Hands.Read().Mono-m.toastAt > toastFor {
		m.toast = ""
	}
	var cmds []tea.Cmd
	for _, e := range timers.Compare(m.before, m.now.Reading, m.cfg.Tick) {
		cmds = append(cmds, m.onClock(e))
	}
	m.before = m.now.Reading
	if d := m.now.Mono - m.beatAt; d >= time.Minute || d < 0 {
		m.beatAt = m.now.Mono
		keeper := m.cfg.Keeper
		cmds = append(cmds, func() tea.Msg { _ = keeper.Beat(); return nil }) // a missed beat is made up by the next
	}
	if m.cfg.Script != nil {
		cmds = append(cmds, m.cfg.Script.play(m))
	}
	cmds = append(cmds, m.ring(), m.adviseLate(), m.cureLate())
	return tea.Batch(cmds...)
}

// onClock records what happened to the clocks and tells it once.
func (m *Model) onClock(e timers.ClockEvent) tea.Cmd {
	words := clockWords(e)
	m.say(warn, words)
	return m.append(action.Clock{What: string(e.What), ByS: int(e.By / time.Second), Detail: fit(e.Detail, 100)}, "", nil)
}

func clockWords(e timers.ClockEvent) string {
	switch e.What {
	case timers.Slept:
		return fmt.Sprintf("the computer slept %s (%s to %s): the windows ran on", span(e.By), e.From.Format("15:04"), e.To.Format("15:04"))
	case timers.Stepped:
		dir := "forward"
		by := e.By
		if by < 0 {
			dir, by = "back", -by
		}
		return fmt.Sprintf("the clock was moved %s %s: the windows are not affected, check the time", dir, span(by))
	case timers.Stalled:
		return fmt.Sprintf("the program did not run for %s", span(e.By))
	case timers.Zone:
		return "the time zone changed: " + e.Detail + "; the windows are not affected"
	}
	return fmt.Sprintf("the computer was started anew between %s and %s: times since are estimated from the clock", e.From.Format("Mon 15:04"), e.To.Format("Mon 15:04"))
}

// ring sounds the bell where an alarm is due, and says so in the terminal's own
// way too: the bell first, for it gets through everywhere.
func (m *Model) ring() tea.Cmd {
	al := m.bell.Ring(m.alarms, m.cfg.Hands.Read().Mono)
	if al == nil {
		return nil
	}
	words := oneLine(m.alarmWords(*al))
	ring := m.raw("\a" + m.notice.sequence(words))
	if tell := m.cfg.OnAlarm; tell != nil {
		return tea.Batch(ring, func() tea.Msg { tell(words); return nil })
	}
	return ring
}

// append records an action; then runs with the record once it is on the disk.
func (m *Model) append(body action.Body, why string, then func(logbook.Saved) tea.Cmd) tea.Cmd {
	return m.send(action.Action{ID: m.cfg.NewID(), At: m.cfg.Keeper.Now().Wall, By: m.by(), Body: body, Why: why}, then)
}

func (m *Model) by() string {
	if m.bench().Crew != "" {
		return m.bench().Crew
	}
	return m.cfg.By
}

func (m *Model) send(a action.Action, then func(logbook.Saved) tea.Cmd) tea.Cmd {
	m.saving = true
	keeper := m.cfg.Keeper
	return func() tea.Msg {
		s, err := keeper.Append(a)
		return savedMsg{s, err, a, then}
	}
}

// onSaved is where a record becomes visible: on the disk, refused, in want of a
// reason, not saved, or nobody knows.
func (m *Model) onSaved(msg savedMsg) tea.Cmd {
	m.saving = false
	var odd *bench.NeedsReason
	switch {
	case msg.err == nil:
		m.refresh(m.cfg.Keeper.State())
		return m.afterSaved(msg)
	case errors.As(msg.err, &odd):
		m.pushReason(msg.what, odd, msg.then)
	case errors.Is(msg.err, logbook.ErrUnknown):
		m.lost = msg.err
		m.unsend()
		m.say(alarm, "SAVED OR NOT: UNKNOWN. The logbook cannot be reached; ENTER tries again")
	case errors.Is(msg.err, logbook.ErrNotSaved):
		m.unsend()
		m.say(alarm, "NOT SAVED: "+msg.err.Error()+"; nothing typed is lost, try again")
	default:
		m.unsend()
		if f := m.form(); f != nil {
			f.note = msg.err.Error()
		} else {
			m.say(alarm, msg.err.Error())
		}
	}
	return m.drain()
}

func (m *Model) unsend() {
	if f := m.form(); f != nil {
		f.sent = false
	}
}

func (m *Model) afterSaved(msg savedMsg) tea.Cmd {
	for len(m.forms) > 0 && m.form().sent {
		delete(m.drafts, m.form().title)
		m.forms = m.forms[:len(m.forms)-1]
	}
	switch msg.saved.Action.Body.(type) {
	case action.Clock, action.Caution, action.Seen, action.AlarmHeard:
	default:
		m.say(good, fmt.Sprintf("saved: %s · record %d", m.recordWords(msg.saved.Action.Body), msg.saved.Seq))
	}
	var cmd tea.Cmd
	if msg.then != nil {
		cmd = msg.then(msg.saved)
	}
	return tea.Batch(cmd, m.drain(), m.ring(), m.adviseLate(), m.cureLate())
}

// drain takes the keys that were pressed while a record was being saved.
func (m *Model) drain() tea.Cmd {
	var cmds []tea.Cmd
	for len(m.queue) > 0 && !m.saving {
		k := m.queue[0]
		m.queue = m.queue[1:]
		cmds = append(cmds, m.key(k))
	}
	return tea.Batch(cmds...)
}

func (m *Model) form() *form {
	if len(m.forms) == 0 {
		return nil
	}
	return m.forms[len(m.forms)-1]
}

// open asks a form; what was typed into it when it was last left stands in it again.
func (m *Model) open(f *form) {
	for _, fd := range f.fields {
		if s := m.drafts[f.title][fd.name]; s != "" {
			fd.typed = s
			f.note = "what you typed before is still here"
		}
	}
	m.forms = append(m.forms, f)
}

// leave goes back from the form at hand, and keeps what was typed.
func (m *Model) leave() {
	f := m.form()
	m.forms = m.forms[:len(m.forms)-1]
	kept := map[string]string{}
	for _, fd := range f.fields {
		if (fd.kind == number || fd.kind == words) && fd.typed != "" {
			kept[fd.name] = fd.typed
		}
	}
	if len(kept) == 0 {
		delete(m.drafts, f.title)
		return
	}
	if m.drafts == nil {
		m.drafts = map[string]map[string]string{}
	}
	m.drafts[f.title] = kept
	m.say(dim, "left without a record; what you typed is kept for when you come back")
}

// answer has a form's action recorded; the form stays until it is on the disk.
func (m *Model) answer(f *form, body action.Body, why string, then func(logbook.Saved) tea.Cmd) tea.Cmd {
	f.sent = true
	return m.append(body, why, then)
}

// doubled is how soon the same key again counts as one press: a glove leans.
const doubled = 200 * time.Millisecond

// maxQueued bounds the keys kept while a record is being saved.
const maxQueued = 32

// A key held down is sent again after a quarter of a second to three quarters, as
// keyboards are set, and then at least every rhythm (by default 25 to 33 times a second;
// from memory). Terminals that do not report repeats leave it at that: the same key is
// therefore held back for a moment, and dropped when others like it follow in the rhythm.
const (
	heldAfter = 750 * time.Millisecond
	rhythm    = 80 * time.Millisecond
)

// doubtMsg lets the key count that was held back.
type doubtMsg struct{ gen int }

// onKey filters slips before a key counts.
func (m *Model) onKey(k tea.KeyPressMsg, now time.Duration) tea.Cmd {
	key := padKey(k)
	var before tea.Cmd
	if d := m.doubt; d != nil {
		m.doubt = nil
		if key == m.lastKey && now-d.at < rhythm {
			m.leaning = true
		} else {
			before = m.count(d.k, d.at)
		}
	}
	gap := now - m.lastKeyAt
	same := key == m.lastKey && gap < doubled
	again := key == m.lastKey && gap < heldAfter
	m.leaning = m.leaning && same
	m.lastKey, m.lastKeyAt = key, now
	// Two characters only where the first went into this field, too: what opened it may
	// bounce.
	into := m.fieldOf(key)
	if same && (into == nil || into != m.lastInto) || m.leaning || k.IsRepeat {
		if m.toast == "" || m.toastIs != good {
			m.say(dim, "the same key twice at once, or held down: taken as one press")
		}
		return before
	}
	if again && !same && !m.repeats {
		m.doubt = &heldKey{k, now}
		m.doubts++
		gen := m.doubts
		return tea.Batch(before, tea.Tick(rhythm, func(time.Time) tea.Msg { return doubtMsg{gen} }))
	}
	return tea.Batch(before, m.count(k, now))
}

// fieldOf is the field that a key would go into as a character, or nil.
func (m *Model) fieldOf(key string) *field {
	if f := m.form(); f != nil && f.typing() && key != "enter" {
		return f.fields[f.at]
	}
	return nil
}

// count takes a key that is no slip.
func (m *Model) count(k tea.KeyPressMsg, now time.Duration) tea.Cmd {
	key := padKey(k)
	m.lastInto = m.fieldOf(key)
	idle := time.Duration(m.house().CrewIdleS) * time.Second
	quiet := now - m.keyAt
	m.keyAt = now
	if idle > 0 && quiet >= idle && m.form() == nil && m.page != pageAway && key != "." {
		m.who("who is at the bench?", false) // somebody else may have come: the key that woke the bench does nothing more
		return nil
	}
	if m.saving {
		if len(m.queue) < maxQueued {
			m.queue = append(m.queue, k)
		}
		return nil
	}
	return m.key(k)
}

// key lets one key count.
func (m *Model) key(k tea.KeyPressMsg) tea.Cmd {
	key := padKey(k)
	if m.cfg.Script != nil {
		m.cfg.Script.hold(m)
	}
	if key == "ctrl+l" {
		return tea.ClearScreen
	}
	if m.lost != nil && key == "enter" {
		m.saving = true
		keeper := m.cfg.Keeper
		return func() tea.Msg { return reopenedMsg{keeper.Reopen()} }
	}
	if f := m.form(); f != nil {
		if key == "ctrl+c" {
			for len(m.forms) > 0 {
				m.leave()
			}
			return m.keyQuit(key)
		}
		cmd, left := f.key(key, k.Text)
		if left {
			m.leave()
		}
		return cmd
	}
	if m.page == pageAway {
		return m.keyAway(key)
	}
	if m.page == pageFar && key != "." && key != "ctrl+c" {
		m.page = pageBoard
		return nil
	}
	i := binding(key)
	if m.page == pageHandover && key == "+" {
		return m.takeOver()
	}
	if m.page == pageLots {
		switch key {
		case "+":
			return m.takeInLot()
		case "-":
			return m.withdrawLot()
		}
	}
	if m.page == pageFlask || m.page == pageHandover || m.page == pageLot || m.page == pageLots || m.page == pageReview || m.page == pagePress || m.page == pageHelp {
		switch key {
		case "enter", "space", "pgdown", "down":
			m.scroll++
			return nil
		case "up", "pgup":
			m.scroll = max(0, m.scroll-1)
			return nil
		case "0", "esc", "backspace":
			m.page, m.scroll = pageBoard, 0
			return nil
		}
	}
	if i < 0 {
		if numLockOff(key) {
			m.say(warn, "NumLock seems to be off: press NumLock")
		} else {
			m.say(warn, "not a key here: the keys are 1-9, ENTER, 0 . + - * and /")
		}
		return nil
	}
	return Bindings()[i].act(m, key)
}

// keyPlace selects a place.
func (m *Model) keyPlace(key string) tea.Cmd {
	switch key {
	case "up":
		m.sel = max(1, m.sel-1)
	case "down":
		m.sel = min(9, m.sel+1)
	default:
		m.sel = int(key[0] - '0')
	}
	m.scroll = 0
	return nil
}

// keyEnter takes the next step of the selected flask.
func (m *Model) keyEnter(string) tea.Cmd {
	f := m.selected()
	if f == nil {
		return m.newFlask(m.sel)
	}
	return m.take(f, m.bench().Next(f, m.now))
}

// keyHeard acknowledges the alarm at the top.
func (m *Model) keyHeard(string) tea.Cmd {
	for _, al := range m.alarms {
		if al.State == timers.Unacknowledged || al.State == timers.Returned {
			m.say(good, "heard: "+m.alarmWords(al))
			return m.append(action.AlarmHeard{Alarm: al.Key}, "", nil)
		}
	}
	m.say(dim, "no alarm waits to be heard")
	return nil
}

// keyShelve puts the alarm at the top on the shelf.
func (m *Model) keyShelve(string) tea.Cmd {
	for _, al := range m.alarms {
		if al.State != timers.Shelved {
			return m.append(action.AlarmShelve{Alarm: al.Key, ForS: m.house().Alarms.ShelveS}, "", nil)
		}
	}
	m.say(dim, "there is no alarm to shelve")
	return nil
}

func (m *Model) keyPage(string) tea.Cmd {
	m.scroll = 0
	switch {
	case m.page == pageHandover:
		m.page = pageBoard
	case m.page == pageFlask || m.selected() == nil:
		m.page = pageHandover
	default:
		m.page = pageFlask
	}
	return nil
}

func (m *Model) keyPress(string) tea.Cmd {
	m.scroll = 0
	if m.page == pagePress {
		m.page = pageFar
		return nil
	}
	m.page = pagePress
	return m.advise()
}

// keyFar shows the bench for eyes across the room.
func (m *Model) keyFar(string) tea.Cmd { m.page = pageFar; return nil }

// keyHandover shows what one shift tells the next.
func (m *Model) keyHandover(string) tea.Cmd { m.page, m.scroll = pageHandover, 0; return nil }

func (m *Model) keyHelp(string) tea.Cmd { m.page, m.scroll = pageHelp, 0; return nil }

// keyBack takes back the last record, after asking once.
func (m *Model) keyBack(string) tea.Cmd {
	it, ok := m.lastWork()
	if !ok {
		m.say(dim, "there is nothing to take back")
		return nil
	}
	f := &form{title: "take back: " + m.recordWords(it.Body) + " · " + it.Stamp.At.In(m.now.Wall.Location()).Format("15:04") + m.itemFlask(it),
		lines:  []string{"The record stays in the book and counts no more."},
		fields: []*field{choose("why", "why?", "wrong key", "misread", "trial or training", "other")}}
	f.done = func(f *form) tea.Cmd {
		return m.answer(f, action.TakeBack{Of: it.Action.ID}, []string{"6", "7", "8", "9"}[f.choice("why")-1], nil)
	}
	m.open(f)
	return nil
}

func (m *Model) itemFlask(it bench.Item) string {
	for _, s := range it.Body.Subjects() {
		if f := m.bench().Flasks[s.No]; s.Class == 'f' && f != nil {
			return " · case " + f.Case
		}
	}
	return ""
}

// lastWork finds the latest record that can be taken back.
func (m *Model) lastWork() (bench.Item, bool) {
	items := m.bench().Items
	for i := len(items) - 1; i >= 0; i-- {
		if items[i].TakenBack != nil || bench.Probed(items[i].Body) {
			continue
		}
		switch items[i].Body.(type) {
		case action.Clock, action.Seen, action.Crew, action.Caution, action.AlarmHeard, action.AlarmShelve, action.TakeBack, action.Settings:
			continue
		}
		return items[i], true
	}
	return bench.Item{}, false
}

// keyQuit asks before leaving.
func (m *Model) keyQuit(string) tea.Cmd {
	words := "leave? Every window runs on, and is here when you come back"
	if n := len(m.windows); n > 0 {
		run := fmt.Sprintf("%d windows run on", n)
		if n == 1 {
			run = "a window runs on"
		}
		words = "leave? " + run + ", but nothing rings while the program is closed"
	}
	f := &form{title: words, fields: []*field{choose("sure", "", "leave")}}
	f.done = func(*form) tea.Cmd { m.left = true; return tea.Quit }
	m.open(f)
	return nil
}
