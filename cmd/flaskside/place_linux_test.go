package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"

	"flaskside/logbook"
	"flaskside/timers/sysclock"
)

const (
	oneFlask = `{"id":"a1","at":"2024-11-25T08:00:00+01:00","act":"flask-open","body":{"place":1,"case":"4417","base":"upper","size":"large"}}` + "\n"
	oneCoat  = `{"id":"a2","at":"2024-11-25T08:02:00+01:00","act":"coat","body":{"flask":1,"half":"both"}}` + "\n"
)

// mounted gives a disk in memory, of a few pages; that takes root.
func mounted(t *testing.T, size string) string {
	t.Helper()
	if os.Geteuid() != 0 {
		t.Skip("only root can mount the disk that this test spoils")
	}
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+size); err != nil {
		t.Skipf("no disk can be mounted here: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Errorf("unmount: %v", err)
		}
	})
	return dir
}

// TestBadPlaces keeps the logbook where a record cannot be made: the commands and the
// bench say so in one line that tells what would be right, end with 1 and leave
// everything as it was.
func TestBadPlaces(t *testing.T) {
	t.Parallel() // it waits more than it works
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	run := func(t *testing.T, in string, args ...string) (stdout, stderr string, code int) {
		t.Helper()
		c := exec.Command(args[0], args[1:]...)
		c.Stdin = strings.NewReader(in)
		var out, told bytes.Buffer
		c.Stdout, c.Stderr = &out, &told
		err := c.Run()
		var ee *exec.ExitError
		if err != nil && !errors.As(err, &ee) {
			t.Fatal(err)
		}
		return out.String(), told.String(), c.ProcessState.ExitCode()
	}
	record := func(t *testing.T, book, in string) {
		t.Helper()
		if _, told, code := run(t, in, bin, "--book", book, "record"); code != 0 {
			t.Fatal(told)
		}
	}
	const elsewhere = "keep it elsewhere with --book FILE"
	for _, c := range []struct {
		name  string
		place func(t *testing.T) (book string, through []string) // through is what the program is started by
		says  string
	}{
		{"another program has it", func(t *testing.T) (string, []string) {
			book := filepath.Join(t.TempDir(), "bench.db")
			record(t, book, oneFlask)
			b, err := logbook.Open(book, sysclock.New())
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { _ = b.Close() }) // nothing was written
			t.Cleanup(b.Announce("the test"))
			return book, nil
		}, `the logbook is in use: \S+ \(process \d+ on \S+, the test, since .*\)`},
		{"a volume that is read-only", func(t *testing.T) (string, []string) {
			dir := mounted(t, "1m")
			book := filepath.Join(dir, "bench.db")
			record(t, book, oneFlask)
			if err := syscall.Mount("", dir, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
				t.Skip(err)
			}
			return book, nil
		}, `open logbook \S+: open \S+: read-only file system: .*` + elsewhere},
		{"no book, and a volume that is read-only", func(t *testing.T) (string, []string) {
			dir := mounted(t, "1m")
			if err := syscall.Mount("", dir, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
				t.Skip(err)
			}
			return filepath.Join(dir, "bench.db"), nil
		}, `make logbook \S+: open \S+: read-only file system: .*` + elsewhere},
		{"a folder that may not be written", func(t *testing.T) (string, []string) {
			dir := t.TempDir()
			if os.Geteuid() == 0 {
				return "/sys/bench.db", nil // closed to root, too
			}
			if err := os.Chmod(dir, 0o500); err != nil { //nolint:gosec // a folder
				t.Fatal(err)
			}
			return filepath.Join(dir, "bench.db"), nil
		}, `make logbook \S+: open \S+: permission denied: .*` + elsewhere},
		{"no book, and a disk that is full", func(t *testing.T) (string, []string) {
			dir := mounted(t, "64k")
			if err := os.WriteFile(filepath.Join(dir, "fill"), make([]byte, 64<<10), 0o600); err != nil {
				t.Fatal(err)
			}
			return filepath.Join(dir, "bench.db"), nil
		}, `make logbook \S+: write \S+: no space left on device: free some disk space, or keep the logbook elsewhere with --book FILE`},
		{"locks that are refused", func(t *testing.T) (string, []string) {
			book := filepath.Join(t.TempDir(), "bench.db")
			record(t, book, oneFlask)
			strace, err := exec.LookPath("strace")
			if err != nil {
				t.Skip("strace is not here")
			}
			through := []string{strace, "-f", "-o", os.DevNull, "-e", "inject=flock:error=ENOLCK"}
			if _, told, code := run(t, "", append(through[:len(through):len(through)], bin, "version")...); code != 0 {
				t.Skip("strace may not work here: " + told)
			}
			return book, through
		}, `open logbook \S+: the file system of the logbook cannot lock files \(no locks available\): keep it on a disk of this computer`},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			book, through := c.place(t)
			was, werr := os.ReadFile(book)
			line := regexp.MustCompile(`^flaskside: ` + c.says + "\n$")
			in := oneCoat
			if werr != nil { // the bench is empty
				in = oneFlask
			}
			if out, told, code := run(t, in, append(through, bin, "--book", book, "--by", "KT", "record")...); code != 1 || out != "" || !line.MatchString(told) {
				t.Errorf("record: %d, %q, %q", code, out, told)
			}
			if through == nil {
				tm := open(t, book)
				err := tm.ended()
				words := regexp.MustCompile(strings.ReplaceAll(c.says, " ", `\s*`))
				if screen := strings.ReplaceAll(tm.screen(), "\n", ""); err == nil || !words.MatchString(screen) || strings.Contains(screen, "ENTER") {
					t.Errorf("the bench: %v, %s", err, tm.screen())
				}
			}
			if now, err := os.ReadFile(book); !bytes.Equal(now, was) || fmt.Sprint(err) != fmt.Sprint(werr) {
				t.Errorf("the book was changed: %v", err)
			}
			left, err := filepath.Glob(book + ".new-*")
			if err != nil || len(left) > 0 {
				t.Errorf("left behind: %v, %v", left, err)
			}
		})
	}
}
