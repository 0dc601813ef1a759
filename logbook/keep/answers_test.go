package keep

import (
	"crypto/rand"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/record"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

// However many hands reach for one alarm at once, it is acknowledged once and snoozed once in the book, and each of
// them is told the record by which it was.
func TestAnAlarmIsAnsweredOnce(t *testing.T) {
	longrun.Checks(t, 30, 1000)
	dir, n := t.TempDir(), 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		d := &desktop{t: rt, ck: simclock.At(start, "boot-1"), path: filepath.Join(dir, fmt.Sprint(n, ".db"))}
		book, err := logbook.Open(d.path, d.ck)
		if err != nil {
			rt.Fatal(err)
		}
		defer func() { _ = book.Close() }() // thrown away
		d.book, d.hub = book, New(book, d.ck, rand.Text)
		first := d.join(Person{By: "KT", Own: true})
		for i := range rapid.IntRange(1, 3).Draw(rt, "alarms") {
			d.do(first, action.TimerStart{Label: fmt.Sprint("plaster ", i), Count: "down", AimS: 60})
		}
		d.ck.Run(2 * time.Minute)
		var answers []action.Body // one to each alarm
		for _, al := range book.State().Bench.Alarms(book.Now()) {
			answers = append(answers, rapid.SampledFrom([]action.Body{action.AlarmHeard{Alarm: al.Key}, action.AlarmShelve{Alarm: al.Key, ForS: 600}}).Draw(rt, "answer"))
		}
		screens := []*Screen{first}
		for _, by := range []string{"MB", "LL", "SV"}[:rapid.IntRange(1, 3).Draw(rt, "others")] {
			screens = append(screens, d.join(Person{By: by}))
		}
		var all sync.WaitGroup
		var mu sync.Mutex
		told := map[action.Body]map[uint64]int{}
		for _, s := range screens {
			for _, body := range answers {
				if rapid.IntRange(0, 3).Draw(rt, "leaves it") == 0 {
					continue
				}
				a := d.act(s.Me().By, body)
				a.At = a.At.Add(-time.Duration(rapid.IntRange(0, 3).Draw(rt, "ms")) * time.Millisecond)
				all.Go(func() {
					saved, err := s.Append(a)
					if err != nil {
						rt.Errorf("%s of %s: %v", body.Kind(), a.By, err)
						return
					}
					mu.Lock()
					defer mu.Unlock()
					if told[body] == nil {
						told[body] = map[uint64]int{}
					}
					told[body][saved.Seq]++
					if own := saved.Action.ID == a.ID; own == saved.Already {
						rt.Errorf("%s of %s: record %d by %s, there already: %v", body.Kind(), a.By, saved.Seq, saved.Action.By, saved.Already)
					}
				})
			}
		}
		all.Wait()
		got := map[action.Body]int{}
		err = book.Each(1, func(r record.Record) (bool, error) {
			switch r.Action.Body.(type) {
			case action.AlarmHeard, action.AlarmShelve:
				got[r.Action.Body]++
			}
			return true, nil
		})
		if err != nil {
			rt.Fatal(err)
		}
		for body, seqs := range told {
			if got[body] != len(seqs) || got[body] > 1 {
				rt.Errorf("%s: %d records, told as %v", body.Kind(), got[body], seqs)
			}
		}
	})
}
