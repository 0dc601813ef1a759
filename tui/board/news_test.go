package board

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"runtime"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/timers/simclock"
)

// asks opens a connection and asks for the news on it.
func (w *wall) asks(version string) net.Conn {
	w.t.Helper()
	c, err := net.Dial("tcp", w.board.Addr().String())
	if err != nil {
		w.t.Fatal(err)
	}
	w.t.Cleanup(func() { _ = c.Close() })
	w.asksOn(c, version)
	return c
}

func (w *wall) asksOn(c net.Conn, version string) {
	w.t.Helper()
	if _, err := fmt.Fprintf(c, "GET /%s/news HTTP/%s\r\nHost: %s\r\n\r\n", token, version, w.board.Addr()); err != nil {
		w.t.Fatal(err)
	}
}

// listening waits until so many boards listen.
func (w *wall) listening(n int) {
	w.t.Helper()
	for range 2000 {
		w.board.onesMu.Lock()
		is := len(w.board.ones)
		w.board.onesMu.Unlock()
		if is == n {
			return
		}
		time.Sleep(5 * time.Millisecond)
	}
	w.t.Fatalf("there are not %d boards that listen", n)
}

// TestOneGoroutineABoard: a board that listens has one goroutine and no more; one that leaves makes
// room at once, so that all boards can be opened anew together.
func TestOneGoroutineABoard(t *testing.T) {
	w := hang(t, simclock.At(start, "boot-1"), unhurried)
	w.board.glance()
	w.board.desk.wait()
	first := w.asks("1.1")
	w.listening(1)
	_ = first.Close()
	w.listening(0)
	const n = 18
	before := runtime.NumGoroutine() // all that the board has itself has begun by now
	for range 5 {
		var open []net.Conn
		for range n {
			open = append(open, w.asks("1.1"))
		}
		w.listening(n)
		had := 0
		for range 2000 { // those that answered the requests end a moment later
			if had = runtime.NumGoroutine() - before; had <= n {
				break
			}
			time.Sleep(5 * time.Millisecond)
		}
		if had > n {
			t.Errorf("%d boards have %d goroutines", n, had)
		}
		for _, c := range open {
			_ = c.Close()
		}
		w.listening(0)
	}
}

// TestAsksAnewOnTheSameConnection: a board is told its news over and over on one connection, by
// answers whose ends are told; it is refused there like any other.
func TestAsksAnewOnTheSameConnection(t *testing.T) {
	lim := unhurried
	lim.pulse, lim.stream = 10*time.Millisecond, 50*time.Millisecond
	w := hang(t, simclock.At(start, "boot-1"), lim)
	w.must(action.FlaskOpen{Place: 3, Case: "4417", Base: "upper", Size: "large"})
	c := w.asks("1.1")
	in := bufio.NewReader(c)
	for i := range 5 {
		resp, err := http.ReadResponse(in, nil)
		if err != nil {
			t.Fatalf("answer %d: %v", i, err)
		}
		body, err := io.ReadAll(resp.Body)
		_ = resp.Body.Close()
		if err != nil || resp.StatusCode != http.StatusOK || resp.Header.Get("Content-Type") != "text/event-stream" || resp.Header.Get("Cache-Control") != "no-store" {
			t.Fatalf("answer %d: %s, %v, %v", i, resp.Status, resp.Header, err)
		}
		if s := string(body); !strings.Contains(s, "4417") || !strings.HasSuffix(s, "event: again\ndata: 1\n\n") {
			t.Fatalf("answer %d is\n%s", i, s)
		}
		if i < 4 {
			w.asksOn(c, "1.1")
		}
	}
	old := bufio.NewReader(w.asks("1.0"))
	resp, err := http.ReadResponse(old, nil)
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(resp.Body)
	_ = resp.Body.Close()
	if s := string(body); err != nil || resp.TransferEncoding != nil || !strings.HasPrefix(s, "event: part\n") || !strings.HasSuffix(s, "event: again\ndata: 1\n\n") {
		t.Errorf("a browser of old is told %v\n%s", err, s)
	}
}

// TestSaysSomethingBeforeItsAnswerIsOver: what does not wait for its answer is no board, and is let go.
func TestSaysSomethingBeforeItsAnswerIsOver(t *testing.T) {
	w := hang(t, simclock.At(start, "boot-1"), unhurried)
	c := w.asks("1.1")
	w.listening(1)
	w.asksOn(c, "1.1")
	w.listening(0)
	w.gone([]net.Conn{c})
}
