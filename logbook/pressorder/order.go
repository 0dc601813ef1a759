// Package pressorder tells the press order of a bench, and what rules of order lose on simulated
// shifts of its house, in words and for other programs.
package pressorder

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/bench"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/each"
	"flaskside/timers/press"
)

// Order is the press order. Lengths of time are seconds.
type Order struct {
	At        time.Time     `json:"at"`
	Next      *next         `json:"next"`        // null where nothing can be done
	Order     []int         `json:"order"`       // flasks by their next turn in the press
	Flasks    []waiting     `json:"flasks"`      // those that wait for the press or are in it
	AllInTime float64       `json:"all_in_time"` // chance that every flask is in time; 0 where one is lost
	Others    float64       `json:"others"`      // chance that every flask not lost is in time
	Expected  float64       `json:"expected"`    // flasks expected in time
	GiveUp    int           `json:"give_up,omitempty"`
	Mix       mix           `json:"another_mix"`
	NextMix   string        `json:"next_mix,omitempty"` // when to make it
	Note      string        `json:"note"`
	bench     *bench.Bench  // for words
	cost      press.MixCost // of the other mix
}

// dough says how long the dough of a flask can still be worked.
func (r Order) dough(f waiting) string {
	switch {
	case r.bench.MixOf(r.bench.Flasks[f.Flask]) == nil:
		return "no mix"
	case f.DoughS == 0:
		return "dough over"
	}
	return "dough left " + units.FormatWhole(time.Duration(f.DoughS)*time.Second)
}

// Text writes it to be read.
func (r Order) Text(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "press order, %s (%s)\n", r.At.Format("Mon 2 Jan 15:04:05"), bench.YouDecide)
	place := func(flask int) string { return r.bench.CallWords(r.bench.Flasks[flask]) }
	if len(r.Flasks) == 0 {
		b.WriteString("no flask waits for the press\n")
	}
	if n := r.Next; n != nil {
		fmt.Fprintf(&b, "next: %s %s (case %s)", n.Do, r.bench.WhereWords(r.bench.Flasks[n.Flask]), r.bench.Flasks[n.Flask].Case)
		if n.WaitS > 0 {
			fmt.Fprintf(&b, " in %s", seconds(n.WaitS))
		}
		b.WriteString("\n")
	}
	if len(r.Order) > 0 {
		turns := each.Of(r.Order, place)
		fmt.Fprintf(&b, "turns: %s\n", strings.Join(turns, ", then "))
	}
	var lost []string
	for _, f := range r.Flasks {
		chance := "in time " + words.Percent(f.Chance)
		if f.Lost {
			chance = "too late"
			lost = append(lost, place(f.Flask))
		}
		fmt.Fprintf(&b, "  %s  case %-9s %-20s %-23s %s\n", r.bench.WhereWords(r.bench.Flasks[f.Flask]), f.Case, f.Stage, r.dough(f), chance)
		for _, h := range f.Help {
			fmt.Fprintf(&b, "           %s\n", h.What)
		}
	}
	switch left := len(r.Flasks) - len(lost); {
	case len(lost) > 0 && left == 0:
		b.WriteString("all in time: no flask can be in time any more\n")
	case len(lost) > 0:
		fmt.Fprintf(&b, "all in time: no, out of time: %s; all the others in time: %s\n", strings.Join(lost, ", "), words.Percent(r.Others))
	case left > 1:
		fmt.Fprintf(&b, "all in time: %s\n", words.Percent(r.AllInTime))
	}
	if r.GiveUp > 0 {
		fmt.Fprintf(&b, "Not all are likely to be in time; giving up %s saves most of the others.\n", place(r.GiveUp))
	}
	b.WriteString(r.bench.MixWords(r.cost, r.Mix.Size) + "\n")
	if r.NextMix != "" {
		b.WriteString(r.NextMix + "\n")
	}
	_, err := io.WriteString(w, b.String())
	return err
}

type next struct {
	Do    string `json:"do"`
	Flask int    `json:"flask"`
	Place int    `json:"place"`
	WaitS int    `json:"wait_s"`
}

type waiting struct {
	Flask  int              `json:"flask"`
	Place  int              `json:"place"`
	Case   string           `json:"case"`
	Stage  bench.FlaskStage `json:"stage"`
	DoughS int              `json:"dough_left_s"` // 0 where it is over, or the flask has no mix
	Chance float64          `json:"chance"`       // to be finally closed inside its dough
	Lost   bool             `json:"lost"`         // it too late
	Help   []help           `json:"help"`
}

type help struct {
	What   string  `json:"what"`
	Chance float64 `json:"chance"` // what it would then be
	Others float64 `json:"others"` // flasks more of the others; below 0 fewer
}

type mix struct {
	Size     string  `json:"size"`
	Flasks   int     `json:"flasks"`
	Cost     float64 `json:"cost"`     // flasks at work expected to be lost more
	Expected float64 `json:"expected"` // flasks of the mix expected in time
	AtWork   []worse `json:"at_work"`
}

type worse struct {
	Flask   int     `json:"flask"`
	Without float64 `json:"without"`
	With    float64 `json:"with"`
}

// Of asks for the press order and what another mix would cost.
func Of(b *bench.Bench, now timers.Now, size string, flasks int) (Order, error) {
	r := Order{At: now.Wall, Order: []int{}, Flasks: []waiting{}, Note: bench.YouDecide, bench: b}
	a, err := b.PressOrder(now)
	if err != nil {
		return r, err
	}
	if f := b.Waiting(a.Next.Flask); f != nil {
		r.Next = &next{a.Next.Verb.String(), f.No, f.Place, whole(a.Next.Wait)}
	}
	r.Order = append(r.Order, each.Of(a.Order, number)...)
	for _, x := range a.Flasks {
		f := b.Waiting(x.Flask)
		left := time.Duration(0)
		if m := b.MixOf(f); m != nil && m.Stiff == nil {
			left, _ = m.DoughLeft(now)
		}
		p := waiting{Flask: f.No, Place: f.Place, Case: f.Case, Stage: f.Stage, DoughS: max(0, whole(left)), Chance: x.Chance, Lost: x.Lost, Help: []help{}}
		for _, h := range x.Help {
			p.Help = append(p.Help, help{b.HelpWords(h), h.Chance, h.Others})
		}
		r.Flasks = append(r.Flasks, p)
	}
	r.AllInTime, r.Others, r.Expected, r.GiveUp = a.AllInTime, a.Others, a.Expected, number(a.GiveUp)
	if r.cost, err = b.CostOfMix(now, size, flasks); err != nil {
		return r, err
	}
	r.NextMix = bench.NextMixWords(b.PressWorkLeft(now))
	r.Mix = mix{size, flasks, r.cost.Cost, r.cost.Expected, []worse{}}
	for _, x := range r.cost.AtWork {
		r.Mix.AtWork = append(r.Mix.AtWork, worse{number(x.Flask), x.Without, x.With})
	}
	return r, nil
}

// number is the flask that a job stands for, 0 for none.
func number(id string) int {
	n, err := strconv.Atoi(id)
	if err != nil {
		return 0
	}
	return n
}

// whole seconds, rounded up, so that nothing reads as reached before it is.
func whole(d time.Duration) int { return int(math.Ceil(d.Seconds())) }

func seconds(n int) string { return units.FormatDuration(time.Duration(n) * time.Second) }
