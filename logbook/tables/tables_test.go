package tables

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"
	"unicode/utf8"
)

// FuzzDefuse checks for any text that no cell begins a formula, that nothing else
// was done to it, and that it comes back from a table as it went in.
func FuzzDefuse(f *testing.F) {
	for _, s := range []string{"", "4417", "=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r\n=1", " =1", "  ", "＝1", "a=b", "'=1", "\"=1\"", "=cmd|' /C calc'!A0", "\u00a0-1", "4417, upper; \"left\""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		out := Defuse(s)
		if out != s && out != "'"+s {
			t.Fatalf("%q became %q", s, out)
		}
		first, _ := utf8.DecodeRuneInString(strings.TrimLeft(out, " \u00a0"))
		for _, bad := range "=+-@\t\r\n＝＋－＠" {
			if first == bad {
				t.Fatalf("%q still begins a formula", out)
			}
		}
		if strings.ContainsAny(s, "\r\n") {
			return // no text of a record has a line end in it
		}
		var b bytes.Buffer
		if err := Write(&b, [][]string{{out, "x"}}); err != nil {
			t.Fatal(err)
		}
		row, err := csv.NewReader(&b).Read()
		if err != nil || row[0] != out {
			t.Fatalf("%q came back as %q, %v", out, row, err)
		}
	})
}
