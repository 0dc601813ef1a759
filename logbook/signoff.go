package logbook

import (
	"encoding/binary"
	"errors"
	"fmt"

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
	last, ok := p.lastSignOff(s, c.signing)
	if !ok {
		return nil
	}
	for seq := last.Seq + 1; seq <= c.head.Seq; seq++ {
		r, err := c.at(p, seq)
		if err != nil {
			return err
		}
		if _, is := r.Action.Body.(action.SignOff); !is {
			return nil
		}
	}
	return fmt.Errorf("%s was signed off by %s, %s, and nothing was recorded since", s.Day, last.Action.By, last.Stamp.At.Format("Mon 2 Jan 15:04:05"))
}

// at gives the record of a number, in the book or of the input.
func (c *checking) at(p *past, seq uint64) (record.Record, error) {
	if first := c.head.Seq + 1 - uint64(len(c.batch)); seq >= first {
		return c.get(int(seq - first))
	}
	return p.at(seq)
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
	for i := len(c.batch) - 1; i >= 0; i-- { // what it signs stands right before it as a rule
		if r, err := c.get(i); err != nil || counts(r) {
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

// lastSignOff finds the last sign-off of the same day that was not taken back; fresh are the
// sign-offs and takings back of the input, which are not in the book yet.
func (p *past) lastSignOff(s action.SignOff, fresh []record.Record) (last record.Record, ok bool) {
	back := map[string]bool{}
	for _, r := range fresh {
		if a, is := r.Action.Body.(action.TakeBack); is {
			back[a.Of] = true
		}
	}
	for i := len(fresh) - 1; i >= 0; i-- {
		if o, is := fresh[i].Action.Body.(action.SignOff); is && o.No() == s.No() && !back[fresh[i].Action.ID] {
			return fresh[i], true
		}
	}
	c := p.index()
	about := layout.SubjectSignOff(s)
	prefix := layout.SubjectPrefix(about)
	about.No++
	for k := prior(c, layout.SubjectPrefix(about)); len(k) == 13 && string(k[:5]) == string(prefix); k = c.Prev() {
		r, err := p.at(binary.BigEndian.Uint64(k[5:]))
		if err != nil || back[r.Action.ID] {
			continue
		}
		switch a := r.Action.Body.(type) {
		case action.TakeBack:
			back[a.Of] = true
		case action.SignOff:
			return r, true
		}
	}
	return last, false
}
