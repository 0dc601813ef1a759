package sshdoor

import (
	"errors"
	"fmt"
	"io"
	"net"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	gossh "golang.org/x/crypto/ssh"

	"flaskside/logbook/keep"
	"flaskside/timers/longrun"
)

// TestAScreen: whoever comes with a key is at the bench, under the initials of the key whatever
// name was given, and hears what others do.
func TestAScreen(t *testing.T) {
	t.Parallel()
	b := open(t, usual)
	kt := b.come(b.key("KT", "work"))
	kt.sees("new flask on place 1") // so that the other comes after it
	mb := b.come(b.key("MB", "work"))
	kt.types("\r4417\r12")
	kt.sees("saved: flask opened")
	mb.sees("4417")
	mb.types("\r1")
	kt.sees("separator drying")
	at := b.hub.Screens()
	if len(at) != 2 || at[0].Person.By != "KT" || !strings.HasPrefix(at[0].Person.Key, "SHA256:") || at[0].Person.From != "127.0.0.1" {
		t.Errorf("at the bench are %+v", at)
	}
	kt.types("+91")
	<-kt.end
	b.left(1)
}

// TestOnlyAScreen: nothing else is to be had.
func TestOnlyAScreen(t *testing.T) {
	t.Parallel()
	b := open(t, usual)
	key := b.key("KT", "lead")
	conn, err := b.dial(b.addr(), key)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	for _, ask := range []struct {
		what string
		do   func(s *gossh.Session) error
	}{
		{"a command", func(s *gossh.Session) error { return s.Start("id") }},
		{"files", func(s *gossh.Session) error { return s.RequestSubsystem("sftp") }},
		{"an agent", func(s *gossh.Session) error {
			ok, err := s.SendRequest("auth-agent-req@openssh.com", true, nil)
			return refused(ok, err)
		}},
		{"X11", func(s *gossh.Session) error { ok, err := s.SendRequest("x11-req", true, nil); return refused(ok, err) }},
		{"a terminal of a billion cells", func(s *gossh.Session) error {
			return s.RequestPty("xterm", 1<<30, 1<<30, gossh.TerminalModes{})
		}},
		{"a terminal that is cut off", func(s *gossh.Session) error {
			ok, err := s.SendRequest("pty-req", true, []byte{0, 0, 0, 9, 'x'})
			return refused(ok, err)
		}},
		{"a size before a screen", func(s *gossh.Session) error {
			for range 20 { // held up, they would never be answered
				if ok, err := s.SendRequest("window-change", true, make([]byte, 16)); ok || err != nil {
					return err
				}
			}
			return errors.New("refused")
		}},
		{"a thousand settings", func(s *gossh.Session) error {
			for i := range 1000 {
				if err := s.Setenv(fmt.Sprint("A", i), "x"); err != nil {
					return err
				}
			}
			return nil
		}},
	} {
		s, err := conn.NewSession()
		if err != nil {
			t.Fatal(err)
		}
		if err := ask.do(s); err == nil {
			t.Errorf("%s was given", ask.what)
		}
		_ = s.Close()
	}
	if _, err := conn.Dial("tcp", b.addr()); err == nil {
		t.Error("a port was forwarded from there")
	}
	if ln, err := conn.Listen("tcp", "127.0.0.1:0"); err == nil {
		_ = ln.Close()
		t.Error("a port was forwarded to there")
	}
	s, err := conn.NewSession()
	if err != nil {
		t.Fatal(err)
	}
	out, err := s.CombinedOutput("")
	_ = out
	if err == nil {
		t.Error("a screen without a terminal")
	}
	if n := b.book.State().Head.Seq; n != 0 {
		t.Errorf("%d records were made", n)
	}
}

func refused(ok bool, err error) error {
	if err == nil && !ok {
		return errors.New("refused")
	}
	return err
}

// TestWhoGetsIn: a key that is not known, none at all, a password.
func TestWhoGetsIn(t *testing.T) {
	t.Parallel()
	b := open(t, quick)
	stranger := b.key("KT", "lead")
	b.mu.Lock()
	clear(b.known)
	b.mu.Unlock()
	for what, auth := range map[string][]gossh.AuthMethod{
		"an unknown key": {gossh.PublicKeys(stranger)},
		"nothing":        nil,
		"a password":     {gossh.Password("flaskside")},
		"a dialogue":     {gossh.KeyboardInteractive(func(string, string, []string, []bool) ([]string, error) { return []string{""}, nil })},
	} {
		c, err := gossh.Dial("tcp", b.addr(), &gossh.ClientConfig{User: "root", Auth: auth, HostKeyCallback: gossh.InsecureIgnoreHostKey()}) //nolint:gosec // the bench of this test
		if err == nil {
			_ = c.Close()
			t.Errorf("%s gets in", what)
		}
	}
}

// boaster shows the public key of another, and cannot sign with it.
type boaster struct {
	gossh.Signer
	shown gossh.PublicKey
}

func (b boaster) PublicKey() gossh.PublicKey { return b.shown }

// TestShownIsNotProved: the public key of a lead, which everybody may have, makes nobody a
// lead, alone or before one's own.
func TestShownIsNotProved(t *testing.T) {
	t.Parallel()
	b := open(t, quick)
	lead, own := b.key("LL", "lead"), b.key("KT", "work")
	for _, keys := range [][]gossh.Signer{{boaster{own, lead.PublicKey()}}, {boaster{own, lead.PublicKey()}, own}, {own, boaster{own, lead.PublicKey()}}} {
		conn, err := b.dial(b.addr(), keys...)
		if err != nil {
			continue
		}
		b.screen(conn).sees("new flask on place 1")
		if at := b.hub.Screens(); len(at) != 1 || at[0].Person.By != "KT" || at[0].Person.Role != "work" {
			t.Errorf("at the bench are %+v", at)
		}
		_ = conn.Close()
		b.left(0)
	}
	if n := b.book.State().Bench.Here["LL"]; n.On {
		t.Error("the lead is said to have been there")
	}
}

// TestStuckReader: somebody who stops reading is let go; a thousand records are made meanwhile,
// and the good screen sees the last of them.
func TestStuckReader(t *testing.T) {
	t.Parallel()
	longrun.SkipUnderRace(t) // 2 MiB of frames take minutes there
	b := open(t, quick)
	good := b.come(b.key("KT", "work"))
	good.sees("new flask on place 1")
	conn, err := b.dial(b.addr(), b.key("MB", "work"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	stuck, _ := b.deaf(conn, 120, 400) // its window holds 2 MiB of frames
	b.left(2)
	stop := make(chan struct{})
	go func() { // every size is a whole frame that nobody reads
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			case <-time.After(4 * time.Millisecond):
			}
			if stuck.sess.WindowChange(100+i%31, 400-i%17) != nil {
				return
			}
		}
	}()
	defer close(stop)
	last := ""
	for i := range longrun.Times(300, 1000) {
		last = fmt.Sprint("timer ", i)
		b.record(last)
	}
	good.types("+7")
	b.until("the stuck screen is let go", func() bool {
		for _, at := range b.hub.Screens() {
			if at.Person.By == "MB" {
				return false
			}
		}
		return true
	})
	if at := b.hub.Screens(); len(at) != 1 || at[0].Person.By != "KT" {
		t.Errorf("left are %+v", at)
	}
	good.types("0")
	good.sees("new flask on place 1")
}

// TestHalfOpen: a link that is dead without a word is noticed.
func TestHalfOpen(t *testing.T) {
	t.Parallel()
	b := open(t, quick)
	w := b.wire()
	conn, err := b.dial(w.ln.Addr().String(), b.key("KT", "work"))
	if err != nil {
		t.Fatal(err)
	}
	c := b.screen(conn)
	c.sees("new flask on place 1")
	close(w.frozen)
	b.left(0)
}

// TestWhatWasTypedComesBack: the link is lost in the middle of a question; whoever comes again
// with the same key finds it there.
func TestWhatWasTypedComesBack(t *testing.T) {
	t.Parallel()
	b := open(t, quick)
	w := b.wire()
	key := b.key("KT", "work")
	conn, err := b.dial(w.ln.Addr().String(), key)
	if err != nil {
		t.Fatal(err)
	}
	c := b.screen(conn)
	c.sees("new flask on place 1")
	c.types("\r4417")
	c.sees("4417")
	close(w.frozen)
	b.left(0)
	again := b.come(key)
	again.sees("new flask on place 1")
	again.types("\r")
	again.sees("what you typed before is still here")
	again.sees("4417")
}

// TestChannelClosedAlone: the channel ends and the connection stays; the screen ends, and
// nothing of it runs on.
func TestChannelClosedAlone(t *testing.T) {
	b := open(t, usual)
	conn, err := b.dial(b.addr(), b.key("KT", "work"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	before := runtime.NumGoroutine()
	for range 3 {
		c := b.screen(conn)
		c.sees("new flask on place 1")
		_ = c.sess.Close()
		b.left(0)
		if p, ok := c.em.InputPipe().(io.Closer); ok {
			_ = p.Close()
		}
		<-c.end
	}
	b.goroutines(before + 1) // who asks whether the other side is there
}

// TestStaysWithoutAScreen: a connection that begins no screen, or no other, is closed.
func TestStaysWithoutAScreen(t *testing.T) {
	t.Parallel()
	b := open(t, quick)
	key := b.key("KT", "work")
	conn, err := b.dial(b.addr(), key)
	if err != nil {
		t.Fatal(err)
	}
	_ = conn.Wait()
	conn, err = b.dial(b.addr(), key)
	if err != nil {
		t.Fatal(err)
	}
	c := b.screen(conn)
	c.sees("new flask on place 1")
	c.types("+91")
	_ = conn.Wait()
	b.left(0)
}

// TestOpensAndCloses: however often people come and go, by hand or torn off, nothing is left
// of them.
func TestOpensAndCloses(t *testing.T) {
	b := open(t, usual)
	key := b.key("KT", "work")
	before := runtime.NumGoroutine()
	for i := range longrun.Times(12, 200) {
		conn, err := b.dial(b.addr(), key)
		if err != nil {
			t.Fatal(err)
		}
		c, out := b.deaf(conn, 24, 80)
		if _, err := out.Read(make([]byte, 1)); err != nil {
			t.Fatal(err)
		}
		if i%2 == 0 {
			_ = c.sess.Close()
		}
		_ = conn.Close()
	}
	b.left(0)
	b.goroutines(before)
	b.door.mu.Lock()
	waiting := b.door.waiting
	b.door.mu.Unlock()
	if waiting != 0 {
		t.Errorf("%d connections are counted as waiting", waiting)
	}
}

// TestFlood: connections that say nothing fill their places and no more; who is at the bench
// works on, and when they are gone others get in.
func TestFlood(t *testing.T) {
	t.Parallel()
	b := open(t, quick)
	kt := b.come(b.key("KT", "work"))
	kt.sees("new flask on place 1")
	mb := b.key("MB", "work")
	var refused atomic.Int32
	var conns []net.Conn
	for range maxWaiting + 20 {
		c, err := net.Dial("tcp", b.addr())
		if err != nil {
			t.Fatal(err)
		}
		conns = append(conns, c)
	}
	for _, c := range conns {
		go func() {
			if n, _ := c.Read(make([]byte, 1)); n == 0 { // not even a greeting
				refused.Add(1)
			}
		}()
	}
	kt.types("\r4417\r12")
	kt.sees("saved: flask opened")
	b.until("those beyond the bound are refused", func() bool { return refused.Load() >= 15 })
	b.until("others get in again", func() bool {
		c, err := b.dial(b.addr(), mb)
		if err == nil {
			_ = c.Close()
		}
		return err == nil
	})
	for _, c := range conns {
		_ = c.Close()
	}
}

// TestFaultOfOneScreen: a fault of the program at one screen is kept and told there; the
// others, and that one, go on.
func TestFaultOfOneScreen(t *testing.T) {
	t.Parallel()
	b := open(t, usual)
	kt, mb := b.come(b.key("KT", "work")), b.come(b.key("MB", "work"))
	kt.sees("new flask on place 1")
	mb.sees("new flask on place 1")
	var bad atomic.Bool
	good := b.ids
	b.ids = func() string {
		if bad.CompareAndSwap(true, false) {
			panic("bad luck")
		}
		return good()
	}
	bad.Store(true)
	kt.types("\r4417\r12")
	kt.sees("a fault in the program")
	if !b.noted("bad luck") {
		t.Error("the fault was not kept")
	}
	mb.types("\r4418\r12")
	mb.sees("saved: flask opened")
	kt.sees("4418")
}

// TestSentAway: whose key was taken out is told so, and their screen ends.
func TestSentAway(t *testing.T) {
	t.Parallel()
	b := open(t, usual)
	kt, mb := b.come(b.key("KT", "work")), b.come(b.key("MB", "work"))
	kt.sees("new flask on place 1")
	mb.sees("new flask on place 1")
	b.hub.Dismiss(func(p keep.Person) bool { return p.By == "KT" }, "your key was taken out")
	<-kt.end
	kt.sees("your key was taken out")
	b.left(1)
	mb.types("\r4418\r12")
	mb.sees("saved: flask opened")
}

// TestResize: the screen has the size of its terminal, and follows it.
func TestResize(t *testing.T) {
	t.Parallel()
	b := open(t, usual)
	c := b.come(b.key("KT", "work"))
	c.sees("new flask on place 1")
	c.mu.Lock()
	c.em.Resize(40, 10)
	c.mu.Unlock()
	if err := c.sess.WindowChange(10, 40); err != nil {
		t.Fatal(err)
	}
	c.sees("window too small: 40x10")
}
