package status

import (
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/clipperhouse/displaywidth"

	"flaskside/logbook/bench"
	"flaskside/logbook/units"
)

// Width is what no line of the text is wider than.
const Width = 80

// spoiltLines is how many records that are not as they were written stand at the head.
const spoiltLines = 5

// Text writes the status for people, in lines of at most [Width] columns.
func (s Status) Text(w io.Writer) error {
	var b strings.Builder
	line := func(format string, a ...any) {
		row := strings.TrimRight(fmt.Sprintf(format, a...), " ")
		b.WriteString(displaywidth.TruncateString(row, Width, "…") + "\n")
	}
	title := s.At.Format("Mon 2 Jan 2006 15:04:05 -07:00")
	if s.Crew != "" {
		title += "   at the bench: " + s.Crew
	}
	if len(s.Spoilt) > 0 {
		line("NOT AS IT WAS WRITTEN: flaskside verify tells more")
		for _, l := range s.Spoilt[:min(len(s.Spoilt), spoiltLines)] {
			line("%s", l)
		}
		if more := len(s.Spoilt) - spoiltLines; more > 0 {
			line("and %d more", more)
		}
		line("")
	}
	line("%s", title)
	line("logbook head %s", s.Head)
	line("")
	if len(s.Places) == 0 {
		line("The bench is empty.")
	}
	for _, p := range s.Places {
		tag := ""
		if p.Tag != "" {
			tag = "   tag " + p.Tag
		}
		line("%d  case %s   %s, %s%s   flask %d", p.Place, p.Case, p.Base, p.Size, tag, p.Flask)
		line("   %s%s", p.Stage, p.details())
	}
	if len(s.Alarms) > 0 {
		line("")
		line("ALARMS")
	}
	for _, a := range s.Alarms {
		line("  %-6s  %s: %s", a.Priority, subject(a.What, a.Label, a.Flasks, a.Mix, a.Load), a.End)
		line("          %s, since %s%s", a.State, s.clock(a.Rose), a.shelf())
	}
	if len(s.Windows) > 0 {
		line("")
		line("WINDOWS, most urgent first")
	}
	for _, v := range s.Windows {
		line("  %-17s  %s%s", v.left(), subject(v.What, v.Label, v.Flasks, v.Mix, v.Load), s.ends(v))
	}
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("write status: %w", err)
	}
	return nil
}

func (p Place) details() string {
	var out []string
	if p.Trials > 0 {
		trials := fmt.Sprintf("trial %d", p.Trials)
		if p.LastGrade != "" {
			trials += ", last judged " + p.LastGrade
		}
		out = append(out, trials)
	}
	if p.Mix > 0 {
		out = append(out, "mix "+p.MixLetter)
	}
	if p.Load > 0 {
		out = append(out, fmt.Sprintf("load %d", p.Load))
	}
	if p.Next != "" {
		out = append(out, "next: "+nextWords(bench.Step(p.Next)))
	}
	words := ""
	for _, o := range out {
		words += "; " + o
	}
	return words
}

// nextWords says what a step is.
func nextWords(s bench.Step) string {
	switch s {
	case bench.DoCoat:
		return "paint separator"
	case bench.DoMix:
		return "make a mix"
	case bench.DoDough:
		return "mark the dough reached"
	case bench.DoPress:
		return "trial closure"
	case bench.DoReach:
		return "mark the pressure reached"
	case bench.DoOpen:
		return "open the press"
	case bench.DoJudge:
		return "judge the flash"
	case bench.DoFinal:
		return "final closure"
	case bench.DoMetal:
		return "close metal to metal"
	case bench.DoLoad:
		return "into the bath"
	case bench.DoUnload:
		return "out of the bath"
	case bench.DoWater:
		return "into water"
	}
	return string(s) // clamp, deflask, remount, outcome say it
}

// subject names what a window or an alarm is about.
func subject(what, label string, flasks []int, mix, load int) string {
	words := what
	if label != "" {
		words += " " + label
	}
	if mix > 0 {
		words += " " + bench.MixLetter(mix)
	}
	if load > 0 {
		words += fmt.Sprintf(" of load %d", load)
	}
	if len(flasks) > 0 {
		words += ", flask " + strings.Trim(strings.ReplaceAll(fmt.Sprint(flasks), " ", ", "), "[]")
	}
	return words
}

func (a Alarm) shelf() string {
	if a.BackS == 0 {
		return ""
	}
	return ", back in " + units.FormatDuration(time.Duration(a.BackS)*time.Second)
}

// left says how long is left, or how long ago the last end was.
func (v Window) left() string {
	d := time.Duration(v.LeftS) * time.Second
	about := ""
	if v.Estimated {
		about = "about "
	}
	switch {
	case v.Next != "":
		return about + units.FormatDuration(d) + " left"
	case v.Last != "":
		return about + units.FormatDuration(-d) + " ago"
	}
	return about + units.FormatDuration(-d) + " so far"
}

// ends says which end comes next, or was last, and when.
func (s Status) ends(v Window) string {
	switch {
	case v.Next != "" && v.Phase == "over":
		return fmt.Sprintf(": over; %s %s", v.Next, s.clock(v.Due))
	case v.Next != "":
		return fmt.Sprintf(": %s %s", v.Next, s.clock(v.Due))
	case v.Last != "":
		return fmt.Sprintf(": %s %s", v.Last, s.clock(v.Due))
	}
	return ""
}

// clock writes the time of day, with the date where it is another than that of the
// status.
func (s Status) clock(t time.Time) string {
	t = t.In(s.At.Location())
	if y, m, d := t.Date(); [3]int{y, int(m), d} != [3]int{s.At.Year(), int(s.At.Month()), s.At.Day()} {
		return t.Format("Mon 2 Jan 15:04")
	}
	return t.Format("15:04:05")
}
