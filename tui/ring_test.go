package tui

import (
	"bytes"
	"context"
	"crypto/rand"
	"fmt"
	"path/filepath"
	"regexp"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/keep"
	"flaskside/timers"
)

// bubbleClock reads the clock of a synctest bubble, whose time passes when all wait.
type bubbleClock struct{ from time.Time }

func (c bubbleClock) Read() timers.Reading {
	now := time.Now()
	since := now.Sub(c.from)
	return timers.Reading{Wall: now.Round(0), Boot: time.Hour + since, Mono: since, BootID: "boot-1"}
}

// lockedBuffer is the terminal that the program writes to.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

// command is an operating system command (ECMA-48, 8.3.89), which may end in BEL.
var command = regexp.MustCompile(`\x1b\][^\a\x1b]*(\a|\x1b\\)`)

// bells counts the sounds.
func (l *lockedBuffer) bells() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return bytes.Count(command.ReplaceAll(l.b.Bytes(), nil), []byte{'\a'})
}

// TestTheAlarmRings, from end to end: the whole program, its loop, its timers and its
// book, in time that is made to pass. Ten minutes after the separator was painted the
// bell sounds and the command for alarms is told, within a second, and not before; nobody
// answers, and it sounds again as the house says.
func TestTheAlarmRings(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock := bubbleClock{time.Now()}
		book, err := logbook.Open(filepath.Join(t.TempDir(), "bench.db"), clock)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		do := func(body action.Body) {
			t.Helper()
			n++
			if _, err := book.Append(action.Action{ID: fmt.Sprint("a", n), At: clock.Read().Wall, By: "KT", Body: body}); err != nil {
				t.Fatal(err)
			}
		}
		do(action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "small"})
		do(action.Coat{Flask: 1, Half: "both", DryMinS: 600})
		painted := time.Now()
		var mu sync.Mutex
		var told []string
		var first time.Time
		var out lockedBuffer
		newID := func() string { return rand.Text() }
		hub := keep.New(book, clock, newID)
		screen, err := hub.Join(keep.Person{By: "KT", Own: true})
		if err != nil {
			t.Fatal(err)
		}
		m := New(Config{Keeper: screen, Hands: clock, NewID: newID, Every: time.Second})
		ctx, leave := context.WithCancel(t.Context())
		go hub.Watch(ctx, keep.Watch{Every: time.Second, Tick: time.Second, Words: AlarmWords, OnAlarm: func(words string) {
			mu.Lock()
			defer mu.Unlock()
			if told = append(told, words); len(told) == 1 {
				first = time.Now()
			}
		}})
		p := tea.NewProgram(m, tea.WithInput(nil), tea.WithOutput(&out), tea.WithWindowSize(80, 24), tea.WithFPS(10), tea.WithoutSignalHandler(), tea.WithEnvironment([]string{"TERM=xterm-256color"}))
		over := make(chan error, 1)
		go func() { _, err := p.Run(); over <- err }()

		time.Sleep(10*time.Minute - time.Second)
		synctest.Wait()
		if mu.Lock(); len(told) > 0 || out.bells() > 0 {
			t.Errorf("a second early it has told %q, %d bells", told, out.bells())
		}
		mu.Unlock()
		time.Sleep(2 * time.Second)
		synctest.Wait()
		mu.Lock()
		if len(told) != 1 || told[0] != "BOTH HALVES: DRYING TIME IS UP · place 1" || out.bells() != 1 {
			t.Errorf("it has told %q, %d bells", told, out.bells())
		}
		if late := first.Sub(painted.Add(10 * time.Minute)); late < 0 || late > time.Second {
			t.Errorf("the alarm rang %v after its instant", late)
		}
		mu.Unlock()
		time.Sleep(time.Duration(book.State().Bench.House.Alarms.LowS+1) * time.Second)
		synctest.Wait()
		if mu.Lock(); len(told) != 2 {
			t.Errorf("unanswered it has told %q", told)
		}
		mu.Unlock()
		leave()
		p.Quit()
		if err := <-over; err != nil {
			t.Error(err)
		}
		time.Sleep(2 * time.Second) // its last look at the clock ends
		if err := book.Close(); err != nil {
			t.Error(err)
		}
	})
}
