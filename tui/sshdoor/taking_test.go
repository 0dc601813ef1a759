package sshdoor

import (
	"bytes"
	"io"
	"testing"
	"time"

	"charm.land/ssh"
	"pgregory.net/rapid"
)

const iAmWell = "\x1b[0n"

// typing is a session of which only what comes in matters.
type typing struct {
	ssh.Session
	pieces [][]byte
}

func (s *typing) Read(p []byte) (int, error) {
	if len(s.pieces) == 0 {
		return 0, io.EOF
	}
	n := copy(p, s.pieces[0])
	if s.pieces[0] = s.pieces[0][n:]; len(s.pieces[0]) == 0 {
		s.pieces = s.pieces[1:]
	}
	return n, nil
}

// TestAnswersAreNoKeys: whatever is typed around the answers of a terminal, and however it is cut
// into pieces, every key arrives, in order, and nothing of an answer does.
func TestAnswersAreNoKeys(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var all, keys []byte
		for range rapid.IntRange(0, 30).Draw(t, "n") {
			k := rapid.SampledFrom([]string{iAmWell, iAmWell, "\x1b[?0n", "0", "n", "\x1b", "\x1b[A", "\x1b[0;5H", "4417", "\r", "é", "\x1b[200~0n\x1b[201~"}).Draw(t, "key")
			all = append(all, k...)
			if k != iAmWell && k != "\x1b[?0n" {
				keys = append(keys, k...)
			}
		}
		in := &typing{}
		for rest := all; len(rest) > 0; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "piece")
			for n < len(rest) && rest[n-1] == 0x1b { // an Escape that ends a piece is a key of its own
				n++
			}
			in.pieces, rest = append(in.pieces, append([]byte(nil), rest[:n]...)), rest[n:]
		}
		s := newSteady(in, time.Hour, func() {})
		var got []byte
		buf := make([]byte, rapid.IntRange(longest, 64).Draw(t, "room"))
		for {
			n, err := s.Read(buf)
			got = append(got, buf[:n]...)
			if err != nil {
				break
			}
		}
		if !bytes.Equal(got, keys) {
			t.Fatalf("of %q arrives %q, want %q", all, got, keys)
		}
		if want := len(all) > len(keys); s.taking.answered != want {
			t.Fatalf("%q is taken for an answer: %v", all, s.taking.answered)
		}
	})
}

// TestStopsReadingAtRest: a terminal that answered stops reading while nothing happens on the
// bench, and its keys still come; it is let go.
func TestStopsReadingAtRest(t *testing.T) {
	t.Parallel()
	b := open(t, quick)
	c := b.come(b.key("KT", "work"))
	c.sees("new flask on place 1")
	b.until("it has answered", func() bool { c.mu.Lock(); defer c.mu.Unlock(); return c.asks > 1 })
	c.mu.Lock() // its program reads no more
	defer c.mu.Unlock()
	b.left(0)
}

// TestAnswersNothing: a terminal that reads and never answers stays.
func TestAnswersNothing(t *testing.T) {
	t.Parallel()
	b := open(t, quick)
	conn, err := b.dial(b.addr(), b.key("KT", "work"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	_, out := b.deaf(conn, 24, 80)
	var all []byte
	buf := make([]byte, 4096)
	for bytes.Count(all, []byte(howAreYou)) < 4 { // more than one was not answered in time
		n, err := out.Read(buf)
		if err != nil {
			t.Fatalf("it was let go: %v\n%q", err, all)
		}
		all = append(all, buf[:n]...)
	}
	b.left(1)
}
