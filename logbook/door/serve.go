package door

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/keep"
)

// MaxActions is the most actions that the bench takes at once: its keys wait while
// they are recorded (house default: seconds at the worst, and a usual day has fewer).
const MaxActions = 2000

// Bounds of one request.
const (
	maxBody  = 16 << 20         // bytes of actions
	reading  = 10 * time.Second // to receive a request
	replying = 10 * time.Minute // to send a reply, a snapshot of some gigabytes
	stalling = 5 * time.Second  // for the other side to take the next piece of it
	silent   = 14 * time.Second // for a screen to answer a sign of life; it is sent two meanwhile
	leaving  = 2 * time.Second  // for requests under way when the door is shut
)

type server struct {
	book  *logbook.Book
	hub   *keep.Hub
	who   Who
	stall time.Duration
	pulse time.Duration
	quiet time.Duration
	ends  chan struct{} // closed when the door is shut

	mu      sync.Mutex
	screens map[string]*keep.Screen // by what their program says it is
	late    map[string]*time.Timer  // when a screen that answers is let go
}

// Serve answers for the book until ctx is done or stop is called. stop may be
// called twice and returns when the socket is gone and what was under way has ended
// or was cut off; call it before the book is closed. What [logbook.Book.OnChange]
// calls must not wait for whoever calls stop.
func Serve(ctx context.Context, hub *keep.Hub) (stop func(), err error) {
	return serve(ctx, hub, stalling)
}

func serve(ctx context.Context, hub *keep.Hub, stall time.Duration) (stop func(), err error) {
	book := hub.Book()
	sock, err := socketPath(book.Path())
	if err != nil {
		return nil, err
	}
	ln, err := listen(ctx, sock)
	if err != nil {
		return nil, fmt.Errorf("open the door of the logbook: %w", err)
	}
	s := &server{book: book, hub: hub, who: Who{Door: version, PID: os.Getpid(), Since: hub.Clock().Read().Wall}, stall: stall, pulse: pulsing, quiet: silent, ends: make(chan struct{}), screens: map[string]*keep.Screen{}, late: map[string]*time.Timer{}}
	if bi, ok := debug.ReadBuildInfo(); ok {
		s.who.Version = bi.Main.Version
	}
	srv := &http.Server{
		Handler: s.handler(), ReadTimeout: reading, WriteTimeout: replying, MaxHeaderBytes: 8 << 10,
		ErrorLog: log.New(io.Discard, "", 0), // the screen is the bench's
	}
	served := make(chan struct{})
	go func() {
		defer close(served)
		_ = srv.Serve(ln) // ends by stop
	}()
	shut := sync.OnceFunc(func() {
		close(s.ends)
		ctx, cancel := context.WithTimeout(context.Background(), leaving)
		defer cancel()
		if srv.Shutdown(ctx) != nil {
			_ = srv.Close() // what is left is cut off
		}
		<-served
	})
	unhook := context.AfterFunc(ctx, shut)
	return func() { unhook(); shut() }, nil
}

// listen makes the socket. A socket left behind by a program that was killed is
// taken away, but only when nobody answers at it.
func listen(ctx context.Context, sock string) (net.Listener, error) {
	if aside(sock) {
		if err := os.MkdirAll(filepath.Dir(sock), 0o700); err != nil {
			return nil, err
		}
	}
	switch err := checkPlace(sock); {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return nil, err
	default:
		c, err := net.DialTimeout("unix", sock, dialPatience)
		if err == nil {
			_ = c.Close() // nothing was said
			return nil, fmt.Errorf("another program answers at %s", sock)
		}
		if !errors.Is(err, connRefused) {
			return nil, fmt.Errorf("does anybody answer at %s? %w", sock, err)
		}
		if err := os.Remove(sock); err != nil {
			return nil, err
		}
	}
	ln, err := (&net.ListenConfig{Control: beforeBind}).Listen(ctx, "unix", sock)
	if err != nil {
		return nil, err
	}
	if err := os.Chmod(sock, 0o600); err != nil && modesMean {
		_ = ln.Close() // the reason is the error that is told
		return nil, err
	}
	return ln, nil
}

func (s *server) handler() http.Handler {
	mux := http.NewServeMux()
	handle := func(pattern string, f func(*steady, *http.Request)) {
		mux.HandleFunc(pattern, func(rw http.ResponseWriter, r *http.Request) {
			w := &steady{ResponseWriter: rw, stall: s.stall}
			defer func() {
				if p := recover(); p != nil {
					why := strings.Join(strings.Fields(fmt.Sprint(p)), " ")
					w.fail(http.StatusInternalServerError, fmt.Errorf("%w: the bench failed on this request: %s", logbook.ErrUnknown, why))
				}
			}()
			f(w, r)
		})
	}
	handle("GET /who", func(w *steady, _ *http.Request) { reply(w, http.StatusOK, s.who) })
	handle("GET /head", func(w *steady, _ *http.Request) { reply(w, http.StatusOK, s.book.State().Head) })
	handle("GET /state", s.state)
	handle("GET /snapshot", s.snapshot)
	handle("POST /actions", s.actions)
	s.handleScreens(handle)
	return mux
}

// steady is a reply that does not wait for a reader who stopped reading: a snapshot
// holds the pages of the file as they were, and in the end the keys would wait.
type steady struct {
	http.ResponseWriter
	stall time.Duration
	begun bool
}

func (w *steady) Write(p []byte) (int, error) {
	w.begun = true
	past := time.Unix(1, 0)
	cut := time.AfterFunc(w.stall, func() { _ = http.NewResponseController(w.ResponseWriter).SetWriteDeadline(past) })
	defer cut.Stop()
	return w.ResponseWriter.Write(p)
}

// fail tells the error, or cuts the reply short where it had begun: the other side
// sees that the end is missing.
func (w *steady) fail(status int, err error) {
	if w.begun {
		panic(http.ErrAbortHandler)
	}
	reply(w, status, replyLine{Failed: failed(err)})
}

// reply sends lines of JSON. Where the other side is gone, nobody is left to tell.
func reply[T any](w *steady, status int, lines ...T) {
	w.begun = true
	w.WriteHeader(status)
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false) // a record keeps its bytes
	for _, l := range lines {
		if enc.Encode(l) != nil {
			return
		}
	}
}

func (s *server) state(w *steady, _ *http.Request) {
	st := s.book.State()
	reply(w, http.StatusOK, stateHead{st.Head, st.Beat, st.Bench.Top})
	var buf bytes.Buffer
	for _, it := range st.Bench.Items {
		buf.Write(it.Raw)
		buf.WriteByte('\n')
	}
	_, _ = w.Write(buf.Bytes()) // the other side may be gone
}

func (s *server) snapshot(w *steady, _ *http.Request) {
	if err := s.book.Snapshot(w); err != nil {
		w.fail(http.StatusInternalServerError, err)
	}
}

func (s *server) actions(w *steady, r *http.Request) {
	var lines []Parsed
	for l, err := range Lines(http.MaxBytesReader(w, r.Body, maxBody)) {
		var big *http.MaxBytesError
		if errors.As(err, &big) || len(lines) == MaxActions {
			err = fmt.Errorf("that is too much at once: send at most %d actions and %d MiB", MaxActions, maxBody>>20)
		}
		if err != nil {
			w.fail(http.StatusBadRequest, err)
			return
		}
		lines = append(lines, l)
	}
	if !r.URL.Query().Has("keep-going") {
		status, answers := s.record(lines)
		reply(w, status, answers...)
		return
	}
	for i := range lines {
		if r.Context().Err() != nil {
			return // the other side is gone
		}
		_, answers := s.record(lines[i : i+1])
		reply(w, http.StatusOK, answers...)
		_ = http.NewResponseController(w.ResponseWriter).Flush()
		if answers[0].Line == 0 {
			return // the book failed, not the line
		}
	}
}

// record takes all lines or none through the door of the keys. It answers for each,
// or for the first bad one, or, without a line, for a book that failed.
func (s *server) record(lines []Parsed) (status int, _ []replyLine) {
	as := make([]action.Action, len(lines))
	for i, l := range lines {
		if l.Err != nil {
			return http.StatusUnprocessableEntity, []replyLine{{Line: l.No, Failed: failed(l.Err)}}
		}
		as[i] = l.Action
	}
	saved, err := s.book.AppendAll(as)
	var bad *logbook.BadLine
	if errors.As(err, &bad) {
		return http.StatusUnprocessableEntity, []replyLine{{Line: lines[bad.Index].No, Failed: failed(bad.Err)}}
	}
	if err != nil {
		return http.StatusInternalServerError, []replyLine{{Failed: failed(err)}}
	}
	out := make([]replyLine, len(saved))
	for i, sv := range saved {
		out[i] = replyLine{Line: lines[i].No, Record: json.RawMessage(sv.Raw), Already: sv.Already}
	}
	return http.StatusOK, out
}
