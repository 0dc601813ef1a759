// Package board serves the bench to a browser: a page for a screen on the wall, which can be
// looked at and nothing else. Its words and figures are those of the screen ([tui.WallOf]).
//
// What it must never do, each held by a test:
//   - show a number that runs, a mould as ready or a state as present on news that is old: what
//     the page knows is dimmed under the age of it, by its script, and without one by its style
//     alone ([oldAfter]);
//   - show another time left than the bench has: the moment at which a timer ends goes to the
//     page, on the clock of the bench, and the page takes the difference;
//   - give anything to whoever does not know the token, or comes for another host;
//   - take anything: GET and HEAD, no body;
//   - let a name from a record become markup or a script;
//   - hold the writer of the book, or one board for the sake of another: it looks at the newest
//     state out of a box of one place, draws it once for all boards, and a board that does not
//     read is let go.
package board

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/address"
	"flaskside/logbook/bath"
	"flaskside/logbook/keep"
	"flaskside/logbook/mirror/benches"
	"flaskside/timers"
)

// sight is what the board looks at: a screen of the bench.
type sight interface {
	State() logbook.Snapshot
	Now() timers.Now
	Wake() <-chan struct{}
	Take() keep.News
	Press(now timers.Now, mixSize string) (keep.PressOrder, error)
	Cure(bath.LoadCase) keep.CureEstimate
}

// Config is what the board is handed.
type Config struct {
	Bench sight
	Token func() string // whoever knows it sees the board; "" lets nobody in. Asked at each request
	// Tally counts what was done today, in words; nil where nobody counts.
	Tally func() ([]string, error)
	// Benches tells of all benches of the mirror, with when that was; nil where there is none.
	Benches func() (all []benches.Glance, at time.Time, err error)
	Fault   func(trace string) string // keeps a fault in a file and says where
	Trouble func(line string)
}

// limits are bounds in time and number.
type limits struct {
	pulse   time.Duration // between two signs of life
	old     time.Duration // after how long without one the page is dimmed
	look    time.Duration // between two looks at the bench while nothing is recorded
	stream  time.Duration // how long a board listens before it asks anew, which shows that it reads
	write   time.Duration // for the other side to take what is written
	idle    time.Duration // for the next request
	head    time.Duration // to receive a request
	streams int
	conns   int
}

// oldAfter is after how long without a sign of life the page is dimmed (house default): two
// signs in a row were missed by then. The page and its style have it from here.
const oldAfter = 12 * time.Second

// The usual bounds (house defaults). A board that does not read is let go after stream and
// head together, within 15 s.
var usual = limits{pulse: 5 * time.Second, old: oldAfter, look: time.Second, stream: 9 * time.Second, write: 5 * time.Second, idle: 4 * time.Second,
	head: 5 * time.Second, streams: 250, conns: 400}

// Board serves the page.
type Board struct {
	cfg  Config
	lim  limits
	ln   *bounded
	srv  *http.Server
	name string // by which it was asked to listen, where that is no number
	ends chan struct{}
	once sync.Once

	looker
	listeners
}

// listen opens the board at an address.
func listen(ctx context.Context, at string, cfg Config, lim limits) (*Board, error) {
	if cfg.Token() == "" {
		return nil, errors.New("the board has no token: flaskside board --new makes one")
	}
	ln, err := address.Listen(ctx, net.ListenConfig{}, at)
	if err != nil {
		return nil, fmt.Errorf("the wall board: %w", err)
	}
	b := &Board{cfg: cfg, lim: lim, ln: newBounded(ln, lim.conns), ends: make(chan struct{})}
	if host, _, err := net.SplitHostPort(at); err == nil && net.ParseIP(host) == nil {
		b.name = host
	}
	b.looker.init()
	b.listeners.init(lim.streams)
	b.srv = &http.Server{Handler: http.HandlerFunc(b.handle), ReadTimeout: lim.head, ReadHeaderTimeout: lim.head, WriteTimeout: lim.write, IdleTimeout: lim.idle,
		MaxHeaderBytes: 8 << 10, ErrorLog: log.New(io.Discard, "", 0)} // what strangers send is nobody's news
	return b, nil
}

// Addr is where it listens.
func (b *Board) Addr() net.Addr { return b.ln.Addr() }

// Serve answers until Close is called.
func (b *Board) Serve() error {
	var looking sync.WaitGroup
	looking.Go(b.look)
	err := b.srv.Serve(b.ln)
	b.shut()
	looking.Wait()
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return err
}

func (b *Board) shut() {
	b.once.Do(func() {
		close(b.ends)
		b.listeners.end()
	})
}

// leaving is how long boards have to hear that the bench is closed.
const leaving = 500 * time.Millisecond

// Close tells the boards that the bench is closed, and ends.
func (b *Board) Close() {
	b.shut()
	ctx, cancel := context.WithTimeout(context.Background(), leaving)
	defer cancel()
	if b.srv.Shutdown(ctx) != nil {
		_ = b.srv.Close() // what is left is cut off
	}
	b.listeners.wait(ctx)
}

// ours tells whether a request is meant for this board: by the address that it came in at, or
// by the name that the board was given. A page elsewhere that had its own name point here is
// turned away.
func (b *Board) ours(r *http.Request) bool {
	at, ok := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr)
	if !ok {
		return false
	}
	host, port, err := net.SplitHostPort(r.Host)
	if err != nil {
		host, port = strings.Trim(r.Host, "[]"), "80"
	}
	if port != fmt.Sprint(at.Port) {
		return false
	}
	if ip := net.ParseIP(host); ip != nil {
		return ip.Equal(at.IP)
	}
	names := []string{b.name}
	if at.IP.IsLoopback() {
		names = append(names, "localhost")
	}
	return host != "" && slices.ContainsFunc(names, func(n string) bool { return strings.EqualFold(n, host) })
}
