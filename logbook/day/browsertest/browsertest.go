// Package browsertest opens pages of ours in a browser, for tests.
package browsertest

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// Find finds a Chromium; without one the test is skipped.
func Find(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	t.Skip("no Chromium is installed: the page is not opened in a browser")
	return ""
}

// Open opens a page in the headless Chromium at path, which may reach nothing, and gives
// what a command of it writes to a file of a name.
func Open(t *testing.T, path string, page []byte, command, name string, more ...string) []byte {
	t.Helper()
	dir := t.TempDir()
	in, out := filepath.Join(dir, "sheet.html"), filepath.Join(dir, name)
	if err := os.WriteFile(in, page, 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	args := append([]string{"--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update",
		"--disable-sync", "--user-data-dir=" + filepath.Join(dir, "profile"), "--host-resolver-rules=MAP * ~NOTFOUND", "--no-pdf-header-footer", command + "=" + out}, more...)
	cmd := exec.CommandContext(ctx, path, append(args, "file://"+filepath.ToSlash(in))...)
	cmd.WaitDelay = 5 * time.Second
	var said bytes.Buffer
	cmd.Stderr = &said
	if err := cmd.Run(); err != nil {
		t.Fatalf("the browser: %v\n%s", err, said.String())
	}
	got, err := os.ReadFile(out)
	if err != nil {
		t.Fatalf("%v\n%s", err, said.String())
	}
	return got
}
