package board

import (
	"net"
	"sync"
	"time"
)

// bounded takes no more connections than there is room for: one more is closed at once. A
// connection whose board has been told its news is given back to it, and asks anew like any other.
type bounded struct {
	net.Listener
	room  chan struct{} // one in it for each connection
	come  chan net.Conn
	ends  chan struct{}
	begin sync.Once
	end   sync.Once
}

func newBounded(ln net.Listener, room int) *bounded {
	return &bounded{Listener: ln, room: make(chan struct{}, room), come: make(chan net.Conn), ends: make(chan struct{})}
}

// Accept gives the next connection, new or given back.
func (l *bounded) Accept() (net.Conn, error) {
	l.begin.Do(func() { go l.take() })
	select {
	case <-l.ends:
		return nil, net.ErrClosed
	case c := <-l.come:
		return c, nil
	}
}

// take takes new connections until the listener is closed.
func (l *bounded) take() {
	defer func() { _ = l.Close() }()
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			select {
			case <-l.ends:
				return
			case <-time.After(later): // too many files are open, and what else may pass
			}
			continue
		}
		select {
		case l.room <- struct{}{}:
			if tcp, ok := c.(*net.TCPConn); ok {
				_ = tcp.SetWriteBuffer(sendBuffer) // where it fails it is larger
			}
			l.give(&counted{Conn: c, room: l.room})
		default:
			_ = c.Close()
		}
	}
}

// later is when it is tried again to take a connection where that failed.
const later = 100 * time.Millisecond

// give hands a connection to whoever answers its next request.
func (l *bounded) give(c net.Conn) {
	select {
	case l.come <- c:
	case <-l.ends:
		_ = c.Close()
	}
}

// Close takes no more.
func (l *bounded) Close() error {
	l.end.Do(func() { close(l.ends) })
	return l.Listener.Close()
}

// sendBuffer is how many bytes wait in the system for a board: more than a page has.
const sendBuffer = 256 << 10

// counted gives its place back when it is closed.
type counted struct {
	net.Conn
	room chan struct{}
	once sync.Once
}

func (c *counted) Close() error {
	c.once.Do(func() { <-c.room })
	return c.Conn.Close()
}
