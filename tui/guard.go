package tui

import (
	"fmt"
	"runtime/debug"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"
)

// guarded keeps a fault of the screen from ending the bench: the timers run on,
// the trace goes to a file, and the person is told in one line.
type guarded struct {
	*Model
	report func(trace string) string // where the trace went
}

// Guarded wraps the screen so that no fault of it reaches the person as a trace or
// leaves the terminal raw. report keeps the trace and says where.
func Guarded(m *Model, report func(trace string) string) tea.Model { return guarded{m, report} }

func (g guarded) caught(where string) {
	if p := recover(); p != nil {
		file := g.report(fmt.Sprintf("%s: %v\n\n%s", where, p, debug.Stack()))
		g.overs, g.saving = nil, false
		g.say(alarm, "a fault in the program; the logbook is not damaged, timers keep running. Details in "+file)
	}
}

// Init of the screen.
func (g guarded) Init() tea.Cmd { return g.safe(g.Model.Init()) }

// Update of the screen.
func (g guarded) Update(msg tea.Msg) (m tea.Model, cmd tea.Cmd) {
	m = g
	defer g.caught("update")
	_, cmd = g.Model.Update(msg)
	return g, g.safe(cmd)
}

// View of the screen.
func (g guarded) View() (v tea.View) {
	v = tea.NewView(unseen)
	v.AltScreen = true
	defer func() {
		if p := recover(); p != nil {
			g.undrawn(p)
		}
	}()
	return g.Model.View()
}

// unseen stands where a page cannot be drawn.
const unseen = "flaskside: this page cannot be drawn; 0 goes back to the bench"

// undrawn keeps and tells that a page could not be drawn, and goes back to the bench.
func (g guarded) undrawn(p any) {
	file := g.report(fmt.Sprintf("view: %v\n\n%s", p, debug.Stack()))
	g.overs = nil
	g.home()
	g.say(alarm, "a fault in the program; the logbook is not damaged, timers keep running. Details in "+file)
}

// painted is a guarded screen that a painter draws.
type painted struct {
	guarded
	p *Painter
}

// Painted is [Guarded] with a painter, which is closed when the program has ended.
func Painted(m *Model, report func(trace string) string, p *Painter) tea.Model {
	s := painted{guarded{m, report}, p}
	p.begin(s.frame)
	return s
}

// Update of the screen.
func (s painted) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	s.p.model.Lock()
	defer s.p.model.Unlock()
	if r, ok := msg.(tea.ModeReportMsg); ok && r.Mode == ansi.ModeSynchronizedOutput {
		s.p.atOnce(r.Value == ansi.ModeReset)
	}
	_, cmd := s.guarded.Update(msg)
	switch msg.(type) {
	case tickMsg, heardMsg, adviceMsg, cureMsg, planMsg, thickMsg:
		wake(s.p.soon)
	default: // a key, or what came of one
		wake(s.p.now)
	}
	return s, cmd
}

// View of the screen, but what stands in it.
func (s painted) View() (v tea.View) {
	s.p.model.Lock()
	defer s.p.model.Unlock()
	v.AltScreen = true
	defer func() {
		if p := recover(); p != nil {
			s.undrawn(p)
		}
	}()
	v = s.modes()
	v.SetContent(" ") // of nothing at all the library clears the terminal at each beat
	return v
}

// frame draws the screen; where it cannot be drawn the bench comes in its place with the
// next beat of the clock.
func (s painted) frame(blank func(w, h int) *frame) (f *frame, look *theme) {
	if s.w <= 0 || s.h <= 0 {
		return nil, nil
	}
	defer func() {
		if p := recover(); p != nil {
			s.undrawn(p)
			f, look = newFrame(s.w, s.h), s.theme
			f.text(0, 0, plain, unseen)
		}
	}()
	return s.drawOn(blank(s.w, s.h)), s.theme
}

// safe wraps a command, and those it batches, against panics: in a batch a trace
// would be lost and the terminal left to itself.
func (g guarded) safe(cmd tea.Cmd) tea.Cmd {
	if cmd == nil {
		return nil
	}
	return func() (msg tea.Msg) {
		defer func() {
			if p := recover(); p != nil {
				g.report(fmt.Sprintf("command: %v\n\n%s", p, debug.Stack()))
				msg = savedMsg{err: fmt.Errorf("a fault in the program: %v", p)}
			}
		}()
		msg = cmd()
		if batch, ok := msg.(tea.BatchMsg); ok {
			for i := range batch {
				batch[i] = g.safe(batch[i])
			}
		}
		return msg
	}
}
