// Package press estimates which flask goes in the press next.
//
// Several flasks wait while their dough stiffens; each wants a number of trial closures nobody knows beforehand, and
// each closure shows something of it. Advise solves a bench of up to three flasks exactly, by dynamic programming over
// what may be seen, and a fuller one with no more than two or three flasks under way at once. Where that would be too
// much work, counted in states, it plays the shift forward many times for each thing the hands could do now, drawing the
// closures still wanted from each flask's own distribution and going on by each of a few simple rules, and names the
// thing after which the most flasks are expected inside their dough (a rollout: Bertsekas, Tsitsiklis and Wu, Rollout
// algorithms for combinatorial optimization, Journal of Heuristics 3 (1997) 245-262, from memory). The draws are the same
// for every choice and from one asking to the next, so that the answer moves only when the bench does.
//
// Everything here is an estimate; the person at the bench decides. The package is pure: times run from now, and the
// same questions get the same answers.
package press

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Durations says how long the work at press and bench takes, each as a typical value.
type Durations struct {
	Raise time.Duration // into the press and up to pressure: hands and press
	Hold  time.Duration // under pressure: the press alone
	Open  time.Duration // out of the press, opened and judged: hands and press
	Trim  time.Duration // flash trimmed and a new sheet laid: hands
	Final time.Duration // the final closure, to clamped: hands and press
}

// Capacity says how much can be done at once.
type Capacity struct {
	Presses int // 1 to MaxBench
	Hands   int // pairs of hands, 1 to MaxBench
}

// Limits of what is worked out, so that any question is answered in bounded time.
const (
	maxBench = 9              // presses, and pairs of hands
	MaxJobs  = 18             // flasks: nine places and as many mixed anew
	maxMore  = 20             // trial closures looked ahead for one flask
	maxDraws = 512            // playings of the shift for one choice
	maxWork  = 100_000_000    // states times flasks
	MaxTime  = 48 * time.Hour // any duration given
)

// Progress says where a flask stands.
type Progress uint8

// The stages of a flask on its way to the final closure.
const (
	Waiting   Progress = iota // out of the press with its sheet laid, or ready: next the press
	Rising                    // going up to pressure until Job.Until
	Holding                   // held under pressure, long enough at Job.Until
	Opening                   // being opened and judged until Job.Until
	Untrimmed                 // open and judged: wants trimming and a sheet
	Trimming                  // being trimmed until Job.Until
	Closing                   // final closure under way until Job.Until

	finished // final closure over
	mixing   // no flask: a pair of hands at the mix
	gone     // no flask: the mix is made
)

// Job is one flask that has not had its final closure. Times run from now.
type Job struct {
	ID       string        // not empty, one flask each
	Progress Progress      // Waiting to Closing
	Until    time.Duration // Rising, Holding, Opening, Trimming, Closing: when that is over; negative when it has been over
	From     time.Duration // Waiting: earliest start in the press (separator dry, dough reached); 0 or less is now
	Due      time.Duration // end of the dough
	Ready    bool          // the last trial closure said ready: next is the final closure, More is not read
	// More[j] is the chance that j+1 more trial closures must be judged before the final one, counting the one a flask
	// in the press is having. What is wanting to a sum of 1 is put on one closure more than the last; a sum above 1 is
	// scaled down. Entries past MaxMore are put together.
	More []float64
}

// checkBench says what is wrong with the settings.
func checkBench(d Durations, b Capacity) error {
	for _, x := range []struct {
		name string
		t    time.Duration
	}{{"raise", d.Raise}, {"hold", d.Hold}, {"open", d.Open}, {"trim", d.Trim}, {"final", d.Final}} {
		if x.t < 0 || x.t > MaxTime {
			return fmt.Errorf("press duration %s is %v: want 0 to %v", x.name, x.t, MaxTime)
		}
	}
	if b.Presses < 1 || b.Presses > maxBench || b.Hands < 1 || b.Hands > maxBench {
		return fmt.Errorf("bench has %d presses and %d pairs of hands: want 1 to %d of each", b.Presses, b.Hands, maxBench)
	}
	return nil
}

// checkJobs says what is wrong with the flasks.
func checkJobs(jobs []Job) error {
	if len(jobs) > MaxJobs {
		return fmt.Errorf("%d flasks at the press: want at most %d", len(jobs), MaxJobs)
	}
	seen := make(map[string]bool, len(jobs))
	for _, j := range jobs {
		if j.ID == "" {
			return errors.New("flask without a name: each needs its own")
		}
		if seen[j.ID] {
			return fmt.Errorf("flask %s is given twice: each needs its own name", j.ID)
		}
		seen[j.ID] = true
		if err := j.check(); err != nil {
			return fmt.Errorf("flask %s: %w", j.ID, err)
		}
	}
	return nil
}

func (j *Job) check() error {
	if j.Progress > Closing {
		return fmt.Errorf("stage %d is none of the stages up to the final closure", j.Progress)
	}
	for _, t := range []time.Duration{j.Until, j.From, j.Due} {
		if err := checkTime(t); err != nil {
			return err
		}
	}
	if j.Ready || j.Progress == Closing {
		return nil
	}
	if _, err := cumulate(j.More); err != nil {
		return fmt.Errorf("chances of further closures: %w", err)
	}
	return nil
}

func checkTime(t time.Duration) error {
	if t < -MaxTime || t > MaxTime {
		return fmt.Errorf("%v from now is out of range: want at most %v", t, MaxTime)
	}
	return nil
}

// cumulate turns the chances of 1, 2, ... closures into the chance of at most that many, ending in exactly 1.
func cumulate(chances []float64) ([]float64, error) {
	sum := 0.0
	for _, x := range chances {
		if math.IsNaN(x) || x < 0 || x > 1+1e-9 {
			return nil, fmt.Errorf("%v is not a chance: want 0 to 1", x)
		}
		sum += x
	}
	if sum <= 0 {
		return nil, errors.New("all are nothing: want at least one above 0")
	}
	head := chances[:min(len(chances), maxMore-1)]
	scale := 1 / max(sum, 1)
	cum := make([]float64, 0, len(head)+1)
	c := 0.0
	for _, x := range head {
		c += x * scale
		cum = append(cum, min(c, 1))
	}
	const rounding = 1e-9
	if c < 1-rounding || len(head) == 0 {
		return append(cum, 1), nil
	}
	for i := len(cum) - 1; i >= 0 && cum[i] >= 1-rounding; i-- {
		cum[i] = 1
	}
	return cum, nil
}
