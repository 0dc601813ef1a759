//go:build !windows

package keeper

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"flaskside/logbook/asked"
)

// TestOnAlarm: the command gets its own arguments and the words of the alarm as one
// more, whatever is in them; no shell reads it. A command that is not there is refused
// before the bench opens.
func TestOnAlarm(t *testing.T) {
	dir := t.TempDir()
	script, out := filepath.Join(dir, "lamp"), filepath.Join(dir, "out")
	if err := os.WriteFile(script, []byte("#!/bin/sh\nprintf '%s|' \"$@\" > "+out+"\n"), 0o700); err != nil {
		t.Fatal(err)
	}
	tell, err := Teller(script + " --colour red")
	if err != nil {
		t.Fatal(err)
	}
	const words = "CURING TIME IS UP; touch x $(id) `id` | & \" '"
	tell(words)
	got, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	if want := "--colour|red|flaskside: " + words + "|"; string(got) != want {
		t.Errorf("the command was given %q, want %q", got, want)
	}
	var usage asked.Wrong
	if _, err := Teller(filepath.Join(dir, "nothing here")); !errors.As(err, &usage) {
		t.Errorf("a command that is not there: %v, want wrong usage", err)
	}
	if tell, err := Teller("  "); tell != nil || err != nil {
		t.Errorf("no command: %v", err)
	}
}

// The words of an alarm, which hold what somebody typed, are never an option of the command.
func TestAlarmWordsAreNoOption(t *testing.T) {
	dir := t.TempDir()
	script, out := filepath.Join(dir, "lamp"), filepath.Join(dir, "out")
	if err := os.WriteFile(script, []byte("#!/bin/sh\nprintf '%s' \"$1\" > "+out+"\n"), 0o700); err != nil {
		t.Fatal(err)
	}
	for _, words := range []string{"-rf", "--exec=id", "-", ""} {
		tell, err := Teller(script)
		if err != nil {
			t.Fatal(err)
		}
		tell(words)
		if got, err := os.ReadFile(out); err != nil || strings.HasPrefix(string(got), "-") || !strings.HasSuffix(string(got), words) {
			t.Errorf("%q was handed on as %q (%v)", words, got, err)
		}
	}
}

// What a command of an alarm began is ended with it, whether it ends by itself or hangs.
func TestAlarmCommandIsEndedWhole(t *testing.T) {
	for _, hangs := range []string{"", "exec sleep 86400"} {
		dir := t.TempDir()
		script, out := filepath.Join(dir, "lamp"), filepath.Join(dir, "child")
		if err := os.WriteFile(script, fmt.Appendf(nil, "#!/bin/sh\nsleep 86400 >/dev/null 2>&1 &\necho $! > %s\n%s\n", out, hangs), 0o700); err != nil {
			t.Fatal(err)
		}
		tellCommand(script, nil, "CURE DONE", 500*time.Millisecond)
		b, err := os.ReadFile(out)
		if err != nil {
			continue // so busy a machine that it was ended before it began anything
		}
		pid, err := strconv.Atoi(strings.TrimSpace(string(b)))
		if err != nil {
			t.Fatal(err)
		}
		for tries := 0; running(pid); tries++ { // the kill is on its way
			if tries > 500 {
				t.Errorf("%q: process %d runs on", hangs, pid)
				_ = syscall.Kill(pid, syscall.SIGKILL)
				break
			}
			time.Sleep(10 * time.Millisecond)
		}
	}
}

// running tells whether a process is there and not waiting to be collected.
func running(pid int) bool {
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return syscall.Kill(pid, 0) == nil && !errors.Is(err, os.ErrNotExist)
	}
	_, after, _ := strings.Cut(string(stat), ") ")
	return !strings.HasPrefix(after, "Z")
}

// One command runs at most; what sounds meanwhile waits and is told, all of it.
func TestAlarmsAreToldOneByOne(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var told lines
		running, most := make(chan struct{}, 1), 0
		tell := oneByOne(func(words string) {
			select {
			case running <- struct{}{}:
			default:
				most++
			}
			time.Sleep(10 * time.Second)
			told.add(words)
			<-running
		})
		for i := range 5 {
			go tell(fmt.Sprint("alarm ", i))
			synctest.Wait()
		}
		time.Sleep(time.Minute)
		synctest.Wait()
		if got := fmt.Sprintf("%q", told.take()); most > 0 || got != `["alarm 0" "alarm 1; alarm 2; alarm 3; alarm 4"]` {
			t.Errorf("told %s, %d times two at once", got, most)
		}
	})
}
