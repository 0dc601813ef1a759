package bench_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

// stock is a bench on which lots come and go; what it says is what a book would.
type stock struct {
	t    *testing.T
	ck   *simclock.Hand
	recs []record.Record
	prev record.Hash
}

func newStock(t *testing.T) *stock {
	t.Helper()
	s := &stock{t: t, ck: simclock.At(time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC), "boot-1"), prev: record.Genesis("test")}
	s.do(action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"}, "")
	s.do(action.FlaskOpen{Place: 2, Case: "4420", Base: "lower", Size: "medium"}, "")
	return s
}

func (s *stock) bench() *bench.Bench { return bench.Fold(s.recs, bench.Counters{}) }

// say gives what would be recorded, or the refusal.
func (s *stock) say(body action.Body, why string) (action.Action, error) {
	s.ck.Run(time.Second)
	a := action.Action{ID: fmt.Sprint("a", len(s.recs)+1), At: s.ck.Read().Wall, By: "KT", Body: body, Why: why}
	return s.bench().Check(a, timers.StampAt(a.At, s.ck.Read()), timers.Now{Reading: s.ck.Read()})
}

func (s *stock) keep(a action.Action) {
	s.t.Helper()
	r, err := record.Write(uint64(len(s.recs)+1), s.prev, s.ck.Read(), timers.StampAt(a.At, s.ck.Read()), a)
	if err != nil {
		s.t.Fatal(err)
	}
	s.recs, s.prev = append(s.recs, r), r.Hash()
}

func (s *stock) do(body action.Body, why string) action.Action {
	s.t.Helper()
	a, err := s.say(body, why)
	if err != nil {
		s.t.Fatalf("%+v: %v", body, err)
	}
	s.keep(a)
	return a
}

// asked gives the codes and the words of a question.
func asked(err error) (codes, words string) {
	var odd *bench.NeedsReason
	if !errors.As(err, &odd) {
		return "", ""
	}
	for _, o := range odd.Odd {
		codes, words = codes+" "+o.Code, words+" "+o.Text
	}
	return strings.TrimSpace(codes), strings.TrimSpace(words)
}

const (
	fresh   = "(01)03453120000011(17)281231(10)ABCD1234" // GTIN of a published example (facts of GS1 element strings, morovia.com)
	another = "(01)00012345678905(17)281231(10)ABCD1234" // the same lot of another product
)

// A lab that takes no lots in is asked nothing; one that does is asked about a lot that
// is not on the list, was withdrawn or has expired by what was said of it.
func TestRegisterAsks(t *testing.T) {
	mix := func(powder string) action.Body { return action.MixMake{Flasks: []int{1}, PowderLot: powder} }
	in := func(lot, expiry string) action.Body {
		return action.LotIn{Material: "powder", Lot: lot, Expiry: expiry}
	}
	out := func(lot, reason string) action.Body {
		return action.LotOut{Material: "powder", Lot: lot, Reason: reason}
	}
	for _, c := range []struct {
		name  string
		told  []action.Body
		does  action.Body
		codes string
		words string
	}{
		{"no register", nil, mix("P-1"), "", ""},
		{"a register of another material", []action.Body{action.LotIn{Material: "stone", Lot: "S-1"}}, mix("P-1"), "", ""},
		{"taken in", []action.Body{in("P-1", "")}, mix("P-1"), "", ""},
		{"not taken in", []action.Body{in("P-1", "")}, mix("P-2"), "lot-unknown", "the powder lot P-2 is not on the list"},
		{"not taken in, but alike", []action.Body{in("P-118", "")}, mix("p118"), "lot-unknown", "the powder lot p118 is not on the list (P-118 is in the register and reads alike)"},
		{"no lot given", []action.Body{in("P-1", "")}, mix(""), "", ""},
		{"scanned in, typed in use", []action.Body{in(fresh, "")}, mix("ABCD1234"), "", ""},
		{"typed in, scanned in use", []action.Body{in("ABCD1234", "")}, mix(fresh), "", ""},
		{"the lot of another product", []action.Body{in(fresh, "")}, mix(another), "lot-unknown", "the powder lot ABCD1234 is not on the list"},
		{"expiry from the register, last day", []action.Body{in("P-1", "2026-11-25")}, mix("P-1"), "", ""},
		{"expiry from the register, a day late", []action.Body{in("P-1", "2026-11-24")}, mix("P-1"), "lot-expired", "the powder lot P-1 expired on Tue 24 Nov 2026"},
		{"expiry of the code stands before that of the register", []action.Body{in("ABCD1234", "2026-11-24")}, mix(fresh), "", ""},
		{"withdrawn", []action.Body{in("P-1", ""), out("P-1", "recalled")}, mix("P-1"), "lot-withdrawn", "the powder lot P-1 was taken out of use on Wed 25 Nov 2026: recalled"},
		{"withdrawn by its name", []action.Body{in(fresh, ""), out("ABCD1234", "used up")}, mix(fresh), "lot-withdrawn", "the powder lot ABCD1234 was taken out of use on Wed 25 Nov 2026: used up"},
		{"withdrawn and taken in again", []action.Body{in("P-1", ""), out("P-1", "used up"), in("P-1", "")}, mix("P-1"), "", ""},
		{"called back though never taken in: no register is begun by it", []action.Body{out("P-1", "recalled")}, mix("P-2"), "", ""},
		{"called back though never taken in", []action.Body{out("P-1", "recalled")}, mix("P-1"), "lot-withdrawn", "the powder lot P-1 was taken out of use on Wed 25 Nov 2026: recalled"},
		{"taking in an expired lot", nil, in("(01)03453120000011(17)120508(10)ABCD1234", ""), "lot-expired", "the powder lot ABCD1234 expired on Tue 8 May 2012"},
		{"taking in a code that cannot be read", nil, in("(01)03453120000012(10)A", ""), "lot-unread", "the powder lot cannot be read"},
		{"taking in what was recalled", []action.Body{in("P-1", ""), out("P-1", "recalled")}, in("P-1", ""), "lot-withdrawn", "the powder lot P-1 was taken out of use on Wed 25 Nov 2026: recalled"},
		{"withdrawing what is not there", []action.Body{in("P-1", "")}, out("P-2", "recalled"), "lot-unknown", "the powder lot P-2 is not on the list"},
	} {
		s := newStock(t)
		for _, body := range c.told {
			s.do(body, "1")
		}
		_, err := s.say(c.does, "")
		codes, words := asked(err)
		if err != nil && codes == "" {
			t.Errorf("%s: refused: %v", c.name, err)
			continue
		}
		if codes != c.codes || !strings.HasPrefix(words, c.words) || c.words == "" && words != "" {
			t.Errorf("%s: asked about %q: %q, want %q: %q", c.name, codes, words, c.codes, c.words)
		}
		if a, err := s.say(c.does, "1"); err != nil || strings.Join(a.Unusual, " ") != c.codes {
			t.Errorf("%s: with a reason: recorded with %q, %v; want %q", c.name, a.Unusual, err, c.codes)
		}
	}
}

// Every place where a lot is named is looked up under its own material.
func TestRegisterOfEveryMaterial(t *testing.T) {
	for material, body := range map[string]action.Body{
		"powder": action.MixMake{Flasks: []int{1}, PowderLot: "X-1"}, "liquid": action.MixMake{Flasks: []int{1}, LiquidLot: "X-1"},
		"separator": action.Coat{Flask: 1, Half: "both", Lot: "X-1"}, "sheet": action.FlaskLots{Flask: 1, SheetLot: "X-1"}, "stone": action.FlaskLots{Flask: 1, StoneLot: "X-1"},
	} {
		s := newStock(t)
		s.do(action.LotIn{Material: action.Material(material), Lot: "X-2"}, "")
		_, err := s.say(body, "")
		if codes, words := asked(err); codes != "lot-unknown" || words != "the "+material+" lot X-1 is not on the list" {
			t.Errorf("%s: asked about %q: %q (%v)", material, codes, words, err)
		}
	}
	if len(action.Materials) != 5 {
		t.Errorf("the materials are %v: some are not tried here", action.Materials)
	}
}

// Two lots of one mix are both told; a lot that a reason was given for is not asked about
// again for the same flask, another lot is.
func TestRegisterAsksOnce(t *testing.T) {
	s := newStock(t)
	s.do(action.LotIn{Material: "powder", Lot: "P-1"}, "")
	s.do(action.LotIn{Material: "liquid", Lot: "L-1"}, "")
	s.do(action.LotIn{Material: "separator", Lot: "S-1"}, "")
	mix := action.MixMake{Flasks: []int{1}, PowderLot: "P-2", LiquidLot: "L-2"}
	_, err := s.say(mix, "")
	if _, words := asked(err); words != "the powder lot P-2 is not on the list; the liquid lot L-2 is not on the list" {
		t.Errorf("asked: %q", words)
	}
	s.do(mix, "1")
	for _, c := range []struct {
		does  action.Body
		words string
	}{
		{mix, ""}, // the same again
		{action.MixMake{Flasks: []int{1}, PowderLot: "P-2", LiquidLot: "L-3"}, "the liquid lot L-3 is not on the list"},
		{action.Coat{Flask: 1, Half: "cast", Lot: "S-2"}, "the separator lot S-2 is not on the list"},
		{action.MixMake{Flasks: []int{2}, PowderLot: "P-2", LiquidLot: "L-1"}, "the powder lot P-2 is not on the list"},
	} {
		a, err := s.say(c.does, "")
		if _, words := asked(err); words != c.words {
			t.Errorf("%+v: asked %q (%v), want %q", c.does, words, err, c.words)
		}
		if err == nil && strings.Join(a.Unusual, " ") != "lot-unknown" {
			t.Errorf("%+v: recorded with %q", c.does, a.Unusual)
		}
	}
}

// What is taken in is filled in from the code and from what is known of the lot.
func TestRegisterFillsIn(t *testing.T) {
	s := newStock(t)
	got := s.do(action.LotIn{Material: "powder", Lot: "]C101034531200000111728123110ABCD1234", Product: "pink"}, "").Body
	if want := (action.LotIn{Material: "powder", Lot: fresh, Product: "pink", Expiry: "2028-12-31"}); got != want {
		t.Errorf("recorded %+v, want %+v", got, want)
	}
	got = s.do(action.LotIn{Material: "powder", Lot: "ABCD1234"}, "").Body // a further jar, typed
	if want := (action.LotIn{Material: "powder", Lot: fresh, Product: "pink", Expiry: "2028-12-31"}); got != want {
		t.Errorf("recorded %+v, want %+v", got, want)
	}
	got = s.do(action.LotOut{Material: "powder", Lot: "ABCD1234", Reason: "spoilt"}, "").Body
	if want := (action.LotOut{Material: "powder", Lot: fresh, Reason: "spoilt"}); got != want {
		t.Errorf("recorded %+v, want %+v", got, want)
	}
	held, withdrawn := s.bench().Lots("powder")
	if len(held) != 0 || len(withdrawn) != 1 || withdrawn[0].Product != "pink" || withdrawn[0].InBy != "KT" || withdrawn[0].Reason != "spoilt" {
		t.Errorf("the register holds %+v and %+v", held, withdrawn)
	}
	for _, c := range []struct {
		does action.Body
		want string
	}{
		{action.LotIn{Material: "powder", Lot: fresh, Expiry: "2028-12-30"}, "the code says that it expires on 2028-12-31, not 2028-12-30: leave the expiry out"},
		{action.LotIn{Material: "powder", Lot: "(01)03453120000011"}, "this code names a product and no lot: scan the other code of the label, or type the lot"},
		{action.LotOut{Material: "powder", Lot: "(01)03453120000011", Reason: "recalled"}, "this code names a product and no lot: scan the other code of the label, or type the lot"},
		{action.LotOut{Material: "powder", Lot: fresh, Reason: "spoilt"}, "the powder lot ABCD1234 was taken out of use on Wed 25 Nov 2026 already: spoilt"},
	} {
		if _, err := s.say(c.does, "1"); err == nil || err.Error() != c.want {
			t.Errorf("%+v: %v, want %q", c.does, err, c.want)
		}
	}
}

// A correction sets an expiry or a lot right, and moves no lot to another material; what
// is taken back counts for nothing.
func TestRegisterAmended(t *testing.T) {
	s := newStock(t)
	id := s.do(action.LotIn{Material: "stone", Lot: "G-1", Expiry: "2027-05-31"}, "").ID
	s.do(action.Correct{Of: id, Set: []byte(`{"lot":"G-7","expiry":"2026-11-24"}`)}, "7")
	if _, err := s.say(action.Correct{Of: id, Set: []byte(`{"material":"powder"}`)}, "7"); err == nil || !strings.Contains(err.Error(), "of another material: undo it and record it again") {
		t.Errorf("the material is corrected: %v", err)
	}
	_, err := s.say(action.FlaskLots{Flask: 1, StoneLot: "G-7"}, "")
	if codes, words := asked(err); codes != "lot-expired" {
		t.Errorf("asked about %q: %q", codes, words)
	}
	s.do(action.TakeBack{Of: id}, "6")
	if b := s.bench(); b.KeepsLots("stone") {
		t.Error("a register is kept of one lot that was taken back")
	}
}

// Random comings and goings of more lots than the register holds: it stays within its
// bounds, knows that it is kept, and the records that are alive give the same register as
// all of them, whenever the dead ones are left out.
func TestRegisterBounded(t *testing.T) {
	for _, seed := range []uint64{0, 5, 2, 1, 3, 4}[:longrun.Times(3, 6)] {
		rnd := rand.New(rand.NewPCG(seed, 5))
		s := newStock(t)
		lean := bench.Fold(s.recs, bench.Counters{}) // left out of it what is dead, now and then
		kept := false
		for i := range 260 {
			name := fmt.Sprint("P-", rnd.IntN(20+int(seed)*30))
			var body action.Body = action.LotIn{Material: "powder", Lot: name, Expiry: fmt.Sprintf("20%d-01-31", 30+rnd.IntN(9))}
			if rnd.IntN(3) == 0 {
				body = action.LotOut{Material: "powder", Lot: name, Reason: action.Withdrawals[rnd.IntN(4)]}
			}
			a, err := s.say(body, "1")
			if err != nil {
				continue
			}
			s.keep(a)
			if lean = lean.Extend(s.recs[len(s.recs)-1]); rnd.IntN(10) == 0 {
				lean = bench.Fold(lean.Living(), lean.Top)
			}
			held, withdrawn := lean.Lots("powder")
			if i%longrun.Times(4, 1) == 0 {
				wantHeld, wantWithdrawn := s.bench().Lots("powder")
				if !reflect.DeepEqual(held, wantHeld) || !reflect.DeepEqual(withdrawn, wantWithdrawn) {
					t.Fatalf("seed %d, record %d: the living give %d and %d lots, all records %d and %d, or others", seed, len(s.recs), len(held), len(withdrawn), len(wantHeld), len(wantWithdrawn))
				}
			}
			if len(held) > bench.LotsHeld || len(withdrawn) > bench.LotsWithdrawn+1 {
				t.Fatalf("the register holds %d and %d", len(held), len(withdrawn))
			}
			_, in := a.Body.(action.LotIn)
			if kept = kept || in; lean.KeepsLots("powder") != kept {
				t.Fatalf("seed %d, record %d: a register is kept: %v", seed, len(s.recs), kept)
			}
		}
		living := bench.Fold(lean.Living(), lean.Top)
		if n := len(living.Items); n > 2*(bench.LotsHeld+bench.LotsWithdrawn)+40 {
			t.Errorf("seed %d: %d records are alive", seed, n)
		}
	}
}
