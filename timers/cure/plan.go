package cure

import (
	"fmt"
	"time"
)

// Fit is one programme held against a time the flasks must be out.
type Fit struct {
	Programme   Programme
	LatestStart time.Time     // the last moment the flasks may go in
	Slack       time.Duration // from now to LatestStart; negative when it has gone by
	Fits        bool
}

// Out is when flasks that went in at start come out. Durations are exact, so a change of the clocks in the night moves
// the time on the wall, not the cure.
func (p Programme) Out(start time.Time) time.Time { return start.Add(p.Total()) }

// latestStart is the last moment the flasks may go in to be out at out.
func (p Programme) latestStart(out time.Time) time.Time { return out.Add(-p.Total()) }

// PlanBack holds every programme against going in now and coming out at out, in the order given.
func PlanBack(now, out time.Time, programmes []Programme) []Fit {
	fits := make([]Fit, len(programmes))
	for i, p := range programmes {
		latest := p.latestStart(out)
		fits[i] = Fit{p, latest, latest.Sub(now), !latest.Before(now)}
	}
	return fits
}

// NextClock is the next moment after now at which a clock on the wall, in now's zone, shows hour:minute. On the night the
// clocks go forward a time that is skipped gives a moment within an hour of it; on the night they go back a time shown
// twice gives the first one still to come.
func NextClock(now time.Time, hour, minute int) (time.Time, error) {
	if hour < 0 || hour > 23 || minute < 0 || minute > 59 {
		return time.Time{}, fmt.Errorf("time %d:%02d: it must be 0:00 to 23:59", hour, minute)
	}
	y, m, d := now.Date()
	for day := range 3 {
		at := time.Date(y, m, d+day, hour, minute, 0, 0, now.Location())
		// time.Date may give either showing of a time shown twice: try both, an hour apart (half an hour on one island).
		for _, shift := range []time.Duration{-time.Hour, -30 * time.Minute, 0, 30 * time.Minute, time.Hour} {
			c := at.Add(shift)
			if c.Hour() == at.Hour() && c.Minute() == at.Minute() && c.After(now) {
				return c, nil
			}
		}
	}
	return time.Time{}, fmt.Errorf("time %d:%02d does not come within two days", hour, minute)
}
