package sshdoor

import (
	"context"
	"regexp"
	"sync"
	"time"

	"charm.land/ssh"

	"flaskside/tui"
)

// Whether the other side takes what it is sent cannot be seen from the writing: it has room for
// 2 MiB, which a screen at rest takes hours to fill, and its program answers for itself while
// nobody reads. So the terminal is asked how it is, between two frames, and what it answers shows
// that it has read all that came before (ECMA-48, 8.3.35, device status report).
const howAreYou = "\x1b[5n"

// An answer, and the begin of one that has not come whole. A single Escape is a key, but where
// there was no room for more.
var (
	answers   = regexp.MustCompile(`\x1b\[\??[0-9]{1,2}n`)
	begun     = regexp.MustCompile(`\x1b\[\??[0-9]{0,2}$`)
	begunFull = regexp.MustCompile(`\x1b(\[\??[0-9]{0,2})?$`)
)

// longest is more than an answer has bytes.
const longest = 8

// mute is how many bytes go to a terminal that never answered, and whose keys are silent, while an
// answer is waited for, before it is taken for one that does not read (house default): a screen at
// rest is sent a thousandth of it meanwhile.
const mute = 512 << 10

// steady is a session that does not wait for a reader who stopped reading.
type steady struct {
	ssh.Session
	within time.Duration
	cut    func()
	taking taking
	held   []byte // the begin of what may be an answer; of the one who reads
}

func newSteady(s ssh.Session, within time.Duration, cut func()) *steady {
	return &steady{Session: s, within: within, cut: cut, taking: taking{came: make(chan struct{}, 1)}}
}

// taking is what is known of how a terminal takes what it is sent.
type taking struct {
	came chan struct{} // an answer came; room for one

	mu       sync.Mutex
	answered bool // it answers when it is asked
	sent     int  // bytes, since it was asked or gave a sign
	asked    time.Time
}

// onItsWay is how long an answer may be on its way to us (house default).
const onItsWay = 300 * time.Millisecond

// settle waits for an answer that is on its way still: after the screen has ended it would stand
// among what is typed at the next prompt.
func (t *taking) settle() {
	t.mu.Lock()
	rest := onItsWay - time.Since(t.asked)
	if !t.answered || len(t.came) > 0 {
		rest = 0
	}
	t.mu.Unlock()
	time.Sleep(rest)
}

// Write sends a piece of the screen.
func (s *steady) Write(p []byte) (int, error) {
	late := time.AfterFunc(s.within, s.cut)
	defer late.Stop()
	s.taking.mu.Lock()
	s.taking.sent += len(p)
	s.taking.mu.Unlock()
	return s.Session.Write(p)
}

// Read gives what is typed, without the answers to our question.
func (s *steady) Read(p []byte) (int, error) {
	for {
		had := copy(p, s.held)
		s.held = s.held[had:]
		if had == len(p) {
			return had, nil
		}
		n, err := s.Session.Read(p[had:])
		rest := s.heard(p[:had+n])
		part := begun
		if had+n == len(p) {
			part = begunFull
		}
		if at := part.FindIndex(rest); at != nil && err == nil && len(p) >= longest {
			s.held = append([]byte(nil), rest[at[0]:]...)
			rest = rest[:at[0]]
		}
		if len(rest) > 0 || err != nil {
			return copy(p, rest), err
		}
	}
}

// heard takes the answers out of what came.
func (s *steady) heard(p []byte) []byte {
	t := &s.taking
	answer := answers.Match(p)
	if answer {
		p = answers.ReplaceAll(p, nil)
	}
	t.mu.Lock()
	t.answered = t.answered || answer
	if answer || !t.answered { // the keys of one who answers show nothing of its eyes
		t.sent = 0
	}
	t.mu.Unlock()
	if answer {
		select {
		case t.came <- struct{}{}:
		default:
		}
	}
	return p
}

// owes tells whether a terminal that did not answer in time should have.
func (t *taking) owes() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.answered || t.sent > mute
}

// takes asks a terminal now and then whether it takes what it is sent, and cuts off one that
// does not answer.
func (d *Door) takes(ctx context.Context, s *steady, painter *tui.Painter) {
	wait := func(d time.Duration, came <-chan struct{}) (answered bool) {
		t := time.NewTimer(d)
		defer t.Stop()
		select {
		case <-ctx.Done():
		case <-came:
			return true
		case <-t.C:
		}
		return false
	}
	for ctx.Err() == nil {
		wait(d.lim.asking, nil)
		select {
		case <-s.taking.came: // late
		default:
		}
		s.taking.mu.Lock()
		s.taking.asked, s.taking.sent = time.Now(), 0
		s.taking.mu.Unlock()
		if !painter.Ask(howAreYou) || wait(d.lim.answering, s.taking.came) {
			continue
		}
		if ctx.Err() == nil && s.taking.owes() {
			s.cut()
			return
		}
	}
}
