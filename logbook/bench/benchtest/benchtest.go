// Package benchtest helps tests of the bench and of the book: it writes a bench so
// that two can be compared, and draws random things that may be done at one.
package benchtest

import (
	"encoding/json"
	"fmt"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// Dump writes what people see of a bench at a moment: places, flasks with their mix,
// load and next step, running timers, windows, alarms, lots, settings and counters. The
// same bench always gives the same text. A flask that is finished is left out, as is
// a mix, a load or a timer that nothing waits for.
func Dump(b *bench.Bench, now timers.Now) string { return dump(b, now, true) }

// DumpWork writes the same without the registers of lots and of equipment.
func DumpWork(b *bench.Bench, now timers.Now) string { return dump(b, now, false) }

func dump(b *bench.Bench, now timers.Now, register bool) string {
	type flask struct {
		Flask *bench.Flask
		Mix   *bench.Mix
		Load  *bench.Load
		Next  bench.Step
		Notes [3][]bench.Said
		More  [3]bool // notes than these
	}
	out := struct {
		House   any
		Crew    string
		Top     bench.Counters
		Places  [10]int
		Flasks  []flask
		Timers  []bench.Timer
		Windows []bench.Window
		Alarms  []timers.Alarm
		Lots    []bench.KnownLot
		Cases   []bench.Case
		Pieces  [2][]bench.KnownPiece
	}{House: b.House, Crew: b.Crew, Top: b.Top, Places: b.Places, Windows: b.Windows(), Alarms: b.Alarms(now)}
	for f := range b.AtWork() {
		x := flask{Flask: f, Next: b.Next(f, now)}
		if m := b.MixOf(f); m != nil {
			c := *m
			c.Flasks = atWork(b, m.Flasks)
			x.Mix = &c
		}
		if l := b.LoadOf(f); l != nil {
			c := *l
			c.Flasks, c.Last = atWork(b, l.Flasks), timers.Stamp{} // also moved by flasks that are gone
			x.Load = &c
		}
		for i, about := range []action.Subject{{Class: 'f', No: f.No}, {Class: 'm', No: f.Mix}, {Class: 'l', No: f.Load}} {
			x.Notes[i], x.More[i] = b.LatestNotes(about)
		}
		out.Flasks = append(out.Flasks, x)
	}
	for _, n := range bench.Sorted(b.Timers) {
		if b.Timers[n].Stopped == nil {
			out.Timers = append(out.Timers, *b.Timers[n])
		}
	}
	if register {
		out.Cases = b.Cases()
		out.Pieces[0], out.Pieces[1] = b.Pieces()
	}
	for _, material := range action.Materials {
		if !register {
			break
		}
		held, withdrawn := b.Lots(material)
		out.Lots = append(append(out.Lots, held...), withdrawn...)
	}
	v, err := json.Marshal(out)
	if err != nil {
		return "cannot be written: " + err.Error()
	}
	return string(v)
}

// atWork leaves the flasks on the bench, in their order.
func atWork(b *bench.Bench, ns []int) []int {
	var out []int
	for _, n := range ns {
		if f := b.Flasks[n]; f.AtWork() {
			out = append(out, n)
		}
	}
	return out
}

// Difference shows where two dumps part, "" where they do not.
func Difference(got, want string) string {
	if got == want {
		return ""
	}
	i := 0
	for i < len(got) && i < len(want) && got[i] == want[i] {
		i++
	}
	around := func(s string) string { return s[min(len(s), max(0, i-400)):min(len(s), i+300)] }
	return fmt.Sprintf("got\n…%s…\nwant\n…%s…", around(got), around(want))
}

// Of folds the records of some items, as they stand.
func Of(items []bench.Item, top bench.Counters) *bench.Bench {
	recs := make([]record.Record, len(items))
	for i, it := range items {
		recs[i] = it.Record
	}
	return bench.Fold(recs, top)
}
