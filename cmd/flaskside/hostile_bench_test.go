//go:build linux

package main

import (
	"cmp"
	"fmt"
	"net"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"golang.org/x/crypto/ssh"

	"flaskside/logbook/action"
	"flaskside/logbook/door"
	"flaskside/logbook/keep"
)

// guest is a keeper of its own with one good screen.
type guest struct {
	b      *testing.B
	at     string
	pid    int
	client *door.Client
	bad    ssh.Signer // the key of MB
	n      int
}

func newGuest(b *testing.B) *guest {
	b.Helper()
	book := filepath.Join(b.TempDir(), "bench.db")
	good, bad := keyFor(b, book, "KT", "work"), keyFor(b, book, "MB", "work")
	k, at := keepingSSH(b, book, "127.0.0.1:0")
	client, err := door.Dial(book)
	if err != nil {
		b.Fatal(err)
	}
	g := &guest{b: b, at: at, pid: k.cmd.Process.Pid, client: client, bad: bad}
	if !listens(b, at, good, 1)[0].hears("") {
		b.Fatal("the good screen stays dark")
	}
	return g
}

// record takes how long one record takes.
func (g *guest) record() time.Duration {
	g.b.Helper()
	g.n++
	began := time.Now()
	a := action.Action{ID: fmt.Sprint("r", g.n), At: began, By: "LL", Body: action.Seen{}}
	if _, err := g.client.Append([]action.Action{a}, false); err != nil {
		g.b.Fatal(err)
	}
	return time.Since(began)
}

// there tells whether MB has a screen.
func (g *guest) there() bool {
	g.b.Helper()
	at, err := g.client.Screens()
	if err != nil {
		g.b.Fatal(err)
	}
	return slices.ContainsFunc(at, func(a keep.Present) bool { return a.Person.By == "MB" })
}

// comesBad logs MB in, at an address.
func (g *guest) comesBad(addr string) *ssh.Client {
	g.b.Helper()
	conn, err := ssh.Dial("tcp", addr, &ssh.ClientConfig{User: "x", Auth: []ssh.AuthMethod{ssh.PublicKeys(g.bad)}, HostKeyCallback: ssh.InsecureIgnoreHostKey()}) //nolint:gosec // the bench of this benchmark
	if err != nil {
		g.b.Fatal(err)
	}
	g.b.Cleanup(func() { _ = conn.Close() })
	return conn
}

// shell begins a screen that nobody reads.
func (g *guest) shell(conn *ssh.Client, rows, cols int) *ssh.Session {
	g.b.Helper()
	s, err := conn.NewSession()
	if err != nil {
		g.b.Fatal(err)
	}
	if _, err = s.StdoutPipe(); err == nil {
		err = cmp.Or(s.RequestPty("xterm-256color", rows, cols, ssh.TerminalModes{}), s.Shell())
	}
	if err != nil {
		g.b.Fatal(err)
	}
	return s
}

// hostile are the ways of being a bad guest; each goes on by itself until stop is closed.
var hostile = map[string]func(g *guest, stop <-chan struct{}){
	"stuck": func(g *guest, stop <-chan struct{}) { // reads nothing, answers every question, and has all drawn anew
		s := g.shell(g.comesBad(g.at), 200, 499)
		go every(10*time.Millisecond, stop, func(i int) bool { return s.WindowChange(180+i%20, 480+i%19) == nil })
	},
	"half-open": func(g *guest, stop <-chan struct{}) { // the wire freezes, and nobody is told
		ln, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			g.b.Fatal(err)
		}
		frozen := make(chan struct{})
		go func() {
			near, err := ln.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial("tcp", g.at)
			if err != nil {
				return
			}
			for _, way := range [][2]net.Conn{{near, far}, {far, near}} {
				go func() {
					buf := make([]byte, 4096)
					for {
						n, err := way[0].Read(buf)
						select {
						case <-frozen:
							<-stop
							_ = way[0].Close()
							return
						default:
						}
						if err != nil {
							return
						}
						_, _ = way[1].Write(buf[:n])
					}
				}()
			}
		}()
		_ = g.shell(g.comesBad(ln.Addr().String()), 24, 80)
		time.Sleep(time.Second)
		close(frozen)
	},
	"flood": func(g *guest, stop <-chan struct{}) { // connections that say nothing, as many as there can be
		var open []net.Conn
		go every(time.Millisecond, stop, func(int) bool {
			c, err := net.Dial("tcp", g.at)
			if err == nil {
				open = append(open, c)
			}
			if len(open) > 200 {
				_ = open[0].Close()
				open = open[1:]
			}
			return true
		})
	},
	"channel": func(g *guest, _ <-chan struct{}) { // closes its screen and keeps the connection, over and over
		_ = g.shell(g.comesBad(g.at), 24, 80).Close()
	},
}

// every does something over and over, while it may.
func every(d time.Duration, stop <-chan struct{}, do func(i int) bool) {
	for i := 0; ; i++ {
		select {
		case <-stop:
			return
		case <-time.After(d):
		}
		if !do(i) {
			return
		}
	}
}

// BenchmarkHostile is what a bad guest costs the others: of two keepers, one of which has the bad
// guest, records are made in turn, so that both meet the same machine. It gives how long a record
// takes beside the guest and without, the processor time of either keeper, and after how long
// the screen of the guest is let go: of one that reads nothing that is with the time in which its
// 2 MiB of room fill.
func BenchmarkHostile(b *testing.B) {
	for _, name := range []string{"stuck", "half-open", "flood", "channel"} {
		b.Run(name, func(b *testing.B) {
			beside, without := newGuest(b), newGuest(b)
			stop := make(chan struct{})
			hostile[name](beside, stop)
			began, let, came := time.Now(), time.Duration(0), false
			cpu0, _ := used(b, beside.pid)
			cpu1, _ := used(b, without.pid)
			var with, alone []time.Duration
			for i := range 1000 {
				if i%2 == 0 { // whoever is first finds the disk as it finds it
					with, alone = append(with, beside.record()), append(alone, without.record())
				} else {
					alone, with = append(alone, without.record()), append(with, beside.record())
				}
				if i%10 == 0 && let == 0 { // its screen comes a moment after it asked for one
					if there := beside.there(); came && !there {
						let = time.Since(began)
					} else {
						came = there
					}
				}
				time.Sleep(15 * time.Millisecond)
			}
			took := time.Since(began).Seconds()
			cpu2, _ := used(b, beside.pid)
			cpu3, _ := used(b, without.pid)
			close(stop)
			if beside.there() {
				b.Error("the bad guest was not let go")
			}
			ms := func(ds []time.Duration, q float64) float64 {
				slices.Sort(ds)
				return ds[int(q*float64(len(ds)-1))].Seconds() * 1000
			}
			b.ReportMetric(0, "ns/op")
			b.ReportMetric(ms(with, 0.5)-ms(alone, 0.5), "ms-more-p50")
			b.ReportMetric(ms(with, 0.99)-ms(alone, 0.99), "ms-more-p99")
			b.ReportMetric(ms(alone, 0.5), "ms-without-p50")
			b.ReportMetric(ms(alone, 0.99), "ms-without-p99")
			b.ReportMetric(100*(cpu2-cpu0-cpu3+cpu1)/took, "%core-more")
			if came {
				b.ReportMetric(let.Seconds(), "s-let-go")
			}
		})
	}
}
