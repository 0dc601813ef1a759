package sshdoor

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/pem"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/charmbracelet/x/vt"
	gossh "golang.org/x/crypto/ssh"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/keep"
	"flaskside/timers"
	"flaskside/timers/longrun"
	"flaskside/timers/sysclock"
	"flaskside/tui"
)

// TestMain lets many tests wait at once.
func TestMain(m *testing.M) {
	longrun.Waits(10)
	os.Exit(m.Run())
}

// bench is a bench with its door for SSH open.
type bench struct {
	t     testing.TB
	book  *logbook.Book
	hub   *keep.Hub
	door  *Door
	ids   func() string
	mu    sync.Mutex
	known map[string]keep.Person // by fingerprint
	log   []string
}

// hurried is a clock of hands that are slower than they look: each look at it finds a quarter
// of a second more gone, so that keys that come at once are no doubled ones.
type hurried struct {
	timers.Clock
	looks atomic.Int64
}

func (h *hurried) Read() timers.Reading {
	r := h.Clock.Read()
	r.Mono += time.Duration(h.looks.Add(1)) * time.Second / 4
	return r
}

// quick are limits that a test can wait for.
var quick = limits{handshake: 2 * time.Second, asking: 300 * time.Millisecond, answering: time.Second, idle: time.Second, between: 2 * time.Millisecond}

func open(t testing.TB, lim limits) *bench {
	t.Helper()
	clock := sysclock.New()
	book, err := logbook.Open(filepath.Join(t.TempDir(), "b.db"), clock)
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{t: t, book: book, known: map[string]keep.Person{}}
	b.ids = rand.Text
	b.hub = keep.New(book, clock, rand.Text)
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	block, err := gossh.MarshalPrivateKey(private, "")
	if err != nil {
		t.Fatal(err)
	}
	b.door, err = listen(context.Background(), "127.0.0.1:0", Config{
		HostKey: pem.EncodeToMemory(block), Find: b.find, Join: b.hub.Join,
		Screen: tui.Config{Hands: &hurried{Clock: clock}, NewID: func() string { return b.ids() }, Every: time.Second},
		Fault:  func(int) func(string) string { return func(trace string) string { b.note(trace); return "FILE" } },
		Log:    b.note,
	}, lim)
	if err != nil {
		t.Fatal(err)
	}
	served := make(chan error, 1)
	go func() { served <- b.door.Serve() }()
	t.Cleanup(func() {
		b.hub.End()
		b.door.Close()
		if err := <-served; err != nil {
			t.Error(err)
		}
		if err := book.Close(); err != nil {
			t.Error(err)
		}
	})
	return b
}

func (b *bench) note(line string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.log = append(b.log, line)
}

func (b *bench) noted(text string) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return strings.Contains(strings.Join(b.log, "\n"), text)
}

func (b *bench) find(fingerprint string) (keep.Person, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	p, ok := b.known[fingerprint]
	return p, ok
}

// key is a fresh key of somebody.
func (b *bench) key(by, role string) gossh.Signer {
	b.t.Helper()
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		b.t.Fatal(err)
	}
	s, err := gossh.NewSignerFromKey(private)
	if err != nil {
		b.t.Fatal(err)
	}
	b.mu.Lock()
	b.known[gossh.FingerprintSHA256(s.PublicKey())] = keep.Person{By: by, Role: role}
	b.mu.Unlock()
	return s
}

// dial comes with keys.
func (b *bench) dial(addr string, keys ...gossh.Signer) (*gossh.Client, error) {
	cfg := &gossh.ClientConfig{User: "whoever", HostKeyCallback: gossh.InsecureIgnoreHostKey(), Timeout: 20 * time.Second, //nolint:gosec // the bench of this test
		Auth: []gossh.AuthMethod{gossh.PublicKeys(keys...)}}
	return gossh.Dial("tcp", addr, cfg)
}

func (b *bench) addr() string { return b.door.Addr().String() }

// client is somebody at a screen, seen through an emulator.
type client struct {
	b    *bench
	conn *gossh.Client
	sess *gossh.Session
	in   io.WriteCloser
	mu   sync.Mutex
	em   *vt.Emulator
	asks int // how often it was asked how it is
	end  chan struct{}
}

// come logs in and looks at the bench.
func (b *bench) come(keys ...gossh.Signer) *client {
	b.t.Helper()
	conn, err := b.dial(b.addr(), keys...)
	if err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(func() { _ = conn.Close() })
	return b.screen(conn)
}

// screen begins a screen on a connection.
func (b *bench) screen(conn *gossh.Client) *client {
	b.t.Helper()
	c, out := b.deaf(conn, 24, 80)
	c.em, c.end = vt.NewEmulator(80, 24), make(chan struct{})
	go func() { _, _ = io.Copy(c.in, c.em) }() // answers to queries
	b.t.Cleanup(func() {
		if p, ok := c.em.InputPipe().(io.Closer); ok {
			_ = p.Close()
		}
	})
	go func() {
		defer close(c.end)
		buf := make([]byte, 32<<10)
		for {
			n, err := out.Read(buf)
			c.mu.Lock()
			_, _ = c.em.Write(buf[:n])
			c.asks += bytes.Count(buf[:n], []byte(howAreYou))
			c.mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
	return c
}

// deaf begins a screen whose frames nobody reads.
func (b *bench) deaf(conn *gossh.Client, rows, cols int) (*client, io.Reader) {
	b.t.Helper()
	sess, err := conn.NewSession()
	if err != nil {
		b.t.Fatal(err)
	}
	c := &client{b: b, conn: conn, sess: sess}
	out, err := sess.StdoutPipe()
	if err != nil {
		b.t.Fatal(err)
	}
	if c.in, err = sess.StdinPipe(); err != nil {
		b.t.Fatal(err)
	}
	if err := sess.RequestPty("xterm-256color", rows, cols, gossh.TerminalModes{}); err != nil {
		b.t.Fatal(err)
	}
	if err := sess.Shell(); err != nil {
		b.t.Fatal(err)
	}
	return c, out
}

func (c *client) shown() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.em.String()
}

func (c *client) sees(want string) {
	c.b.t.Helper()
	c.b.until(fmt.Sprintf("the screen shows %q", want), func() bool { return strings.Contains(c.shown(), want) }, c.shown)
}

func (c *client) types(keys string) {
	c.b.t.Helper()
	for _, r := range keys {
		if _, err := io.WriteString(c.in, string(r)); err != nil {
			c.b.t.Fatal(err)
		}
	}
}

// until waits for something to come true.
func (b *bench) until(what string, is func() bool, say ...func() string) {
	b.t.Helper()
	for deadline := time.Now().Add(2 * time.Minute); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		if is() {
			return
		}
	}
	text := ""
	for _, s := range say {
		text += "\n" + s()
	}
	b.t.Fatalf("it never came to it that %s%s", what, text)
}

// alone waits until n screens are left.
func (b *bench) left(n int) {
	b.t.Helper()
	b.until(fmt.Sprintf("%d screens are left", n), func() bool { return len(b.hub.Screens()) == n })
}

// record has the bench record something that is no screen's.
func (b *bench) record(label string) {
	b.t.Helper()
	a := action.Action{ID: rand.Text(), At: time.Now(), By: "LL", Body: action.TimerStart{Label: label, Count: "up"}}
	if _, err := b.book.Append(a); err != nil {
		b.t.Fatal(err)
	}
}

// goroutines waits until no more of them run than did, but for a few of the runtime.
func (b *bench) goroutines(before int) {
	b.t.Helper()
	b.until("what was begun has ended", func() bool { return runtime.NumGoroutine() <= before+2 }, func() string {
		buf := make([]byte, 1<<20)
		return fmt.Sprintf("%d, before %d\n%s", runtime.NumGoroutine(), before, buf[:runtime.Stack(buf, true)])
	})
}

// wire carries a connection, until it is frozen: nothing moves then, and nobody is told.
type wire struct {
	ln     net.Listener
	frozen chan struct{}
}

func (b *bench) wire() *wire {
	b.t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.t.Fatal(err)
	}
	w := &wire{ln: ln, frozen: make(chan struct{})}
	b.t.Cleanup(func() { _ = ln.Close() })
	go func() {
		for {
			a, err := ln.Accept()
			if err != nil {
				return
			}
			c, err := net.Dial("tcp", b.addr())
			if err != nil {
				_ = a.Close()
				continue
			}
			b.t.Cleanup(func() { _ = a.Close(); _ = c.Close() })
			carry := func(to, from net.Conn) {
				buf := make([]byte, 4096)
				for {
					n, err := from.Read(buf)
					select {
					case <-w.frozen:
						return
					default:
					}
					if err != nil {
						_ = to.Close()
						return
					}
					if _, err := to.Write(buf[:n]); err != nil {
						return
					}
				}
			}
			go carry(a, c)
			go carry(c, a)
		}
	}()
	return w
}
