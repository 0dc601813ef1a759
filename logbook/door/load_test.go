package door

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"sync"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/record"
	"flaskside/timers/simclock"
)

func chain(t *testing.T, b *logbook.Book, genesis logbook.Head) (raws [][]byte) {
	t.Helper()
	at := genesis
	err := b.Each(1, func(r record.Record) (bool, error) {
		if err := r.Next(at.Seq, at.Hash); err != nil {
			return false, err
		}
		at = logbook.Head{Seq: r.Seq, Hash: r.Hash()}
		raws = append(raws, r.Raw)
		return true, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if head := b.State().Head; head != at {
		t.Fatalf("head %v, the chain ends at %v", head, at)
	}
	return raws
}

func TestKeysAndDoorTogether(t *testing.T) {
	h := open(t)
	genesis := h.book.State().Head
	var heard []uint64
	h.book.OnChange(func(s logbook.Snapshot) { heard = append(heard, s.Head.Seq) }) // the writer's lock guards it

	const each = 25
	var mu sync.Mutex
	acked := map[string]logbook.Saved{}
	ack := func(ss ...logbook.Saved) {
		mu.Lock()
		defer mu.Unlock()
		for _, s := range ss {
			acked[s.Action.ID] = s
		}
	}
	var snaps [][]byte
	var wg sync.WaitGroup
	for n := range 2 {
		wg.Go(func() { // keys
			for i := range each {
				s, err := h.book.Append(h.timer(fmt.Sprintf("key-%d-%d", n, i)))
				if err != nil {
					t.Error(err)
				}
				ack(s)
			}
		})
		wg.Go(func() { // the door, whole or not at all and line by line
			c := h.dial()
			for i := range each / 5 {
				as, err := c.Append(h.timers(fmt.Sprintf("door-%d-%d", n, i), 5), i%2 == 0)
				if err != nil || len(as) != 5 {
					t.Errorf("%d answers, %v", len(as), err)
				}
				for _, a := range as {
					if a.Err != nil {
						t.Error(a.Err)
					}
					ack(a.Saved)
				}
			}
		})
	}
	wg.Go(func() { // copies meanwhile
		c := h.dial()
		for range 10 {
			var buf bytes.Buffer
			if err := c.Snapshot(&buf); err != nil {
				t.Error(err)
			}
			snaps = append(snaps, buf.Bytes())
			if _, err := c.State(); err != nil {
				t.Error(err)
			}
		}
	})
	wg.Wait()

	raws := chain(t, h.book, genesis)
	if len(acked) != 4*each || len(raws) != 4*each || len(heard) == 0 {
		t.Errorf("%d acknowledged, %d in the book, want %d; %d changes heard", len(acked), len(raws), 4*each, len(heard))
	}
	for id, s := range acked {
		if r, ok, err := h.book.ByID(id); err != nil || !ok || !bytes.Equal(r.Raw, s.Raw) || r.Seq != s.Seq {
			t.Errorf("%s was acknowledged as record %d and stands as %d: %v", id, s.Seq, r.Seq, err)
		}
	}
	for i := range heard {
		if i > 0 && heard[i] <= heard[i-1] {
			t.Errorf("change %d was told after %d", heard[i], heard[i-1])
		}
	}
	last := uint64(0)
	for _, snap := range snaps {
		path := filepath.Join(t.TempDir(), "copy.db")
		if err := os.WriteFile(path, snap, 0o600); err != nil {
			t.Fatal(err)
		}
		b, err := logbook.OpenReading(path, h.ck)
		if err != nil {
			t.Fatal(err)
		}
		got := chain(t, b, genesis)
		if err := b.Close(); err != nil {
			t.Error(err)
		}
		if len(got) > len(raws) || len(got) > 0 && !reflect.DeepEqual(got, raws[:len(got)]) {
			t.Fatalf("a copy of %d records is not the beginning of the book", len(got))
		}
		if n := uint64(len(got)); n < last {
			t.Errorf("a copy of %d records after one of %d", n, last)
		} else {
			last = n
		}
	}
}

func TestStopLeavesNothing(t *testing.T) {
	h := closed(t)
	before := runtime.NumGoroutine()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	for _, how := range []string{"stop", "context"} {
		stop, err := Serve(ctx, hubOf(h.book, h.ck))
		if err != nil {
			t.Fatal(err)
		}
		sock, _ := socketPath(h.path)
		if err := h.dial().Snapshot(io.Discard); err != nil {
			t.Fatal(err)
		}
		if how == "context" {
			cancel()
			for range 200 { // until it has noticed
				if _, err := os.Lstat(sock); err != nil {
					break
				}
				time.Sleep(5 * time.Millisecond)
			}
		} else {
			stop()
			stop()
		}
		if _, err := os.Lstat(sock); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("%s: the socket is still there: %v", how, err)
		}
		for range 200 { // the client's own end a moment later
			if runtime.NumGoroutine() <= before {
				break
			}
			time.Sleep(5 * time.Millisecond)
		}
		if n := runtime.NumGoroutine(); n > before {
			buf := make([]byte, 1<<16)
			t.Errorf("%s: %d goroutines, %d before\n%s", how, n, before, buf[:runtime.Stack(buf, true)])
		}
	}
}

func TestCloseUnderLoad(t *testing.T) {
	h := closed(t)
	genesis := h.book.State().Head
	acked := map[string]uint64{}
	var mu sync.Mutex
	for round := range 4 {
		stop, err := Serve(context.Background(), hubOf(h.book, h.ck))
		if err != nil {
			t.Fatal(err)
		}
		var wg sync.WaitGroup
		for n := range 3 {
			c := h.dial()
			wg.Go(func() {
				for i := 0; ; i++ {
					as, err := c.Append(h.timers(fmt.Sprintf("r%d-%d-%d", round, n, i), 3), n != 0)
					mu.Lock()
					for _, a := range as {
						acked[a.Action.ID] = a.Seq
					}
					mu.Unlock()
					if err != nil {
						if !errors.Is(err, ErrNobody) && !errors.Is(err, logbook.ErrUnknown) {
							t.Error(err)
						}
						return
					}
				}
			})
			wg.Go(func() {
				for c.Snapshot(io.Discard) == nil {
				}
			})
		}
		time.Sleep(30 * time.Millisecond)
		stop()
		if err := h.book.Close(); err != nil {
			t.Fatal(err)
		}
		wg.Wait()
		h.reopen()
	}
	if n := len(chain(t, h.book, genesis)); len(acked) == 0 || n < len(acked) {
		t.Errorf("%d acknowledged, %d in the book", len(acked), n)
	}
	for id, seq := range acked {
		if r, ok, err := h.book.ByID(id); err != nil || !ok || r.Seq != seq {
			t.Errorf("%s was acknowledged as record %d: %v, %v", id, seq, ok, err)
		}
	}
}

func TestStalledReader(t *testing.T) {
	h := closed(t)
	if _, err := h.book.AppendAll(h.timers("much", 3000)); err != nil { // more than a socket holds
		t.Fatal(err)
	}
	s := &server{book: h.book, hub: hubOf(h.book, h.ck), stall: 100 * time.Millisecond}
	sock := filepath.Join(t.TempDir(), "s")
	ln, err := net.Listen("unix", sock)
	if err != nil {
		t.Fatal(err)
	}
	srv := &http.Server{Handler: s.handler()}
	go func() { _ = srv.Serve(ln) }()
	defer func() { _ = srv.Close() }()
	conn, err := net.Dial("unix", sock)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	if _, err := io.WriteString(conn, "GET /snapshot HTTP/1.1\r\nHost: bench\r\n\r\n"); err != nil {
		t.Fatal(err)
	}
	if _, err := conn.Read(make([]byte, 1)); err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- h.book.Close() }()
	select {
	case err := <-done:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(5 * time.Second):
		t.Error("the book waits for a reader who does not read")
	}
	// What did come ends without the mark of a whole reply (RFC 9112, 7.1).
	resp, _ := io.ReadAll(conn)
	if bytes.HasSuffix(resp, []byte("0\r\n\r\n")) {
		t.Error("a copy cut short looks whole")
	}
}

func BenchmarkAppend(b *testing.B) {
	ck := simclock.At(start, "boot-1")
	book, err := logbook.Open(filepath.Join(b.TempDir(), "b.db"), ck)
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = book.Close() }()
	stop, err := Serve(context.Background(), hubOf(book, ck))
	if err != nil {
		b.Fatal(err)
	}
	defer stop()
	c, err := Dial(book.Path())
	if err != nil {
		b.Fatal(err)
	}
	n := 0
	crew := func() action.Action { // the bench rests on the last of them alone
		n++
		return action.Action{ID: fmt.Sprint(n), At: start, Body: action.Crew{Initials: "KT"}}
	}
	b.Run("key", func(b *testing.B) {
		for b.Loop() {
			if _, err := book.Append(crew()); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("door", func(b *testing.B) {
		for b.Loop() {
			if _, err := c.Append([]action.Action{crew()}, false); err != nil {
				b.Fatal(err)
			}
		}
	})
}
