package board

import (
	"bytes"
	"context"
	"errors"
	"net"
	"net/http"
	"strconv"
	"sync"
	"time"
)

// listeners are the boards that listen. Of each there is its connection and one goroutine on a
// small stack, and nothing of the request that it began with.
type listeners struct {
	onesMu sync.Mutex
	ones   map[*listener]bool
	most   int
	over   bool
	all    sync.WaitGroup
}

// listener is one board that listens.
type listener struct {
	conn   net.Conn // nil until it is taken over
	pieces bool     // the answer goes in pieces of said length (RFC 9112, 7.1); else its end is that of the connection
	again  bool     // it may ask anew on the same connection
	token  string
	have   uint64
	until  time.Time
}

func (l *listeners) init(most int) { l.ones, l.most = map[*listener]bool{}, most }

// enter adds a board where there is room.
func (l *listeners) enter(one *listener) bool {
	l.onesMu.Lock()
	defer l.onesMu.Unlock()
	if l.over || len(l.ones) >= l.most {
		return false
	}
	l.ones[one] = true
	l.all.Add(1)
	return true
}

func (l *listeners) leave(one *listener) {
	l.onesMu.Lock()
	defer l.onesMu.Unlock()
	delete(l.ones, one)
	l.all.Done()
}

// past is a moment that has passed: whoever waits for reading until then is woken.
var past = time.Unix(1, 0)

// ring wakes all boards: there is something to tell. It waits for none of them.
func (l *listeners) ring() {
	l.onesMu.Lock()
	defer l.onesMu.Unlock()
	for one := range l.ones {
		if one.conn != nil {
			_ = one.conn.SetReadDeadline(past) // one that has closed is woken already
		}
	}
}

// end takes no more of them, and wakes them to hear it.
func (l *listeners) end() {
	l.onesMu.Lock()
	l.over = true
	l.onesMu.Unlock()
	l.ring()
}

// wait waits until all have left; when ctx ends they are cut off.
func (l *listeners) wait(ctx context.Context) {
	stop := context.AfterFunc(ctx, func() {
		l.onesMu.Lock()
		defer l.onesMu.Unlock()
		for one := range l.ones {
			if one.conn != nil {
				_ = one.conn.Close() // it has had its time
			}
		}
	})
	defer stop()
	l.all.Wait()
}

// news tells a board what changed, for a while; a board that reads asks anew then. The
// connection is taken out of the server's hands meanwhile, which would keep its buffers and the
// request as long.
func (b *Board) news(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	if r.Method == http.MethodHead {
		return
	}
	one := &listener{token: b.cfg.Token(), have: b.parse(r.URL.Query().Get("have")), until: time.Now().Add(b.lim.stream)}
	if !b.enter(one) {
		refuse(w, http.StatusServiceUnavailable, "there are as many boards as there can be")
		return
	}
	conn, rest, err := http.NewResponseController(w).Hijack()
	if err != nil {
		b.leave(one)
		refuse(w, http.StatusInternalServerError, "the news cannot be told")
		return
	}
	one.pieces = r.ProtoAtLeast(1, 1)
	one.again = one.pieces && !r.Close && rest.Reader.Buffered() == 0
	h.Set("Date", time.Now().UTC().Format(http.TimeFormat))
	if one.pieces {
		h.Set("Transfer-Encoding", "chunked")
	}
	if !one.again {
		h.Set("Connection", "close")
	}
	var head bytes.Buffer
	_, _ = head.WriteString("HTTP/1.1 200 OK\r\n") // into memory, as what follows
	_ = h.Write(&head)
	_, _ = head.WriteString("\r\n")
	b.onesMu.Lock()
	one.conn = conn
	b.onesMu.Unlock()
	go b.listen(one, head.Bytes())
}

// listen tells a board its news until its time is over, and gives its connection back.
func (b *Board) listen(one *listener, head []byte) {
	again := false
	defer func() {
		if p := recover(); p != nil {
			b.fault(p)
		}
		b.leave(one)
		if !again || one.conn.SetDeadline(time.Time{}) != nil {
			_ = one.conn.Close() // the other side may have done so
			return
		}
		b.ln.give(one.conn)
	}()
	news, version, heard := b.since(one.have, true)
	for b.write(one, head, news) == nil {
		one.have, head = version, nil
		switch b.await(one, heard) {
		case newsCame:
			if !same(one.token, b.cfg.Token()) {
				return // another token holds now
			}
			news, version, heard = b.since(one.have, false)
		case timeOver:
			again = b.write(one, nil, last("again")) == nil && one.again
			return
		case boardEnds:
			_ = b.write(one, nil, last("closed")) // it may have gone
			return
		case boardGone:
			return
		}
	}
}

// coming is what a board that listens has waited for.
type coming int

const (
	newsCame coming = iota
	timeOver
	boardEnds
	boardGone
)

// await waits for what comes next. It waits in a read: so it hears at once when the other side
// leaves, and one that says something before its answer is over is no board.
func (b *Board) await(one *listener, heard uint64) coming {
	for {
		if one.conn.SetReadDeadline(one.until) != nil { // first: whoever rings from here on wakes the read
			return boardGone
		}
		select {
		case <-b.ends:
			return boardEnds
		default:
		}
		if b.rings.Load() != heard {
			return newsCame
		}
		if !time.Now().Before(one.until) {
			return timeOver
		}
		var said [1]byte
		var late net.Error
		if _, err := one.conn.Read(said[:]); !errors.As(err, &late) || !late.Timeout() {
			return boardGone
		}
	}
}

// write sends a board a piece of its answer; one that does not take it is let go. The piece is the
// same for all boards.
func (b *Board) write(one *listener, head, piece []byte) error {
	if !one.pieces {
		piece = bare(piece)
	}
	if len(head) > 0 {
		piece = append(head, piece...)
	}
	if err := one.conn.SetWriteDeadline(time.Now().Add(b.lim.write)); err != nil {
		return err
	}
	_, err := one.conn.Write(piece)
	return err
}

// pieceOf is something of an answer as it goes over the wire.
func pieceOf(news []byte) []byte {
	out := strconv.AppendUint(make([]byte, 0, len(news)+12), uint64(len(news)), 16)
	return append(append(append(out, "\r\n"...), news...), "\r\n"...)
}

// bare is what is in a piece, for a browser of old that takes none (HTTP/1.0).
func bare(piece []byte) []byte {
	long, rest, _ := bytes.Cut(piece, []byte("\r\n"))
	n, err := strconv.ParseUint(string(long), 16, 31)
	if err != nil || n > uint64(len(rest)) {
		return nil
	}
	return rest[:n]
}

// last is the last event of an answer, with its end.
func last(event string) []byte {
	return append(pieceOf([]byte("event: "+event+"\ndata: 1\n\n")), "0\r\n\r\n"...)
}
