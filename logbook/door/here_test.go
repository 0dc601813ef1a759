package door

import (
	"bufio"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"testing"
	"time"

	"flaskside/logbook/keep"
)

// TestAScreenThatStandsStill: a program that hears the news and does not say so is let go, also
// where nothing happens on the bench; one that says so stays, and one of before, which never did.
func TestAScreenThatStandsStill(t *testing.T) {
	t.Parallel()
	h := closed(t)
	s := &server{book: h.book, hub: hubOf(h.book, h.ck), stall: time.Minute, pulse: 50 * time.Millisecond, quiet: time.Second, ends: make(chan struct{}),
		screens: map[string]*keep.Screen{}, late: map[string]*time.Timer{}}
	srv := httptest.NewServer(s.handler())
	defer srv.Close()
	// hears joins, and gives what it is called and a way to hear a line.
	hears := func(by, answers string) (name string, next func() bool) {
		t.Helper()
		resp, err := http.Get(srv.URL + "/news?person=" + url.QueryEscape(`{"by":"`+by+`"}`) + answers) //nolint:noctx // of this test
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = resp.Body.Close() })
		in := bufio.NewScanner(resp.Body)
		in.Buffer(nil, 1<<20)
		var w welcome
		if !in.Scan() || json.Unmarshal(in.Bytes(), &w) != nil || w.Screen == "" {
			t.Fatalf("it is welcomed with %q", in.Text())
		}
		return w.Screen, in.Scan
	}
	says := func(name string) {
		t.Helper()
		resp, err := http.Post(srv.URL+"/here?screen="+name, "", nil) //nolint:noctx // of this test
		if err != nil {
			t.Fatal(err)
		}
		_ = resp.Body.Close()
		if resp.StatusCode != http.StatusOK {
			t.Fatalf("it is told %s", resp.Status)
		}
	}
	_, still := hears("KT", "&answers")
	name, lively := hears("MB", "&answers")
	_, before := hears("LL", "")
	// It hears all the same: what is in the way is not seen from here.
	n := 0
	for still() {
		n++
		if !lively() || !before() {
			t.Fatal("one that is there is let go")
		}
		says(name)
	}
	if n < 3 {
		t.Errorf("it was let go after %d lines", n)
	}
	for range 3 * n { // three times as long
		if !lively() || !before() {
			t.Fatal("one that is there is let go")
		}
		says(name)
	}
	for _, at := range s.hub.Screens() {
		if at.Person.By == "KT" {
			t.Error("the one that stands still is on the bench")
		}
	}
	close(s.ends)
}
