package tui

import (
	"fmt"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/keep"
	"flaskside/timers/simclock"
)

// fullDesk is a bench with nine flasks, six of them judged twice, and fifty
// windows.
func fullDesk(b *testing.B) *Model {
	b.Helper()
	ck := simclock.At(shiftStart, "boot-1")
	book, err := logbook.Open(b.TempDir()+"/bench.db", ck)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = book.Close() })
	n := 0
	do := func(body action.Body) {
		b.Helper()
		n++
		ck.Run(time.Second)
		if _, err := book.Append(action.Action{ID: fmt.Sprint("b", n), At: ck.Read().Wall, By: "KT", Body: body, Why: "8"}); err != nil {
			b.Fatal(err)
		}
	}
	for p := 1; p <= 9; p++ {
		do(action.FlaskOpen{Place: p, Case: fmt.Sprint(4400 + p), Base: "upper", Size: "medium"})
		do(action.Coat{Flask: p, Half: "cast"})
		do(action.Coat{Flask: p, Half: "teeth"})
	}
	do(action.MixMake{Flasks: []int{1, 2, 3, 4, 5, 6}})
	for p := 1; p <= 6; p++ {
		for _, g := range []string{"heavy", "heavy"} {
			do(action.PressIn{Flask: p})
			do(action.PressAt{Flask: p})
			do(action.PressOpen{Flask: p})
			do(action.Flash{Flask: p, Grade: action.Grade(g)})
		}
	}
	for i := 0; i < 43; i++ {
		do(action.TimerStart{Label: fmt.Sprint("timer ", i), Count: "window", MinS: 60 * (i + 1), MaxS: 120 * (i + 1)})
	}
	newID := func() string { n++; return fmt.Sprint("k", n) }
	screen, err := keep.New(book, ck, newID).Join(keep.Person{By: "KT", Own: true})
	if err != nil {
		b.Fatal(err)
	}
	m := New(Config{Keeper: screen, Hands: ck, NewID: newID, Every: time.Second})
	m.w, m.h, m.sel, m.advising = 160, 45, 3, true
	m.home()
	m.lookAtClock()
	if len(m.windows) < 50 {
		b.Fatalf("%d windows, want 50", len(m.windows))
	}
	return m
}

// BenchmarkKeyToFrame is one key that changes the screen, to the finished frame.
func BenchmarkKeyToFrame(b *testing.B) {
	m := fullDesk(b)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		m.Update(keyMsg(fmt.Sprint(i%9 + 1)))
		m.lastKeyAt = -time.Hour
		_ = m.View()
	}
}

// BenchmarkTick is one look at the clock and the frame that follows: what an idle
// bench does once a second.
func BenchmarkTick(b *testing.B) {
	m := fullDesk(b)
	b.ReportAllocs()
	for b.Loop() {
		m.lookAtClock()
		_ = m.View()
	}
}
