package bench

import (
	"fmt"
	"time"

	"flaskside/timers"
	"flaskside/timers/press"
)

// adviseEvery is how often the press order is worked out anew while nothing is recorded:
// time passing changes it slowly.
const adviseEvery = 10 * time.Second

// PressOrder advises which flask goes in the press next. There is one answer for a bench at an
// instant, whoever asks and whatever they were told before: it starts from the advice as it
// was at the last record of those at the press and leaves that for a real gain only. It is
// worked out every ten seconds from that record on, and at once when a dough ends.
func (b *Bench) PressOrder(now timers.Now) (press.Advice, error) {
	at, last := b.askedAt(now)
	first, err := b.orderAt(last, nil)
	if err != nil || last.Wall.Equal(at.Wall) {
		return since(first, now.Wall.Sub(last.Wall)), err
	}
	a, err := b.orderAt(at, &first)
	return since(a, now.Wall.Sub(at.Wall)), err
}

// since is an advice some time after it was given.
func since(a press.Advice, passed time.Duration) press.Advice {
	a.Next.Wait = max(0, a.Next.Wait-passed)
	return a
}

// orderAt works the press order out, or finds that it was.
func (b *Bench) orderAt(now timers.Now, before *press.Advice) (press.Advice, error) {
	jobs := b.jobs(now)
	if len(jobs) == 0 {
		return press.Advice{}, nil
	}
	key := fmt.Sprint(jobs, b.Durations(), b.PressBench(), before != nil)
	if before != nil {
		key += fmt.Sprint(before.Next, before.Order, before.GiveUp)
	}
	if a, ok := b.memo.order(key); ok {
		return a, nil
	}
	a, err := press.Advise(jobs, b.Durations(), b.PressBench(), press.AdviceOptions{Previous: before})
	if err == nil {
		b.memo.keepOrder(key, a)
	}
	return a, err
}

// askedAt is the instant at which the press order that holds now is worked out, and that of
// the last record of those at the press, as the clocks of now show them.
func (b *Bench) askedAt(now timers.Now) (at, last timers.Now) {
	passed, known := time.Duration(0), false
	ended := time.Duration(-1) // how long ago the last dough to end ended, where one has
	for _, f := range b.Flasks {
		if !f.AtWork() {
			continue
		}
		stamps := []timers.Stamp{f.Last}
		if m := b.MixOf(f); m != nil {
			stamps = append(stamps, m.Last)
			if left, _ := m.DoughLeft(now); left <= 0 && (ended < 0 || -left < ended) {
				ended = -left
			}
		}
		for _, s := range stamps {
			if p := max(0, now.Since(s).For); !known || p < passed {
				passed, known = p, true
			}
		}
	}
	over := passed % adviseEvery
	if ended >= 0 && ended < over {
		over = ended
	}
	return ago(now, over), ago(now, passed)
}

// ago is now some time ago, by every clock.
func ago(now timers.Now, d time.Duration) timers.Now {
	now.Wall = now.Wall.Add(-d)
	now.Boot -= d
	now.Mono -= d
	return now
}
