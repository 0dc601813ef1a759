package board

import (
	"bufio"
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/keep"
	"flaskside/timers"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

const token = "ABCDEFGHIJKLMNOPQRSTUVWX23"

// start is in a zone of its own, so that no zone of the machine matters.
var start = time.Date(2026, 11, 25, 8, 0, 0, 0, time.FixedZone("", 3600))

// wall is a bench with a board.
type wall struct {
	t     testing.TB
	clock timers.Clock
	book  *logbook.Book
	hub   *keep.Hub
	board *Board
	mu    sync.Mutex
	token string
	said  []string // trouble, faults
}

// hang hangs a board beside a bench in a scratch folder.
func hang(t testing.TB, clock timers.Clock, lim limits) *wall {
	t.Helper()
	book, err := logbook.Open(filepath.Join(t.TempDir(), "b.db"), clock)
	if err != nil {
		t.Fatal(err)
	}
	w := &wall{t: t, clock: clock, book: book, hub: keep.New(book, clock, rand.Text), token: token}
	w.serve("127.0.0.1:0", lim)
	t.Cleanup(func() {
		w.board.Close()
		if err := book.Close(); err != nil {
			t.Error(err)
		}
		for _, s := range w.said {
			t.Errorf("it told trouble: %s", s)
		}
	})
	return w
}

// serve opens the board at an address.
func (w *wall) serve(at string, lim limits) {
	w.t.Helper()
	screen, err := w.hub.Join(keep.Person{Own: true})
	if err != nil {
		w.t.Fatal(err)
	}
	note := func(s string) {
		w.mu.Lock()
		defer w.mu.Unlock()
		w.said = append(w.said, s)
	}
	w.board, err = listen(context.Background(), at, Config{Bench: screen, Trouble: note,
		Token: func() string { w.mu.Lock(); defer w.mu.Unlock(); return w.token },
		Fault: func(trace string) string { note(trace); return "FILE" }}, lim)
	if err != nil {
		w.t.Fatal(err)
	}
	served := make(chan error, 1)
	b := w.board
	go func() { served <- b.Serve() }()
	w.t.Cleanup(func() {
		b.Close()
		screen.Leave(nil)
		if err := <-served; err != nil {
			w.t.Error(err)
		}
	})
}

// do records.
func (w *wall) do(body action.Body) error {
	_, err := w.book.Append(action.Action{ID: rand.Text(), At: w.clock.Read().Wall, By: "KT", Body: body, Why: "8"})
	return err
}

func (w *wall) must(bodies ...action.Body) {
	w.t.Helper()
	for _, b := range bodies {
		if err := w.do(b); err != nil {
			w.t.Fatalf("%s: %v", b.Kind(), err)
		}
	}
}

func (w *wall) url() string { return "http://" + w.board.Addr().String() + "/" + token + "/" }

// answer is what comes back to a request.
type answer struct {
	StatusCode int
	Status     string
	Header     http.Header
}

// ask sends a request and gives what comes back.
func (w *wall) ask(method, url, host string) (answer, string) {
	w.t.Helper()
	r, err := http.NewRequestWithContext(context.Background(), method, url, nil)
	if err != nil {
		w.t.Fatal(err)
	}
	if host != "" {
		r.Host = host
	}
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	resp, err := client.Do(r)
	if err != nil {
		w.t.Fatal(err)
	}
	defer func() { _ = resp.Body.Close() }()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		w.t.Fatal(err)
	}
	return answer{resp.StatusCode, resp.Status, resp.Header}, string(body)
}

// event is one of what a board hears.
type event struct{ name, id, data string }

// hearing is a board that listens.
type hearing struct {
	resp *http.Response
	in   *bufio.Scanner
}

func (w *wall) listen(have string) *hearing {
	w.t.Helper()
	r, err := http.NewRequestWithContext(context.Background(), http.MethodGet, w.url()+"news?have="+have, nil)
	if err != nil {
		w.t.Fatal(err)
	}
	resp, err := (&http.Client{Transport: &http.Transport{DisableKeepAlives: true}}).Do(r)
	if err != nil {
		w.t.Fatal(err)
	}
	w.t.Cleanup(func() { _ = resp.Body.Close() })
	in := bufio.NewScanner(resp.Body)
	in.Buffer(nil, 1<<20)
	return &hearing{resp, in}
}

// next is the next event; ok is false at the end of the stream.
func (h *hearing) next() (e event, ok bool) {
	for h.in.Scan() {
		line := h.in.Text()
		if line == "" {
			return e, true
		}
		key, value, _ := strings.Cut(line, ": ")
		switch key {
		case "event":
			e.name = value
		case "id":
			e.id = value
		case "data":
			e.data = value
		}
	}
	return e, false
}

// until hears events up to the first that is wanted.
func (w *wall) until(h *hearing, what string, is func(event) bool) event {
	w.t.Helper()
	for {
		e, ok := h.next()
		if !ok {
			w.t.Fatalf("the news ended before %s", what)
		}
		if is(e) {
			return e
		}
	}
}

// unhurried are bounds that no test waits for.
var unhurried = limits{pulse: time.Hour, old: oldAfter, look: 20 * time.Millisecond, stream: time.Hour, write: time.Minute, idle: time.Minute, head: time.Minute, streams: 20, conns: 50}

// TestNothingForStrangers: who does not know the token, comes for another host or wants to do
// something gets one line, in which nothing of the bench is.
func TestNothingForStrangers(t *testing.T) {
	w := hang(t, simclock.At(start, "boot-1"), unhurried)
	w.must(action.FlaskOpen{Place: 3, Case: "4417-secret", Base: "upper", Size: "large"})
	at := "http://" + w.board.Addr().String()
	_, port, _ := net.SplitHostPort(w.board.Addr().String())
	if r, page := w.ask("GET", w.url(), ""); r.StatusCode != http.StatusOK || !strings.Contains(page, "4417-secret") {
		t.Fatalf("whoever knows the token gets %s:\n%s", r.Status, page)
	}
	for _, c := range []struct {
		method, url, host string
		code              int
	}{
		{"GET", at + "/", "", 404},
		{"GET", at + "/" + token[:25] + "/", "", 404},
		{"GET", at + "/" + token + "A/", "", 404},
		{"GET", at + "/" + strings.ToLower(token) + "/", "", 404},
		{"GET", at + "//" + token + "/", "", 404},
		{"GET", at + "/x/../" + token + "/news", "", 404},
		{"GET", at + "/" + token + "/other", "", 404},
		{"GET", at + "/" + token + "/benches", "", 404}, // no mirror is set
		{"GET", at + "/?token=" + token, "", 404},
		{"GET", at + "/favicon.ico", "", 404},
		{"GET", at + "/WRONG/news", "", 404},
		{"HEAD", at + "/WRONG/", "", 404},
		{"POST", w.url(), "", 405},
		{"PUT", w.url() + "news", "", 405},
		{"DELETE", w.url(), "", 405},
		{"OPTIONS", w.url(), "", 405},
		{"BREW", w.url(), "", 405},
		{"GET", w.url(), "evil.example", 421},
		{"GET", w.url(), "evil.example:" + port, 421},
		{"GET", w.url(), "127.0.0.1", 421},
		{"GET", w.url(), "127.0.0.2:" + port, 421},
		{"GET", w.url(), "127.0.0.1.evil.example:" + port, 421},
		{"GET", w.url(), "localhost.evil.example:" + port, 421},
		{"GET", w.url() + "news", "evil.example:" + port, 421},
		{"POST", at + "/", "evil.example", 421},
	} {
		r, body := w.ask(c.method, c.url, c.host)
		if r.StatusCode != c.code {
			t.Errorf("%s %s for %q is answered %s, want %d", c.method, c.url, c.host, r.Status, c.code)
		}
		if strings.Contains(body, "4417") || strings.Contains(body, token) || strings.Count(body, "\n") > 1 || len(body) > 200 {
			t.Errorf("%s %s for %q is told\n%s", c.method, c.url, c.host, body)
		}
	}
	c, err := net.Dial("tcp", w.board.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = c.Close() }()
	go func() {
		_, _ = fmt.Fprintf(c, "GET /%s HTTP/1.1\r\nHost: %s\r\n\r\n", strings.Repeat("a", 20<<10), w.board.Addr()) // it may be cut off
	}()
	if line, err := bufio.NewReader(c).ReadString('\n'); err != nil || !strings.Contains(line, " 431 ") {
		t.Errorf("a long path is answered %q, %v", line, err)
	}
	for _, host := range []string{"127.0.0.1:" + port, "localhost:" + port, "LOCALHOST:" + port} {
		if r, _ := w.ask("GET", w.url(), host); r.StatusCode != http.StatusOK {
			t.Errorf("for %s it is answered %s", host, r.Status)
		}
	}
	w.mu.Lock()
	w.token = ""
	w.mu.Unlock()
	for _, path := range []string{"/", "//", "//news"} {
		if r, _ := w.ask("GET", at+path, ""); r.StatusCode != http.StatusNotFound {
			t.Errorf("without a token %s is answered %s", path, r.Status)
		}
	}
	if _, err := listen(context.Background(), "127.0.0.1:0", Config{Token: func() string { return "" }}, usual); err == nil {
		t.Error("it begins without a token")
	}
}

// TestHeaders: every answer keeps the address to itself, and a page runs nothing but its own
// script, by a number that is never given twice.
func TestHeaders(t *testing.T) {
	w := hang(t, simclock.At(start, "boot-1"), unhurried)
	seen := map[string]bool{}
	for range 3 {
		r, page := w.ask("GET", w.url()+"?theme=dark", "")
		csp := r.Header.Get("Content-Security-Policy")
		_, nonce, _ := strings.Cut(csp, "script-src 'nonce-")
		nonce, _, _ = strings.Cut(nonce, "'")
		if seen[nonce] || len(nonce) < 20 || !strings.Contains(page, `<script nonce="`+nonce+`">`) || !strings.Contains(page, `<style nonce="`+nonce+`">`) {
			t.Errorf("the nonce %q stands in %q", nonce, csp)
		}
		seen[nonce] = true
		for _, want := range []string{"default-src 'none'", "base-uri 'none'", "form-action 'none'", "frame-ancestors 'none'"} {
			if !strings.Contains(csp, want) {
				t.Errorf("the policy is %q, without %s", csp, want)
			}
		}
		if strings.Contains(csp, "unsafe") || strings.Contains(csp, "http") || strings.Contains(csp, "*") {
			t.Errorf("the policy is %q", csp)
		}
		if strings.Contains(page, "src=") || strings.Contains(page, "url(") || strings.Contains(page, "@import") || strings.Contains(page, "https:") {
			t.Error("the page fetches something")
		}
		if !strings.Contains(page, `data-theme="dark"`) {
			t.Error("the theme was asked for and is not there")
		}
	}
	if _, page := w.ask("GET", w.url()+`?theme=%22%3E%3Cscript%3E`, ""); strings.Contains(page, "data-theme=\"\"") || strings.Contains(page, `"><script>`) {
		t.Error("any theme is taken")
	}
	for _, url := range []string{w.url(), "http://" + w.board.Addr().String() + "/"} {
		r, _ := w.ask("HEAD", url, "")
		for k, want := range map[string]string{"Referrer-Policy": "no-referrer", "X-Content-Type-Options": "nosniff", "Cache-Control": "no-store"} {
			if got := r.Header.Get(k); got != want {
				t.Errorf("%s of %s is %q, want %q", k, url, got, want)
			}
		}
	}
}

// TestNews: a board hears of a record; what it has already it is not told again; one of another
// run of the bench is told all; the bench that is closed says so.
func TestNews(t *testing.T) {
	w := hang(t, simclock.At(start, "boot-1"), unhurried)
	h := w.listen("")
	alive := func(e event) bool { return e.name == "alive" }
	parts := 0
	first := w.until(h, "a sign of life", func(e event) bool {
		if e.name == "part" {
			parts++
		}
		return alive(e) && parts > 0
	})
	w.must(action.FlaskOpen{Place: 3, Case: "4417", Base: "upper", Size: "large"})
	w.until(h, "the flask", func(e event) bool { return e.name == "part" && strings.Contains(e.data, "4417") })
	last := w.until(h, "a sign of life", alive)
	if first.id == last.id {
		t.Errorf("nothing is new at %s", last.id)
	}
	again := w.listen(last.id)
	if e, ok := again.next(); !ok || e.name != "alive" {
		t.Errorf("a board that has all is told %+v", e)
	}
	for _, have := range []string{"other-99", "", "-", "x", last.id + "9", strings.Repeat("9", 40)} {
		if e, ok := w.listen(have).next(); have != last.id+"9" && (!ok || e.name != "part") {
			t.Errorf("a board that has %q is told %+v", have, e)
		}
	}
	w.board.Close()
	w.until(h, "that it is closed", func(e event) bool { return e.name == "closed" })
}

// TestAnotherToken: with another token the boards of the old one hear nothing more.
func TestAnotherToken(t *testing.T) {
	w := hang(t, simclock.At(start, "boot-1"), unhurried)
	h := w.listen("")
	w.until(h, "a sign of life", func(e event) bool { return e.name == "alive" })
	w.mu.Lock()
	w.token = strings.Repeat("Z", 26)
	w.mu.Unlock()
	w.must(action.FlaskOpen{Place: 3, Case: "4417", Base: "upper", Size: "large"})
	for e, ok := h.next(); ok; e, ok = h.next() {
		if strings.Contains(e.data, "4417") {
			t.Fatalf("the board of the old token is told %+v", e)
		}
	}
}

// TestQuiet: while nothing happens nothing is sent but signs of life: the page counts by itself.
func TestQuiet(t *testing.T) {
	clock := simclock.At(start, "boot-1")
	w := hang(t, clock, limits{pulse: time.Hour, old: oldAfter, look: time.Hour, stream: time.Hour, write: time.Minute, idle: time.Minute, head: time.Minute, streams: 20, conns: 50})
	busyBench(w, clock)
	w.board.glance()
	w.board.desk.wait()
	w.board.glance()
	before, changes := w.board.version, 0
	minutes := longrun.Times(2, 10)
	for range minutes * 60 {
		clock.Run(time.Second)
		w.board.glance()
		w.board.desk.wait()
		if w.board.version != before {
			before = w.board.version
			changes++
		}
	}
	// Once a minute pictures move; the press order now and then; timers reach ends.
	if changes < minutes || changes > 8*minutes {
		t.Errorf("in %d minutes the page changed %d times, want some for each minute and none for each second", minutes, changes)
	}
}

// busyBench has flasks at every stage, timers, a load.
func busyBench(w *wall, clock *simclock.Hand) {
	for p := 1; p <= 6; p++ {
		w.must(action.FlaskOpen{Place: p, Case: fmt.Sprint(4400 + p), Base: "upper", Size: "medium"})
		w.must(action.Coat{Flask: p, Half: "both"})
	}
	w.must(action.BathLoad{Flasks: []int{5, 6}, Programme: "long, 9 h"}, action.TimerStart{Label: "stone", Count: "up"}, action.TimerStart{Label: "tea", Count: "down", AimS: 900})
	clock.Run(12 * time.Minute)
	w.must(action.MixMake{Flasks: []int{1, 2, 3}, Resin: "heat-cured", PowderG: 67, LiquidG: 28, DoughS: 600, WorkS: 2700})
	clock.Run(11 * time.Minute)
	w.must(action.MixDough{Mix: 1}, action.PressIn{Flask: 1}, action.PressAt{Flask: 1})
	clock.Run(70 * time.Second)
	w.must(action.PressOpen{Flask: 1}, action.Flash{Flask: 1, Grade: "slight"}, action.PressIn{Flask: 2})
}

// TestStuckBoards: boards that do not read hold neither the writer nor each other, and are let go;
// no more of them come in than there is room for.
func TestStuckBoards(t *testing.T) {
	lim := limits{pulse: 50 * time.Millisecond, old: oldAfter, look: 20 * time.Millisecond, stream: 300 * time.Millisecond, write: 200 * time.Millisecond, idle: 100 * time.Millisecond,
		head: 300 * time.Millisecond, streams: 5, conns: 12}
	w := hang(t, simclock.At(start, "boot-1"), lim)
	var stuck []net.Conn
	for range 30 {
		c, err := net.Dial("tcp", w.board.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = c.Close() }()
		_, _ = fmt.Fprintf(c, "GET /%s/news HTTP/1.1\r\nHost: %s\r\n\r\n", token, w.board.Addr())
		stuck = append(stuck, c)
	}
	for i := range 200 {
		w.must(action.TimerStart{Label: fmt.Sprint(i), Count: "up"}, action.TimerStop{Timer: i + 1})
	}
	w.gone(stuck)
	if n := len(w.board.ln.room); n > lim.conns {
		t.Errorf("%d connections", n)
	}
	// Half a request, and none at all.
	var half []net.Conn
	for i := range 6 {
		c, err := net.Dial("tcp", w.board.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = c.Close() }()
		_, _ = io.WriteString(c, "GET /"[:i])
		half = append(half, c)
	}
	w.gone(half)
	h := w.listen("")
	w.until(h, "a sign of life", func(e event) bool { return e.name == "alive" })
	w.until(h, "that it asks anew", func(e event) bool { return e.name == "again" })
}

// gone waits until the other side has closed the connections.
func (w *wall) gone(cs []net.Conn) {
	w.t.Helper()
	for _, c := range cs {
		if err := c.SetReadDeadline(time.Now().Add(time.Minute)); err != nil {
			w.t.Fatal(err)
		}
		if _, err := io.Copy(io.Discard, c); err != nil {
			if ne, ok := err.(net.Error); ok && ne.Timeout() {
				w.t.Fatal("a board that does not ask anew is kept")
			}
		}
	}
}

// TestOneLine: what is sent is one line of JSON for each event, whatever is in it.
func TestOneLine(t *testing.T) {
	w := hang(t, simclock.At(start, "boot-1"), unhurried)
	w.must(action.FlaskOpen{Place: 3, Case: "<b>&\\ x1", Base: "upper", Size: "large", Tag: "</script>"})
	h := w.listen("")
	n := 0
	w.until(h, "a sign of life", func(e event) bool {
		if !json.Valid([]byte(e.data)) {
			t.Errorf("%s is told %q", e.name, e.data)
		}
		n++
		return e.name == "alive" && n > 1
	})
}
