package keep_test

import (
	"testing"
	"time"

	"flaskside/logbook/keep"
)

// Who is on a screen is one plain line, whatever a name holds.
func TestWhoIsThereInWords(t *testing.T) {
	since := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	for want, p := range map[string]keep.Person{
		"keeper         since Wed 25 Nov 08:00, without a screen":                                 {From: keep.NoScreen},
		"board          since Wed 25 Nov 08:00, on the wall, to look at only":                     {From: keep.OnWall},
		"KT       lead  since Wed 25 Nov 08:00, at the program that has the logbook":              {By: "KT", Role: "lead", Own: true},
		"?        work  since Wed 25 Nov 08:00, from 10.0.0.7 with SHA256:x, away from the bench": {Role: "work", From: "10.0.0.7", Key: "SHA256:x", Away: true},
		"MR       see   since Wed 25 Nov 08:00, at pts/3[2J":                                      {By: "MR", Role: "see", From: "pts/3\x1b[2J"},
	} {
		if got := (keep.Present{Person: p, Since: since}).Words(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
