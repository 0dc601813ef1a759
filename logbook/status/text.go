package status

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/clipperhouse/displaywidth"

	"flaskside/logbook/bench"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
)

// width is what no line of the text is wider than.
const width = 80

// spoiltLines is how many records that are not as they were written stand at the head.
const spoiltLines = 5

// Text writes the status for people, in lines of at most [width] columns, broken between words.
func (s Status) Text(w io.Writer) error {
	var b strings.Builder
	line := func(format string, a ...any) {
		row := fmt.Sprintf(format, a...)
		in := len(row) - len(strings.TrimLeft(row, " "))
		for _, l := range words.Lines(row, width, in+2) {
			b.WriteString(displaywidth.TruncateString(l, width, "…") + "\n") // one word may be longer, or wide
		}
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
	if len(s.Places)+len(s.Away) == 0 {
		line("No flask is at work.")
	}
	for _, p := range s.Places {
		line("%d  case %s   %s, %s%s   flask %d", p.Place, p.Case, p.Base, p.Size, p.tagged(), p.Flask)
		line("   %s%s", p.Stage, p.details())
	}
	for _, p := range s.Away {
		line("%s  case %s   %s, %s%s   flask %d", p.Where, p.Case, p.Base, p.Size, p.tagged(), p.Flask)
		line("   %s%s", p.Stage, p.details())
	}
	if len(s.Alarms) > 0 {
		line("")
		line("ALARMS")
	}
	for _, a := range s.Alarms {
		line("  %-6s  %s%s", a.Priority, alarmWords(a), s.about(a.Flasks))
		line("          %s, since %s%s", words.AlarmState(a.State), s.clock(a.Rose), a.shelf())
	}
	if len(s.Windows) > 0 {
		line("")
		line("TIMERS, most urgent first")
	}
	for _, v := range s.Windows {
		line("  %-17s  %s%s%s", v.left(), words.Timer(v.What, v.Label, of(v.Mix, v.Case)), s.about(v.Flasks), s.ends(v))
	}
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("write status: %w", err)
	}
	return nil
}

func (p Place) tagged() string {
	if p.Tag == "" {
		return ""
	}
	return "   tag " + p.Tag
}

func (p Place) details() string {
	var out []string
	if p.Trials > 0 {
		trials := fmt.Sprintf("trial %d", p.Trials)
		if p.LastGrade != "" {
			trials += ", last judged " + string(p.LastGrade)
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
		out = append(out, "next: "+words.Step(p.Next))
	}
	said := ""
	for _, o := range out {
		said += "; " + o
	}
	return said
}

// alarmWords say what an alarm has to say.
func alarmWords(a shownAlarm) string {
	if words.IsTimer(a.What) && a.End != string(bench.LostPressure) {
		return words.TimerAlarm(a.What, a.End, a.Label, of(a.Mix, a.Case))
	}
	if a.Case != "" {
		return "case " + a.Case + ", " + a.Label + ": " + words.Alarm(a.End)
	}
	if a.What == "bath" {
		return fmt.Sprintf("bath of load %d: %s", a.Load, words.Alarm(a.End))
	}
	return words.Alarm(a.End)
}

// of names the mix that a timer belongs to, or its case.
func of(mix int, named string) string { return bench.Window{Mix: mix, Case: named}.Of() }

// about names the flasks of a timer or an alarm by their cases.
func (s Status) about(flasks []int) string {
	var out []string
	for _, no := range flasks {
		said := fmt.Sprintf("flask %d", no)
		for _, p := range slices.Concat(s.Places, s.Away) {
			if p.Flask == no {
				said = fmt.Sprintf("%s (%s)", p.Case, p.Where)
			}
		}
		out = append(out, said)
	}
	if len(out) == 0 {
		return ""
	}
	return ", " + strings.Join(out, ", ")
}

func (a shownAlarm) shelf() string {
	if a.BackS == 0 {
		return ""
	}
	return ", back in " + units.FormatDuration(time.Duration(a.BackS)*time.Second)
}

// left says how long is left, or how long ago the last end was.
func (v shownWindow) left() string {
	d := time.Duration(v.LeftS) * time.Second
	about := ""
	if v.Estimated {
		about = "about "
	}
	switch {
	case v.Next != "":
		return about + units.FormatWhole(d) + " left"
	case v.Last != "":
		return about + units.FormatWhole(-d) + " ago"
	}
	return about + units.FormatWhole(-d) + " so far"
}

// ends says which end comes next, or was last, and when.
func (s Status) ends(v shownWindow) string {
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
	return words.Second(t, s.At)
}
