package learn

import (
	"fmt"
	"io"
	"math"
	"strings"

	"flaskside/logbook/flash"
	"flaskside/logbook/words"
)

// Text writes the report for people: old and new with what stands behind each, and
// how the forecasts fared.
func (r Proposal) Text(w io.Writer) error {
	var b strings.Builder
	r.head(&b)
	b.WriteString("\n")
	fmt.Fprintf(&b, "%-34s %9s  %-11s %s\n", "setting", "now", "book says", "based on")
	for _, z := range []struct {
		size     flash.Size
		behind   flash.Behind
		old, new flash.Prior
	}{
		{flash.Small, r.Trend.Small, r.Trend.Old.Prior.Small, r.Trend.New.Prior.Small},
		{flash.Medium, r.Trend.Medium, r.Trend.Old.Prior.Medium, r.Trend.New.Prior.Medium},
		{flash.Large, r.Trend.Large, r.Trend.Old.Prior.Large, r.Trend.New.Prior.Large},
	} {
		behind := count(z.behind.Flasks, "flask") + ", " + count(z.behind.Closures, "closure") + wanting(z.behind.Wanting, "flask")
		line(&b, string(z.size)+": flash at the first closure", grams(z.old.FirstG), grams(z.new.FirstG), z.behind.Wanting, behind)
		line(&b, "  its spread, sd of ln", three(z.old.FirstSD), three(z.new.FirstSD), z.behind.Wanting, "")
		line(&b, "  fraction kept per closure", three(z.old.Kept), three(z.new.Kept), z.behind.Wanting, "")
		line(&b, "  its spread, sd of ln", three(z.old.KeptSD), three(z.new.KeptSD), z.behind.Wanting, "")
	}
	noise := func(name string, old, new float64, x flash.Behind) {
		line(&b, name, three(old), three(new), x.Wanting, count(x.Closures, "closure")+" of "+count(x.Flasks, "flask")+wanting(x.Wanting, "closure"))
	}
	noise("noise of a grade, sd of ln", r.Trend.Old.GradeSD, r.Trend.New.GradeSD, r.Trend.Grade)
	noise("noise of a weight, sd of ln", r.Trend.Old.WeighSD, r.Trend.New.WeighSD, r.Trend.Weigh)
	line(&b, "flash that always stays", film(r.Trend.Old.FloorG), film(r.Trend.New.FloorG), r.Trend.Floor.Wanting,
		count(r.Trend.Floor.Closures, "late weighed trim")+wanting(r.Trend.Floor.Wanting, "trim"))
	for _, t := range []struct {
		name string
		Task
	}{{"into the press, up to pressure", r.Work.Raise}, {"open, judge", r.Work.Open}, {"trim, new sheet", r.Work.Trim}, {"final closure", r.Work.Final}} {
		behind := "timed " + count(t.Count, "time")
		if t.Count > 1 {
			behind += fmt.Sprintf(", spread %.0f s", t.SpreadS)
		}
		if t.LeftOut > 0 {
			behind += fmt.Sprintf(", %d left out", t.LeftOut)
		}
		if t.Wanting > 0 {
			behind += fmt.Sprintf("; %d more needed", t.Wanting)
		}
		line(&b, t.name, fmt.Sprint(t.OldS, " s"), fmt.Sprint(t.NewS, " s"), t.Wanting, behind)
	}
	r.surety(&b)
	r.forecasts(&b)
	_, err := io.WriteString(w, b.String())
	return err
}

func (r Proposal) head(b *strings.Builder) {
	if r.Flasks == 0 {
		b.WriteString("No flask in this logbook has finished its trial closures yet.\n")
	} else {
		fmt.Fprintf(b, "From %s with %s, %s to %s", count(r.Flasks, "flask"), count(r.Closures, "trial closure"), r.First.Format("2 Jan 2006"), r.Last.Format("2 Jan 2006"))
		if r.GivenUp > 0 {
			fmt.Fprintf(b, "; %d of them given up before the final closure", r.GivenUp)
		}
		b.WriteString(".\n")
	}
	if r.LeftOut > 0 {
		fmt.Fprintf(b, "%s left out: the trials cannot be followed.\n", count(r.LeftOut, "flask"))
	}
	b.WriteString("All of it is an estimate; you decide whether to adopt it.\n")
}

// line is one setting: as it is, as the book says, and what stands behind it.
func line(b *strings.Builder, name, old, new string, wanting int, behind string) {
	if wanting > 0 {
		new = "–"
	}
	b.WriteString(strings.TrimRight(fmt.Sprintf("%-34s %9s  %-11s %s", name, old, new, behind), " ") + "\n")
}

func (r Proposal) forecasts(b *strings.Builder) {
	f := r.Trend.OldForecasts
	if f.Closures == 0 {
		return
	}
	fmt.Fprintf(b, "\nForecasts of \"at most slight at the next closure\", %s:\n", count(f.Closures, "closure"))
	fmt.Fprintf(b, "%-34s %9s  %-11s %s\n", "", "foretold", "seen", "mean squared miss (0 is best)")
	row := func(name string, f flash.Forecasts) {
		fmt.Fprintf(b, "%-34s %9s  %-11s %.3f\n", name, percent(f.Predicted), percent(f.Seen), f.Brier)
	}
	row("settings as they are", f)
	if r.Wanting == "" {
		row("the book's, fitted to these", r.Trend.NewForecasts)
	}
	if l := r.Trend.Later; l != nil {
		fmt.Fprintf(b, "The newer half, %s, foretold from the older half alone:\n", count(l.Flasks, "flask"))
		row("settings as they are", l.Old)
		row("the older half's", l.New)
	}
	fmt.Fprintf(b, "%-34s %9s  %-11s %s\n", "By what was foretold, as they are:", "foretold", "seen", "closures")
	for _, x := range f.Bins {
		fmt.Fprintf(b, "%-34s %9s  %-11s %d\n", fmt.Sprintf("  %.0f to %.0f %%", x.From*100, x.To*100), percent(x.Predicted), percent(x.Seen), x.Closures)
	}
}

// surety is how sure each estimated value is, and which of them the closures hardly tell.
func (r Proposal) surety(b *strings.Builder) {
	if len(r.Trend.Estimates) == 0 {
		return
	}
	b.WriteString("\nHow sure: each value may well be off by the percentage after it.\n")
	untold := false
	for _, e := range r.Trend.Estimates {
		mark := ""
		if !e.Told {
			mark, untold = "  *", true
		}
		fmt.Fprintf(b, "  %-32s %9s  ± %.0f %%%s\n", valueWords(e.Name), three(e.New), 100*math.Expm1(e.SE), mark)
	}
	if untold {
		b.WriteString("  * The closures cannot tell this value: it is mostly the house default. Weigh more trims to learn it.\n")
	}
	switch z := r.Trend.OldForecasts.Drift(); {
	case z < -drifted:
		b.WriteString("Flash comes out heavier than the settings now foretell, by more than chance explains: adopt the new values or look into the cause.\n")
	case z > drifted:
		b.WriteString("Flash comes out lighter than the settings now foretell, by more than chance explains.\n")
	}
}

// valueWords is a value of the trend as people name it.
func valueWords(name string) string {
	words := strings.NewReplacer("prior.", "", ".", ": ", "first_g", "flash at the first closure", "first_sd", "spread of that flash",
		"kept_sd", "spread of the fraction kept", "kept", "fraction kept per closure",
		"grade_sd", "noise of a grade", "weigh_sd", "noise of a weight", "floor_g", "flash that always stays")
	return words.Replace(name)
}

// drifted is how many standard errors foretold and seen must be apart to be told (house
// default).
const drifted = 3

func film(g float64) string {
	if g == 0 {
		return "none"
	}
	return grams(g)
}

func percent(p float64) string { return fmt.Sprintf("%.0f %%", 100*p) }
func grams(g float64) string   { return three(g) + " g" }
func three(x float64) string   { return fmt.Sprintf("%.3g", x) }

func wanting(n int, noun string) string {
	if n == 0 {
		return ""
	}
	return "; " + count(n, "more "+noun) + " needed"
}

// count is a number with its noun.
func count(n int, noun string) string { return words.Count(n, noun, noun+"s") }

// End is the last thing told: adopted is the head of the record that the values were adopted
// with, "" for none; adopt tells that they were to be.
func (r Proposal) End(adopted string, adopt bool) string {
	switch {
	case adopted != "":
		return "Adopted: settings recorded; head " + adopted
	case adopt:
		return "These values are in force already: nothing recorded."
	case r.Changes:
		return "Nothing is changed yet. To adopt what the book says: flaskside calibrate --adopt"
	case !r.Enough():
		return "Nothing changes: " + r.Wanting
	}
	return "The settings in force say the same: nothing to adopt."
}
