package review

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/stats"
	"flaskside/timers/each"
)

// Notes that stand in every form of the review.
const (
	notePeople = "Figures of the work, not of people. They describe the records and decide nothing; what is called an estimate is one."
	noteShares = "Shares stand with their 95 % intervals (Wilson). What rests on fewer than 20 flasks is called a small number: too few to mean much."
	noteDough  = "The working time is an estimate, corrected by the marks made on the mix; a final closure counts when the halves are metal to metal."
	noteTimes  = "In minutes. Half of all lie within the middle half. A time with work on other flasks in between counts whole."
	noteFisher = "p is two-sided from Fisher's exact test: how often tables at least as uneven come about if the two have nothing to do with each other. It does not tell a cause. Without means without this one; a flask with several things stands in several rows."
	noteSmall  = "small: fewer than 20 flasks on one side."
	noteSome   = "cannot tell: with these numbers no outcome at all could have had a p of 0.05 or less."
	noteLimits = "Limits: mean ± 2.660 mean moving ranges; 3.267 for the range from one flask to the next. They come from the flasks shown and mark what is unlike the rest, not what is right or wrong; with so simple a model some flasks lie outside by chance. Sizes are mixed: more large bases move the centre."
	noteLow    = "Low pressure: the last trial closure or the final one below what the house asked for. Outside working time: as above."
	noteFixed  = "Corrected values count as corrected, undone records not at all; what is marked unusual stays marked."
)

// noteMany warns of what many comparisons bring about by themselves.
func (r Review) noteMany() string {
	n := each.Count(r.Against, func(a against) bool { return a.Defect.tells() })
	if n < 2 {
		return ""
	}
	return manyWords(n)
}

// title is the period in words, both days included.
func (r Review) title() string {
	last := r.Until.Add(-time.Nanosecond).In(r.From.Location())
	zone := r.From.Location().String()
	if zone == "Local" { // the machine has not told its name
		zone = r.From.Format("UTC-07:00")
	}
	return fmt.Sprintf("%s to %s, %s", r.From.Format("2 January 2006"), last.Format("2 January 2006"), zone)
}

func (r Review) head() string {
	head := fmt.Sprintf("%s opened, %d finally closed, %d ended with an outcome, %d on the bench at the end of it.", flasks(r.Opened), r.Closed, r.Ended, r.Going)
	switch r.Given {
	case 0:
		return head
	case 1:
		return head + " 1 was given up without a final closure: it counts among the outcomes, not in the tables of closures, working time and times."
	}
	return head + fmt.Sprintf(" %d were given up without a final closure: they count among the outcomes, not in the tables of closures, working time and times.", r.Given)
}

func flasks(n int) string {
	if n == 1 {
		return "1 flask"
	}
	return fmt.Sprintf("%d flasks", n)
}

// small calls a small number small.
func small(n int) string {
	if n < fewFlasks {
		return "small number"
	}
	return ""
}

// percent of a share, with a decimal near the ends.
func percent(v float64) string {
	p := 100 * v
	if p > 0 && p < 9.95 || p >= 90.05 && p < 100 {
		return strconv.FormatFloat(min(p, 99.9), 'f', 1, 64) // 100 is said of all alone
	}
	return strconv.FormatFloat(p, 'f', 0, 64)
}

// ofWords: 3 of 12; rateWords: 25 % (9 to 53).
func ofWords(s stats.Share) string { return fmt.Sprintf("%d of %d", s.Count, s.N) }

func rateWords(s stats.Share) string {
	if s.N == 0 {
		return "–"
	}
	return fmt.Sprintf("%s %% (%s to %s)", percent(s.Value), percent(s.Low), percent(s.High))
}

// cannotTell stands in place of a p that could not have been small.
const cannotTell = "cannot tell"

// pWords write a p with what its digits are worth, and call it small numbers where few
// flasks had the condition.
func pWords(c comparison) string {
	words := fmt.Sprintf("p %.2f", c.Two)
	switch {
	case c.With.N == 0 || c.Without.N == 0:
		return "no others"
	case !c.tells():
		return cannotTell
	case c.Two < 0.0001:
		words = "p < 0.0001"
	case c.Two < 0.1:
		words = fmt.Sprintf("p %.2g", c.Two)
	}
	if c.With.N < fewFlasks || c.Without.N < fewFlasks {
		words += " small"
	}
	return words
}

// diffWords write the difference of two shares in percentage points.
func diffWords(c comparison) string {
	if c.With.N == 0 || c.Without.N == 0 {
		return "–"
	}
	points := func(v float64) string {
		n := int(math.Round(100 * v))
		if n == 0 {
			return "0"
		}
		return fmt.Sprintf("%+d", n)
	}
	d := c.Difference
	return fmt.Sprintf("%s (%s to %s)", points(d.Value), points(d.Low), points(d.High))
}

// minutes writes seconds as minutes.
func minutes(s float64) string { return strconv.FormatFloat(s/60, 'f', 1, 64) }

// figure writes a value with a decimal, or two below one.
func figure(v float64) string {
	if a := math.Abs(v); a > 0 && a < 0.995 {
		return strconv.FormatFloat(v, 'f', 2, 64)
	}
	return strconv.FormatFloat(v, 'f', 1, 64)
}

func sizeWords(size action.Size) string {
	if size == "" {
		return "all"
	}
	return string(size)
}

func joined(ws []string) string { return strings.Join(ws, ", ") }

// limits words a chart's centre and limits.
func (c controlChart) limits(unit string) string {
	words := fmt.Sprintf("%s, mean %s%s", flasks(c.N), figure(c.Center), unit)
	switch {
	case !c.Limits:
		return words + ": one value has no limits."
	case c.Floor:
		words += fmt.Sprintf(", upper limit %s%s (no lower one: it would lie below zero)", figure(c.High), unit)
	default:
		words += fmt.Sprintf(", limits %s to %s%s", figure(c.Low), figure(c.High), unit)
	}
	words += fmt.Sprintf("; from one flask to the next %s on the mean, limit %s.", figure(c.MeanRange), figure(c.RangeHigh))
	if c.N < stats.FewPoints {
		words += fmt.Sprintf(" Limits from fewer than %d flasks are provisional.", stats.FewPoints)
	}
	return words
}

// mostTold is how many flasks are named one by one in words.
const mostTold = 12

// told names the flasks of points of a chart.
func (r Review) told(c *controlChart, at []int) string {
	if len(at) == 0 {
		return "none"
	}
	cases := map[int]string{}
	for _, f := range r.Flasks {
		cases[f.No] = f.Case
	}
	var out []string
	for _, i := range at[:min(len(at), mostTold)] {
		out = append(out, fmt.Sprintf("case %s (flask %d, %s)", cases[c.Flasks[i]], c.Flasks[i], figure(c.Values[i])))
	}
	words := strings.Join(out, "; ")
	if more := len(at) - mostTold; more > 0 {
		words += fmt.Sprintf("; and %d more", more)
	}
	return words
}

// remakes lists the flasks to be made again.
func (r Review) remakes() []flask {
	return each.That(r.Flasks, func(f flask) bool { return f.EndedAt != nil && f.Outcome == "remake" })
}

// unusualWords puts codes into words.
func unusualWords(codes []string) string {
	words := map[string]string{}
	for _, c := range conditions() {
		words[c.Code] = c.Words
	}
	out := make([]string, len(codes))
	for i, c := range codes {
		out[i] = words[c]
	}
	return joined(out)
}

// without lists the conditions that no ended flask had.
func (r Review) without() []string {
	had := map[string]bool{anyCode: true, otherCode: true, instrumentCode: true, boilCode: !r.Boil.Estimated} // of instruments a house may keep no register
	for _, a := range r.Against {
		had[a.Code] = true
	}
	var out []string
	for _, c := range conditions() {
		if !had[c.Code] {
			out = append(out, c.Words)
		}
	}
	return out
}
