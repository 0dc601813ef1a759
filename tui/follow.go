package tui

import (
	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/keep"
)

// Seat is what a screen has of the bench, and where its news comes from.
type Seat interface {
	Keeper
	Wake() <-chan struct{}
	Take() keep.News
}

// Modes is how often in a second the library looks whether a mode or the title of the terminal
// is another one. What stands on the screen does not wait for it (see [Painter]).
const Modes = 8

// Follow hands a running screen what is new on the bench, until it is over. A screen that is
// sent away is told to quit; why says the reason, "" where it was not.
func Follow(p *tea.Program, at Seat, over <-chan struct{}, quit func()) (why string) {
	for {
		select {
		case <-at.Wake():
		case <-over:
			return ""
		}
		n := at.Take()
		p.Send(heard(n))
		if n.Out != "" {
			quit()
			return n.Out
		}
	}
}
