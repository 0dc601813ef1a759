package logbook

import (
	"bytes"
	"fmt"
	"path/filepath"
	"testing"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/timers/simclock"
)

// Whatever a bench took can be said again, as it was told and as it was recorded, and is known for
// what it is: a long input that is given again after a power cut goes on where it ended.
func TestWhateverWasTakenCanBeSaidAgain(t *testing.T) {
	t.Parallel()
	dir, n := inMemory(t), 0
	said := map[action.Kind]int{}
	rapid.Check(t, func(rt *rapid.T) {
		n++
		w := &walk{t: rt, ck: simclock.At(start, "boot-1")}
		var err error
		if w.b, err = Open(filepath.Join(dir, fmt.Sprint(n, ".db")), w.ck); err != nil {
			rt.Fatal(err)
		}
		defer func() { _ = w.b.Close() }() // thrown away
		var told []action.Action
		var saved []Saved
		for range rapid.IntRange(1, 60).Draw(rt, "actions") {
			w.pass()
			a := w.draw()
			s, err := w.b.Append(a)
			if err != nil {
				continue
			}
			w.ids = append(w.ids, a.ID)
			told, saved = append(told, a), append(saved, s)
		}
		w.pass()
		for i, a := range told {
			said[a.Kind()]++
			for how, a := range map[string]action.Action{"told": a, "recorded": saved[i].Action} {
				again, err := w.b.Append(a)
				if err != nil || !again.Already || !bytes.Equal(again.Raw, saved[i].Raw) {
					rt.Fatalf("%s said again as it was %s: %v\n told %+v\n is %s", a.Kind(), how, err, a.Body, saved[i].Raw)
				}
			}
		}
	})
	t.Log(said)
}
