package mirror

import (
	"testing"

	"flaskside/logbook/record"
)

// TestPrivate: whatever people write freely stays in the house, whatever they choose does not.
func TestPrivate(t *testing.T) {
	for raw, want := range map[string]bool{
		`{"act":"coat","body":{"flask":1,"half":"both"}}`:                              false,
		`{"act":"coat","body":{"flask":1,"half":"both"},"why":"4"}`:                    false,
		`{"act":"coat","body":{"flask":1,"half":"both"},"why":"she was away"}`:         true,
		`{"act":"settings","body":{"house":{}},"why":"said with --yes"}`:               false,
		`{"act":"note","body":{"flask":1,"text":"x"}}`:                                 true,
		`{"act":"case-in","body":{"case":"4417","remark":""}}`:                         false,
		`{"act":"case-in","body":{"case":"4417","remark":"for the old lady"}}`:         true,
		`{"act":"correct","body":{"of":"a","set":{"remark":"x"}}}`:                     true,
		`{"act":"case-off","body":{"case":"4417","reason":"withdrawn by the doctor"}}`: true,
		`{"act":"lot-out","body":{"lot":"P-1","reason":"recalled"}}`:                   false,
		`{"act":"not JSON`: true,
	} {
		if got := private(record.Record{Raw: []byte(raw)}); got != want {
			t.Errorf("%s: %v", raw, got)
		}
	}
}
