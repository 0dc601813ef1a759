package logbook

import (
	"errors"
	"fmt"
	"math"

	"flaskside/logbook/action"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// signable refuses the sign-off of a day on which nothing was recorded, and one that says
// nothing new: the day was signed off, and nothing at all was recorded since.
func (c *checking) signable(a action.Action) error {
	s, ok := a.Body.(action.SignOff)
	if !ok {
		return nil
	}
	if a.By == "" {
		return errors.New("a day is signed off by somebody: give initials, as in --sign-off KT")
	}
	p := c.past()
	if some, err := c.anythingOn(p, s); err != nil || !some {
		if err == nil {
			err = fmt.Errorf("nothing was recorded on %s: there is nothing to sign off", s.Day)
		}
		return err
	}
	last, ok := p.lastSignOff(s)
	if !ok {
		return nil
	}
	for seq := last.Seq + 1; seq <= c.head.Seq; seq++ {
		r, err := p.at(seq)
		if err != nil {
			return err
		}
		if _, is := r.Action.Body.(action.SignOff); !is {
			return nil
		}
	}
	return fmt.Errorf("%s was signed off by %s, %s, and nothing was recorded since", s.Day, last.Action.By, last.Stamp.At.Format("Mon 2 Jan 15:04:05"))
}

// anythingOn tells whether anything but a sign-off was done on the day of one.
func (c *checking) anythingOn(p *past, s action.SignOff) (bool, error) {
	from, until := s.Bounds()
	counts := func(r record.Record) bool {
		if _, is := r.Action.Body.(action.SignOff); is {
			return false
		}
		return !r.Stamp.At.Before(from) && r.Stamp.At.Before(until)
	}
	for i := len(c.batch.ids) - 1; i >= 0; i-- { // what it signs stands right before it as a rule
		if r, err := c.batch.get(i); err != nil || counts(r) {
			return err == nil, err
		}
	}
	seqs := map[uint64]bool{}
	p.between(from, until, seqs)
	for seq := range seqs {
		r, err := p.at(seq)
		if err != nil {
			return false, err
		}
		if counts(r) {
			return true, nil
		}
	}
	return false, nil
}

// lastSignOff finds the last sign-off of the same day that was not taken back.
func (p *past) lastSignOff(s action.SignOff) (last record.Record, ok bool) {
	back := map[string]bool{}
	p.before(layout.SubjectSignOff(s), math.MaxUint64, func(seq uint64) bool {
		r, err := p.at(seq)
		if err != nil || back[r.Action.ID] {
			return true
		}
		switch a := r.Action.Body.(type) {
		case action.TakeBack:
			back[a.Of] = true
		case action.SignOff:
			last, ok = r, true
		}
		return !ok
	})
	return last, ok
}
