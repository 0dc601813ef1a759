package bench

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/flash"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers/press"
)

// YouDecide stands beside every forecast.
const YouDecide = "estimates; you decide"

// ReasonWords puts a reason of the verdict into words, with the values people read on
// their own gauge.
func (b *Bench) ReasonWords(r flash.Reason) string {
	switch r.Code {
	case flash.PressureLow:
		psi := func(v float64) string { return units.FormatPressure(v, b.House.Units.Pressure) }
		return fmt.Sprintf("last trial at %s of %s", psi(r.Have), psi(r.Want))
	case flash.HoldShort:
		return fmt.Sprintf("last trial held %.0f s of %.0f s", r.Have, r.Want)
	}
	return r.Why
}

// LikelyWords say how many more closures are likely, against how many the dough allows.
func (o Outlook) LikelyWords() string {
	number := func(n int) string {
		if n > flash.MaxAhead {
			return fmt.Sprintf("more than %d", flash.MaxAhead)
		}
		return strconv.Itoa(n)
	}
	s := fmt.Sprintf("likely %s more (80 %%: %s)", number(o.Median), number(o.At80))
	if o.At80 == 0 {
		s = "no more closures needed"
	}
	if o.Allowed >= 0 {
		s += fmt.Sprintf("; dough allows %d", o.Allowed)
	}
	return s
}

// Short tells whether fewer closures fit into the dough's time than are likely wanted.
func (o Outlook) Short() bool { return o.Allowed >= 0 && o.Allowed < o.Median }

// WhySteep explains a forecast that a heavier early trial has made better; empty where too few
// trials stand behind it.
func (o Outlook) WhySteep() string {
	if n := len(o.Segments); n == 0 || o.Segments[n-1].Len < 2 {
		return ""
	}
	return "The heavier the early trials, the more steeply the forecast falls."
}

// NextWords say what the next closure is likely to show.
func (o Outlook) NextWords() string {
	return fmt.Sprintf("next ≤ slight %s (none %s, slight %s, heavy %s)", words.Percent(o.Next.None+o.Next.Slight), words.Percent(o.Next.None), words.Percent(o.Next.Slight), words.Percent(o.Next.Heavy))
}

// Waiting finds the flask that a job of the press order speaks of, nil where it has
// left the bench.
func (b *Bench) Waiting(id string) *Flask {
	n, err := strconv.Atoi(id)
	if err != nil {
		return nil
	}
	if f := b.Flasks[n]; f.AtWork() {
		return f
	}
	return nil
}

// placeWords name the place of a flask of the press order.
func (b *Bench) placeWords(id string) string {
	if f := b.Waiting(id); f != nil {
		return b.CallWords(f)
	}
	return "flask " + id
}

// HelpWords say what would help a flask in the press order.
func (b *Bench) HelpWords(h press.Help) string {
	others := ""
	if h.Others < -0.05 {
		others = fmt.Sprintf("; about %.1f of the others would then be late", -h.Others)
	}
	switch h.Code {
	case press.TakeFirst:
		return fmt.Sprintf("press it first: then %s%s", words.Percent(h.Chance), others)
	case press.LetWait:
		return fmt.Sprintf("let %s wait: then %s%s", b.placeWords(h.Flask), words.Percent(h.Chance), others)
	}
	return "pack it from a new mix"
}

// worseBy is the chance a flask at work must lose for another mix to be said to cost it
// something; below lies the noise of the draws (house default).
const worseBy = 0.02

// MixWords answer whether another mix can be made now, for some flasks of a size.
func (b *Bench) MixWords(c press.MixCost, size string) string {
	var fresh, worse []string
	for _, x := range c.Fresh {
		fresh = append(fresh, words.Percent(x.Chance))
	}
	line := fmt.Sprintf("If you mix now for one more %s flask: %s to be closed in time", size, strings.Join(fresh, ""))
	if len(fresh) != 1 {
		line = fmt.Sprintf("If you mix now for %d more %s flasks: %s to be closed in time", len(fresh), size, strings.Join(fresh, ", "))
	}
	for _, x := range c.AtWork {
		if x.Without-x.With > worseBy {
			worse = append(worse, fmt.Sprintf("%s %s instead of %s", b.placeWords(x.Flask), words.Percent(x.With), words.Percent(x.Without)))
		}
	}
	switch {
	case len(c.AtWork) == 0:
		line += "; no other flask is waiting"
	case len(worse) == 0:
		line += "; hardly delays the others"
	default:
		line += "; it would lower: " + strings.Join(worse, ", ")
	}
	return line + " (" + YouDecide + ")."
}

// soonFree is the work left on live dough up to which the next mix is best made (house default: where whole days were
// simulated, waiting until 6 to 8 min were left cost least, and not waiting four times as much).
const soonFree = 8 * time.Minute

// NextMixWords say when to mix the next, by the work that live dough still wants at the press; "" where there is none.
func NextMixWords(left time.Duration) string {
	switch {
	case left <= 0:
		return ""
	case left <= soonFree:
		return fmt.Sprintf("Next mix: now is a good time, about %d min still on the press (estimate).", max(1, int(left.Minutes())))
	}
	return fmt.Sprintf("Next mix: wait, about %d min still on the press (estimate).", int(left.Minutes()))
}
