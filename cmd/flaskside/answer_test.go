//go:build !windows

package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"github.com/creack/pty"
)

// BenchmarkKeyToFirstByte is the time from a key on a pseudo-terminal to the first byte that
// the program sends for it: a digit of a place, which a scan could begin with, and ENTER and
// 0, which it could not. The percentiles are of all keys.
func BenchmarkKeyToFirstByte(b *testing.B) {
	bin, err := built()
	if err != nil {
		b.Fatal(err)
	}
	cmd := exec.Command(bin, "--book", filepath.Join(b.TempDir(), "bench.db"), "--by", "KT")
	cmd.Env = append(os.Environ(), "TERM=xterm-256color")
	tty, err := pty.StartWithSize(cmd, &pty.Winsize{Rows: 24, Cols: 80})
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = cmd.Process.Kill(); _ = cmd.Wait(); _ = tty.Close() }()
	var got atomic.Int64 // when the first byte since the last key came, unix ns
	go func() {
		buf := make([]byte, 32<<10)
		for {
			if _, err := tty.Read(buf); err != nil {
				return
			}
			got.CompareAndSwap(0, time.Now().UnixNano())
		}
	}()
	time.Sleep(3 * time.Second)
	keys := []string{"2", "\r", "\x1b[27u", "3", "\r", "\x1b[27u", "1"}
	var took []time.Duration
	for i := range max(b.N, 70) {
		// Away from the second, when the clock is drawn anew.
		time.Sleep(time.Until(time.Now().Truncate(time.Second).Add(1130*time.Millisecond + time.Duration(i%23)*17*time.Millisecond)))
		got.Store(0)
		at := time.Now()
		if _, err := tty.Write([]byte(keys[i%len(keys)])); err != nil {
			b.Fatal(err)
		}
		for got.Load() == 0 && time.Since(at) < time.Second {
			time.Sleep(200 * time.Microsecond)
		}
		took = append(took, time.Duration(got.Load()-at.UnixNano()))
	}
	slices.Sort(took)
	ms := func(q float64) float64 { return took[int(q*float64(len(took)-1))].Seconds() * 1000 }
	b.ReportMetric(ms(0.5), "ms/p50")
	b.ReportMetric(ms(0.95), "ms/p95")
	b.ReportMetric(0, "ns/op")
}
