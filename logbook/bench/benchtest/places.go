package benchtest

import (
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
)

// At is where a flask at work is by a plain reading of the records.
type At struct {
	Place int  // 0 where it stands on none
	Bath  bool // it was put in a bath and nothing was done to it since
}

// Whereabouts reads the records of a bench, as they count, one after the other, and tells
// where each flask at work is: a second way to what the fold says, that knows places alone.
// Of what takes a flask out of the bath out of order it knows water alone.
func Whereabouts(b *bench.Bench) map[int]At {
	out := map[int]At{}
	// set changes where a flask is; one whose opening does not count is nowhere.
	set := func(flasks []int, to func(i int, was At) At) {
		for i, no := range flasks {
			if was, there := out[no]; there {
				out[no] = to(i, was)
			}
		}
	}
	for _, it := range b.Items {
		if it.TakenBack != nil {
			if back, ok := it.TakenBack.Action.Body.(action.TakeBack); ok {
				set(back.NoPlace, func(_ int, was At) At { return At{0, was.Bath} })
			}
			continue
		}
		switch a := it.Body.(type) {
		case action.FlaskOpen:
			out[a.Flask] = At{Place: a.Place}
		case action.FlaskMove:
			set([]int{a.Flask}, func(_ int, was At) At { return At{a.Place, was.Bath} })
		case action.BathLoad:
			set(a.Flasks, func(_ int, was At) At {
				if a.OffPlace {
					was.Place = 0
				}
				return At{was.Place, true}
			})
		case action.BathUnload:
			set(a.Flasks, func(i int, was At) At {
				if len(a.Places) > 0 && a.Places[i] > 0 {
					was.Place = a.Places[i]
				}
				return At{Place: was.Place}
			})
		case action.CoolWater:
			set(a.Flasks, func(_ int, was At) At { return At{Place: was.Place} })
		case action.Outcome:
			delete(out, a.Flask)
		}
	}
	return out
}
