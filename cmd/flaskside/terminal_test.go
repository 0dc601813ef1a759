//go:build !windows

package main

import (
	"bytes"
	"errors"
	"flag"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/charmbracelet/x/vt"
	"github.com/creack/pty"

	"flaskside/timers/longrun"
)

// terminal is the real program on a pseudo-terminal, read through an emulator.
type terminal struct {
	t   *testing.T
	cmd *exec.Cmd
	pty *os.File
	mu  sync.Mutex
	em  *vt.Emulator
	got int // bytes sent by the program so far
	end chan error
}

// longestWait is how long is waited for what must come; other tests and other programs may be at work.
const longestWait = time.Minute

// scratch is a folder for the programs that are started, taken away when the tests are over.
var scratch string

// built is the program, built once for all tests of a run. In a plain run it is the test
// binary under the program's name, which is the program then (TestMain): linking takes as long
// as a hundred starts.
var built = sync.OnceValues(func() (string, error) {
	if measured := flag.Lookup("test.bench").Value.String() != ""; !measured && !longrun.Set() && !longrun.Raced() {
		return thisProgram()
	}
	bin := filepath.Join(scratch, "built", "flaskside")
	out, err := exec.Command("go", "build", "-o", bin, ".").CombinedOutput()
	if err != nil {
		return "", errors.New(string(out))
	}
	return bin, nil
})

func open(t *testing.T, book string, args ...string) *terminal {
	t.Helper()
	return openAs(t, book, "KT", args...)
}

// openAs opens the bench with somebody's initials.
func openAs(t *testing.T, book, by string, args ...string) *terminal {
	t.Helper()
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	tm := &terminal{t: t, em: vt.NewEmulator(80, 24), end: make(chan error, 1)}
	tm.cmd = exec.Command(bin, append([]string{"--book", book, "--by", by}, args...)...)
	tm.cmd.Env = append(os.Environ(), "TERM=xterm-256color")
	if tm.pty, err = pty.StartWithSize(tm.cmd, &pty.Winsize{Rows: 24, Cols: 80}); err != nil {
		t.Fatal(err)
	}
	tm.follow()
	return tm
}

// follow reads what the program shows, until it ends.
func (tm *terminal) follow() {
	go func() { _, _ = io.Copy(tm.pty, tm.em) }() // the emulator's answers to queries
	read := make(chan struct{})
	go func() {
		defer close(read)
		buf := make([]byte, 32<<10)
		for {
			n, err := tm.pty.Read(buf)
			tm.mu.Lock()
			tm.got += n
			_, _ = tm.em.Write(buf[:n])
			tm.mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
	go func() { err := tm.cmd.Wait(); <-read; tm.end <- err }()
	tm.t.Cleanup(func() {
		_ = tm.cmd.Process.Kill()
		_ = tm.pty.Close()
		if c, ok := tm.em.InputPipe().(io.Closer); ok {
			_ = c.Close()
		}
	})
}

func (tm *terminal) screen() string {
	tm.mu.Lock()
	defer tm.mu.Unlock()
	return tm.em.String()
}

// sees waits until the screen shows a text.
func (tm *terminal) sees(want string) {
	tm.t.Helper()
	seen := -1
	for deadline := time.Now().Add(longestWait); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		tm.mu.Lock()
		got := tm.got
		tm.mu.Unlock()
		if got == seen {
			continue // nothing came that could have changed it
		}
		if seen = got; strings.Contains(tm.screen(), want) {
			return
		}
	}
	tm.t.Fatalf("the screen never showed %q:\n%s", want, tm.screen())
}

func (tm *terminal) types(keys string) {
	tm.t.Helper()
	for _, r := range keys {
		if _, err := tm.pty.Write([]byte(string(r))); err != nil {
			tm.t.Fatal(err)
		}
		time.Sleep(230 * time.Millisecond) // slower than a doubled key
	}
}

func (tm *terminal) ended() error {
	tm.t.Helper()
	select {
	case err := <-tm.end:
		return err
	case <-time.After(longestWait):
		tm.t.Fatalf("the program did not end:\n%s", tm.screen())
	}
	return nil
}

// TestTerminal runs the real program: a flask by the pad, kill -9, the same bench
// again; told to end it leaves the terminal as it found it.
func TestTerminal(t *testing.T) {
	t.Parallel() // it waits more than it works
	book := filepath.Join(t.TempDir(), "bench.db")
	tm := open(t, book)
	tm.sees("new flask on place 1")
	tm.types("\r4417\r12")
	tm.sees("record 1")
	tm.types("\r1")
	tm.sees("separator drying")
	tm.sees("record 2")
	if err := tm.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	if err := tm.ended(); err == nil {
		t.Fatal("a killed program ended well")
	}

	tm = open(t, book)
	tm.sees("4417")
	tm.sees("drying")
	// Idle, with a window running, it sends little enough for a slow line: at most
	// 2 kB a second.
	sent := func() int { tm.mu.Lock(); defer tm.mu.Unlock(); return tm.got }
	before := sent()
	idle := time.Duration(longrun.Times(1, 3)) * time.Second
	time.Sleep(idle)
	if rate := float64(sent()-before) / idle.Seconds(); rate > 2000 {
		t.Errorf("idle, the program sends %.0f bytes a second", rate)
	} else {
		t.Logf("idle, the program sends %.0f bytes a second", rate)
	}
	second, err := built()
	if err != nil {
		t.Fatal(err)
	}
	var told bytes.Buffer
	other := exec.Command(second, "--book", book)
	other.Stderr = &told
	err = other.Run()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != 1 || strings.Count(told.String(), "\n") != 1 || !strings.Contains(told.String(), "no terminal here") {
		t.Errorf("a second screen without a terminal: %v, %q; want exit 1 and one line", err, told.String())
	}
	for _, sig := range []syscall.Signal{syscall.SIGTERM, syscall.SIGHUP} {
		if err := tm.cmd.Process.Signal(sig); err != nil {
			t.Fatal(err)
		}
		if err := tm.ended(); err != nil {
			t.Errorf("%v: the program ended with %v", sig, err)
		}
		if tm.mu.Lock(); tm.em.IsAltScreen() {
			t.Errorf("%v left the terminal on the alternate screen", sig)
		}
		tm.mu.Unlock()
		tm = open(t, book)
		tm.sees("4417")
	}
	tm.types("+91")
	if err := tm.ended(); err != nil {
		t.Errorf("left by hand, it ended with %v", err)
	}
	if kept, err := filepath.Glob(filepath.Join(filepath.Dir(book), "backups", "bench-*.db")); err != nil || len(kept) != 1 {
		t.Errorf("backups of the day: %v, %v; want one", kept, err)
	}
}
