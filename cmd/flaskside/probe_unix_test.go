//go:build unix

package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/timers/sysclock"
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
	go func() { watch(ctx, probe{path, 1}, d.book, d.ck, d.tell); close(done) }()
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

// TestProbeOnTheBench runs the real program beside a sensor: a bath that is off rings
// on the screen, the reading is in the book, and the program still ends when told.
func TestProbeOnTheBench(t *testing.T) {
	dir := t.TempDir()
	path, sensor := filepath.Join(dir, "bench.db"), filepath.Join(dir, "w1_slave")
	if err := os.WriteFile(sensor, []byte("a8 04 4b 46 7f ff 08 10 2c : crc=2c YES\na8 04 4b 46 7f ff 08 10 2c t=66000\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	book, err := logbook.Open(path, sysclock.New())
	if err != nil {
		t.Fatal(err)
	}
	for i, body := range []action.Body{action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"}, action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h", BathC: 74}} {
		if _, err := book.Append(action.Action{ID: fmt.Sprint("t", i), At: time.Now().Add(time.Duration(i-60) * time.Minute), Body: body, Why: "8"}); err != nil {
			t.Fatal(err)
		}
	}
	if err := book.Close(); err != nil {
		t.Fatal(err)
	}
	tm := open(t, path, "--probe", sensor)
	tm.sees("BATH 1 66 °C, WANTS 74 °C")
	if err := tm.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := tm.ended(); err != nil {
		t.Errorf("the program ended with %v", err)
	}
	if book, err = logbook.Open(path, sysclock.New()); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = book.Close() }()
	if r, ok := book.State().Bench.LastReading(1); !ok || r.TempC != 66 || r.Source != sensor[max(0, len(sensor)-60):] {
		t.Errorf("the book has %+v", r)
	}
}
