package keep

import (
	"sync"

	"flaskside/logbook"
	"flaskside/logbook/mirror"
)

// News is what a screen has not been told yet. Of the state it is the newest only.
type News struct {
	State logbook.Snapshot
	Lines []Notice // in the order in which they were said; the oldest are given up
	Flood AlarmRate
	// Mirror is how the mirror of the book stands.
	Mirror mirror.Health
	Lost   error  // the book cannot be reached; nil: it can
	Out    string // why this screen ends; "" for not
}

// Notice is something to be said.
type Notice struct {
	Text    string `json:"text"`
	Trouble bool   `json:"trouble,omitempty"` // it stands until a key is pressed
}

// AlarmRate is how many alarms rose in the last [timers.floodSpan], and whether that is too many.
type AlarmRate struct {
	N  int  `json:"n,omitempty"`
	On bool `json:"on,omitempty"`
}

// mostLines is how many lines wait for a screen that does not fetch them.
const mostLines = 16

// Add adds a line to what is to be said.
func (n *News) Add(l Notice) {
	n.Lines = append(n.Lines, l)
	n.Lines = n.Lines[max(0, len(n.Lines)-mostLines):]
}

// Box holds what is new for one screen. There is room for one: the newest wins, and who puts
// something in never waits for who takes it out.
type Box struct {
	mu   sync.Mutex
	news News
	wake chan struct{}
}

func NewBox() *Box { return &Box{wake: make(chan struct{}, 1)} }

// Put changes what is new. It waits for nobody.
func (b *Box) Put(f func(*News)) {
	b.mu.Lock()
	f(&b.news)
	b.mu.Unlock()
	select {
	case b.wake <- struct{}{}:
	default: // it has been said already that there is something
	}
}

// Wake has something in it when there is something to take.
func (b *Box) Wake() <-chan struct{} { return b.wake }

// Take gives what is new, and forgets the lines.
func (b *Box) Take() News {
	b.mu.Lock()
	defer b.mu.Unlock()
	n := b.news
	b.news.Lines = nil
	return n
}
