// Package tui is the bench on a screen. It knows how things look and which key
// means what; what may be done, and what was done, it asks of the logbook. It
// never opens the book: it is handed one.
//
// One keypress travels: key, action, check and record in the logbook, and only
// when the record is on the disk does the screen show it. Every screen is drawn on
// a grid of cells ([frame]) by a plain function of the model.
package tui

import (
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

func (m *Model) by() string {
	if m.bench().Crew != "" {
		return m.bench().Crew
	}
	return m.cfg.By
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
