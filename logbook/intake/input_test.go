package intake

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"
	"unicode"

	"flaskside/logbook/action"
	"flaskside/logbook/words"
)

// FuzzInput reads any bytes as the input of record: what is taken is a valid
// action that can be written and read again, what is refused is told in one line
// with its number.
func FuzzInput(f *testing.F) {
	for _, s := range []string{
		"",
		"\n\r\n \n",
		`{"id":"a1","at":"2026-11-25T08:00:00+01:00","act":"flask-open","body":{"place":1,"case":"4417","base":"upper","size":"large"}}`,
		"\ufeff" + `{"id":"a1","at":"2026-11-25T08:00:00+01:00","act":"inspect","body":{"flask":1}}` + "\r\n" + `{"id":"a2"`,
		`{"id":"a1","at":"2026-11-25T08:00:00+01:00","by":"\u001b[2J","act":"inspect","body":{"flask":1}}`,
		`{"id":"a1","at":"2026-11-25T08:00:00+01:00","act":"correct","body":{"of":"a0","set":{"grade":"slight"}}}` + "\n[]\nnull\n1e999\n",
		"{\"id\":\"\xff\"}\n" + strings.Repeat("[", 200),
		`{"id":"a1","id":"a2","at":"2026-11-25T08:00:00+01:00","act":"inspect","body":{"flask":1},"v":1,"seq":7,"prev":"x"}`,
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		in, err := readAll(bytes.NewReader(b), "KT")
		if err != nil {
			t.Fatal(err)
		}
		if lines := bytes.Count(b, []byte("\n")) + 1; len(in.actions)+len(in.bad) > lines || len(in.actions) != len(in.lines) {
			t.Fatalf("%d actions and %d bad lines out of %d lines", len(in.actions), len(in.bad), lines)
		}
		for _, a := range in.actions {
			if a.By == "" {
				t.Errorf("nobody did %s", a.ID)
			}
			out, err := json.Marshal(a)
			if err != nil {
				t.Fatal(err)
			}
			again, err := action.Decode(out)
			if err != nil {
				t.Fatalf("%s was taken but not again: %v", out, err)
			}
			if !again.At.Equal(a.At) || again.ID != a.ID || again.Why != a.Why || !sameBody(t, again.Body, a.Body) {
				t.Fatalf("%+v came back as %+v", a, again)
			}
		}
		last := 0
		for _, bad := range in.bad {
			if bad.no <= last {
				t.Fatalf("line %d is told after line %d", bad.no, last)
			}
			last = bad.no
			if strings.ContainsFunc(words.Clean(bad.Error()), unicode.IsControl) {
				t.Fatalf("the complaint %q is not one plain line", bad.Error())
			}
		}
	})
}

// readAll reads the lines of an input, good and bad.
func readAll(r io.Reader, by string) (in struct {
	batch
	bad []badLine
}, err error) {
	k, err := Keep(r)
	if err != nil {
		return in, err
	}
	defer k.Close()
	for l, err := range k.lines(by) {
		switch {
		case err != nil:
			return in, err
		case l.Err != nil:
			in.bad = append(in.bad, badLine{l.No, l.Err})
		default:
			in.add(l)
		}
	}
	return in, nil
}

// sameBody compares bodies as they are stored.
func sameBody(t *testing.T, a, b action.Body) bool {
	t.Helper()
	x, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	y, err := json.Marshal(b)
	if err != nil {
		t.Fatal(err)
	}
	return bytes.Equal(x, y)
}

// endless gives the same byte for ever.
type endless byte

func (e endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = byte(e)
	}
	return len(p), nil
}

// TestInputBounds reads inputs that have no end: an endless line, and too many lines.
func TestInputBounds(t *testing.T) {
	for _, c := range []struct {
		name string
		r    io.Reader
		want string
	}{
		{"an endless line", endless('x'), "it has more than 64 MiB: give it in parts"},
		{"many bad lines", strings.NewReader(strings.Repeat("x\n", maxActions+1)), "the input has more than 100000 lines: give it in parts"},
		{"a broken pipe", iotest.ErrReader(errors.New("broken")), "read the standard input: broken"},
		{"one broken later", io.MultiReader(strings.NewReader(strings.Repeat("x", shortInput+1)), iotest.ErrReader(errors.New("broken"))), "read the standard input: broken"},
	} {
		_, err := readAll(c.r, "")
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}
