//go:build linux

package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/crypto/ssh"

	"flaskside/logbook/action"
	"flaskside/logbook/door"
)

// ear is a screen over SSH of which only the bytes are looked at.
type ear struct {
	in   io.Writer
	mu   sync.Mutex
	got  []byte // since it was last asked
	sum  int
	wake chan struct{}
}

// listens begins n screens of one key.
func listens(b *testing.B, at string, key ssh.Signer, n int) (out []*ear) {
	b.Helper()
	for range n {
		conn, err := ssh.Dial("tcp", at, &ssh.ClientConfig{User: "x", Auth: []ssh.AuthMethod{ssh.PublicKeys(key)}, HostKeyCallback: ssh.InsecureIgnoreHostKey()}) //nolint:gosec // the bench of this benchmark
		if err != nil {
			b.Fatal(err)
		}
		b.Cleanup(func() { _ = conn.Close() })
		sess, err := conn.NewSession()
		if err != nil {
			b.Fatal(err)
		}
		r, err := sess.StdoutPipe()
		if err != nil {
			b.Fatal(err)
		}
		e := &ear{wake: make(chan struct{}, 1)}
		if e.in, err = sess.StdinPipe(); err != nil {
			b.Fatal(err)
		}
		if err := sess.RequestPty("xterm-256color", 30, 100, ssh.TerminalModes{}); err != nil {
			b.Fatal(err)
		}
		if err := sess.Shell(); err != nil {
			b.Fatal(err)
		}
		go func() {
			buf := make([]byte, 64<<10)
			for {
				n, err := r.Read(buf)
				e.mu.Lock()
				e.sum += n
				if e.got = append(e.got, buf[:n]...); len(e.got) > 1<<20 {
					e.got = e.got[len(e.got)/2:]
				}
				e.mu.Unlock()
				select {
				case e.wake <- struct{}{}:
				default:
				}
				if err != nil {
					return
				}
			}
		}()
		out = append(out, e)
	}
	return out
}

func (e *ear) forget() { e.mu.Lock(); e.got = nil; e.mu.Unlock() }

// hears waits until a text came, "" for any.
func (e *ear) hears(text string) bool {
	for late := time.After(10 * time.Second); ; {
		e.mu.Lock()
		yes := len(e.got) > 0 && bytes.Contains(e.got, []byte(text))
		e.mu.Unlock()
		if yes {
			return true
		}
		select {
		case <-e.wake:
		case <-late:
			return false
		}
	}
}

// used gives the seconds of CPU that a process took so far, and its memory in MB that is
// backed by no file.
func used(b *testing.B, pid int) (cpuS, mb float64) {
	b.Helper()
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		b.Fatal(err)
	}
	f := strings.Fields(string(stat[bytes.LastIndexByte(stat, ')')+2:]))
	user, _ := strconv.ParseFloat(f[11], 64)
	system, _ := strconv.ParseFloat(f[12], 64)
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		b.Fatal(err)
	}
	_, after, _ := strings.Cut(string(status), "RssAnon:")
	kb, _ := strconv.ParseFloat(strings.Fields(after)[0], 64)
	return (user + system) / 100, kb / 1024
}

// BenchmarkScreens is what screens over SSH cost the keeper, and how soon they show things: CPU
// and memory while nothing is done, from a key to its frame, from a record to the last screen.
func BenchmarkScreens(b *testing.B) {
	for _, n := range []int{1, 10, 50} {
		b.Run(fmt.Sprint(n), func(b *testing.B) { benchScreens(b, n, false) })
	}
	b.Run("50-full", func(b *testing.B) { benchScreens(b, 50, true) })
}

// fill has all nine places taken: flasks with their halves painted, six of them on one mix and
// judged twice, and ten timers.
func fill(rec func(id string, body action.Body)) {
	n := 0
	do := func(body action.Body) { n++; rec(fmt.Sprint("full", n), body) }
	for p := 1; p <= 9; p++ {
		do(action.FlaskOpen{Place: p, Case: fmt.Sprint(4400 + p), Base: "upper", Size: "medium"})
		do(action.Coat{Flask: p, Half: "both"})
	}
	do(action.MixMake{Flasks: []int{1, 2, 3, 4, 5, 6}})
	for p := 1; p <= 6; p++ {
		for range 2 {
			do(action.PressIn{Flask: p})
			do(action.PressAt{Flask: p})
			do(action.PressOpen{Flask: p})
			do(action.Flash{Flask: p, Grade: "heavy"})
		}
	}
	for i := range 10 {
		do(action.TimerStart{Label: fmt.Sprint("timer ", i), Count: "window", MinS: 600 * (i + 2), MaxS: 1200 * (i + 2)})
	}
}

func benchScreens(b *testing.B, n int, full bool) {
	book := filepath.Join(b.TempDir(), "bench.db")
	key := keyFor(b, book, "KT", "work")
	keeper, at := keepingSSH(b, book, "127.0.0.1:0")
	pid := keeper.cmd.Process.Pid
	_, alone := used(b, pid)
	ears := listens(b, at, key, n)
	for _, e := range ears {
		if !e.hears("") {
			b.Fatal("a screen stays dark")
		}
	}
	client, err := door.Dial(book)
	if err != nil {
		b.Fatal(err)
	}
	rec := func(id string, body action.Body) {
		as, err := client.Append([]action.Action{{ID: id, At: time.Now(), By: "LL", Body: body, Why: "8"}}, false)
		if err == nil {
			err = as[0].Err
		}
		if err != nil {
			b.Fatalf("%s: %v", id, err)
		}
	}
	timers := 1
	if full {
		fill(rec)
		timers += 10
	}
	rec("first", action.TimerStart{Label: "soak", Count: "down", AimS: 3600})
	time.Sleep(3 * time.Second)
	const idle = 8 * time.Second
	cpu0, _ := used(b, pid)
	sum0 := 0
	for _, e := range ears {
		e.mu.Lock()
		sum0 -= e.sum
		e.mu.Unlock()
	}
	time.Sleep(idle)
	cpu1, mb := used(b, pid)
	for _, e := range ears {
		e.mu.Lock()
		sum0 += e.sum
		e.mu.Unlock()
	}
	var own, all []time.Duration
	for i := range 40 {
		time.Sleep(70 * time.Millisecond)
		ears[0].forget()
		began := time.Now()
		_, _ = io.WriteString(ears[0].in, []string{"\x1b[B", "\x1b[A"}[i%2])
		if !ears[0].hears("") {
			b.Fatal("a key without a frame")
		}
		own = append(own, time.Since(began))
	}
	cpu2, _ := used(b, pid)
	loop := time.Now()
	const records = 20
	for i := range records {
		for _, e := range ears {
			e.forget()
		}
		label := strings.Repeat(string(rune('A'+i)), 6) // no letter stands where it stood: only what changed is sent
		began := time.Now()
		rec(label, action.TimerStart{Label: label, Count: "down", AimS: 300})
		for _, e := range ears {
			if !e.hears(label) {
				b.Fatal("a record that a screen never showed")
			}
		}
		all = append(all, time.Since(began))
		rec("stop "+label, action.TimerStop{Timer: timers + 1 + i})
		time.Sleep(100 * time.Millisecond)
	}
	cpu3, _ := used(b, pid)
	cpuEach := (cpu3 - cpu2 - (cpu1-cpu0)/idle.Seconds()*time.Since(loop).Seconds()) / (2 * records * float64(n))
	slices.Sort(own)
	slices.Sort(all)
	ms := func(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(100*(cpu1-cpu0)/idle.Seconds(), "%core")
	b.ReportMetric((mb-alone)/float64(n), "MB/screen")
	b.ReportMetric(float64(sum0)/idle.Seconds()/float64(n), "B/s/screen")
	b.ReportMetric(1000*cpuEach, "ms-cpu/record/screen")
	b.ReportMetric(ms(own[len(own)/2]), "ms-key-p50")
	b.ReportMetric(ms(own[len(own)*19/20]), "ms-key-p95")
	b.ReportMetric(ms(all[len(all)/2]), "ms-record-p50")
	b.ReportMetric(ms(all[len(all)-1]), "ms-record-max")
}
