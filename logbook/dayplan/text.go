package dayplan

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"flaskside/logbook/words"
)

// Clock is an instant to five minutes as seen from now; "-" for none.
func (d *Day) Clock(t *time.Time) string {
	if t == nil {
		return "-"
	}
	return d.about(d.minutes(*t))
}

// By is an instant before which something must be, to five minutes, never later than it is.
func (d *Day) By(t time.Time) string { return d.say(5 * math.Floor(d.minutes(t)/5)) }

const noLater = "no later"

// LatestWords tell until when a mix can wait: an hour, or no later than it is told for; "" where that is not known.
func (d *Day) LatestWords(x shownMix) string {
	switch {
	case x.Latest == nil || x.MixAt == nil:
		return ""
	case x.Latest.Sub(*x.MixAt) < 10*time.Minute:
		return noLater
	}
	return d.By(*x.Latest)
}

// Text writes the plan for a person.
func (d *Day) Text(w io.Writer) error {
	s := d.Show()
	var b strings.Builder
	fmt.Fprintf(&b, "day plan, %s (%s)\n", s.At.Format("Mon 2 Jan 15:04"), s.What)
	fmt.Fprintf(&b, "%s, %s, %s, %s; seed %d\n", words.Count(len(s.Cases), "case", "cases"), words.Count(s.People, "pair of hands", "pairs of hands"),
		words.Count(s.Presses, "press", "presses"), words.List(s.Baths), s.Seed)
	if len(s.Cases) == 0 {
		b.WriteString("\nno cases: nothing to plan\n")
		d.foot(&b, s)
		_, err := io.WriteString(w, b.String())
		return err
	}
	d.textWork(&b, s)
	d.textMixes(&b, s)
	d.textLoads(&b, s)
	d.textCases(&b, s)
	if a := s.Ask; a != nil {
		fmt.Fprintf(&b, "\nask for later: %s (%s), due %s, to %s\n", a.Case, a.Size, d.say(d.minutes(a.Due)), d.say(d.minutes(a.To)))
		for _, x := range a.Buys {
			fmt.Fprintf(&b, "  %s\n", x)
		}
	}
	fmt.Fprintf(&b, "\n%s\n", s.Sum())
	b.WriteString("\n")
	for _, l := range d.timeline(s) {
		b.WriteString(l + "\n")
	}
	d.foot(&b, s)
	_, err := io.WriteString(w, b.String())
	return err
}

func (d *Day) foot(b *strings.Builder, s Shown) {
	b.WriteString("\n")
	for _, n := range s.Notes {
		b.WriteString("note: " + n + "\n")
	}
	b.WriteString(Leaflets + "\n")
}

// Leaflets stands under every plan.
const Leaflets = "Simulated by the house's own times. Programmes and working times of the makers come first; a bath load stays its whole programme."

// textWork tells of the cases at work: they stay as they are.
func (d *Day) textWork(b *strings.Builder, s Shown) {
	if len(s.Work) == 0 {
		return
	}
	b.WriteString("\nat work, and left as it is\n")
	for _, x := range s.Work {
		fmt.Fprintf(b, "    %-16s %s\n", x.Case, d.WorkWords(x))
	}
}

// WorkWords tell where a case at work is and what comes of it.
func (d *Day) WorkWords(x shownWork) string {
	out := []string{}
	if x.Place > 0 {
		out = append(out, fmt.Sprintf("place %d", x.Place))
	}
	switch {
	case x.Dough != nil:
		line := fmt.Sprintf("dough of mix %s to about %s", x.Mix, d.By(*x.Dough))
		if x.Mix == "" {
			line = "in hand, no mix is recorded"
		}
		out = append(out, line, "closed in time "+x.InTime)
	case x.Set != nil:
		out = append(out, "bench set to "+d.Clock(x.Set))
	case x.Out != nil:
		out = append(out, x.Bath+", programme over "+d.Clock(x.Out))
	case x.Cool != nil:
		out = append(out, "cooling to "+d.Clock(x.Cool))
	default:
		out = append(out, x.Stage)
	}
	return strings.Join(out, ", ")
}

func (d *Day) textMixes(b *strings.Builder, s Shown) {
	day := ""
	for _, x := range s.Mixes {
		title := "mixes"
		if !x.Today {
			title = "put off, or not reached today"
		}
		if title != day {
			fmt.Fprintf(b, "\n%s\n", title)
			day = title
		}
		fmt.Fprintf(b, "%2d  %-9s  %s", x.No, d.Clock(x.MixAt), strings.Join(x.Cases, " + "))
		fmt.Fprintf(b, "  (%s)", x.Resin)
		switch latest := d.LatestWords(x); latest {
		case "":
		case noLater:
			b.WriteString("  " + noLater)
		default:
			b.WriteString("  at the latest " + latest)
		}
		b.WriteString("\n")
		if !x.Today {
			continue // when it is painted is for the plan of its day
		}
		line := fmt.Sprintf("paint from %s", d.Clock(x.CoatFrom))
		if x.Closed != nil {
			line += fmt.Sprintf(", closed by %s", d.Clock(x.Closed))
		}
		if len(x.Cases) > 1 {
			line += "; all in time " + x.AllIn
		}
		fmt.Fprintf(b, "               %s\n", line)
	}
}

func (d *Day) textLoads(b *strings.Builder, s Shown) {
	b.WriteString("\nbaths\n")
	for _, x := range s.Loads {
		line := fmt.Sprintf("%s, %s: %s", x.Bath, x.Programme, words.List(x.Cases))
		when := "in about " + d.Clock(x.In)
		if x.Latest != nil {
			when += ", at the latest " + d.By(*x.Latest)
		}
		if x.Out != nil {
			when += "; out about " + d.Clock(x.Out)
		}
		fmt.Fprintf(b, "    %s\n        %s\n", line, when)
	}
}

func (d *Day) textCases(b *strings.Builder, s Shown) {
	fmt.Fprintf(b, "\n%-16s%-8s%-18s%-16s%s\n", "cases", "size", "due", "finished about", "late")
	for _, x := range s.Cases {
		due := d.DueWords(x.Due)
		if x.Rush {
			due += " rush"
		}
		fmt.Fprintf(b, "    %-11s %-7s %-17s %-15s %s\n", x.Case, x.Size, due, d.Clock(x.Finished), x.Late)
	}
}

// cell is a quarter of an hour of the time line.
const cell = 15.

// timeline draws the day in characters: moulds coated and drying, dough and press, baths.
func (d *Day) timeline(s Shown) []string {
	h := &d.Made.House
	base := float64(d.today()) * 24 * 60
	from := base + math.Floor(d.open().OpensMin/60)*60
	to := base + math.Ceil(d.open().OvertimeMin/60)*60
	n := int((to - from) / cell)
	if n < 1 || n > 96 {
		return nil
	}
	bar := func(row []byte, a, z float64, with byte) {
		for k := range row {
			if t := from + cell*float64(k); t+cell > a && t < z {
				row[k] = with
			}
		}
	}
	head := make([]byte, 0, n+4)
	for k := 0; k < n; k += 4 {
		head = append(head, fmt.Sprintf("%02d  ", (int(from+cell*float64(k))/60)%24)...)
	}
	const label = "%-10s |%s|"
	out := []string{fmt.Sprintf("%-10s  %s", "", strings.TrimRight(string(head), " "))}
	line := func(name string, row []byte) {
		if strings.TrimSpace(string(row)) != "" {
			out = append(out, fmt.Sprintf(label, words.Clip(name, 9), row))
		}
	}
	for _, x := range s.Mixes {
		t := d.Made.Mixes[x.index]
		row := []byte(strings.Repeat(" ", n))
		bar(row, t.Coat.Middle, t.Start.Middle, '.')
		bar(row, t.Start.Middle, t.Closed.Middle, '#')
		line(fmt.Sprintf("mix %d", x.No), row)
	}
	for b, name := range d.Baths {
		row := []byte(strings.Repeat(" ", n))
		if b < len(h.BathFreeMin) {
			bar(row, from, h.BathFreeMin[b], '-')
		}
		for j, l := range d.Made.Plan.Loads {
			if t := d.Made.Loads[j]; l.Bath == b {
				bar(row, t.In.Middle, t.Out.Middle, '=')
			}
		}
		line(name, row)
	}
	return append(out, ". coated and drying, # dough and press, = in the bath, - in it now")
}

// Sum says in one line how many mixes the day takes, what is lost, and how late it gets.
func (s Shown) Sum() string {
	mixes := "mixes"
	if math.Round(s.MixesMade) == 1 {
		mixes = "mix"
	}
	return fmt.Sprintf("%.0f %s as a rule, %.1f doughs lost on average; overtime %s", s.MixesMade, mixes, s.Lost, s.Overtime)
}
