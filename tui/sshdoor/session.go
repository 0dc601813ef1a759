package sshdoor

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"strings"
	"sync"
	"time"

	tea "charm.land/bubbletea/v2"
	"charm.land/ssh"
	"charm.land/wish/v2/bubbletea"
	gossh "golang.org/x/crypto/ssh"

	"flaskside/logbook/keep"
	"flaskside/tui"
)

// Bounds of what a session may ask before it has a screen.
const (
	maxEnv     = 40  // settings of its environment
	maxEnvSize = 400 // bytes of one
	maxSide    = 500 // cells of a terminal: more is no terminal
)

// channel lets a session begin, and lets through to the library only what a screen needs.
func (d *Door) channel(srv *ssh.Server, sc *gossh.ServerConn, nc gossh.NewChannel, ctx ssh.Context) {
	c, ok := ctx.Value(connKey{}).(*conn)
	if !ok || !c.begin() {
		_ = nc.Reject(gossh.ResourceShortage, "there are as many screens on this connection as there can be")
		return
	}
	defer c.end()
	ch := &strict{NewChannel: nc, sizes: make(chan tea.WindowSizeMsg, 1)}
	own := &ssh.Server{PtyHandler: srv.PtyHandler, Handler: func(s ssh.Session) { d.session(s, ch.sizes) }}
	ssh.DefaultSessionHandler(own, sc, ch, ctx)
}

// strict is a channel of which only some requests are let through: a terminal, its environment
// within bounds, and a shell. Commands, subsystems, agents, X11 and signals are refused here,
// so that no setting of the library can let them in. Sizes that follow are taken here, too: the
// library writes them where the screen reads, and waits for ever for one who takes them.
type strict struct {
	gossh.NewChannel
	sizes chan tea.WindowSizeMsg // room for one, the newest wins; closed with the channel
}

// Accept begins the channel.
func (s *strict) Accept() (gossh.Channel, <-chan *gossh.Request, error) {
	ch, in, err := s.NewChannel.Accept()
	if err != nil {
		return nil, nil, err
	}
	out := make(chan *gossh.Request)
	go func() {
		defer close(out)
		defer close(s.sizes)
		env, begun := 0, false
		for r := range in {
			ok := false
			switch r.Type {
			case "shell":
				ok, begun = !begun, true
			case "pty-req":
				_, sane := size(r)
				ok = !begun && sane
			case "window-change":
				w, sane := size(r)
				if sane && begun {
					select {
					case <-s.sizes:
					default:
					}
					s.sizes <- w
				}
				_ = r.Reply(sane && begun, nil)
				continue
			case "env":
				env++
				ok = env <= maxEnv && len(r.Payload) <= maxEnvSize
			}
			if !ok {
				_ = r.Reply(false, nil)
				continue
			}
			out <- r
		}
	}()
	return ch, out, nil
}

// size is that of a terminal (RFC 4254, 6.2 and 6.7), and whether terminals have such a one.
func size(r *gossh.Request) (w tea.WindowSizeMsg, sane bool) {
	p := r.Payload
	if r.Type == "pty-req" { // the name of the terminal comes first
		if len(p) < 4 || uint64(len(p)-4) < uint64(binary.BigEndian.Uint32(p)) {
			return w, false
		}
		p = p[4+binary.BigEndian.Uint32(p):]
	}
	if len(p) < 8 {
		return w, false
	}
	width, height := binary.BigEndian.Uint32(p), binary.BigEndian.Uint32(p[4:])
	if width > maxSide || height > maxSide {
		return w, false
	}
	w.Width, w.Height = int(width), int(height)
	return w, w.Width > 0 && w.Height > 0 || r.Type == "pty-req" // a size may come later
}

// session is one screen, from its first frame to its last.
func (d *Door) session(sess ssh.Session, sizes <-chan tea.WindowSizeMsg) {
	d.screens.Add(1)
	defer d.screens.Done()
	if _, _, ok := sess.Pty(); !ok {
		d.say(sess, "there is no terminal here: log in with ssh -t")
		_ = sess.Exit(1)
		return
	}
	screen, sc, err := d.join(sess)
	if err != nil {
		d.say(sess, err.Error())
		_ = sess.Exit(1)
		return
	}
	ctx, cancel := context.WithCancel(sess.Context())
	defer cancel()
	c, ok := ctx.Value(connKey{}).(*conn)
	if ok {
		c.on(func() { d.alive(sess.Context(), sc) })
		defer c.off()
	}
	cut := func() { _ = sc.Close() }
	why, typed := d.run(ctx, newSteady(sess, d.lim.answering, cut), screen, sizes, cut)
	screen.Leave(typed)
	if why != "" {
		d.say(sess, why)
	}
}

// join finds out who came, and joins them to the bench.
func (d *Door) join(sess ssh.Session) (*keep.Screen, *gossh.ServerConn, error) {
	sc, ok := sess.Context().Value(ssh.ContextKeyConn).(*gossh.ServerConn)
	key := sess.PublicKey() // the one that was proved, not one that was merely shown
	if !ok || key == nil {
		return nil, nil, errors.New("there is no key")
	}
	p, ok := d.cfg.Find(gossh.FingerprintSHA256(key))
	if !ok {
		return nil, nil, errors.New("this key is not known here any more")
	}
	p.Key, p.From = gossh.FingerprintSHA256(key), from(sess.RemoteAddr())
	screen, err := d.cfg.Join(p)
	return screen, sc, err
}

// run is the loop of one screen; the library's own spins for ever when a client closes its
// channel and keeps the connection. It gives why the screen was sent away, and what was typed
// and not sent.
func (d *Door) run(ctx context.Context, sess *steady, screen *keep.Screen, sizes <-chan tea.WindowSizeMsg, cut func()) (why string, typed keep.Drafts) {
	cfg := d.cfg.Screen
	cfg.Keeper = screen
	model := tui.New(cfg)
	painter := tui.NewPainter(sess, d.lim.between)
	opts := append(bubbletea.MakeOptions(sess), tea.WithOutput(painter.Output()), tea.WithFPS(tui.Modes), tea.WithoutSignalHandler(), tea.WithContext(ctx))
	p := tea.NewProgram(tui.Painted(model, d.cfg.Fault(screen.No()), painter), opts...)
	over := make(chan struct{})
	var beside sync.WaitGroup
	go func() { // with the last size the client has closed its channel
		for w := range sizes {
			p.Send(w)
		}
		d.quit(p, over, cut)
	}()
	asking, stop := context.WithCancel(ctx)
	defer stop()
	beside.Go(func() { d.takes(asking, sess, painter) })
	beside.Go(func() { why = tui.Follow(p, screen, over, func() { d.quit(p, over, cut) }) })
	if _, err := p.Run(); err != nil && ctx.Err() == nil {
		d.cfg.Log(fmt.Sprintf("the screen of %s from %s stopped: %v", screen.Me().By, screen.Me().From, err))
	}
	painter.Close()
	close(over)
	stop()
	beside.Wait()
	sess.taking.settle()
	return why, model.Typed()
}

// quit ends a program, and cuts its connection off where it does not end.
func (d *Door) quit(p *tea.Program, over <-chan struct{}, cut func()) {
	late := time.AfterFunc(d.lim.answering, cut)
	defer late.Stop()
	p.Quit()
	<-over
}

// alive asks the other side whether it is there, and cuts off one that does not answer.
func (d *Door) alive(ctx context.Context, sc *gossh.ServerConn) {
	tick := time.NewTicker(d.lim.asking)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		late := time.AfterFunc(d.lim.answering, func() { _ = sc.Close() })
		_, _, err := sc.SendRequest("keepalive@openssh.com", true, nil)
		late.Stop()
		if err != nil {
			_ = sc.Close()
			return
		}
	}
}

// say tells a person something in a line, without a screen.
func (d *Door) say(sess ssh.Session, line string) {
	late := time.AfterFunc(d.lim.answering, func() { _ = sess.Close() })
	defer late.Stop()
	_, _ = fmt.Fprintf(sess, "flaskside: %s\r\n", strings.Join(strings.Fields(line), " ")) // the other side may be gone
}

// from is the address that somebody comes from.
func from(a net.Addr) string {
	host, _, err := net.SplitHostPort(a.String())
	if err != nil {
		return a.String()
	}
	return host
}
