package bath

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/asked"
	"flaskside/logbook/house"
	"flaskside/logbook/units"
	"flaskside/timers/cure"
	"flaskside/timers/dough"
)

// Asked is what a cure is worked out for: a programme, or the bath itself.
type Asked struct {
	Thin, Thick cure.Params // of the thinnest section, which decides the residual, and of the thickest, which decides the peak
	StartC      float64     // flask and dough when they go in
	Air         cure.Air
	RatioFrom   string    // what the powder to liquid is that of
	AtS         []float64 // where core and monomer are wanted
	Programme   cure.Programme
	Bath        []cure.Knot        // where there is no programme
	Readings    []cure.BathReading // of a bath that was to follow the programme
	Start       time.Time          // when the flasks went in, where there are readings
	Back        *Backward          // when they have to go in, where that is asked
	Unit        units.TempUnit     // as the house reads
	Zone        *time.Location
}

// Typed is the same as it is typed: each field as the flag of its name takes it, "" and 0 where
// it is left out.
type Typed struct {
	Programme, Bath, Readings string
	InAt, OutAt, AtMinutes    string
	MM, ThickMM               float64
	StartC                    string
	Ratio, Resin              string
	AltitudeM, AirHPa         float64
	Size                      string
	Set                       []string // parameters, name=value
}

// Sections reads what the flask is: its sections, and how warm it goes in.
func (t Typed) Sections(in house.Units) (q Asked, err error) {
	q.Unit, q.StartC = in.Temperature, 22
	if t.StartC != "" {
		if q.StartC, err = house.ReadTemp("--start-c", "mix.room_c", t.StartC, in); err != nil {
			return q, err
		}
	}
	t.ThickMM = cmp.Or(t.ThickMM, t.MM)
	if t.ThickMM < t.MM {
		return q, asked.Wrongly("--thick-mm %g is less than --mm %g", t.ThickMM, t.MM)
	}
	if q.Thin, err = t.section(t.MM, q.StartC); err == nil {
		q.Thick, err = t.section(t.ThickMM, q.StartC)
	}
	return q, err
}

// section are the parameters of one section, with all that was set.
func (t Typed) section(mm, startC float64) (cure.Params, error) {
	p, err := cure.ForSection(mm, t.Size)
	if err == nil && t.StartC != "" {
		if err = p.Set("T0", startC+cure.Kelvin); err != nil {
			err = fmt.Errorf("--start-c: %w", err)
		}
	}
	for _, text := range t.Set {
		if err != nil {
			break
		}
		name, value, ok := strings.Cut(text, "=")
		v, perr := strconv.ParseFloat(strings.TrimSpace(value), 64)
		if !ok || perr != nil {
			return p, asked.Wrongly("--set %q: write name=value, as half_resin=0.005", text)
		}
		if err = p.Set(strings.TrimSpace(name), v); err != nil {
			err = fmt.Errorf("--set %s: %w", text, err)
		}
	}
	return p, err
}

// Read reads the rest of the question by the settings of a house, from now; unread is why they
// could not be read. A programme written out needs none. Readings are read by read.
func (t Typed) Read(q *Asked, h house.House, unread error, now time.Time, read func(path string) ([]cure.BathReading, error)) (err error) {
	switch {
	case t.Programme == "" && t.Bath == "" && t.OutAt == "":
		return asked.Wrongly(`say what the bath does: --programme "74C 9h" or --bath 0:74,540:74; or when the flasks are to be out: --out-at 08:00`)
	case t.Programme != "" && t.Bath != "":
		return asked.Wrongly("--programme and --bath do not go together")
	case t.Readings != "" && t.Programme == "":
		return asked.Wrongly("--readings needs the --programme that the bath was to follow")
	}
	q.Zone = now.Location()
	if err := t.mixed(q, h, unread); err != nil {
		return err
	}
	if q.Air, err = t.air(h, unread); err != nil {
		return err
	}
	if t.OutAt != "" {
		if q.Back, err = t.back(h, unread, now); err != nil {
			return err
		}
	}
	if t.Programme == "" && t.Bath == "" {
		return nil
	}
	if q.AtS, err = typedMinutes(t.AtMinutes); err != nil {
		return err
	}
	if t.Bath != "" {
		q.Bath, err = typedCurve(t.Bath, q.Unit)
		if err == nil && len(q.Bath) == 1 {
			err = fmt.Errorf("--bath %s has one point and so no end: write the last minute too, as 0:74,540:74", t.Bath)
		}
		return err
	}
	if q.Programme, err = typedProgramme(t.Programme, h, unread); err != nil || t.Readings == "" {
		return err
	}
	if q.Readings, err = read(t.Readings); err != nil {
		return err
	}
	if q.Start = q.Readings[0].At; t.InAt != "" {
		q.Start, err = typedInstant(t.InAt)
	}
	return err
}

// mixed puts the powder to liquid into the model, and says what it is that of. A ratio that
// was set counts; outside what the model takes each is refused.
func (t Typed) mixed(q *Asked, h house.House, unread error) (err error) {
	q.RatioFrom = "taken where none is given; --ratio for yours"
	r := dough.HouseDefault()
	for _, s := range t.Set {
		if strings.HasPrefix(strings.TrimSpace(s), "pl=") {
			q.RatioFrom = "as set"
		}
	}
	if t.Resin != "" {
		if unread != nil {
			return unread
		}
		if r, err = h.PickResin(t.Resin); err != nil {
			return err
		}
		r = r.WithDefaults()
		if q.Thin.PowderLiquid, err = r.MassRatio(); err != nil {
			return err
		}
		q.RatioFrom = "of " + r.Name
	}
	if t.Ratio != "" {
		ratio, err := dough.ParseRatio(t.Ratio)
		if err == nil {
			r.Ratio, r.RatioBy = ratio.Value, ratio.By
			q.Thin.PowderLiquid, err = r.MassRatio()
		}
		if err != nil {
			return fmt.Errorf("--ratio: %w", err)
		}
		q.RatioFrom = "as given"
	}
	q.Thick.PowderLiquid = q.Thin.PowderLiquid
	return cure.CheckRatio(q.Thin.PowderLiquid)
}

// air is that of the place: as given, else as the house settings have it.
func (t Typed) air(h house.House, unread error) (a cure.Air, err error) {
	switch {
	case t.AltitudeM != 0 && t.AirHPa != 0:
		return 0, asked.Wrongly("--altitude and --air-hpa do not go together")
	case t.AirHPa != 0:
		if err := cure.Air(t.AirHPa).Valid(); err != nil {
			return 0, fmt.Errorf("--air-hpa: %w", err)
		}
		return cure.Air(t.AirHPa), nil
	case t.AltitudeM != 0:
		if a, err = cure.AtAltitude(t.AltitudeM); err != nil {
			return 0, fmt.Errorf("--altitude: %w", err)
		}
		return a, nil
	case unread != nil:
		return 0, nil //nolint:nilerr // a programme written out needs no settings
	}
	return h.Place.Air(), nil
}

// back holds the programmes of the house against an hour; no other is offered.
func (t Typed) back(h house.House, unread error, now time.Time) (*Backward, error) {
	if t.InAt != "" {
		at, err := typedInstant(t.InAt)
		if err != nil {
			return nil, err
		}
		now = at.In(now.Location())
	}
	out, err := typedOut(t.OutAt, now)
	if err == nil {
		err = unread
	}
	if err != nil {
		return nil, err
	}
	return planBack(h, now, out), nil
}

// typedOut reads an hour of the day, the next after now in its zone, or a whole instant.
func typedOut(text string, now time.Time) (time.Time, error) {
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t.In(now.Location()), nil
	}
	t, err := time.Parse("15:04", text)
	if err != nil {
		if t, err = time.Parse("15", text); err != nil {
			return time.Time{}, asked.Wrongly("--out-at %q is not an hour: write 08:00", text)
		}
	}
	return cure.NextClock(now, t.Hour(), t.Minute())
}

// typedInstant reads when the flasks went in.
func typedInstant(text string) (time.Time, error) {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return t, asked.Wrongly("--in-at %q is not a time: write it as 2026-11-25T14:07:32+01:00 (RFC 3339)", text)
	}
	return t, nil
}

// typedMinutes reads minutes as seconds.
func typedMinutes(text string) (out []float64, err error) {
	if strings.TrimSpace(text) == "" {
		return nil, nil
	}
	for part := range strings.SplitSeq(text, ",") {
		v, err := strconv.ParseFloat(strings.TrimSpace(part), 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, asked.Wrongly("--at-minutes %q: write minutes with commas, as 30,60", text)
		}
		out = append(out, v*60)
	}
	return out, nil
}
