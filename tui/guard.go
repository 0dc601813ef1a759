package tui

import (
	"fmt"
	"runtime/debug"

	tea "charm.land/bubbletea/v2"
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
	v = tea.NewView("flaskside: this page cannot be drawn; 0 goes back to the bench")
	v.AltScreen = true
	defer func() {
		if p := recover(); p != nil {
			file := g.report(fmt.Sprintf("view: %v\n\n%s", p, debug.Stack()))
			g.overs = nil
			g.home()
			g.say(alarm, "a fault in the program; the logbook is not damaged, timers keep running. Details in "+file)
		}
	}()
	return g.Model.View()
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
