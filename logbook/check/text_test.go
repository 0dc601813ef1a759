package check_test

import (
	"errors"
	"strings"
	"testing"

	"flaskside/logbook/check"
)

// What was found is told line by line; a spoilt file may hold anything, and still each thing is
// one plain line.
func TestReportInWords(t *testing.T) {
	proven, not := check.Pin{Seq: 2, Start: "9f3a00c1"}, check.Pin{Seq: 3, Start: "9f3a00c1"}
	r := check.Report{Book: "B", Format: "3", Created: "2026-11-25T08:00:00Z", Bytes: 7, Records: 2, First: "2026-11-25", Last: "2026-11-26",
		Proven: []check.Pin{proven}, Others: []string{"x.jsonl"}, Faults: []check.Fault{{Seq: 1, What: "odd\n\x1b[2J"}}}
	var out strings.Builder
	if err := r.Text(&out, "bench.db", []check.Told{{Pin: proven, Name: "head 2"}, {Pin: not, Name: "head 3"}}); err != nil {
		t.Fatal(err)
	}
	want := `logbook  bench.db, 7 bytes, book B, format 3, made 2026-11-25T08:00:00Z
records  2, from 2026-11-25 to 2026-11-26
head     0:0000000000000000
journal  x.jsonl: left as it is
head 2: in this logbook, and all that stood before it
head 3: NOT proven, see the faults
fault    record 1: odd; [2J
`
	if out.String() != want {
		t.Errorf("%s\nwant\n%s", out.String(), want)
	}
	for n, want := range []string{"", "the logbook has a fault: stop", "the logbook has 2 faults: stop"} {
		err := check.Report{Faults: make([]check.Fault, n)}.Sound("stop")
		var unsound check.Unsound
		if n > 0 && (!errors.As(err, &unsound) || err.Error() != want) || n == 0 && err != nil {
			t.Errorf("%d faults: %v", n, err)
		}
	}
}

// What was brought back, and what was not; any of it left behind is an error.
func TestSalvagedInWords(t *testing.T) {
	for _, c := range []struct {
		s    check.Salvaged
		want string
		err  string
	}{
		{check.Salvaged{Records: 3, File: 3, Journal: 2}, "lost     none", ""},
		{check.Salvaged{Lost: []check.Fault{{Kind: check.FaultMissing, Seq: 2, What: "gone"}}}, "lost     record 2: gone", "one record could not be brought back"},
		{check.Salvaged{Lost: []check.Fault{{Kind: check.FaultMissing, Seq: 2, To: 4, What: "gone"}}}, "lost     records 2 to 4: gone", "3 records could not be brought back"},
		{check.Salvaged{Lost: []check.Fault{{Kind: check.FaultUnproven, Seq: 2, What: "who knows"}}}, "doubt    record 2: who knows", "all records known of were brought back, but not all is proven"},
		{check.Salvaged{Branches: []check.Branch{{From: 2, Records: 2, Knows: true, Text: "a\nb", File: "x.jsonl"}}}, "outside  records 2 to 0, of another history: a; b; in x.jsonl, to be followed with --branch 0:0000000000000000",
			"not all is in the new logbook: 2 records stand beside it, as listed"},
	} {
		var out strings.Builder
		if err := c.s.Text(&out, "new.db", 1); err != nil || !strings.Contains(out.String(), c.want+"\n") {
			t.Errorf("%v\n%s\nwant %s", err, out.String(), c.want)
		}
		if err := c.s.Sound(); c.err == "" && err != nil || c.err != "" && (err == nil || err.Error() != c.err) {
			t.Errorf("%+v: %v, want %q", c.s, err, c.err)
		}
	}
}
