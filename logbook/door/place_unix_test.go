//go:build unix

package door

import (
	"context"
	"errors"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// The longest name must fit the system's own structure, with its NUL.
func TestNameFitsTheSystem(t *testing.T) {
	if room := len(syscall.RawSockaddrUnix{}.Path); maxSocketName >= room {
		t.Errorf("a name of %d bytes and sun_path has %d", maxSocketName, room)
	}
}

func socketOf(t *testing.T, path string) string {
	t.Helper()
	sock, err := socketPath(path)
	if err != nil {
		t.Fatal(err)
	}
	return sock
}

// Only the owner may knock, from the first moment on and whatever the umask.
func TestOwnerOnly(t *testing.T) {
	h := closed(t) // its folder is made by the umask of the day
	defer syscall.Umask(syscall.Umask(0))
	stop, err := Serve(context.Background(), hubOf(h.book, h.ck))
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	fi, err := os.Lstat(socketOf(t, h.path))
	if err != nil || fi.Mode() != fs.ModeSocket|0o600 {
		t.Errorf("mode %v, %v", fi.Mode(), err)
	}
}

// TestPrivateFromTheStart: on Linux bind(2) takes the mode of the file from the
// socket; there is no moment at which others could connect.
func TestPrivateFromTheStart(t *testing.T) {
	if _, err := os.Stat("/proc/sys/kernel/ostype"); err != nil {
		t.Skip("not Linux")
	}
	defer syscall.Umask(syscall.Umask(0))
	sock := filepath.Join(t.TempDir(), "s")
	ln, err := (&net.ListenConfig{Control: beforeBind}).Listen(context.Background(), "unix", sock)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = ln.Close() }()
	if fi, err := os.Lstat(sock); err != nil || fi.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", fi.Mode(), err)
	}
}

func TestWhatLiesThere(t *testing.T) {
	h := closed(t)
	sock := socketOf(t, h.path)
	serve := func() error {
		stop, err := Serve(context.Background(), hubOf(h.book, h.ck))
		if err == nil {
			stop()
		}
		return err
	}
	left, err := net.ListenUnix("unix", &net.UnixAddr{Name: sock, Net: "unix"})
	if err != nil {
		t.Fatal(err)
	}
	left.SetUnlinkOnClose(false)
	if err := serve(); err == nil || !strings.Contains(err.Error(), "another program answers") {
		t.Errorf("somebody answers: %v", err)
	}
	if err := left.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Dial(h.path); !errors.Is(err, ErrNobody) {
		t.Errorf("nobody answers at the socket: %v", err)
	}
	if err := serve(); err != nil {
		t.Errorf("left behind by a program that was killed: %v", err)
	}
	if err := os.WriteFile(sock, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := serve(); err == nil || !strings.Contains(err.Error(), "not a socket") {
		t.Errorf("a file: %v", err)
	}
	if _, err := Dial(h.path); err == nil || errors.Is(err, ErrNobody) {
		t.Errorf("a file: %v", err)
	}
	if b, err := os.ReadFile(sock); err != nil || string(b) != "mine" {
		t.Errorf("the file was touched: %q, %v", b, err)
	}
}

// What another laid in the place of the socket is neither followed, waited on nor removed.
func TestLinksAndPipesAtTheSocket(t *testing.T) {
	h := closed(t)
	sock, dir := socketOf(t, h.path), t.TempDir()
	target, listening := filepath.Join(dir, "target"), filepath.Join(dir, "s")
	if err := os.WriteFile(target, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	ln, err := net.Listen("unix", listening)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = ln.Close() }()
	for what, lay := range map[string]func() error{
		"a link to a file":           func() error { return os.Symlink(target, sock) },
		"a link to nothing":          func() error { return os.Symlink(filepath.Join(dir, "none"), sock) },
		"a link to another's socket": func() error { return os.Symlink(listening, sock) },
		"a pipe":                     func() error { return syscall.Mkfifo(sock, 0o600) },
		"a folder":                   func() error { return os.Mkdir(sock, 0o700) },
	} {
		if err := lay(); err != nil {
			t.Fatal(err)
		}
		before, err := os.Lstat(sock)
		if err != nil {
			t.Fatal(err)
		}
		stop, err := Serve(context.Background(), hubOf(h.book, h.ck))
		if err == nil {
			stop()
		}
		if err == nil || !strings.Contains(err.Error(), "is not a socket: move it away") {
			t.Errorf("%s: the door opens: %v", what, err)
		}
		if _, err := Dial(h.path); err == nil || errors.Is(err, ErrNobody) || !strings.Contains(err.Error(), "is not a socket") {
			t.Errorf("%s: who knocks: %v", what, err)
		}
		if after, err := os.Lstat(sock); err != nil || !os.SameFile(before, after) {
			t.Errorf("%s was taken away: %v", what, err)
		}
		if err := os.Remove(sock); err != nil {
			t.Fatal(err)
		}
	}
	if b, err := os.ReadFile(target); err != nil || string(b) != "mine" || there(filepath.Join(dir, "none")) {
		t.Errorf("what the links lead to was touched: %q, %v", b, err)
	}
}

func there(path string) bool { _, err := os.Lstat(path); return err == nil }

func TestStrangersSocket(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("only root can give a file away")
	}
	h := open(t)
	if err := os.Chown(socketOf(t, h.path), 12345, -1); err != nil {
		t.Fatal(err)
	}
	if _, err := Dial(h.path); err == nil || errors.Is(err, ErrNobody) || !strings.Contains(err.Error(), "another user") {
		t.Error(err)
	}
}

func TestLongName(t *testing.T) {
	tmp, err := os.MkdirTemp("/tmp", "d")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(tmp) })
	t.Setenv("TMPDIR", tmp)
	fits := tmp + "/" + strings.Repeat("n", maxSocketName-len(tmp)-len("/.sock"))
	if got := socketOf(t, fits); got != fits+".sock" {
		t.Errorf("%q: socket %q", fits, got)
	}
	if got := socketOf(t, fits+"n"); filepath.Dir(got) != sideFolder() {
		t.Errorf("a byte more: socket %q", got)
	}

	h := closed(t)
	deep := filepath.Join(tmp, strings.Repeat("d", 60), strings.Repeat("e", 60))
	if err := os.MkdirAll(deep, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := h.book.Close(); err != nil {
		t.Fatal(err)
	}
	h.path = filepath.Join(deep, "b.db")
	h.reopen()
	stop, err := Serve(context.Background(), hubOf(h.book, h.ck))
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	fi, err := os.Lstat(sideFolder())
	if err != nil || fi.Mode() != fs.ModeDir|0o700 {
		t.Errorf("folder: %v, %v", fi.Mode(), err)
	}
	// All ways of naming the book lead to it.
	link := filepath.Join(tmp, "l")
	if err := os.Symlink(deep, link); err != nil {
		t.Fatal(err)
	}
	t.Chdir(deep)
	for _, name := range []string{h.path, "b.db", link + "/b.db", filepath.Join(deep, "..", filepath.Base(deep), "b.db")} {
		if _, err := Dial(name); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := os.Chmod(sideFolder(), 0o755); err != nil {
		t.Fatal(err)
	}
	if _, err := Dial(h.path); !errors.Is(err, ErrNobody) {
		t.Errorf("a folder that others may read: %v", err)
	}
	stop()
	again, err := Serve(context.Background(), hubOf(h.book, h.ck)) // in a folder of another name
	if err != nil {
		t.Fatal(err)
	}
	defer again()
	if _, err := Dial(h.path); err != nil {
		t.Errorf("in a folder of another name: %v", err)
	}

	t.Setenv("TMPDIR", deep)
	if _, err := socketPath(h.path); err == nil || !strings.Contains(err.Error(), "TMPDIR") {
		t.Errorf("nowhere to put it: %v", err)
	}
}
