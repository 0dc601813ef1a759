//go:build unix

package probe

import (
	"context"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// TestPipe follows a pipe that one program after another fills, and ends at once when
// it is told to.
func TestPipe(t *testing.T) {
	d := newProbeDesk(t)
	d.load()
	d.ck.Run(time.Hour)
	path := filepath.Join(t.TempDir(), "bath")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { d.desk().watch(ctx, Probe{path, 1}, soon); close(done) }()
	for i, line := range []string{"2026-11-25T21:01:00Z 74\n", "2026-11-25T21:02:00Z 75\n"} {
		f, err := os.OpenFile(path, os.O_WRONLY, 0)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.WriteString(line); err != nil {
			t.Fatal(err)
		}
		_ = f.Close()
		wait(t, func() bool { return len(d.book.State().Bench.Readings) == i+1 })
	}
	d.wants("1:74 2:75")
	cancel()
	select {
	case <-done:
	case <-time.After(5 * time.Second):
		t.Fatal("the pipe is still waited for")
	}
}
