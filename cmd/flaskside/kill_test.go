//go:build unix

package main

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/door"
	"flaskside/logbook/record"
	"flaskside/timers/longrun"
	"flaskside/timers/sysclock"
)

var benchKills = flag.Int("bench-kills", longrun.Times(4, 200), "how often the real program is killed while others write through its door")

// TestKillBench kills the real program, kill -9, at random instants while three others
// write through its door and its screen draws. Each record that was acknowledged at the
// door is in the book, the chain is whole, and the bench equals the fold of the records.
func TestKillBench(t *testing.T) {
	t.Parallel() // it waits more than it works
	kills := *benchKills
	if testing.Short() {
		kills = min(kills, 10)
	}
	rnd := rand.New(rand.NewPCG(20261126, 1))
	clock := sysclock.New()
	path, acked := "", map[string]uint64{}
	total, most := 0, 0
	for round := range kills {
		if round%25 == 0 { // a fresh book now and then: killed while it is made, too
			path, acked = filepath.Join(t.TempDir(), "bench.db"), map[string]uint64{}
		}
		tm := open(t, path)
		var mu sync.Mutex
		got := map[string]uint64{}
		// In three rounds of four the kill waits for some acknowledgements, so that it
		// falls among writes however slow the machine is; in the others it may come
		// before the book is there.
		after := 0
		if rnd.IntN(4) > 0 {
			after = 1 + rnd.IntN(10)
		}
		over, enough := make(chan struct{}), make(chan struct{})
		var writers sync.WaitGroup
		for g := range 3 {
			writers.Go(func() {
				for n := 0; ; {
					select {
					case <-over:
						return
					default:
					}
					c, err := door.Dial(path)
					if err != nil {
						time.Sleep(2 * time.Millisecond) // not there yet, or no more
						continue
					}
					id := fmt.Sprintf("r%d-%d-%d", round, g, n)
					var body action.Body = action.Note{Flask: 1, Text: id}
					if g == 0 && n == 0 && len(acked) == 0 {
						body = action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"}
					}
					answers, err := c.Append([]action.Action{{ID: id, At: clock.Read().Wall, By: "KT", Body: body}}, false)
					if err != nil {
						continue // refused, or killed meanwhile: nobody was told that it is saved
					}
					n++
					mu.Lock()
					if got[id] = answers[0].Seq; len(got) == after {
						close(enough)
					}
					mu.Unlock()
				}
			})
		}
		if after > 0 {
			select {
			case <-enough:
			case <-time.After(2 * time.Minute):
				t.Fatalf("round %d: the bench takes no records", round)
			}
			time.Sleep(time.Duration(rnd.IntN(20_000)) * time.Microsecond)
		} else {
			time.Sleep(time.Duration(rnd.IntN(120)) * time.Millisecond)
		}
		if err := tm.cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		close(over)
		writers.Wait()
		_ = tm.ended() // killed: its error is known
		_ = tm.pty.Close()
		for id, seq := range got {
			acked[id] = seq
		}
		total, most = total+len(got), max(most, len(got))
		if len(acked) == 0 {
			continue // killed before there was a book
		}
		rep, err := logbook.Verify(path, check.Verifying{})
		if err != nil || len(rep.Faults) > 0 {
			t.Fatalf("round %d: %v, faults %v", round, err, rep.Faults)
		}
		book, err := logbook.OpenReading(path, clock)
		if err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
		there := map[string]uint64{}
		err = book.Each(1, func(r record.Record) (bool, error) { there[r.Action.ID] = r.Seq; return true, nil })
		_ = book.Close() // only read from
		if err != nil {
			t.Fatal(err)
		}
		for id, seq := range acked {
			if there[id] != seq {
				t.Fatalf("round %d: record %d (%s) was acknowledged and stands at %d", round, seq, id, there[id])
			}
		}
	}
	t.Logf("%d kills of the real program: %d records acknowledged at the door, at most %d in a round, none lost", kills, total, most)
	if total < 2*kills {
		t.Errorf("only %d records in %d rounds: the kills try nothing", total, kills)
	}
}
