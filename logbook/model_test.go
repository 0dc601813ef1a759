package logbook

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"
	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/bench/benchtest"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/simclock"
)

// model is a book in memory, as plain as can be: all records in a list, folded anew
// for every question.
type model struct {
	recs []record.Record
	head record.Hash
}

func (m *model) bench() *bench.Bench { return bench.Fold(m.recs, m.used()) }

// used reads the highest numbers from the records, taken back or not.
func (m *model) used() (c bench.Counters) {
	for _, r := range m.recs {
		c.Seq = r.Seq
		switch a := r.Action.Body.(type) {
		case action.FlaskOpen:
			c.Flask = max(c.Flask, a.Flask)
		case action.MixMake:
			c.Mix = max(c.Mix, a.Mix)
		case action.BathLoad:
			c.Load = max(c.Load, a.Load)
		case action.TimerStart:
			c.Timer = max(c.Timer, a.Timer)
		}
	}
	return c
}

// add does what the book is to do with one action.
func (m *model) add(a action.Action, now timers.Now) (record.Record, error) {
	for _, r := range m.recs {
		if r.Action.ID == a.ID {
			return r, nil
		}
	}
	stamp := timers.StampAt(a.At, now.Reading)
	b := m.bench()
	if r, said := b.Answered(a.Body, stamp, now); said {
		return r, nil
	}
	checked, err := b.Check(a, stamp, now)
	if err != nil {
		return record.Record{}, err
	}
	r, err := record.Write(uint64(len(m.recs)+1), m.head, now.Reading, stamp, checked)
	if err != nil {
		return record.Record{}, err
	}
	m.recs, m.head = append(m.recs, r), r.Hash()
	return r, nil
}

// clearPlaces tells whether no two flasks claim one place: who stands there then is
// anybody's guess.
func clearPlaces(b *bench.Bench) bool {
	on := map[int]bool{}
	for _, f := range b.Flasks {
		if f.Place > 0 && f.Stage != bench.Finished {
			if on[f.Place] {
				return false
			}
			on[f.Place] = true
		}
	}
	return true
}

// walk drives a book and its model with the same random actions and compares them
// after each.
type walk struct {
	t     *rapid.T
	ck    *simclock.Hand
	b     *Book
	m     model
	ids   []string
	boots int
	n     int
}

func (w *walk) now() timers.Now { return timers.Now{Reading: w.ck.Read(), Beat: w.b.State().Beat} }

func (w *walk) pass() {
	d := time.Duration(rapid.SampledFrom([]int{0, 1, 10, 60, 300, 900, 1800, 7200, 33000}).Draw(w.t, "passes")) * time.Second
	switch rapid.IntRange(0, 25).Draw(w.t, "clock") {
	case 0:
		w.ck.Sleep(d)
	case 1:
		w.ck.Step(d % 3600)
	default:
		w.ck.Run(d)
	}
}

func (w *walk) draw() action.Action {
	w.n++
	ago := time.Duration(rapid.SampledFrom([]int{0, 0, 0, 0, 7}).Draw(w.t, "ago")) * time.Second
	a := action.Action{ID: fmt.Sprintf("a%d", w.n), At: w.ck.Read().Wall.Add(-ago), By: "KT"}
	a.Body = benchtest.Draw(w.t, w.b.State().Bench, w.now(), w.ids)
	a.Why = rapid.SampledFrom([]string{"", "1", "1", "1"}).Draw(w.t, "why")
	return a
}

// saidBy gives the words of a refusal; of a question for a reason, what it asks about: which of two
// flasks in one press it names is all one.
func saidBy(err error) string {
	var ask *bench.NeedsReason
	switch {
	case err == nil:
		return ""
	case errors.As(err, &ask):
		var codes []string
		for _, o := range ask.Odd {
			codes = append(codes, o.Code)
		}
		return "unusual: " + strings.Join(codes, " ")
	}
	return err.Error()
}

// forgotten tells whether the book refused something about a mix or a load that
// nothing at work rests on: it may forget those, the model never does.
func forgotten(err error) bool {
	return err != nil && (strings.Contains(err.Error(), "there is no mix ") || strings.Contains(err.Error(), "there is no load "))
}

// one says one action to both.
func (w *walk) one(a action.Action) {
	got, err := w.b.Append(a)
	if forgotten(err) {
		return
	}
	want, wantErr := w.m.add(a, w.now())
	if saidBy(err) != saidBy(wantErr) {
		w.t.Fatalf("%+v: the book says %v, the model %v", a.Body, err, wantErr)
	}
	if err != nil {
		return
	}
	if string(got.Raw) != string(want.Raw) {
		w.t.Fatalf("recorded\n%s, the model\n%s", got.Raw, want.Raw)
	}
	w.ids = append(w.ids, got.Action.ID)
}

// batch says several actions at once: all of them or none.
func (w *walk) batch() {
	var as []action.Action
	for range rapid.IntRange(2, 5).Draw(w.t, "several") {
		as = append(as, w.draw())
	}
	got, err := w.b.AppendAll(as)
	if forgotten(err) {
		return
	}
	keep, now := w.m, w.now()
	bad := -1
	var wantErr error
	for i, a := range as {
		if _, err := w.m.add(a, now); err != nil {
			w.m, bad, wantErr = keep, i, err
			break
		}
	}
	var line *BadLine
	switch {
	case bad < 0 && (err != nil || len(got) != len(as)):
		w.t.Fatalf("%d actions: %d recorded, %v", len(as), len(got), err)
	case bad >= 0 && (!errors.As(err, &line) || line.Index != bad || saidBy(line.Err) != saidBy(wantErr)):
		w.t.Fatalf("%d actions: %v, the model says of number %d: %v", len(as), err, bad+1, wantErr)
	}
	for _, s := range got {
		w.ids = append(w.ids, s.Action.ID)
	}
}

func (w *walk) again() {
	if len(w.ids) == 0 {
		return
	}
	id := rapid.SampledFrom(w.ids).Draw(w.t, "again")
	r, ok, err := w.b.ByID(id)
	if err != nil || !ok {
		w.t.Fatalf("the record %q is not found: %v", id, err)
	}
	before := w.b.State().Head
	s, err := w.b.Append(r.Action)
	if err != nil || !s.Already || s.Seq != r.Seq || w.b.State().Head != before {
		w.t.Fatalf("%q said again: %+v, %v", id, s, err)
	}
}

func (w *walk) reopen() {
	if err := w.b.Close(); err != nil {
		w.t.Fatal(err)
	}
	if rapid.Bool().Draw(w.t, "restart") {
		w.boots++
		w.ck.Reboot(time.Minute, fmt.Sprintf("boot-%d", w.boots))
	}
	b, err := Open(w.b.Path(), w.ck)
	if err != nil {
		w.t.Fatal(err)
	}
	w.b = b
}

// compare holds the bench against the model's; false where the model itself cannot
// be read.
func (w *walk) compare() bool {
	want := w.m.bench()
	if !clearPlaces(want) {
		return false
	}
	st, now := w.b.State(), w.now()
	if d := benchtest.Difference(benchtest.Dump(st.Bench, now), benchtest.Dump(want, now)); d != "" {
		w.t.Fatalf("the book's bench is not the fold of its records:\n%s", d)
	}
	if st.Head.Seq != uint64(len(w.m.recs)) || len(w.m.recs) > 0 && st.Head.Hash != w.m.head {
		w.t.Fatalf("head %v, want %d records up to %s", st.Head, len(w.m.recs), w.m.head.Short())
	}
	return true
}

// random walks a book for at most some steps.
func random(t *testing.T, rt *rapid.T, path string, most int) {
	ck := simclock.At(start, "boot-0")
	if rapid.Bool().Draw(rt, "newest format") {
		if err := makeNewest(path, ck); err != nil {
			rt.Fatal(err)
		}
	}
	b, err := Open(path, ck)
	if err != nil {
		rt.Fatal(err)
	}
	w := &walk{t: rt, ck: ck, b: b}
	defer func() { _ = w.b.Close() }() // closed below when all went well
	if err := b.view(func(tx *bolt.Tx) error {
		w.m.head = record.Genesis(string(tx.Bucket(layout.Meta).Get([]byte("book"))))
		return nil
	}); err != nil {
		rt.Fatal(err)
	}
	for len(w.m.recs) < most && w.n < 2*most {
		w.pass()
		switch rapid.IntRange(0, 19).Draw(rt, "say") {
		case 0:
			w.batch()
		case 1:
			w.again()
		case 2:
			w.reopen()
		default:
			w.one(w.draw())
		}
		if !w.compare() {
			return
		}
	}
	if err := w.b.Close(); err != nil {
		rt.Fatal(err)
	}
	recs, faults := faultsOf(path)
	if len(faults) > 0 || len(recs) != len(w.m.recs) {
		rt.Fatalf("%d records, want %d; faults %v", len(recs), len(w.m.recs), faults)
	}
}

// A book and a plain list of records, driven by the same random actions, say the same
// of each, stand alike after each and after opening again.
func TestBookAgainstModel(t *testing.T) {
	dir := inMemory(t)
	rapid.Check(t, func(rt *rapid.T) {
		random(t, rt, bookIn(t, dir), rapid.IntRange(1, 30).Draw(rt, "records"))
	})
}
