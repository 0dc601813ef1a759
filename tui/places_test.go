package tui

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/simclock"
)

// twoOfEach is a house of two presses, two pairs of hands and two baths.
func twoOfEach(d *desk) {
	d.t.Helper()
	h := house.Default()
	h.Press.Presses, h.Press.Hands = 2, 2
	second := h.Baths[0]
	second.Name = "bath 2"
	h.Baths = append(h.Baths, second)
	d.append(action.Settings{House: h, From: "typed"})
	d.cautions()
}

// cautions counts all of them as read.
func (d *desk) cautions() {
	d.t.Helper()
	for _, hazard := range action.Hazards {
		d.append(action.Caution{Hazard: hazard})
	}
}

func (d *desk) append(body action.Body) {
	d.t.Helper()
	d.n++
	if _, err := d.book.Append(action.Action{ID: fmt.Sprintf("said-%d", d.n), At: d.ck.Read().Wall, By: "KT", Body: body}); err != nil {
		d.t.Fatalf("%+v: %v", body, err)
	}
	d.heard()
}

// atWork counts the flasks at work: on places, in baths, on no place.
func (d *desk) atWork() (places, baths, none int) {
	b := d.book.State().Bench
	for f := range b.AtWork() {
		switch s := b.SpotOf(f); {
		case s.Place > 0:
			places++
		case s.Bath > 0:
			baths++
		default:
			none++
		}
	}
	return places, baths, none
}

// packAll takes flasks on places from separator to bench set, two at a time in two presses.
func (d *desk) packAll(places []int, first int) {
	d.t.Helper()
	d.cautions()
	for i, p := range places {
		if first > 0 { // else they are opened
			d.openFlask(p, fmt.Sprint(first+i), 1, 2)
		} else {
			d.press(fmt.Sprint(p))
		}
		d.press("enter 1")
	}
	d.wait(11 * time.Minute)
	d.press(fmt.Sprintf("%d enter", places[0]))
	if strings.Contains(d.screen(), "as last time") {
		d.press("1")
	} else {
		d.press("enter enter enter enter enter")
	}
	d.wait(9 * time.Minute)
	d.press("enter") // dough reached
	for _, grade := range []int{3, 3, 2} {
		for i := 0; i < len(places); i += 2 {
			two := places[i:min(i+2, len(places))]
			for _, p := range two {
				d.press(fmt.Sprintf("%d enter enter", p))
			}
			d.wait(62 * time.Second)
			for _, p := range two {
				if len(two) > 1 {
					d.press(fmt.Sprint(p))
				}
				d.press(fmt.Sprintf("enter %d", grade))
				d.at(p, bench.Trimmed)
			}
		}
	}
	for _, p := range places {
		d.press(fmt.Sprint(p))
		d.sees("READY")
		d.press("enter enter 1 enter")
		d.at(p, bench.Set)
	}
	d.wait(31 * time.Minute)
}

// finishAll takes flasks that cool on places to their outcomes.
func (d *desk) finishAll(places []int) {
	d.t.Helper()
	d.wait(31 * time.Minute)
	d.press(fmt.Sprintf("%d enter 1", places[0]))
	d.wait(16 * time.Minute)
	d.read("enter", "1")
	for range places {
		d.press("enter .4 enter enter 1")
	}
	for _, p := range places {
		if d.book.State().Bench.Places[p] != 0 {
			d.t.Fatalf("place %d is not free after the outcome:\n%s", p, d.screen())
		}
	}
}

// Two presses and two baths of six: 24 flasks at work at a time, by the number pad on 80x24,
// with no more keys a flask than where four have the bench to themselves.
func TestTwentyFourFlasksOnThePad(t *testing.T) {
	d := newDesk(t, 80, 24)
	twoOfEach(d)
	counts := func(when string, places, baths, none int) {
		t.Helper()
		if p, b, n := d.atWork(); p != places || b != baths || n != none {
			t.Fatalf("%s: %d on places, %d in baths, %d on no place, want %d, %d, %d:\n%s", when, p, b, n, places, baths, none, d.screen())
		}
	}
	six, nine := []int{1, 2, 3, 4, 5, 6}, []int{1, 2, 3, 4, 5, 6, 7, 8, 9}
	d.packAll(six, 4401)
	d.press("1 enter 1 1 1") // bath 1, long
	counts("the first load is in", 0, 6, 0)
	d.sees("B1", "4401 4402 4403 4404 4405 4406")
	d.packAll(six, 4411)
	d.press("1 enter 2 1 1")
	counts("the second load is in", 0, 12, 0)
	d.wait(7*time.Hour + 30*time.Minute)
	for len(d.m.unanswered()) > 0 {
		d.press(".")
	}
	d.packAll(nine, 4421)
	counts("nine more are packed", 9, 12, 0)
	d.sees("B1", "4401 4402 4403 4404 4405 4406", "B2", "4411 4412 4413 4414 4415 4416")
	d.read("/ 1 enter", "1")
	counts("the first load is out, and none of the places is free", 9, 6, 6)
	d.sees("No place is free for", "4401", "found under /", "no place")
	d.read("1 enter", "1 1 1") // as many as the bath holds
	counts("six of the nine are in", 3, 12, 6)
	for i, place := range []int{1, 2, 3} {
		d.openFlask(place, fmt.Sprint(4431+i), 1, 2)
	}
	counts("three more are opened", 6, 12, 6)
	d.press("/ 3 1")
	counts("three of the first load have places again", 9, 12, 3)
	d.wait(20 * time.Minute)
	d.read("/ 2 enter", "1")
	counts("the second load is out", 9, 6, 9)
	d.read("7 enter", "2 1 1")
	counts("the other three are in", 6, 9, 9)
	d.press("/ 3 1")
	counts("the first load has places again", 9, 9, 6)
	d.finishAll([]int{4, 5, 6, 7, 8, 9})
	d.press("/ 3 1")
	counts("the second load has places again", 9, 9, 0)
	d.finishAll([]int{4, 5, 6, 7, 8, 9})
	d.packAll([]int{1, 2, 3}, 0)
	d.read("1 enter", "2 1 1")
	counts("all are in", 0, 12, 0)
	d.wait(9 * time.Hour)
	d.read("/ 1 enter", "1")
	d.read("/ 2 1 enter", "1")
	d.read("/ 2 enter", "1")
	counts("all are out", 9, 0, 3)
	d.finishAll([]int{1, 2, 3, 4, 5, 6})
	d.press("/ 3 1")
	d.finishAll([]int{7, 8, 9, 1, 2, 3})
	counts("all are finished", 0, 0, 0)
	per := float64(d.keys) / 24
	t.Logf("keystrokes: %.1f for a flask, %d in all", per, d.keys)
	if n := d.book.State().Bench.Top.Flask; n != 24 || per > 45 {
		t.Errorf("%d flasks took %.1f keystrokes each; at most 45 are promised", n, per)
	}
	for _, it := range d.book.State().Bench.Items {
		if len(it.Action.Unusual) > 0 {
			t.Errorf("record %d is unusual (%v) in a shift without anything unusual", it.Seq, it.Action.Unusual)
		}
	}
}

// read presses keys, reads a caution where one is shown, and goes on.
func (d *desk) read(keys, more string) {
	d.t.Helper()
	d.press(keys)
	if strings.Contains(d.screen(), "caution") {
		d.press("1")
	}
	d.press(more)
}

// randomBench draws what may be done at a bench and gives the bench that comes of it.
func randomBench(t *rapid.T) (*bench.Bench, timers.Now) {
	ck := simclock.At(shiftStart, "boot-1")
	var recs []record.Record
	b := bench.Fold(nil, bench.Counters{})
	for n := range rapid.IntRange(1, 60).Draw(t, "acts") {
		ck.Run(time.Duration(rapid.SampledFrom([]int{1, 30, 600, 3600, 33000}).Draw(t, "passes")) * time.Second)
		now := timers.Now{Reading: ck.Read()}
		var old []string
		for _, r := range recs {
			old = append(old, r.Action.ID)
		}
		a := action.Action{ID: fmt.Sprint("a", n), At: now.Wall, By: "KT", Why: "1", Body: benchtest.Draw(t, b, now, old)}
		if open, on := b.FreePlace(), b.Places[rapid.IntRange(1, 9).Draw(t, "place")]; open > 0 && n%3 == 0 {
			a.Body = action.FlaskOpen{Place: open, Case: fmt.Sprint(4400 + n), Base: "upper", Size: "medium"}
		} else if n%3 == 1 && on > 0 {
			a.Body = action.BathLoad{Flasks: []int{on}, Programme: b.House.Programmes[0].Name, OffPlace: true}
		}
		stamp := timers.StampAt(a.At, now.Reading)
		checked, err := b.Check(a, stamp, now)
		if err != nil {
			continue
		}
		recs = append(recs, record.Record{Seq: uint64(len(recs) + 1), Stamp: stamp, Action: checked})
		b = bench.Fold(recs, bench.Counters{})
	}
	return b, timers.Now{Reading: ck.Read()}
}

// Every flask on no place has a row on the bench or is counted there, is found by its case,
// and by the arrows or with its load; an alarm calls no flask by a place that it is not on,
// and names the case and the bath of one that is in a bath.
func TestFlasksOnNoPlaceAreFound(t *testing.T) {
	off := 0
	rapid.Check(t, func(t *rapid.T) {
		b, now := randomBench(t)
		off += len(b.OffPlaces())
		m := &Model{sight: sight{sel: 1, w: 80, h: 24, st: logbook.Snapshot{Bench: b}, now: now}, cfg: Config{Hands: simclock.At(shiftStart, "boot-1")}}
		m.lookAt(b.Windows())
		f := newFrame(80, 24)
		m.drawOff(f, area{0, 0, 52, m.offH()})
		rows, whole := f.plainText(), len(m.groups()) <= m.offH()
		var in []int
		for _, g := range m.groups() {
			for _, fl := range g.flasks {
				in = append(in, fl.No)
			}
		}
		stops := m.stops()
		for _, fl := range b.OffPlaces() {
			if !slices.Contains(in, fl.No) {
				t.Fatalf("flask %d is in no row", fl.No)
			}
			if g := m.unplaced(); whole && len(g.flasks) == 1 && g.flasks[0] == fl && !strings.Contains(rows, fl.Case) {
				t.Fatalf("case %s is not in the rows:\n%s", fl.Case, rows)
			}
			if s := b.SpotOf(fl); s.Bath == 0 && !slices.Contains(stops, fl.No) || s.Bath > 0 && !slices.ContainsFunc(stops, func(no int) bool { return b.Flasks[no].Load == fl.Load }) {
				t.Fatalf("flask %d at %+v is reached by no arrow: %v", fl.No, s, stops)
			}
			m.pick(fl)
			if m.selected() != fl {
				t.Fatalf("flask %d picked, %+v is selected", fl.No, m.selected())
			}
			m.scanned(fl.Case)
			if got := m.selected(); got == nil || got.Case != fl.Case {
				t.Fatalf("case %s scanned, %+v is selected", fl.Case, got)
			}
			m.sel, m.off = 1, 0
		}
		if len(in) != len(b.OffPlaces()) {
			t.Fatalf("in the rows are %v, %d flasks stand on no place", in, len(b.OffPlaces()))
		}
		for _, w := range m.windows {
			said := m.alarmWords(timers.Alarm{Signal: timers.Signal{Key: timers.SignalKey(w.Key, timers.Floor)}})
			_, places, _ := strings.Cut(said, " · place ")
			places, _, _ = strings.Cut(places, ",")
			for _, p := range strings.Fields(places) {
				if !slices.ContainsFunc(w.Flasks, func(no int) bool { return b.Flasks[no].AtWork() && fmt.Sprint(b.Flasks[no].Place) == p }) {
					t.Fatalf("%q speaks of place %s; its flasks are %v", said, p, w.Flasks)
				}
			}
			for _, no := range w.Flasks {
				if fl := b.Flasks[no]; fl.AtWork() && b.SpotOf(fl).Place == 0 && (!strings.Contains(said, fl.Case) || !strings.Contains(said, b.WhereWords(fl)+":")) {
					t.Fatalf("%q does not name case %s in %s", said, fl.Case, b.WhereWords(fl))
				}
			}
		}
	})
	if off == 0 {
		t.Error("no flask ever stood on no place: nothing was tried")
	}
}

// Who undoes an outcome while another flask stands on the place by now is told where the
// flask is found, and finds it there.
func TestUndoneOutcomeWithoutItsPlace(t *testing.T) {
	d := newDesk(t, 80, 24)
	d.openFlask(1, "4417", 1, 2)
	d.append(action.Outcome{Flask: 1, Outcome: "remake"})
	if _, err := d.book.Append(action.Action{ID: "theirs", At: d.ck.Read().Wall, By: "MB", Body: action.FlaskOpen{Place: 1, Case: "4420", Base: "lower", Size: "large"}}); err != nil {
		t.Fatal(err)
	}
	d.heard()
	d.press("0")
	d.sees("undo your last record?", "remake")
	d.press("enter 1")
	d.sees("Another flask is on the place of 4417", "which has none now")
	d.press("/ 2")
	d.sees("no place · 4417 upper", "separator to paint")
	d.press("-")
	d.press(digitOf(d, "to another place"))
	d.press("1")
	if f := d.book.State().Bench.Flasks[1]; f.Place != 2 {
		t.Errorf("moved to place %d:\n%s", f.Place, d.screen())
	}
}
