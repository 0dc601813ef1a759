package words

import (
	"fmt"
	"time"
)

// passed takes a length of time apart for a clock: a second begun is shown until it
// ends, and of minutes and hours only whole ones, so that more than is left is never
// shown. What is over has a plus sign, and of it only what has passed is shown.
func passed(d time.Duration) (sign string, s int64) {
	if d < 0 {
		return "+", int64(-d / time.Second)
	}
	return "", int64((d + time.Second - 1) / time.Second)
}

// Brief writes a length of time for a narrow column, in at most seven characters:
// "48 s", "11 min", "2 h 40", "14 h", "5 d".
func Brief(d time.Duration) string {
	sign, s := passed(d)
	switch m := s / 60; {
	case s < 60:
		return fmt.Sprintf("%s%d s", sign, s)
	case m < 60:
		return fmt.Sprintf("%s%d min", sign, m)
	case m < 10*60:
		return fmt.Sprintf("%s%d h %02d", sign, m/60, m%60)
	case m < 100*60:
		return fmt.Sprintf("%s%d h", sign, m/60)
	default:
		return fmt.Sprintf("%s%d d", sign, m/60/24)
	}
}

// Length writes a length of time for a sentence, to the second below an hour: "40 s",
// "12 min", "12 min 5 s", "2 h 5 min", "9 h".
func Length(d time.Duration) string {
	d = d.Round(time.Second)
	switch {
	case d < time.Minute:
		return fmt.Sprintf("%d s", int(d/time.Second))
	case d < time.Hour && d%time.Minute == 0:
		return fmt.Sprintf("%d min", int(d/time.Minute))
	case d < time.Hour:
		return fmt.Sprintf("%d min %d s", int(d/time.Minute), int(d%time.Minute/time.Second))
	}
	if m := int(d % time.Hour / time.Minute); m > 0 {
		return fmt.Sprintf("%d h %d min", int(d/time.Hour), m)
	}
	return fmt.Sprintf("%d h", int(d/time.Hour))
}

// Rough writes a length of time by its two largest units, for what nobody waits for:
// "40 s", "12 min", "2 h 5 min", "3 days 4 h".
func Rough(d time.Duration) string {
	switch {
	case d < time.Minute:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case d < time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case d < 24*time.Hour:
		return fmt.Sprintf("%d h %d min", int(d.Hours()), int(d.Minutes())%60)
	}
	return fmt.Sprintf("%d days %d h", int(d.Hours())/24, int(d.Hours())%24)
}

// Digits writes a length of time for large digits, and the unit that stands beside
// them: "2:41" min, "48" s, "11" min; from an hour on the digits hold their unit, "2h40".
// Single seconds are shown below fine.
func Digits(d, fine time.Duration) (digits, unit string) {
	sign, s := passed(d)
	switch m := s / 60; {
	case s < 60:
		return fmt.Sprintf("%s%d", sign, s), "s"
	case m < 60 && time.Duration(s)*time.Second < fine:
		return fmt.Sprintf("%s%d:%02d", sign, m, s%60), "min"
	case m < 60:
		return fmt.Sprintf("%s%d", sign, m), "min"
	case m < 48*60:
		return fmt.Sprintf("%s%dh%02d", sign, m/60, m%60), ""
	default:
		return fmt.Sprintf("%s%dd%02dh", sign, m/60/24, m/60%24), ""
	}
}

// HourOf is an hour of the day by its minutes from midnight on.
func HourOf(minutes int) string { return fmt.Sprintf("%02d:%02d", minutes/60, minutes%60) }

// Instant writes when something is, as seen from now and in the zone of now: "08:30",
// with the day when it is not today, with the date when the day alone could be another
// week's. The offset is added only where it is another than that of now.
func Instant(t, now time.Time) string { return instant(t, now, "15:04") }

// Second is [Instant] with the seconds where it is today.
func Second(t, now time.Time) string { return instant(t, now, "15:04:05") }

func instant(t, now time.Time, layout string) string {
	t = t.In(now.Location())
	day := func(t time.Time) time.Time {
		y, m, d := t.Date()
		return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	}
	days := int(day(t).Sub(day(now)) / (24 * time.Hour))
	if days != 0 {
		layout = "15:04"
	}
	switch {
	case days == 0:
	case days > -7 && days < 7:
		layout = "Mon " + layout
	case t.Year() == now.Year():
		layout = "Mon 2 Jan " + layout
	default:
		layout = "Mon 2 Jan 2006 " + layout
	}
	if _, was := now.Zone(); was != zone(t) {
		layout += " (UTC-07:00)"
	}
	return t.Format(layout)
}

func zone(t time.Time) int { _, o := t.Zone(); return o }

// Day is a day of the calendar, given as 2026-11-20, as people write it: Fri 20 Nov 2026. What is
// none stays as it is.
func Day(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return t.Format("Mon 2 Jan 2006")
}
