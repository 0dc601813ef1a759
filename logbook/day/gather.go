package day

import (
	"slices"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// source is what of a logbook is read for a day; *logbook.Book is one.
type source interface {
	Whole(from, until time.Time) (*bench.Bench, error)
	Of(s action.Subject) ([]record.Record, error)
	Between(from, until time.Time) ([]record.Record, error)
}

// Gather gives the records of a day and all that they rest on, so that, written to
// an empty book in this order, they are taken as they were taken first: the
// records of what was at work, of the flasks that shared a mix or a bath with it,
// the bath readings of a cure under way, the settings and the crew in force, and
// the corrections of any of these whenever they were made.
func Gather(book source, from, until time.Time) (*bench.Bench, error) {
	b, err := book.Whole(from, until)
	if err != nil {
		return nil, err
	}
	set := map[uint64]record.Record{}
	add := func(recs []record.Record) {
		for _, r := range recs {
			if r.Stamp.At.Before(until) || corrects(r) != "" {
				set[r.Seq] = r
			}
		}
	}
	for _, it := range b.Items {
		set[it.Seq] = it.Record
	}
	signed, err := book.Of(layout.SubjectSignOff(action.SignOffOf(from, until))) // whenever that was
	if err != nil {
		return nil, err
	}
	for _, r := range signed {
		set[r.Seq] = r
	}
	asked := map[int]bool{}
	for {
		missing := unopened(set, asked)
		if len(missing) == 0 {
			break
		}
		for _, no := range missing {
			asked[no] = true
			recs, err := book.Of(action.Subject{Class: 'f', No: no})
			if err != nil {
				return nil, err
			}
			add(recs)
		}
	}
	for _, st := range stays(b, from) {
		recs, err := book.Between(st.from, st.until)
		if err != nil {
			return nil, err
		}
		add(slices.DeleteFunc(recs, func(r record.Record) bool { _, ok := r.Action.Body.(action.BathReading); return !ok }))
	}
	return bench.Fold(inForce(whole(set)), bench.Counters{}), nil
}

// Known gives the bench from what was done up to an instant, later corrections left
// out.
func Known(b *bench.Bench, at time.Time) *bench.Bench {
	set := map[uint64]record.Record{}
	for _, it := range b.Items {
		if !it.Record.Stamp.At.After(at) {
			set[it.Seq] = it.Record
		}
	}
	return bench.Fold(whole(set), bench.Counters{})
}

// corrects gives the id of the record that a record corrects or takes back, or "".
func corrects(r record.Record) string {
	switch a := r.Action.Body.(type) {
	case action.Correct:
		return a.Of
	case action.TakeBack:
		return a.Of
	}
	return ""
}

// unopened lists the flasks that records speak of without telling of their
// beginning, those already asked for left out.
func unopened(set map[uint64]record.Record, asked map[int]bool) []int {
	opened, named := map[int]bool{}, map[int]bool{}
	for _, r := range set {
		if o, ok := r.Action.Body.(action.FlaskOpen); ok {
			opened[o.Flask] = true
		}
		for _, s := range r.Action.Body.Subjects() {
			if s.Class == 'f' {
				named[s.No] = true
			}
		}
	}
	var out []int
	for no := range named {
		if !opened[no] && !asked[no] {
			out = append(out, no)
		}
	}
	slices.Sort(out)
	return out
}

// stay is from when until when a load was in a bath.
type stay struct{ from, until time.Time }

// stays lists the stays in a bath, up to an instant, of flasks that a sheet from then on
// tells of: how a cure stands rests on its readings, also on the sheet of a later day.
// Those that overlap are one.
func stays(b *bench.Bench, at time.Time) []stay {
	var all []stay
	for _, f := range b.Flasks {
		if f.InBath == nil || !f.InBath.At.Before(at) {
			continue
		}
		st := stay{f.InBath.At, at}
		if f.OutBath != nil && f.OutBath.At.Before(at) {
			st.until = f.OutBath.At.Add(time.Nanosecond)
		}
		if st.until.After(st.from) {
			all = append(all, st)
		}
	}
	slices.SortFunc(all, func(x, y stay) int { return x.from.Compare(y.from) })
	var out []stay
	for _, st := range all {
		if n := len(out); n > 0 && !st.from.After(out[n-1].until) {
			if st.until.After(out[n-1].until) {
				out[n-1].until = st.until
			}
			continue
		}
		out = append(out, st)
	}
	return out
}

// whole puts the records in order and leaves out corrections of what is not there.
func whole(set map[uint64]record.Record) []record.Record {
	out := make([]record.Record, 0, len(set))
	for _, r := range set {
		out = append(out, r)
	}
	slices.SortFunc(out, func(a, b record.Record) int { return int(int64(a.Seq) - int64(b.Seq)) })
	ids := make(map[string]bool, len(out))
	return slices.DeleteFunc(out, func(r record.Record) bool {
		if of := corrects(r); of != "" && !ids[of] {
			return true
		}
		ids[r.Action.ID] = true
		return false
	})
}

// inForce leaves out the settings, and the changes of crew, that others replaced
// before the first record that could rest on them.
func inForce(recs []record.Record) []record.Record {
	back := map[string]bool{}
	for _, r := range recs {
		if a, ok := r.Action.Body.(action.TakeBack); ok {
			back[a.Of] = true
		}
	}
	replaced := func(r record.Record) bool {
		switch r.Action.Body.(type) {
		case action.Settings, action.Crew:
			return true
		}
		return false
	}
	last := map[action.Kind]uint64{}
	lots := map[string]bool{} // the registers, which rest on no settings and may be years older
	var begin uint64
	for _, r := range recs {
		switch r.Action.Body.(type) {
		case action.LotIn, action.LotOut, action.EquipIn, action.EquipCheck, action.EquipWater, action.EquipOut:
			lots[r.Action.ID] = true
			continue
		}
		if lots[corrects(r)] {
			lots[r.Action.ID] = true
			continue
		}
		if replaced(r) {
			if !back[r.Action.ID] {
				last[r.Action.Kind()] = r.Seq
			}
			continue
		}
		begin = r.Seq
		break
	}
	return slices.DeleteFunc(recs, func(r record.Record) bool {
		return replaced(r) && r.Seq < begin && last[r.Action.Kind()] != r.Seq && !back[r.Action.ID] // a taking back wants what it takes back
	})
}
