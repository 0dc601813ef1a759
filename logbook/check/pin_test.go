package check

import (
	"strings"
	"testing"
)

// FuzzPin reads heads: what is taken is a number and the beginning of a hash.
func FuzzPin(f *testing.F) {
	f.Add("48213:9f3a00c1")
	f.Add("0:AAAAAAAA")
	f.Add(":::")
	f.Fuzz(func(t *testing.T, s string) {
		p, err := ParsePin(s)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("%q: an error of more than one line: %v", s, err)
			}
			return
		}
		again, err := ParsePin(p.String())
		if err != nil || again != p || len(p.Start) < minPin || len(p.Start) > 64 {
			t.Errorf("%q is read as %v, and that as %v, %v", s, p, again, err)
		}
	})
}
