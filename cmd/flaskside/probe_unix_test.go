//go:build unix

package main

import (
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

// TestProbeOnTheBench runs the real program beside a sensor: a bath that is off rings
// on the screen, the reading is in the book, and the program still ends when told.
func TestProbeOnTheBench(t *testing.T) {
	t.Parallel() // it waits more than it works
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
	tm.sees("BATH 1 66 °C, SHOULD BE 74 °C")
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
