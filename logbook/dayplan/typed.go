package dayplan

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"flaskside/logbook/asked"
	"flaskside/logbook/bench"
	"flaskside/logbook/disk"
	"flaskside/logbook/house"
	"flaskside/timers"
)

// Typed is what a plan is asked for as it is typed: each field as the flag of its name takes it,
// "" and 0 where it is left out.
type Typed struct {
	File            string   // of cases, - for the standard input
	Cases           []string // and cases said one by one; without either those of the list
	Hours, At, Room string
	Baths           []string // that cannot be used
	People, Presses int
	Seed            uint64
}

// Read puts the question together. stand gives the bench as it stands, nil where there is no
// logbook yet.
func (t Typed) Read(now timers.Reading, stand func() (*bench.Bench, error), stdin io.Reader) (Question, error) {
	q := Question{House: house.Default(), Now: now.Wall, People: t.People, Presses: t.Presses, Down: t.Baths, Seed: t.Seed}
	var err error
	if t.At != "" {
		if q.Now, err = time.Parse(time.RFC3339, t.At); err != nil {
			return q, asked.Wrongly("--at %q is not an instant: give it as %s", t.At, now.Wall.Format(time.RFC3339))
		}
	}
	if q.Hours, err = typedHours(t.Hours); err != nil {
		return q, err
	}
	b, err := stand()
	if err != nil {
		return q, err
	}
	at := timers.Now{Reading: now}
	if b != nil {
		own := At(b, q.Now)
		q.House, q.Busy = own.House, own.Busy
		q = q.Without(b)
		if t.At != "" {
			at = timers.Now{Reading: timers.Reading{Wall: q.Now}}
		}
	}
	if q.RoomC, err = TypedRoom(t.Room, q.House); err != nil {
		return q, err
	}
	if q.Entries, err = t.entries(b, q.Now, at, stdin); err != nil {
		return q, err
	}
	q.Entries, q.Left = Bounded(q.Entries)
	return q, nil
}

// TypedRoom is the temperature of the room that was typed, or that of the first resin's times, °C.
func TypedRoom(room string, h house.House) (float64, error) {
	if room == "" {
		return h.RoomC(), nil
	}
	return house.ReadTemp("--room", "mix.room_c", room, h.Units)
}

// typedHours reads hours as 08:00-17:00.
func typedHours(s string) (out [2]string, err error) {
	if s == "" {
		return out, nil
	}
	from, to, _ := strings.Cut(strings.ReplaceAll(s, "–", "-"), "-")
	out = [2]string{strings.TrimSpace(from), strings.TrimSpace(to)}
	for _, h := range out {
		if _, ok := house.MinuteOf(h); !ok {
			return out, asked.Wrongly("--hours %q: give them as 08:00-17:00", s)
		}
	}
	return out, nil
}

// entries are the cases typed, or those of the logbook where none are.
func (t Typed) entries(b *bench.Bench, now time.Time, at timers.Now, stdin io.Reader) (out []Entry, err error) {
	switch {
	case t.File == "" && len(t.Cases) == 0 && b == nil:
		return nil, errors.New("there is no logbook yet, and no case was given: say --case or --cases, or name the logbook with --book")
	case t.File == "" && len(t.Cases) == 0:
		return Entries(b, at), nil
	case t.File == "-":
		out, err = readCases(stdin, now)
	case t.File != "":
		f, oerr := disk.OpenSource(t.File)
		if oerr != nil {
			return nil, fmt.Errorf("read cases: %w", oerr)
		}
		out, err = readCases(f, now)
		_ = f.Close() // only read from
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", filepath.Base(t.File), err)
	}
	for _, s := range t.Cases {
		e, err := parseCase(s, now)
		if err != nil {
			return nil, asked.Wrongly("--case: %w", err)
		}
		out = append(out, e)
	}
	if b != nil {
		out = atWork(out, b, at)
	}
	return out, nil
}
