package bench

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// Corrections and takings back. What one counts for is settled before records are
// applied; see settle.
var amending = subject{
	rules: []rule{
		on(func(c *checker, a action.Correct) (action.Correct, error) {
			a.Set = c.endsSet(a, c.gaugeSet(a))
			if err := c.correct(a); err != nil {
				return a, err
			}
			return a, c.alone(a)
		}, countsNothing[action.Correct], uncorrected),
		on(func(c *checker, a action.TakeBack) (action.TakeBack, error) {
			if err := c.takeBack(a); err != nil {
				return a, err
			}
			a.NoPlace = c.without(a)
			return a, c.alone(a)
		}, countsNothing[action.TakeBack], uncorrected, aside),
	},
}

// settle finds what each record counts as. A taking back that was itself taken
// back counts for nothing, so the book is read from its end.
func (b *Bench) settle(amends []int) {
	for _, i := range slices.Backward(amends) {
		it := &b.Items[i]
		if tb, ok := it.Body.(action.TakeBack); ok && it.TakenBack == nil {
			if j, ok := b.at(tb.Of); ok && j < i {
				r := it.Record
				b.Items[j].TakenBack = &r
			}
		}
	}
	for _, i := range amends {
		it := &b.Items[i]
		c, ok := it.Body.(action.Correct)
		if !ok || it.TakenBack != nil {
			continue
		}
		j, ok := b.at(c.Of)
		if !ok || j >= i {
			continue
		}
		of := &b.Items[j]
		body, at, err := action.Amend(of.Body, of.Stamp.At, c.Set)
		if err != nil {
			continue // refused when it was written; a foreign book may still hold one
		}
		of.Body = body
		if !at.Equal(of.Stamp.At) {
			of.Stamp = moved(of.Stamp, at)
		}
		of.Corrections = append(of.Corrections, it.Record)
	}
}

// moved puts a stamp at another instant of the same boot.
func moved(s timers.Stamp, at time.Time) timers.Stamp {
	out := timers.Stamp{At: at}
	if boot := s.Boot + at.Sub(s.At); s.BootID != "" && boot >= 0 {
		out.BootID, out.Boot = s.BootID, boot
	}
	return out
}

func (c *checker) correct(a action.Correct) error {
	it, ok := c.b.Item(a.Of)
	if !ok {
		return fmt.Errorf("there is no record with the id %q", a.Of)
	}
	r := rules[it.Body.Kind()]
	if r.uncorrected {
		return fmt.Errorf("an entry of the kind %q cannot be corrected: undo it, or enter it again", it.Body.Kind())
	}
	if it.TakenBack != nil {
		return errors.New("that entry was undone: enter it again")
	}
	body, at, err := action.Amend(it.Body, it.Stamp.At, a.Set)
	if err != nil {
		return err
	}
	if at.After(c.then.Wall.Add(ahead)) {
		return fmt.Errorf("%s lies in the future: check the time", stampText(at))
	}
	was, is := it.Body.Subjects(), body.Subjects()
	if len(was) != len(is) {
		return errors.New("a correction cannot move a record to other flasks: undo it and record it again")
	}
	for i := range was {
		if was[i] != is[i] {
			return errors.New("a correction cannot move a record to another flask: undo it and record it again")
		}
	}
	if !slices.Equal(action.DoubtsOf(it.Body), action.DoubtsOf(body)) {
		return errors.New("what spoke against a gauge or a thermometer is not corrected: correct its check, or record it")
	}
	if err := c.limits(body); err != nil {
		return err
	}
	if err := c.usual(body, body, it.Body); err != nil {
		return err
	}
	if err := c.inOrder(it, at); err != nil {
		return err
	}
	if err := c.stepInOrder(it, at); err != nil {
		return err
	}
	if r.corrected != nil {
		return r.corrected(c, it.Body, body)
	}
	return nil
}

// inOrder refuses a corrected time that puts a record before or behind another about
// the same thing.
func (c *checker) inOrder(it Item, at time.Time) error {
	if at.Equal(it.Stamp.At) {
		return nil
	}
	to := moved(it.Stamp, at)
	about := map[action.Subject]bool{}
	for _, s := range it.Body.Subjects() {
		about[s] = true
	}
	for _, o := range c.b.Items {
		if o.Seq == it.Seq || o.TakenBack != nil {
			continue
		}
		shared := false
		for _, s := range o.Body.Subjects() {
			shared = shared || about[s]
		}
		switch {
		case !shared:
		case o.Seq < it.Seq && between(o.Stamp, to) < 0:
			return fmt.Errorf("%s is before what went ahead of it (record %d, %s): check the time", stampText(at), o.Seq, stampText(o.Stamp.At))
		case o.Seq > it.Seq && between(to, o.Stamp) < 0:
			return fmt.Errorf("%s is after what followed it (record %d, %s): check the time", stampText(at), o.Seq, stampText(o.Stamp.At))
		}
	}
	return nil
}

func (c *checker) takeBack(a action.TakeBack) error {
	it, ok := c.b.Item(a.Of)
	if !ok {
		return fmt.Errorf("there is no record with the id %q", a.Of)
	}
	if it.TakenBack != nil {
		return errors.New("that entry is undone already")
	}
	r := rules[it.Body.Kind()]
	if err := c.undoneAgain(it, a); err != nil {
		return err
	}
	switch {
	case r.kept:
		return fmt.Errorf("an entry of the kind %q cannot be undone", it.Body.Kind())
	case r.makes != nil:
		return c.resting(it, r.makes(it.Body))
	}
	return nil
}

// undoneAgain refuses to undo that something was undone and taken up again, where that leaves
// later records without the thing that they are about.
func (c *checker) undoneAgain(it Item, a action.TakeBack) error {
	undoing := Item{Body: a}
	root, known := action.Root(undoing, func(it Item) action.Body { return it.Body }, c.b.Item)
	if of, amends := action.Amends(root.Body); !known {
		if _, there := c.b.Item(of); amends && !there {
			return nil
		}
		return errors.New("that was undone and taken up again too often: undo the entry itself, or enter it again") // nothing would find what it is about
	}
	if root.Seq == it.Seq {
		return nil
	}
	then, _ := c.after(a).Item(root.Action.ID)
	counts, makes := then.TakenBack == nil, rules[root.Body.Kind()].makes
	if counts == (root.TakenBack == nil) {
		return nil
	}
	var lost action.Subject
	if end, ends := root.Body.(action.Outcome); ends && counts {
		lost = action.Subject{Class: 'f', No: end.Flask}
	} else if makes != nil && !counts {
		lost = makes(root.Body)
	}
	return c.resting(root, lost)
}

// resting refuses while there are later records about the thing that a record brought into the
// world. A timer may go with its stop left behind: nothing else speaks of it.
func (c *checker) resting(it Item, made action.Subject) error {
	n := 0
	if made.Class == 't' || made.Class == 0 {
		return nil
	}
	for _, o := range c.b.Items {
		if o.Seq <= it.Seq || o.TakenBack != nil {
			continue
		}
		for _, s := range o.Body.Subjects() {
			if s == made {
				n++
			}
		}
		if f := rules[o.Body.Kind()].rests; f != nil {
			n += f(c.b, o.Body, made)
		}
	}
	if n == 0 {
		return nil
	}
	count := fmt.Sprint(n)
	if _, more := c.b.LatestNotes(made); more {
		count = "at least " + count // old notes are not at hand
	}
	return fmt.Errorf("%s later entries depend on it; undo those first", count)
}

// alone sees to it that a correction or a taking back leaves no two flasks on one
// place.
func (c *checker) alone(body action.Body) error {
	then := c.after(body)
	on := map[int]int{}
	for _, n := range Sorted(then.Flasks) {
		f := then.Flasks[n]
		if f.Place == 0 || f.Stage == Finished {
			continue
		}
		if other, taken := on[f.Place]; taken {
			return fmt.Errorf("flasks %d and %d would stand on place %d: move one away first", other, n, f.Place)
		}
		on[f.Place] = n
	}
	return nil
}

// after is the bench with one more record.
func (c *checker) after(body action.Body) *Bench {
	seq := uint64(1)
	if n := len(c.b.Items); n > 0 {
		seq = c.b.Items[n-1].Seq + 1
	}
	return c.b.With(record.Record{Seq: seq, Stamp: c.at, Action: action.Action{ID: "\x00", At: c.at.At, Body: body}})
}

// LastWork finds the latest record that undoing takes back.
func (b *Bench) LastWork() (Item, bool) { return b.lastWork(func(*Item) bool { return true }) }

// LastWorkBy finds the latest one of somebody.
func (b *Bench) LastWorkBy(by string) (Item, bool) {
	return b.lastWork(func(it *Item) bool { return it.Action.By == by })
}

func (b *Bench) lastWork(of func(*Item) bool) (Item, bool) {
	for i := len(b.Items) - 1; i >= 0; i-- {
		it := b.Items[i]
		if it.TakenBack == nil && !probed(it.Body) && !rules[it.Body.Kind()].aside && of(&it) {
			return it, true
		}
	}
	return Item{}, false
}

// Mends names the values of a kind that are offered to be set right, as its fields are
// called, its time ("at") last; none for a kind that is taken back, or recorded anew.
func Mends(kind action.Kind) []string { return rules[kind].mends }

// Mendable lists the records about a flask and its mix that are offered to be set right,
// the latest first.
func (b *Bench) Mendable(f *Flask) []Item {
	var out []Item
	for i := len(b.Items) - 1; i >= 0; i-- {
		it := b.Items[i]
		if it.TakenBack != nil || Mends(it.Body.Kind()) == nil {
			continue
		}
		for _, s := range it.Body.Subjects() {
			if s == (action.Subject{Class: 'f', No: f.No}) || s == (action.Subject{Class: 'm', No: f.Mix}) {
				out = append(out, it)
				break
			}
		}
	}
	return out
}

// rootOf is what a body is about in the end ([action.Root]), nil where that is not known:
// find gives the body recorded under an id.
func rootOf(body action.Body, find func(id string) (action.Body, bool)) action.Body {
	if root, ok := action.Root(body, func(b action.Body) action.Body { return b }, find); ok {
		return root
	}
	return nil
}

// Subjects tells what a body is about, looking through corrections, takings back and
// answers to alarms; find gives the body recorded under an id.
func Subjects(body action.Body, find func(id string) (action.Body, bool)) []action.Subject {
	root := rootOf(body, find)
	if root == nil {
		return nil
	}
	if key, is := answers(root); is {
		return keySubject(key)
	}
	return root.Subjects()
}

func keySubject(key string) []action.Subject {
	if s, ok := SubjectOfStep(key); ok {
		return []action.Subject{s}
	}
	if s, ok := SubjectOfKey(key); ok {
		return []action.Subject{s}
	}
	return nil
}
