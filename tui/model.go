// Package tui is the bench on a screen. It knows how things look and which key
// means what; what may be done, and what was done, it asks of the logbook. It
// never opens the book: it is handed one.
//
// One keypress travels: key, action, check and record in the logbook, and only
// when the record is on the disk does the screen show it. Every screen is drawn on
// a grid of cells ([frame]) by a plain function of the model.
package tui

import (
	"slices"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bath"
	"flaskside/logbook/bench"
	"flaskside/logbook/keep"
	"flaskside/logbook/lot/recall"
	"flaskside/timers"
)

// Keeper is the logbook as the screen sees it.
type Keeper interface {
	recall.Source // looks through all records
	State() logbook.Snapshot
	Whole(from, until time.Time) (*bench.Bench, error) // the bench with all that was done in a time
	Append(action.Action) (logbook.Saved, error)
	Now() timers.Now
	Reopen() error
	Me() keep.Person       // whose screen it is, and what they may do
	Absence() keep.Absence // since when they had seen nothing of the bench
	RunsOn() bool          // the bench runs on when the screen is left
	Drafts() keep.Drafts   // what they typed elsewhere and did not send; asked for once
	Typing(keep.Drafts)    // what stands typed and not sent here now; waits for nobody
	Press(now timers.Now, mixSize string) (keep.PressOrder, error)
	Cure(bath.LoadCase) keep.CureEstimate
}

// Config is what the screen is handed.
type Config struct {
	Keeper   Keeper
	Hands    timers.Clock  // the clock that tells a doubled key from two
	NewID    func() string // an id for each action
	Every    time.Duration // how often the screen looks at the clock
	Title    string        // stands in the top line; the demo says what it is
	Book     string        // the file of the logbook as a command has to name it; "" for the usual one
	ScanHold time.Duration // how long a key may wait for the next of a scan; 0: scans on the bench are not looked for
	Notify   Notify        // how the terminal is told of an alarm beside the bell; "" for auto
	PlanDays int           // days on which a plan is tried, and played; 0: as many as it takes
	Script   *Script       // a shift that plays itself, for the demo
}

// Model is the whole screen: a page, what lies over it, and what both look upon. What a
// page shows and what its keys do is the page's own.
type Model struct {
	cfg Config
	sight
	terminal
	hands
	keeping
	told
	page   page
	overs  []over      // what lies over the page; the last one has the keys
	drafts keep.Drafts // typed and left, by what the form is called and the field's name
	noted  keep.Drafts // what the bench was last told of them
	whose  string      // initials of the person whose they are
	bell   timers.Bell
}

// terminal is what is known of the one at hand.
type terminal struct {
	theme   *theme
	light   bool                   // its background
	profile string                 // of its colours, by name
	repeats bool                   // it reports a key held down as such
	raw     func(s string) tea.Cmd // sends what is no screen
	notice  notice
}

// told is what is said above the keys.
type told struct {
	toast   string
	toastIs role
	toastAt time.Duration
	trouble string // shown where no toast is, until a key is pressed
	hushed  bool   // a question wants the rows of what is said
	aloud   bool   // all is read out: no window is too small
}

// Messages of the screen's own.
type (
	tickMsg  struct{}
	heardMsg struct{ news keep.News }
	savedMsg struct {
		saved logbook.Saved
		err   error
		what  action.Action
		then  func(logbook.Saved) tea.Cmd
	}
	reopenedMsg struct{ err error }
)

// heard tells the screen what is new on the bench.
func heard(n keep.News) tea.Msg { return heardMsg{n} }

// New makes the screen. It shows at once what fell due while no program ran.
func New(cfg Config) *Model {
	m := &Model{cfg: cfg, sight: sight{sel: 1, w: 80, h: 24, book: cfg.Book},
		terminal: terminal{theme: newTheme(true, ""), notice: cfg.Notify.of(""), raw: func(s string) tea.Cmd { return tea.Raw(s) }}}
	m.home()
	m.bell.Every = map[timers.Priority]time.Duration{}
	m.refresh(cfg.Keeper.State())
	m.changeHands()
	m.lookBack()
	m.pickFirst()
	if m.by() == "" && len(m.house().Crew) > 0 {
		m.who("who is at the bench?", false)
	}
	return m
}

// refresh takes a new state of the book and works out all that hangs on it and on
// the time.
func (m *Model) refresh(st logbook.Snapshot) {
	m.st = st
	m.follow()
	m.lookAtClock()
	a := st.Bench.House.Alarms
	m.bell.Every[timers.High] = time.Duration(a.HighS) * time.Second
	m.bell.Every[timers.Medium] = time.Duration(a.MediumS) * time.Second
	m.bell.Every[timers.Low] = time.Duration(a.LowS) * time.Second
}

func (m *Model) lookAtClock() {
	m.now = m.cfg.Keeper.Now()
	m.look()
}

// Init starts the one chain of ticks and asks the terminal about its background and its
// name.
func (m *Model) Init() tea.Cmd {
	return tea.Batch(m.tick(), m.recallThickness(), tea.RequestBackgroundColor, tea.RequestTerminalVersion)
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
	case heardMsg:
		return m, m.onNews(msg.news)
	case adviceMsg:
		return m, m.onAdvice(msg)
	case planMsg:
		return m, m.onPlan(msg)
	case cureMsg:
		return m, m.onCure(msg)
	case thickMsg:
		m.thick.of = msg
	case linesMsg:
		msg.f.lines = msg.lines
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
	case pageMsg:
		msg()
	case tea.PasteMsg:
		if f := m.form(); f != nil && !m.saving {
			if _, whole := m.lay(); whole {
				f.paste(msg)
			}
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

// by is whose screen it is: never who signed on at another one.
func (m *Model) by() string { return m.cfg.Keeper.Me().By }

// key lets one key count.
func (m *Model) key(k tea.KeyPressMsg) tea.Cmd {
	key := padKey(k)
	if m.cfg.Script != nil {
		m.cfg.Script.hold(m)
	}
	if key == "ctrl+l" {
		return tea.ClearScreen
	}
	if m.lost != nil && !m.gone() && key == "enter" {
		m.saving = true
		keeper := m.cfg.Keeper
		return func() tea.Msg { return reopenedMsg{keeper.Reopen()} }
	}
	if o := m.over(); o != nil {
		if key == "ctrl+c" {
			for len(m.overs) > 0 {
				m.leave()
			}
			return m.keyQuit(key)
		}
		if _, whole := m.lay(); !whole {
			return m.keyUnseen(key, "a question waits that this window is too small for: make it larger")
		}
		cmd, how := o.key(key, k.Text)
		if how == left || how == passed {
			m.leave()
		}
		switch {
		case how == passed:
			return tea.Batch(cmd, m.key(k))
		case how == through && key == ".":
			return tea.Batch(cmd, m.keyHeard(key))
		}
		return cmd
	}
	if m.small() && !slices.Contains([]string{"+", "n", "q", "ctrl+c"}, key) {
		return m.keyUnseen(key, "this window is too small to see what a key does: make it larger")
	}
	if cmd, taken := m.page.key(key); taken {
		return cmd
	}
	does, bound := binding(key)
	if !bound {
		if numLockOff(key) {
			m.say(warn, "NumLock seems to be off: press NumLock")
		} else {
			m.say(warn, "not a key here: the keys are 1-9, ENTER, 0 . + - * and /")
		}
		return nil
	}
	return does.act(m, key)
}

// keyUnseen takes a key where it cannot be seen what it would do: an alarm can be
// acknowledged.
func (m *Model) keyUnseen(key, why string) tea.Cmd {
	if key == "." || key == "a" && m.over() == nil {
		return m.keyHeard(key)
	}
	m.say(warn, why)
	return nil
}

// keyPlace selects a place.
func (m *Model) keyPlace(key string) tea.Cmd {
	switch key {
	case "up":
		m.arrow(-1)
	case "down":
		m.arrow(1)
	default:
		m.sel, m.off = int(key[0]-'0'), 0
	}
	return nil
}

// keyEnter takes the next step of the selected flask.
func (m *Model) keyEnter(string) tea.Cmd {
	if m.barred("coat") { // a step like any other
		return nil
	}
	f := m.selected()
	if f == nil {
		return m.newFlask(m.sel)
	}
	return m.take(f, m.bench().Next(f, m.now))
}

// keyHeard acknowledges the alarm at the top.
func (m *Model) keyHeard(string) tea.Cmd {
	if m.barred("alarm-heard") {
		return nil
	}
	for _, al := range m.alarms {
		if al.State == timers.Unacknowledged || al.State == timers.Returned {
			m.say(good, "acknowledged: "+m.alarmWords(al))
			m.toLoad(al)
			return m.append(action.AlarmHeard{Alarm: al.Key}, "", nil)
		}
	}
	m.say(dim, "no alarm to acknowledge")
	return nil
}

// keyShelve puts the alarm at the top snoozed.
func (m *Model) keyShelve(string) tea.Cmd {
	if m.barred("alarm-shelve") {
		return nil
	}
	for _, al := range m.alarms {
		if al.State != timers.Shelved {
			return m.append(action.AlarmShelve{Alarm: al.Key, ForS: m.house().Alarms.ShelveS}, "", nil)
		}
	}
	m.say(dim, "no alarm to snooze")
	return nil
}

func (m *Model) keyPage(string) tea.Cmd {
	if m.selected() == nil {
		return m.keyHandover("")
	}
	m.page = &flaskPage{leaf{m: m}}
	return nil
}

func (m *Model) keyPress(string) tea.Cmd {
	m.page = &pressPage{leaf{m: m}}
	return m.advise()
}

// keyFar shows the bench for eyes across the room.
func (m *Model) keyFar(string) tea.Cmd { m.page = &farPage{m}; return nil }

// keyDay shows the day on a time line.
func (m *Model) keyDay(string) tea.Cmd { m.page = &timePage{leaf{m: m}}; return nil }

// keyHandover shows what one shift tells the next.
func (m *Model) keyHandover(string) tea.Cmd { m.page = &handoverPage{leaf{m: m}}; return nil }

func (m *Model) keyHelp(string) tea.Cmd { m.page = &helpPage{leaf{m: m}}; return nil }

// keyLots shows the lots in the house.
func (m *Model) keyLots(string) tea.Cmd { m.page = &lotsPage{leaf{m: m}}; return nil }

// keyQuit asks before leaving.
func (m *Model) keyQuit(string) tea.Cmd {
	ask := "Quit? Your work is here when you come back."
	switch {
	case m.cfg.Keeper.RunsOn():
		ask = "Quit? The bench runs on without this screen."
	case len(m.windows) > 0:
		ask = "Quit? Timers keep running, but nothing rings until you open it again."
	}
	f := &form{title: ask, fields: []*field{choose("sure", "", "quit")}}
	f.done = func(*form) tea.Cmd { return tea.Quit }
	m.open(f)
	return nil
}
