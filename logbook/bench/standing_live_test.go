package bench_test

import (
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// A reading counts from the moment it is recorded: a cure with one is never told as one
// without, however lately the flask went in.
func TestReadingOfTheFirstMinuteIsSeen(t *testing.T) {
	s := newStock(t)
	s.do(action.BathLoad{Flasks: []int{1}, Programme: s.bench().House.Programmes[0].Name}, "8")
	s.ck.Run(15 * time.Second)
	s.do(action.BathReading{Bath: 1, TempC: 60, Source: "typed"}, "")
	s.ck.Run(5 * time.Second)
	b := s.bench()
	st, err := b.StandingOf(b.Flasks[1], timers.Now{Reading: s.ck.Read()})
	if err != nil || st.Readings != 1 {
		t.Errorf("%d readings seen, %v; want 1", st.Readings, err)
	}
}
