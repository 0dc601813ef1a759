package bench

import (
	"flaskside/logbook/action"
	"flaskside/timers"
)

// The end of a flask's work: back on the articulator, the outcome.
var finish = subject{
	rules: []rule{
		on(checkRemount, func(b *Bench, a action.Remount, it *Item) {
			f := b.flask(a.Flask, it)
			f.PinMM = &a.PinMM
			f.to(Checked, it)
		}, mends("pin_mm")),
		on(checkOutcome, func(b *Bench, a action.Outcome, it *Item) {
			f := b.flask(a.Flask, it)
			f.Outcome, f.Defects, f.Ended = action.Came(a.Outcome), a.Defects, it.at()
			f.endSeq = it.Seq
			f.leave()
			f.to(Finished, it)
			b.caseEnded(f, it)
		}, mends("outcome"), alive(caseAlive[action.Outcome])),
	},
	next: map[FlaskStage]func(*Bench, *Flask, timers.Now) Step{
		Open:    always(DoRemount),
		Checked: always(DoOutcome),
	},
}

func checkRemount(c *checker, a action.Remount) (action.Remount, error) {
	f, err := c.flask(a.Flask)
	if err != nil {
		return a, err
	}
	c.order(f, "remounted", Open)
	if a.PinMM > c.b.House.Remount.PinLimit() {
		c.marks = append(c.marks, PinHighCode) // told before the outcome
	}
	return a, nil
}

func checkOutcome(c *checker, a action.Outcome) (action.Outcome, error) {
	f, err := c.flask(a.Flask)
	if err != nil {
		return a, err
	}
	if a.Outcome != remade {
		c.order(f, action.Came(a.Outcome), Checked)
	}
	return a, nil
}
