package bench_test

import (
	"errors"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/simclock"
)

// TestExpiredLots asks for a reason before an expired lot is used, and keeps what
// reads back; a lot typed by hand has no expiry and asks nothing.
func TestExpiredLots(t *testing.T) {
	ck := simclock.At(time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC), "boot-1")
	open := action.Action{ID: "open", At: ck.Read().Wall, Body: action.FlaskOpen{Flask: 1, Place: 1, Case: "4417", Base: "upper", Size: "medium"}}
	r, err := record.Write(1, record.Genesis("test"), ck.Read(), timers.StampAt(open.At, ck.Read()), open)
	if err != nil {
		t.Fatal(err)
	}
	b := bench.Fold([]record.Record{r}, bench.Counters{})
	for _, c := range []struct {
		lot  string
		code string
	}{
		{"P-118", ""},
		{"(01)03453120000011(17)270508(10)ABCD1234", ""},
		{"(01)03453120000011(17)120508(10)ABCD1234", "lot-expired"}, // GTIN and date of a published example (facts of GS1 element strings, morovia.com)
		{"(01)03453120000012(17)270508(10)ABCD1234", "lot-unread"},  // its check digit changed
	} {
		a := action.Action{ID: "x", At: ck.Read().Wall, Body: action.MixMake{Flasks: []int{1}, PowderLot: c.lot}}
		_, err := b.Check(a, timers.StampAt(a.At, ck.Read()), timers.Now{Reading: ck.Read()})
		var odd *bench.NeedsReason
		got := ""
		if errors.As(err, &odd) {
			for _, o := range odd.Odd {
				got = o.Code
			}
		}
		if got != c.code {
			t.Errorf("%s: asked about %q (%v), want %q", c.lot, got, err, c.code)
		}
	}
}
