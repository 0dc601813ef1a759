package door

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flaskside/logbook"
)

// stranger listens where a bench would and answers as told.
func stranger(t *testing.T, path string, f http.HandlerFunc) {
	t.Helper()
	sock, err := socketPath(path)
	if err != nil {
		t.Fatal(err)
	}
	ln, err := net.Listen("unix", sock)
	if err != nil {
		t.Fatal(err)
	}
	srv := &http.Server{Handler: f}
	go func() { _ = srv.Serve(ln) }()
	t.Cleanup(func() { _ = srv.Close() })
}

func TestOtherVersion(t *testing.T) {
	path := filepath.Join(t.TempDir(), "b.db")
	stranger(t, path, func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, `{"door":99,"pid":7}`) })
	_, err := Dial(path)
	if err == nil || errors.Is(err, ErrNobody) || !strings.Contains(err.Error(), "process 7") || !strings.Contains(err.Error(), "version 99") {
		t.Error(err)
	}
}

func TestNoBenchAnswers(t *testing.T) {
	path := filepath.Join(t.TempDir(), "b.db")
	stranger(t, path, http.NotFound)
	if _, err := Dial(path); err == nil || errors.Is(err, ErrNobody) || !strings.Contains(err.Error(), "not a bench (404)") {
		t.Error(err)
	}
}

func TestSilence(t *testing.T) {
	path := filepath.Join(t.TempDir(), "b.db")
	release := make(chan struct{})
	t.Cleanup(func() { close(release) })
	stranger(t, path, func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/head" { // begins, and says no more
			_, _ = io.WriteString(w, `{"seq":`)
			_ = http.NewResponseController(w).Flush()
		}
		<-release
	})
	sock, _ := socketPath(path)
	c := &Client{transport: &http.Transport{DisableKeepAlives: true, DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) { return knock(ctx, sock) }}}
	for _, ask := range []string{"/who", "/head"} {
		err := c.get(ask, 50*time.Millisecond, func(r io.Reader) error { _, err := io.ReadAll(r); return err })
		if err == nil || errors.Is(err, ErrNobody) || !strings.Contains(err.Error(), "gave no answer for 0 s") {
			t.Errorf("%s: %v", ask, err)
		}
	}
}

// The bench dies after some of its answers: the others are unknown.
func TestAnswersCutShort(t *testing.T) {
	h := closed(t)
	saved, err := h.book.Append(h.timer("c-0"))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "b.db")
	stranger(t, path, func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/who":
			_, _ = fmt.Fprintf(w, `{"door":%d}`, version)
		case "/state":
			_, _ = fmt.Fprintf(w, "{}\n%s\n", saved.Raw)
			_ = http.NewResponseController(w).Flush()
			panic(http.ErrAbortHandler)
		case "/actions":
			_, _ = fmt.Fprintf(w, `{"line":1,"record":%s}`+"\n", saved.Raw)
			if r.URL.RawQuery == "" {
				_ = http.NewResponseController(w).Flush()
				panic(http.ErrAbortHandler)
			}
		default:
			_, _ = io.WriteString(w, "half a copy")
			_ = http.NewResponseController(w).Flush()
			panic(http.ErrAbortHandler)
		}
	})
	c, err := Dial(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, keepGoing := range []bool{false, true} {
		as, err := c.Append(h.timers("c", 3), keepGoing)
		if !errors.Is(err, logbook.ErrUnknown) || len(as) != 1 || as[0].Seq != 1 {
			t.Errorf("keep going %v: %v, %v", keepGoing, as, err)
		}
	}
	if err := c.Snapshot(io.Discard); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("half a copy: %v", err)
	}
	if _, err := c.State(); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("half a state: %v", err)
	}
}
