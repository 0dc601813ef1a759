//go:build unix

package logbook

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// A folder or a book that may not be written gives one line. The superuser may write
// everywhere, so the other process is somebody else.
func TestReadOnly(t *testing.T) {
	dir, err := os.MkdirTemp("", "flaskside-ro-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = os.Chmod(dir, 0o700) // so that it can be taken away
		_ = os.RemoveAll(dir)
	})
	copyFile(t, seedBook(t, 3), filepath.Join(dir, "locked.db"))
	binary := filepath.Join(dir, "child")
	copyFile(t, os.Args[0], binary)
	for path, mode := range map[string]os.FileMode{filepath.Join(dir, "locked.db"): 0o444, binary: 0o555, dir: 0o555} {
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
	}
	for name, want := range map[string]string{"new.db": "error make logbook " + filepath.Join(dir, "new.db") + ": ", "locked.db": "error open logbook " + filepath.Join(dir, "locked.db") + ": "} {
		path := filepath.Join(dir, name)
		c := spawn(t, "hold", path, 0)
		c.Path, c.Args[0] = binary, binary
		if os.Geteuid() == 0 {
			c.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}} // nobody, Debian's passwd
		}
		out, err := c.Output()
		var exit *exec.ExitError
		line := strings.TrimSuffix(string(out), "\n")
		if !errors.As(err, &exit) || !strings.HasPrefix(line, want) || !strings.Contains(line, "permission denied") {
			t.Errorf("%s: %q (%v), want %q … permission denied", name, line, err, want)
			continue
		}
		oneLine(t, name, errors.New(line))
	}
	names, err := os.ReadDir(dir)
	if err != nil || len(names) != 2 {
		t.Errorf("something was left behind: %v (%v)", names, err)
	}
}
