package bench

import (
	"encoding/json"
	"fmt"
	"sort"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// Fold makes the bench from records in order of the book. It never fails: what
// was written happened. top gives the highest numbers of the whole book where the
// records are only a part of it.
func Fold(recs []record.Record, top Counters) *Bench {
	b := &Bench{
		House: house.Default(), Flasks: map[int]*Flask{}, Mixes: map[int]*Mix{}, Loads: map[int]*Load{}, Timers: map[int]*Timer{},
		Cautions: map[string]timers.Stamp{}, Top: top, byID: make(map[string]int, len(recs)), Items: make([]Item, len(recs)), memo: newMemo(),
	}
	for i, r := range recs {
		b.Items[i] = Item{Record: r, Body: r.Action.Body, Stamp: r.Stamp}
		b.byID[r.Action.ID] = i
	}
	b.settle()
	for i := range b.Items {
		if it := &b.Items[i]; it.TakenBack == nil {
			b.apply(it)
		}
		b.Top.Seq = max(b.Top.Seq, b.Items[i].Seq)
		switch a := b.Items[i].Action.Body.(type) { // numbers are used up though taken back
		case action.FlaskOpen:
			b.Top.Flask = max(b.Top.Flask, a.Flask)
		case action.MixMake:
			b.Top.Mix = max(b.Top.Mix, a.Mix)
		case action.BathLoad:
			b.Top.Load = max(b.Top.Load, a.Load)
		case action.TimerStart:
			b.Top.Timer = max(b.Top.Timer, a.Timer)
		}
	}
	b.place()
	return b
}

// place sets the flasks at work on their places. A flask whose opening is not among
// the records left the bench before them: a record that it shares with another, a mix
// say, does not bring it back.
func (b *Bench) place() {
	b.Places = [10]int{}
	for _, f := range b.Flasks {
		if !f.known {
			f.Stage, f.Place = Finished, 0
		}
		if f.Place > 0 && f.Stage != Finished {
			b.Places[f.Place] = f.No
		}
	}
}

// settle finds what each record counts as. A taking back that was itself taken
// back counts for nothing, so the book is read from its end.
func (b *Bench) settle() {
	for i := len(b.Items) - 1; i >= 0; i-- {
		it := &b.Items[i]
		if tb, ok := it.Body.(action.TakeBack); ok && it.TakenBack == nil {
			if j, ok := b.byID[tb.Of]; ok && j < i {
				r := it.Record
				b.Items[j].TakenBack = &r
			}
		}
	}
	for i := range b.Items {
		it := &b.Items[i]
		c, ok := it.Body.(action.Correct)
		if !ok || it.TakenBack != nil {
			continue
		}
		j, ok := b.byID[c.Of]
		if !ok || j >= i {
			continue
		}
		of := &b.Items[j]
		body, at, err := Amend(of.Body, of.Stamp.At, c.Set)
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

// Amend gives a body other values: set is a JSON object of its fields, and of
// "at" where the time was wrong.
func Amend(body action.Body, at time.Time, set json.RawMessage) (action.Body, time.Time, error) {
	var change map[string]json.RawMessage
	if err := json.Unmarshal(set, &change); err != nil {
		return nil, at, fmt.Errorf("the correction is no JSON object: %w", err)
	}
	if raw, ok := change["at"]; ok {
		if err := json.Unmarshal(raw, &at); err != nil {
			return nil, at, fmt.Errorf("at is no time: write it as 2026-11-25T14:07:32+01:00 (RFC 3339)")
		}
		delete(change, "at")
	}
	if len(change) == 0 {
		return body, at, nil
	}
	old, err := json.Marshal(body)
	if err != nil {
		return nil, at, fmt.Errorf("read the record corrected: %w", err)
	}
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(old, &fields); err != nil {
		return nil, at, fmt.Errorf("read the record corrected: %w", err)
	}
	for k, v := range change {
		fields[k] = v
	}
	merged, err := json.Marshal(fields)
	if err != nil {
		return nil, at, fmt.Errorf("correct: %w", err)
	}
	out, err := action.DecodeBody(body.Kind(), merged)
	return out, at, err
}

// flask finds the flask a record is about, and notes that it was touched.
func (b *Bench) flask(no int, it *Item) *Flask {
	f := b.Flasks[no]
	if f == nil {
		f = &Flask{No: no, Case: "?", Size: "medium", Stage: Opened, Halves: map[string]*Half{}, excused: map[string]bool{}, Opened: it.Stamp}
		b.Flasks[no] = f
	}
	f.Last, f.LastID = it.Stamp, it.Action.ID
	for _, u := range it.Action.Unusual {
		code, of := oddOf(u)
		if of != 0 && of != no {
			continue
		}
		f.Oddities = append(f.Oddities, Oddity{it.Stamp, it.Action.By, code, it.Action.Why})
		f.excused[code] = true
		for _, u := range action.LotsUsed(it.Body) { // the reason was for this lot, not for any
			f.excused[lotKey(code, u.Material, u.Lot)] = true
		}
	}
	return f
}

func (f *Flask) trial() *Trial {
	if t := f.Trial(); t != nil {
		return t
	}
	f.Trials = append(f.Trials, Trial{N: 1})
	return f.Trial()
}

// apply lets one record count.
func (b *Bench) apply(it *Item) {
	at := it.Stamp
	atp := func() *timers.Stamp { s := at; return &s }
	switch a := it.Body.(type) {
	case action.FlaskOpen:
		f := b.flask(a.Flask, it)
		f.Place, f.Case, f.Base, f.Size, f.Tag, f.Opened, f.known = a.Place, a.Case, a.Base, a.Size, a.Tag, at, true
		b.Top.Flask = max(b.Top.Flask, a.Flask)
	case action.FlaskMove:
		b.flask(a.Flask, it).Place = a.Place
	case action.Coat:
		f := b.flask(a.Flask, it)
		for _, h := range []string{"cast", "teeth"} {
			if a.Half == h || a.Half == "both" {
				n := 1
				if old := f.Halves[h]; old != nil {
					n = old.N + 1
				}
				f.Halves[h] = &Half{N: n, Coated: at, MinS: a.DryMinS, MaxS: a.DryMaxS, Lot: a.Lot}
			}
		}
		if f.Stage == Opened {
			f.Stage = Drying
		}
	case action.MixMake:
		m := &Mix{No: a.Mix, Resin: a.Resin, PowderG: a.PowderG, LiquidG: a.LiquidG, PowderLot: a.PowderLot, LiquidLot: a.LiquidLot,
			RoomC: a.RoomC, JarC: a.JarC, DoughS: a.DoughS, WorkS: a.WorkS, Made: at, Last: at}
		m.estimate()
		b.Mixes[a.Mix] = m
		b.Top.Mix = max(b.Top.Mix, a.Mix)
		b.serve(m, a.Flasks, it)
	case action.MixServe:
		if m := b.Mixes[a.Mix]; m != nil {
			m.Last = at
			b.serve(m, a.Flasks, it)
			break
		}
		for _, n := range a.Flasks { // a mix no longer alive: the flasks had others since
			b.flask(n, it)
		}
	case action.MixDough:
		if m := b.Mixes[a.Mix]; m != nil {
			m.Dough, m.Last = atp(), at
			m.estimate()
		}
	case action.MixStiff:
		if m := b.Mixes[a.Mix]; m != nil {
			m.Stiff, m.Last = atp(), at
			m.estimate()
		}
	case action.PressIn:
		f := b.flask(a.Flask, it)
		f.Trials = append(f.Trials, Trial{N: len(f.Trials) + 1, Press: a.Press, In: at, Added: a.Added || f.AddedSince, InID: it.Action.ID, Corrected: it.Corrected()})
		if a.Added {
			f.Inspected = false // what was looked at was another filling
		}
		f.AddedSince, f.Stage = false, InPress
	case action.PressAt:
		f := b.flask(a.Flask, it)
		t := f.trial()
		t.At, t.PSI, t.HoldAimS, t.AtID = atp(), a.PressurePSI, a.HoldS, it.Action.ID
		t.Corrected = t.Corrected || it.Corrected()
		f.Stage = Holding
	case action.PressOpen:
		f := b.flask(a.Flask, it)
		t := f.trial()
		t.Out = atp()
		t.Corrected = t.Corrected || it.Corrected()
		if t.At != nil {
			t.HeldS = int(between(*t.At, at) / time.Second)
		}
		f.Stage = Judging
	case action.Flash:
		f := b.flask(a.Flask, it)
		t := f.trial()
		t.Judged, t.Grade, t.Grams, t.Where, t.JudgeID = atp(), a.Grade, a.Grams, a.Where, it.Action.ID
		t.Corrected = t.Corrected || it.Corrected()
		f.Stage = Trimmed
	case action.FlashMore:
		t := b.flask(a.Flask, it).trial()
		if a.Grams > 0 {
			t.Grams = a.Grams
		}
		if len(a.Where) > 0 {
			t.Where = a.Where
		}
		t.Corrected = t.Corrected || it.Corrected()
	case action.DoughAdd:
		f := b.flask(a.Flask, it)
		f.AddedSince, f.Inspected = true, false
	case action.FlaskLots:
		f := b.flask(a.Flask, it)
		if a.StoneLot != "" {
			f.StoneLot = a.StoneLot
		}
		if a.SheetLot != "" {
			f.SheetLot = a.SheetLot
		}
	case action.Inspect:
		b.flask(a.Flask, it).Inspected = true
	case action.SheetOut:
		f := b.flask(a.Flask, it)
		f.SheetOut, f.Stage = atp(), Sheetout
	case action.MetalToMetal:
		f := b.flask(a.Flask, it)
		f.Metal, f.MetalPSI, f.Stage = atp(), a.PressurePSI, Metal
	case action.Clamp:
		f := b.flask(a.Flask, it)
		f.Clamped, f.BackedOff, f.BenchMinS, f.BenchMaxS, f.Stage = atp(), a.BackedOffTurn, a.BenchMinS, a.BenchMaxS, Set
		if f.Metal == nil {
			f.Metal = atp()
		}
	case action.BathLoad:
		l := &Load{No: a.Load, Bath: a.Bath, Flasks: a.Flasks, Programme: a.Programme, Stages: a.Stages, BathC: a.BathC, MaxS: a.MaxS, In: at, Last: at, Sections: map[int]action.Section{}}
		for _, s := range a.Sections {
			l.Sections[s.Flask] = s
		}
		b.Loads[a.Load] = l
		b.Top.Load = max(b.Top.Load, a.Load)
		for _, n := range a.Flasks {
			f := b.flask(n, it)
			f.Load, f.InBath, f.OutBath, f.Stage = a.Load, atp(), nil, InBath
			if f.Metal == nil {
				f.Metal = atp()
			}
		}
	case action.BathReading:
		b.Readings = append(b.Readings, Reading{a.Bath, at, a.TempC, a.Source})
	case action.BathUnload:
		for _, n := range a.Flasks {
			f := b.flask(n, it)
			f.OutBath, f.CoolS, f.Stage = atp(), a.BenchS, Cooling
			if l := b.Loads[f.Load]; l != nil {
				l.Last = at
			}
		}
	case action.CoolWater:
		for _, n := range a.Flasks {
			f := b.flask(n, it)
			f.InWater, f.WaterS, f.Stage = atp(), a.WaterS, InWater
		}
	case action.Deflask:
		for _, n := range a.Flasks {
			f := b.flask(n, it)
			f.Deflasked, f.Stage = atp(), Open
		}
	case action.Remount:
		f := b.flask(a.Flask, it)
		pin := a.PinMM
		f.PinMM, f.Stage = &pin, Checked
	case action.Outcome:
		f := b.flask(a.Flask, it)
		f.Outcome, f.Defects, f.Ended, f.Stage, f.Place = a.Outcome, a.Defects, atp(), Finished, 0
	case action.Note:
		said := Said{at, it.Action.By, a.Text}
		if a.Flask > 0 {
			f := b.flask(a.Flask, it)
			f.Notes = append(f.Notes, said)
		} else if m := b.Mixes[a.Mix]; m != nil {
			m.Notes = append(m.Notes, said)
		} else if l := b.Loads[a.Load]; l != nil {
			l.Notes = append(l.Notes, said)
		}
	case action.TimerStart:
		b.Timers[a.Timer] = &Timer{No: a.Timer, Label: a.Label, Count: a.Count, MinS: a.MinS, AimS: a.AimS, MaxS: a.MaxS, Start: at}
		b.Top.Timer = max(b.Top.Timer, a.Timer)
	case action.TimerStop:
		if t := b.Timers[a.Timer]; t != nil {
			t.Stopped = atp()
		}
	case action.AlarmHeard:
		b.Answers = append(b.Answers, timers.Answer{Key: a.Alarm, At: at})
	case action.AlarmShelve:
		b.Answers = append(b.Answers, timers.Answer{Key: a.Alarm, At: at, Shelf: time.Duration(a.ForS) * time.Second})
	case action.Settings:
		b.House = a.House
	case action.Crew:
		b.Crew, b.CrewAt, b.TookOver = a.Initials, at, a.Handover
	case action.Caution:
		b.Cautions[a.Hazard+" "+it.Action.By] = at
	case action.Seen:
		b.Seen = at
	case action.LotIn:
		b.takeIn(a, it)
	case action.LotOut:
		b.withdraw(a, it)
	}
}

// serve gives a mix to flasks; a flask has one mix at a time, the latest.
func (b *Bench) serve(m *Mix, flasks []int, it *Item) {
	for _, n := range flasks {
		f := b.flask(n, it)
		if old := b.Mixes[f.Mix]; old != nil && old != m {
			old.Flasks = without(old.Flasks, n)
		}
		f.Mix = m.No
		m.Flasks = append(without(m.Flasks, n), n)
	}
}

func without(ns []int, n int) []int {
	out := make([]int, 0, len(ns)+1)
	for _, k := range ns {
		if k != n {
			out = append(out, k)
		}
	}
	return out
}

// Counters and times after which a record no longer matters to the bench.
const (
	mixMemory     = 12 * time.Hour // a mix with nothing left to serve
	cautionMemory = 18 * time.Hour // longer than a shift
	ReadingMemory = 84 * time.Hour // a cure over a long weekend
)

// Alive tells for each item whether the bench as it stands still rests on it. What
// is no longer alive stays in the book and can be left out of the next fold.
func (b *Bench) Alive() []bool {
	out := make([]bool, len(b.Items))
	var now time.Time
	for _, it := range b.Items {
		if it.Stamp.At.After(now) {
			now = it.Stamp.At
		}
	}
	flask := func(n int) bool { f := b.Flasks[n]; return f != nil && f.Stage != Finished }
	anyFlask := func(ns []int) bool {
		for _, n := range ns {
			if flask(n) {
				return true
			}
		}
		return false
	}
	// All flasks a mix was ever given to: its records stand or fall together.
	served := map[int][]int{}
	for _, it := range b.Items {
		for _, body := range []action.Body{it.Action.Body, it.Body} {
			switch a := body.(type) {
			case action.MixMake:
				served[a.Mix] = append(served[a.Mix], a.Flasks...)
			case action.MixServe:
				served[a.Mix] = append(served[a.Mix], a.Flasks...)
			}
		}
	}
	subject := func(s action.Subject) bool {
		switch s.Class {
		case 'f':
			return flask(s.No)
		case 'm':
			m := b.Mixes[s.No]
			return m != nil && (anyFlask(served[s.No]) || now.Sub(m.Made.At) < mixMemory && len(m.Flasks) > 0 && m.Stiff == nil && now.Sub(m.Made.At) < time.Duration(m.WorkS)*time.Second)
		case 'l':
			l := b.Loads[s.No]
			return l != nil && anyFlask(l.Flasks)
		case 't':
			t := b.Timers[s.No]
			return t != nil && t.Stopped == nil
		}
		return false
	}
	last := map[action.Kind]int{}
	lastRead := map[int]int{} // by bath
	for i, it := range b.Items {
		if it.TakenBack == nil {
			last[it.Action.Kind()] = i
			if r, ok := it.Body.(action.BathReading); ok {
				lastRead[r.Bath] = i
			}
		}
	}
	// Which loads a record took flasks out of: a load ends with its last one.
	unloads := map[int][]int{}
	in := map[int]int{}
	for i, it := range b.Items {
		if it.TakenBack != nil {
			continue
		}
		switch a := it.Body.(type) {
		case action.BathLoad:
			for _, n := range a.Flasks {
				in[n] = a.Load
			}
		case action.BathUnload:
			for _, n := range a.Flasks {
				unloads[i] = append(unloads[i], in[n])
			}
		}
	}
	registered := b.registered()
	alive := func(i int, it *Item) bool {
		for _, l := range unloads[i] {
			if subject(action.Subject{Class: 'l', No: l}) {
				return true
			}
		}
		for _, s := range append(it.Action.Body.Subjects(), it.Body.Subjects()...) {
			if subject(s) {
				return true
			}
		}
		switch a := it.Body.(type) {
		case action.Settings, action.Crew, action.Seen:
			return last[it.Action.Kind()] == i
		case action.Caution:
			return now.Sub(it.Stamp.At) < cautionMemory
		case action.BathReading:
			return now.Sub(it.Stamp.At) < ReadingMemory && (b.bathInUse(a.Bath) || lastRead[a.Bath] == i)
		case action.LotIn, action.LotOut:
			return registered[it.Seq]
		case action.AlarmHeard:
			return b.alarmAlive(a.Alarm, subject)
		case action.AlarmShelve:
			return b.alarmAlive(a.Alarm, subject)
		}
		return false
	}
	for i := range b.Items {
		it := &b.Items[i]
		switch it.Body.(type) {
		case action.Correct, action.TakeBack:
		default:
			out[i] = alive(i, it)
		}
	}
	// A correction lives as long as what it corrects; one may name another.
	for i := range b.Items {
		of, ok := action.Amends(b.Items[i].Body)
		if !ok {
			continue
		}
		if j, ok := b.byID[of]; ok {
			out[i] = out[j]
		}
	}
	for i, n := len(out)-1, 0; i >= 0 && n < takeBackDepth; i-- {
		if !Probed(b.Items[i].Body) {
			out[i] = true
			n++
		}
	}
	return out
}

// takeBackDepth is how many of the latest records made by hand are always kept at
// hand, so that they can be taken back one after the other.
const takeBackDepth = 30

func (b *Bench) bathInUse(no int) bool {
	for _, l := range b.Loads {
		if l.Bath == no && b.atWork(l) {
			return true
		}
	}
	return false
}

func (b *Bench) alarmAlive(key string, subject func(action.Subject) bool) bool {
	s, ok := SubjectOfKey(key)
	return ok && subject(s)
}

// Sorted gives the keys of a map in order, so that everything drawn or written
// from it is the same each time.
func Sorted[V any](m map[int]V) []int {
	out := make([]int, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	sort.Ints(out)
	return out
}

// Extend adds a record to the bench in place and gives the bench that results; b
// itself must not be used afterwards. It serves long inputs; what others may hold
// is made by [Fold].
func (b *Bench) Extend(r record.Record) *Bench {
	switch r.Action.Body.(type) {
	case action.Correct, action.TakeBack:
		return Fold(append(b.records(), r), b.Top)
	}
	if _, ok := b.byID[r.Action.ID]; ok {
		return Fold(append(b.records(), r), b.Top)
	}
	b.byID[r.Action.ID] = len(b.Items)
	b.Items = append(b.Items, Item{Record: r, Body: r.Action.Body, Stamp: r.Stamp})
	b.apply(&b.Items[len(b.Items)-1])
	b.Top.Seq = max(b.Top.Seq, r.Seq)
	b.place()
	if len(b.Items) > max(pruneAt, 2*b.pruned) {
		living := b.Living()
		next := Fold(living, b.Top)
		next.pruned = len(living)
		return next
	}
	return b
}

// pruneAt bounds what a long input keeps in memory: it is pruned there, and again
// whenever it has doubled since.
const pruneAt = 4096

func (b *Bench) records() []record.Record {
	out := make([]record.Record, len(b.Items), len(b.Items)+1)
	for i, it := range b.Items {
		out[i] = it.Record
	}
	return out
}

// Living gives the records that the bench still rests on.
func (b *Bench) Living() []record.Record {
	alive := b.Alive()
	var out []record.Record
	for i, it := range b.Items {
		if alive[i] {
			out = append(out, it.Record)
		}
	}
	return out
}

// rootOf looks through corrections and takings back to what they are about in the
// end: find gives the body recorded under an id. It gives nil where that is not known.
func rootOf(body action.Body, find func(id string) (action.Body, bool)) action.Body {
	for range 16 { // a taking back of a taking back …, but no book has a ring
		of, ok := action.Amends(body)
		if !ok {
			return body
		}
		next, ok := find(of)
		if !ok {
			return nil
		}
		body = next
	}
	return nil
}

// Subjects tells what a body is about, looking through corrections, takings back and
// answers to alarms; find gives the body recorded under an id.
func Subjects(body action.Body, find func(id string) (action.Body, bool)) []action.Subject {
	switch a := rootOf(body, find).(type) {
	case nil:
		return nil
	case action.AlarmHeard:
		return keySubject(a.Alarm)
	case action.AlarmShelve:
		return keySubject(a.Alarm)
	default:
		return a.Subjects()
	}
}

func keySubject(key string) []action.Subject {
	if s, ok := SubjectOfKey(key); ok {
		return []action.Subject{s}
	}
	return nil
}
