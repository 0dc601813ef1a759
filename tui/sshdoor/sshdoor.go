// Package sshdoor serves screens of the bench over SSH. It is the only package that knows the
// library for it.
//
// Whoever comes needs a key that [Config.Find] knows; a name or a password is asked of nobody.
// There is one thing to be had, a screen on a terminal: no commands, no files, no forwarding,
// no agent. Nothing that comes before the key, and nobody who stops reading or answering, holds
// the bench or other screens up: handshakes, connections, sessions and what a session may ask
// are bounded, and whoever is stuck is let go within fifteen seconds.
package sshdoor

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync"
	"sync/atomic"
	"time"

	"charm.land/ssh"
	"charm.land/wish/v2"
	gossh "golang.org/x/crypto/ssh"

	"flaskside/logbook/address"
	"flaskside/logbook/keep"
	"flaskside/tui"
)

// Bounds (house defaults).
const (
	maxWaiting  = 40 // connections without a screen
	maxChannels = 4  // of one connection
	maxTries    = 6  // keys that are tried
	leaving     = 2 * time.Second
)

// limits are how long one who is stuck is waited for.
type limits struct {
	handshake time.Duration // to show a key
	asking    time.Duration // between two questions whether the other side is there
	answering time.Duration // for its answer, and for it to take what it is sent
	idle      time.Duration // for a connection to begin a screen, or another after the last
	between   time.Duration // two frames at least
}

// usual let nobody who is stuck stay for longer than fifteen seconds.
var usual = limits{handshake: 10 * time.Second, asking: 5 * time.Second, answering: 9 * time.Second, idle: 10 * time.Second, between: time.Second / 30}

// Config is what the door is handed.
type Config struct {
	HostKey []byte                                             // private, PEM
	Find    func(fingerprint string) (p keep.Person, ok bool)  // who comes with a key, asked at each login
	Join    func(p keep.Person) (*keep.Screen, error)          // of the hub
	Screen  tui.Config                                         // of each screen, but its keeper
	Fault   func(screen int) func(trace string) (where string) // keeps the traces of a screen
	Log     func(line string)                                  // told of what whoever looks after the bench should know; may be nil
}

// Door is open for screens.
type Door struct {
	cfg Config
	lim limits
	srv *ssh.Server
	ln  net.Listener

	closing atomic.Bool
	mu      sync.Mutex
	waiting int
	screens sync.WaitGroup
}

// listen opens the door at an address.
func listen(ctx context.Context, addr string, cfg Config, lim limits) (*Door, error) {
	if cfg.Find == nil || cfg.Join == nil || cfg.Fault == nil {
		return nil, errors.New("the door for SSH is not whole")
	}
	if cfg.Log == nil {
		cfg.Log = func(string) {}
	}
	d := &Door{cfg: cfg, lim: lim}
	srv, err := wish.NewServer(
		wish.WithHostKeyPEM(cfg.HostKey),
		wish.WithVersion("flaskside"),
		wish.WithPublicKeyAuth(func(_ ssh.Context, key ssh.PublicKey) bool {
			_, ok := cfg.Find(gossh.FingerprintSHA256(key))
			return ok
		}),
	)
	if err != nil {
		return nil, fmt.Errorf("open the door for SSH: %w", err)
	}
	srv.HandshakeTimeout = lim.handshake
	srv.ServerConfigCallback = func(ssh.Context) *gossh.ServerConfig { return &gossh.ServerConfig{MaxAuthTries: maxTries} }
	srv.ConnCallback = d.open
	srv.ChannelHandlers = map[string]ssh.ChannelHandler{"session": d.channel}
	srv.RequestHandlers = map[string]ssh.RequestHandler{}
	srv.SubsystemHandlers = map[string]ssh.SubsystemHandler{}
	srv.Handler = func(ssh.Session) {} // each channel has its own
	ln, err := address.Listen(ctx, net.ListenConfig{KeepAlive: lim.answering}, addr)
	if err != nil {
		return nil, fmt.Errorf("screens over SSH: %w", err)
	}
	d.srv, d.ln = srv, ln
	return d, nil
}

// Addr is where the door is.
func (d *Door) Addr() net.Addr { return d.ln.Addr() }

// Serve lets people in until the door is closed.
func (d *Door) Serve() error {
	if err := d.srv.Serve(d.ln); !errors.Is(err, ssh.ErrServerClosed) && !d.closing.Load() {
		return fmt.Errorf("the door for SSH: %w", err)
	}
	return nil
}

// Close closes the door. Screens that were told to end have a moment for it; then all are cut
// off.
func (d *Door) Close() {
	d.closing.Store(true)
	_ = d.ln.Close() // the server closes it, too
	gone := make(chan struct{})
	go func() { d.screens.Wait(); close(gone) }()
	select {
	case <-gone:
	case <-time.After(leaving):
	}
	_ = d.srv.Close() // cuts off what is left
	select {
	case <-gone:
	case <-time.After(d.lim.answering):
	}
}

// conn is a connection with its place among those that wait for a screen.
type conn struct {
	net.Conn
	d    *Door
	once sync.Once

	mu       sync.Mutex
	channels int
	screens  int
	watched  bool
	counted  bool // among the waiting
	cut      *time.Timer
}

// connKey is where a connection stands in the context of the library.
type connKey struct{}

// open takes a connection, or refuses it where too many wait.
func (d *Door) open(ctx ssh.Context, c net.Conn) net.Conn {
	d.mu.Lock()
	if d.waiting >= maxWaiting {
		d.mu.Unlock()
		return nil
	}
	d.waiting++
	d.mu.Unlock()
	out := &conn{Conn: c, d: d, counted: true}
	out.cut = time.AfterFunc(d.lim.handshake+d.lim.idle, func() { _ = c.Close() })
	ctx.SetValue(connKey{}, out)
	return out
}

// Close closes the connection and gives its place free.
func (c *conn) Close() error {
	c.once.Do(func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.cut.Stop()
		c.wait(false)
	})
	return c.Conn.Close()
}

// wait counts the connection among the waiting, or no more. Called with the lock held.
func (c *conn) wait(on bool) {
	if c.counted == on {
		return
	}
	c.counted = on
	c.d.mu.Lock()
	defer c.d.mu.Unlock()
	if on {
		c.d.waiting++
	} else {
		c.d.waiting--
	}
}

// begin is the begin of a channel, where there is room for it.
func (c *conn) begin() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.channels >= maxChannels {
		return false
	}
	c.channels++
	return true
}

// end is its end.
func (c *conn) end() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.channels--
}

// on is the begin of a screen; alive is called once for the connection.
func (c *conn) on(alive func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.screens++
	c.cut.Stop()
	c.wait(false)
	if !c.watched {
		c.watched = true
		go alive()
	}
}

// off is the end of a screen. A connection that begins no other is closed after a while,
// whatever of it the other side keeps open.
func (c *conn) off() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.screens--; c.screens == 0 {
		c.cut.Reset(c.d.lim.idle)
	}
}
