package logbook

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/check"
	"flaskside/logbook/layout"
	"flaskside/timers"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

// register gives the lots of powder of a bench.
func register(b *bench.Bench) [2][]bench.KnownLot {
	held, withdrawn := b.Lots("powder")
	return [2][]bench.KnownLot{held, withdrawn}
}

// A register that overflows, with corrections, takings back and openings anew: the book's
// is that of all its records, and what it keeps alive has a bound.
func TestRegisterOfABook(t *testing.T) {
	h := newHands(t)
	m := model{head: h.b.State().Head.Hash}
	rnd := rand.New(rand.NewPCG(3, 1))
	h.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	var ids []string
	for i := range 240 {
		var as []action.Action
		for j := range 1 + 4*rnd.IntN(2) {
			name := fmt.Sprint("P-", rnd.IntN(150))
			var body action.Body = action.LotIn{Material: "powder", Lot: name, Expiry: "2030-01-31"}
			switch n := rnd.IntN(12); {
			case n < 3:
				body = action.LotOut{Material: "powder", Lot: name, Reason: action.Withdrawals[rnd.IntN(4)]}
			case n < 5 && len(ids) > 0:
				body = action.TakeBack{Of: ids[rnd.IntN(len(ids))]}
			case n == 5 && len(ids) > 0:
				body = action.Correct{Of: ids[rnd.IntN(len(ids))], Set: fmt.Appendf(nil, `{"lot":"P-%d"}`, rnd.IntN(150))}
			case n == 6:
				body = action.Note{Flask: 1, Text: name}
			}
			h.ck.Run(time.Minute)
			as = append(as, action.Action{ID: fmt.Sprintf("x%d.%d", i, j), At: h.ck.Read().Wall, By: "KT", Body: body, Why: "1"})
		}
		saved, err := h.b.AppendAll(as)
		if err != nil {
			var bad *BadLine
			if !errors.As(err, &bad) {
				t.Fatal(err)
			}
			continue // what is refused is not tried again
		}
		for _, s := range saved {
			ids = append(ids, s.Action.ID)
		}
		if i%longrun.Times(12, 1) == 0 || i == 239 {
			if m.recs = records(t, h.b); !reflect.DeepEqual(register(h.b.State().Bench), register(m.bench())) {
				t.Fatalf("after record %d the register of the book is not that of its records", len(m.recs))
			}
		}
		if rnd.IntN(20) == 0 {
			if err := h.b.Close(); err != nil {
				t.Fatal(err)
			}
			if h.b, err = Open(h.b.Path(), h.ck); err != nil {
				t.Fatal(err)
			}
		}
	}
	st := h.b.State().Bench
	held, withdrawn := st.Lots("powder")
	t.Logf("%d records, %d alive; %d lots held, %d withdrawn", len(m.recs), len(st.Items), len(held), len(withdrawn))
	if len(held) != bench.LotsHeld || len(m.recs) < 300 {
		t.Errorf("%d lots are held after %d records: the bound was not tried", len(held), len(m.recs))
	}
	if err := h.b.Close(); err != nil {
		t.Fatal(err)
	}
	if rep := verified(t, h.b.Path(), check.Verifying{}); len(rep.Faults) > 0 {
		t.Errorf("%s", lines(rep.Faults))
	}
}

// Years of lots leave no more alive than the register holds.
func TestRegisterDoesNotGrow(t *testing.T) {
	h := newHands(t)
	alive := func() int { return len(h.b.State().Bench.Living()) }
	var after [2]int
	for year := range 6 {
		var as []action.Action
		for week := range 52 {
			for _, material := range action.Materials {
				h.ck.Run(24 * time.Hour)
				as = append(as, action.Action{ID: fmt.Sprintf("%d.%d.%s", year, week, material), At: h.ck.Read().Wall, By: "KT", Body: action.LotIn{Material: material, Lot: fmt.Sprintf("%c-%d%02d", material[0], year, week)}})
			}
		}
		if _, err := h.b.AppendAll(as); err != nil {
			t.Fatal(err)
		}
		if year == 2 {
			after[0] = alive()
		}
	}
	after[1] = alive()
	if want := len(action.Materials) * bench.LotsHeld; after != [2]int{want, want} {
		t.Errorf("%v records are alive after 3 and 6 years, want %d", after, want)
	}
}

func formatOf(t *testing.T, b *Book) (format string) {
	t.Helper()
	if err := b.view(func(tx *bolt.Tx) error { format = string(tx.Bucket(layout.Meta).Get([]byte("format"))); return nil }); err != nil {
		t.Fatal(err)
	}
	return format
}

// The first lot of the register makes a book one of format 2, which a program that knows
// no lots refuses; salvage and restore keep that.
func TestLotsRaiseTheFormat(t *testing.T) {
	h := newHands(t)
	h.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	h.do(0, action.Coat{Flask: 1, Half: "both", Lot: "S-1"})
	if got := formatOf(t, h.b); got != "1" {
		t.Errorf("without a register the format is %q", got)
	}
	h.do(0, action.LotIn{Material: "stone", Lot: "G-1"})
	if got := formatOf(t, h.b); got != "2" {
		t.Errorf("with a register the format is %q", got)
	}
	h.do(0, action.Note{Flask: 1, Text: "x"})
	if got := formatOf(t, h.b); got != "2" {
		t.Errorf("a record later the format is %q", got)
	}
	if err := h.b.Close(); err != nil {
		t.Fatal(err)
	}
	js, err := check.Journals(h.b.Path())
	if err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "saved.db")
	if _, err := Salvage(h.b.Path(), js, to, nil, h.ck, nil); err != nil {
		t.Fatal(err)
	}
	b, err := Open(to, h.ck)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = b.Close() }()
	if got := formatOf(t, b); got != "2" || !b.State().Bench.KeepsLots("stone") {
		t.Errorf("salvaged, the format is %q and a register is kept: %v", got, b.State().Bench.KeepsLots("stone"))
	}
}

// What is gathered for a day brings along what the register knew of the lots it names, and
// no other lots.
func TestWholeBringsLots(t *testing.T) {
	ck := simclock.At(start, "boot-1")
	b, err := Open(filepath.Join(t.TempDir(), "bench.db"), ck)
	if err != nil {
		t.Fatal(err)
	}
	h := &hands{t: t, b: b, ck: ck}
	t.Cleanup(func() { _ = h.b.Close(); wholeBook(t, b.Path()) })
	first := h.do(0, action.LotIn{Material: "powder", Lot: "P-1"})
	h.do(0, action.TakeBack{Of: first.Action.ID})
	h.do(0, action.LotIn{Material: "powder", Lot: "P-2"})
	used := h.do(0, action.LotIn{Material: "powder", Lot: "(01)03453120000011(17)281231(10)ABCD1234"})
	h.do(0, action.Correct{Of: used.Action.ID, Set: []byte(`{"product":"pink"}`)}, "7")
	h.do(0, action.LotIn{Material: "powder", Lot: "P-3"})
	h.do(0, action.LotIn{Material: "stone", Lot: "G-1"})
	day := ck.Read().Wall.Add(72 * time.Hour)
	ck.Run(73 * time.Hour)
	h.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	h.do(0, action.MixMake{Flasks: []int{1}, PowderLot: "ABCD1234"})
	whole, err := b.Whole(day, day.Add(24*time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	held, _ := whole.Lots("powder")
	var names []string
	for _, k := range held {
		names = append(names, k.Lot+" "+k.Product)
	}
	if want := []string{"P-2 ", "(01)03453120000011(17)281231(10)ABCD1234 pink"}; !reflect.DeepEqual(names, want) || whole.KeepsLots("stone") {
		t.Errorf("the day knows %q and keeps a register of stone: %v; want %q and none", names, whole.KeepsLots("stone"), want)
	}
	a := action.Action{ID: "again", At: ck.Read().Wall, Body: action.MixMake{Flasks: []int{1}, PowderLot: "P-3"}}
	if _, err := whole.Check(a, timers.StampAt(a.At, ck.Read()), timers.Now{Reading: ck.Read()}); err == nil {
		t.Error("read in again, a lot that is not on the list by then is not asked about")
	}
}

// So does the first handover that was read; to say who is at the bench does not.
func TestHandoverRaisesTheFormat(t *testing.T) {
	h := newHands(t)
	h.do(0, action.Crew{Initials: "KT"})
	if got := formatOf(t, h.b); got != "1" {
		t.Errorf("without a handover the format is %q", got)
	}
	before := h.b.State().Head
	h.do(0, action.Crew{Initials: "AB", Handover: true})
	if got := formatOf(t, h.b); got != "2" {
		t.Errorf("with a handover the format is %q", got)
	}
	// The book as it was is kept, once.
	was := asItWas(h.b.Path(), "1")
	rep, err := Verify(was, check.Verifying{})
	if err != nil || len(rep.Faults) > 0 || rep.Format != "1" || rep.Head != before || rep.Book != h.b.ID() {
		t.Errorf("the copy is %+v, %v, want format 1 and the head %v", rep, err, before)
	}
	kept, err := os.ReadFile(was)
	if err != nil {
		t.Fatal(err)
	}
	h.do(0, action.Crew{Initials: "KT", Handover: true})
	if now, err := os.ReadFile(was); err != nil || !bytes.Equal(kept, now) {
		t.Errorf("the copy was written again: %v", err)
	}
	if left, err := filepath.Glob(filepath.Dir(was) + "/*.format-*"); err != nil || len(left) != 1 {
		t.Errorf("beside the book lie %v, %v", left, err)
	}
}
