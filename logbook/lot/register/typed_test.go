package register_test

import (
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/lot/register"
)

// What is scanned or typed of a lot becomes what is recorded, and is told as people say it. The code is
// of GS1 element strings: 01 GTIN, 17 expiry as YYMMDD, 10 lot (GS1 General Specifications, section 3).
func TestLotsAsTyped(t *testing.T) {
	now := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		scans        []string
		line, expiry string
		told, wrong  string
	}{
		{[]string{"P-7"}, "", "2027-04", "taken in: powder lot P-7, to be used until 2027-04-30", ""},
		{[]string{"-"}, "P-8\r\n", "", "taken in: powder lot P-8", ""},
		{[]string{"(01)03453120000011(17)281231(10)ABCD1234"}, "", "", "taken in: powder lot ABCD1234", ""},
		{[]string{"(01)03453120000011"}, "", "", "", "this code names a product and no lot"},
		{[]string{"-"}, "", "", "", "there is no code: scan one, or type the lot"},
		{[]string{"P-7"}, "", "2027-13", "", "--expiry: "},
	} {
		in, err := register.TakenIn(action.LotIn{Material: action.Powder}, c.scans, strings.NewReader(c.line), c.expiry, now.Year())
		switch {
		case c.wrong != "" && (err == nil || !strings.HasPrefix(err.Error(), c.wrong)):
			t.Errorf("%q: %v, want %q", c.scans, err, c.wrong)
		case c.wrong == "" && (err != nil || register.Told(in, now) != c.told):
			t.Errorf("%q: %q, %v, want %q", c.scans, register.Told(in, now), err, c.told)
		}
	}
	out, err := register.Withdrawn(action.LotOut{Material: action.Powder, Reason: "recalled"}, []string{"P-7"}, nil, now.Year())
	if err != nil || register.Told(out, now) != "withdrawn: powder lot P-7, recalled" {
		t.Errorf("%q, %v", register.Told(out, now), err)
	}
}
