package jetstream

import (
	"fmt"
	"io"
	"net"
	"sync"
	"testing"
	"time"
)

// wire is the only way from one machine to another: what goes over it can be held up, or lost
// as on a line that is cut, in each direction by itself.
type wire struct {
	to    string
	l     net.Listener
	again bool // where nobody is there it is tried again, as a machine does that is asked by another

	mu    sync.Mutex
	moved *sync.Cond
	lost  [2]bool // forth and back: nothing arrives
	drops [2]bool // and what was under way is gone, so that whoever sent it must begin anew
	gone  int     // how often something was lost
	conns map[net.Conn]bool
	ended bool
}

func newWire(t testing.TB, to string, again bool) *wire {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &wire{to: to, l: l, again: again, conns: map[net.Conn]bool{}}
	w.moved = sync.NewCond(&w.mu)
	go w.serve()
	t.Cleanup(w.end)
	return w
}

func (w *wire) port() int { return w.l.Addr().(*net.TCPAddr).Port }

func (w *wire) serve() {
	for {
		from, err := w.l.Accept()
		if err != nil {
			return
		}
		go w.carry(from)
	}
}

// carry carries one connection. One that begins while nothing arrives waits, as it would for an
// answer.
func (w *wire) carry(from net.Conn) {
	defer func() { _ = from.Close() }()
	if !w.arrives(0) {
		return
	}
	to, err := net.Dial("tcp", w.to)
	for begun := time.Now(); err != nil; to, err = net.Dial("tcp", w.to) {
		if !w.again || time.Since(begun) > 5*time.Second || !w.arrives(0) {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	defer func() { _ = to.Close() }()
	w.mu.Lock()
	w.conns[from], w.conns[to] = true, true
	w.mu.Unlock()
	defer func() {
		w.mu.Lock()
		delete(w.conns, from)
		delete(w.conns, to)
		w.mu.Unlock()
	}()
	var both sync.WaitGroup
	both.Go(func() { w.copy(to, from, 0) })
	both.Go(func() { w.copy(from, to, 1) })
	both.Wait()
}

// copy carries one direction until an end, or until something of it was lost.
func (w *wire) copy(to io.WriteCloser, from io.ReadCloser, way int) {
	defer func() { _, _ = to.Close(), from.Close() }()
	b := make([]byte, 64<<10)
	for {
		n, err := from.Read(b)
		if n > 0 && !w.arrives(way) {
			return
		}
		if _, werr := to.Write(b[:n]); err != nil || werr != nil {
			return
		}
	}
}

// arrives waits until what is under way may go on; false where it was lost.
func (w *wire) arrives(way int) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	gone := false
	for w.lost[way] && !w.ended {
		if w.drops[way] && !gone {
			gone = true
			w.gone++
			w.moved.Broadcast()
		}
		w.moved.Wait()
	}
	return !gone && !w.ended
}

// cut has nothing arrive in one direction.
func (w *wire) cut(way int, drop bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.lost[way], w.drops[way] = true, drop
}

// heal has all arrive again; connections of which something was lost end.
func (w *wire) heal() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.lost, w.drops = [2]bool{}, [2]bool{}
	w.moved.Broadcast()
}

func (w *wire) end() {
	_ = w.l.Close()
	w.mu.Lock()
	defer w.mu.Unlock()
	w.ended = true
	for c := range w.conns {
		_ = c.Close()
	}
	w.moved.Broadcast()
}

// network is all wires between machines; the bench is the last of them.
type network struct{ wires map[[2]int]*wire }

// newNetwork ties machines together whose ports for each other and for the bench are given.
func newNetwork(t testing.TB, each, bench []int) *network {
	n := &network{map[[2]int]*wire{}}
	for i := range len(each) + 1 {
		for j := range each {
			switch {
			case i == len(each):
				n.wires[[2]int{i, j}] = newWire(t, fmt.Sprintf("127.0.0.1:%d", bench[j]), false)
			case i != j:
				n.wires[[2]int{i, j}] = newWire(t, fmt.Sprintf("127.0.0.1:%d", each[j]), true)
			}
		}
	}
	return n
}

// cut has nothing that i sends arrive at j, whoever of them began the connection.
func (n *network) cut(i, j int, drop bool) {
	if w := n.wires[[2]int{i, j}]; w != nil {
		w.cut(0, drop)
	}
	if w := n.wires[[2]int{j, i}]; w != nil {
		w.cut(1, drop)
	}
}

// away cuts a machine off from all others, both ways.
func (n *network) away(i, of int, drop bool) {
	for j := range of {
		if j != i {
			n.cut(i, j, drop)
			n.cut(j, i, drop)
		}
	}
}

func (n *network) heal() {
	for _, w := range n.wires {
		w.heal()
	}
}

// TestWires: what is cut does not arrive, what was held up arrives later, and of a connection
// that lost something nothing arrives any more. Else the tests that cut wires are blind.
func TestWires(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	w := newWire(t, l.Addr().String(), false)
	begin := func() (from, to net.Conn) {
		from, err := net.Dial("tcp", w.l.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		to, err = l.Accept()
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _, _ = from.Close(), to.Close() })
		return from, to
	}
	say := func(c net.Conn, text string) {
		if _, err := c.Write([]byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	hear := func(c net.Conn) string {
		b := make([]byte, 1)
		_, _ = io.ReadFull(c, b) // nothing where it ended
		return string(b)
	}
	from, to := begin()
	say(from, "a")
	if got := hear(to); got != "a" {
		t.Errorf("whole: %q", got)
	}
	w.cut(0, false)
	say(from, "b")
	say(to, "c")
	if got := hear(from); got != "c" {
		t.Errorf("back while forth is cut: %q", got)
	}
	heard := make(chan string, 1)
	go func() { heard <- hear(to) }()
	select {
	case got := <-heard:
		t.Errorf("over a cut wire: %q", got)
	default:
	}
	w.heal()
	if got := <-heard; got != "b" {
		t.Errorf("held up: %q", got)
	}
	w.cut(0, true)
	say(from, "d")
	w.mu.Lock()
	for w.gone == 0 { // until the wire has it
		w.moved.Wait()
	}
	w.mu.Unlock()
	w.heal()
	if got := hear(to); got != "\x00" {
		t.Errorf("lost and heard: %q", got)
	}
	from, to = begin()
	say(from, "e")
	if got := hear(to); got != "e" {
		t.Errorf("a new connection: %q", got)
	}
}
