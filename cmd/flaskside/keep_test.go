//go:build !windows

package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// kept is the program that has a book without a screen.
type kept struct {
	t   testing.TB
	cmd *exec.Cmd
	out *lockedText
}

// lockedText is what a program said so far: written by one goroutine, read by another.
type lockedText struct {
	mu   sync.Mutex
	all  []string
	rest string
}

// take gives the lines said since it was asked last.
func (l *lockedText) take() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	all := l.all
	l.all = nil
	return all
}

// back puts lines back that were taken and are not wanted yet.
func (l *lockedText) back(lines []string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all = append(lines, l.all...)
}

func (l *lockedText) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, s := range strings.SplitAfter(l.rest+string(p), "\n") {
		if strings.HasSuffix(s, "\n") {
			l.all = append(l.all, strings.TrimSuffix(s, "\n"))
			l.rest = ""
		} else {
			l.rest = s
		}
	}
	return len(p), nil
}

// keeping starts the keeper and waits until it says that it keeps the book.
func keeping(t *testing.T, book string, args ...string) *kept {
	t.Helper()
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	k := &kept{t: t, cmd: exec.Command(bin, append([]string{"keep", "--book", book}, args...)...), out: &lockedText{}}
	k.cmd.Stderr = k.out
	if err := k.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = k.cmd.Process.Kill(); _ = k.cmd.Wait() })
	k.says("keeping")
	return k
}

// says waits for a line with a text, and gives it.
func (k *kept) says(want string) string {
	k.t.Helper()
	var all []string
	for deadline := time.Now().Add(longestWait); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		all = append(all, k.out.take()...)
		for i, l := range all {
			if strings.Contains(l, want) {
				k.out.back(all[i+1:])
				return l
			}
		}
	}
	k.t.Fatalf("it never said %q: %q", want, all)
	return ""
}

// ends tells it to end, and wants it to end well.
func (k *kept) ends() {
	k.t.Helper()
	if err := k.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		k.t.Fatal(err)
	}
	if err := k.cmd.Wait(); err != nil {
		k.t.Errorf("the keeper ended with %v: %q", err, k.out.take())
	}
}

// TestKeep: the bench runs without a screen; alarms are told by its command, once, whatever
// screens come and go; those that are there when it ends say so; its backup is made.
func TestKeep(t *testing.T) {
	t.Parallel() // it waits more than it works
	dir := t.TempDir()
	book, told := filepath.Join(dir, "bench.db"), filepath.Join(dir, "told")
	script := filepath.Join(dir, "lamp")
	if err := os.WriteFile(script, []byte("#!/bin/sh\necho \"$1\" >> "+told+"\n"), 0o700); err != nil {
		t.Fatal(err)
	}
	k := keeping(t, book, "--on-alarm", script)
	a, b := openAs(t, book, "KT"), openAs(t, book, "MB")
	a.sees("new flask on place 1")
	b.sees("new flask on place 1")
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	act := `{"id":"t","at":"` + time.Now().Format(time.RFC3339) + `","by":"KT","why":"8","act":"timer-start","body":{"label":"soak","count":"down","aim_s":2}}`
	rec := exec.Command(bin, "record", "--book", book)
	rec.Stdin = strings.NewReader(act)
	if out, err := rec.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	a.sees("SOAK: TIME IS UP")
	b.sees("SOAK: TIME IS UP")
	for deadline := time.Now().Add(longestWait); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		if _, err := os.Stat(told); err == nil {
			break
		}
	}
	a.types(".")
	b.sees("1 acknowledged")
	b.types(".")
	b.sees("no alarm to acknowledge")
	a.types("+9")
	a.sees("The bench runs on without this screen")
	a.types("1")
	if err := a.ended(); err != nil {
		t.Error(err)
	}
	k.ends()
	b.sees("THE BENCH IS NOT RUNNING")
	if text, err := os.ReadFile(told); err != nil || string(text) != "flaskside: SOAK: TIME IS UP\n" {
		t.Errorf("the command was told %q, %v; want the alarm once", text, err)
	}
	if kept, err := filepath.Glob(filepath.Join(dir, "backups", "bench-*.db")); err != nil || len(kept) != 1 {
		t.Errorf("backups: %v, %v", kept, err)
	}
	k = keeping(t, book)
	b.sees("the bench is running again")
	second := exec.Command(bin, "keep", "--book", book)
	out, err := second.CombinedOutput()
	if err == nil || bytes.Count(out, []byte("\n")) != 1 || !bytes.Contains(out, []byte("in use")) {
		t.Errorf("a second keeper: %v, %q", err, out)
	}
	k.ends()
}

// TestUnit: the service runs the program with what was asked for, quoted, and systemd finds
// nothing wrong with it where it is at hand.
func TestUnit(t *testing.T) {
	dir := t.TempDir()
	odd := filepath.Join(dir, `a 50% "deal" \ $HOME.db`)
	var out bytes.Buffer
	if err := printUnit(&out, &options{book: odd, onAlarm: "/bin/true --x", probes: []string{"/sys/a@1"}}, "127.0.0.1:2222"); err != nil {
		t.Fatal(err)
	}
	_, line, _ := strings.Cut(out.String(), "\nExecStart=")
	line, _, _ = strings.Cut(line, "\n")
	if want := `"keep" "--book" "` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "%", "%%", "$", "$$").Replace(odd) + `" "--on-alarm" "/bin/true --x" "--ssh" "127.0.0.1:2222" "--probe" "/sys/a@1"`; !strings.HasSuffix(line, want) {
		t.Errorf("it runs %s, want ... %s", line, want)
	}
	if err := printUnit(&out, &options{book: "a\nExecStartPre=/bin/sh"}, ""); err == nil {
		t.Error("a line end came into the service")
	}
	analyze, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Skip("systemd-analyze is not here: the service was not looked through by systemd")
	}
	file := filepath.Join(dir, "flaskside.service")
	if err := os.WriteFile(file, out.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	look := exec.Command(analyze, "--user", "verify", file)
	look.Env = append(os.Environ(), "XDG_RUNTIME_DIR="+dir)
	if said, err := look.CombinedOutput(); err != nil || len(said) > 0 {
		t.Errorf("systemd says %v: %s", err, said)
	}
}
