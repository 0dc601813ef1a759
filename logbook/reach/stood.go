package reach

import (
	"flaskside/logbook"
	"flaskside/logbook/bench"
	"flaskside/logbook/check"
	"flaskside/logbook/civil"
	"flaskside/logbook/door"
	"flaskside/logbook/status"
	"flaskside/timers"
)

// Bench gives the bench as it stands now or, where an instant was typed, as it stood then. A flask
// that is asked about and has left it is read of the logbook: one that is off the living bench
// may still be named there, by records that it shares with others, and that is no flask to be
// read.
func (at At) Bench(typed string, flask int) (*bench.Bench, timers.Now, error) {
	past, then, err := civil.TypedPast(typed, at.Clock.Read().Wall)
	if err != nil {
		return nil, timers.Now{}, err
	}
	now := timers.Now{Reading: at.Clock.Read()}
	if !past {
		st, err := at.State()
		if err != nil {
			return nil, now, err
		}
		now.Beat = st.Beat
		if f := st.Bench.Flasks[flask]; flask == 0 || f.AtWork() {
			return st.Bench, now, nil
		}
	}
	b, err := Read(at, func(book *logbook.Book) (*bench.Bench, error) {
		if past {
			return book.AsOf(then)
		}
		return book.OneFlask(flask)
	})
	if past {
		now = status.AsOf(then, at.Clock.Read())
	}
	return b, now, err
}

// Status tells how the bench stands now, or stood at an instant that was typed.
func (at At) Status(typed string) (status.Status, error) {
	past, then, err := civil.TypedPast(typed, at.Clock.Read().Wall)
	if err != nil {
		return status.Status{}, err
	}
	if !past {
		if client, err := door.Dial(at.Path); err == nil {
			st, err := client.State()
			if err != nil {
				return status.Status{}, err
			}
			return at.told(st, timers.Now{Reading: at.Clock.Read(), Beat: st.Beat}, at.Path)
		}
	}
	return Read(at, func(book *logbook.Book) (status.Status, error) {
		st := book.State()
		if !past {
			return at.told(st, timers.Now{Reading: at.Clock.Read(), Beat: st.Beat}, book.Path())
		}
		b, err := book.AsOf(then)
		if err != nil {
			return status.Status{}, err
		}
		return at.told(logbook.Snapshot{Bench: b, Head: st.Head}, status.AsOf(then, at.Clock.Read()), book.Path())
	})
}

// told tells how a bench stands, with what of it is not as it was written in a file.
func (at At) told(st logbook.Snapshot, now timers.Now, file string) (s status.Status, err error) {
	s = status.Of(st, now)
	s.Spoilt, err = check.NotAsWritten(file, st.Bench.Items)
	return s, err
}
