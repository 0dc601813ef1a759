//go:build !windows

package main

import (
	"bytes"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// answers is what a command of the built program answers.
func answers(t testing.TB, in string, args ...string) (string, error) {
	t.Helper()
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(bin, args...)
	cmd.Stdin = strings.NewReader(in)
	out, err := cmd.CombinedOutput()
	return string(out), err
}

// hanging starts the keeper with a board at an address, and gives what it says of it.
func hanging(t testing.TB, book, at string) (*kept, string) {
	t.Helper()
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	k := &kept{t: t, cmd: exec.Command(bin, "keep", "--book", book, "--board", at), out: &lockedText{}}
	k.cmd.Stderr = k.out
	if err := k.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = k.cmd.Process.Kill(); _ = k.cmd.Wait() })
	line := k.says("wall board at")
	k.says("keeping")
	return k, line
}

// looked fetches a page.
func looked(t *testing.T, url string) (int, string) {
	t.Helper()
	resp, err := http.Get(url) //nolint:gosec,noctx // the board of this test
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = resp.Body.Close() }()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, string(body)
}

// TestBoard: the board is off until it is asked for, has a token and says who can look; another
// token shuts the old address; it shows what the bench has, and all benches of a mirror.
func TestBoard(t *testing.T) {
	t.Parallel() // it waits more than it works
	dir := t.TempDir()
	book := filepath.Join(dir, "bench.db")
	for _, c := range [][]string{{"keep", "--book", book, "--board", "127.0.0.1:0"}, {"board", "--book", book}} {
		if out, err := answers(t, "", c...); err == nil || strings.Count(out, "\n") != 1 || !strings.Contains(out, "flaskside board --new") {
			t.Errorf("%q without a token: %v, %q", c, err, out)
		}
	}
	for _, at := range []string{"8020", ":8020", "127.0.0.1", "127.0.0.1:"} {
		if out, err := answers(t, "", "keep", "--book", book, "--board", at); err == nil || strings.Count(out, "\n") != 1 || !strings.Contains(out, "127.0.0.1:8020") {
			t.Errorf("--board %s: %v, %q", at, err, out)
		}
	}
	place := filepath.Join(dir, "mirror")
	if err := os.Mkdir(place, 0o700); err != nil {
		t.Fatal(err)
	}
	settings := filepath.Join(dir, "house.toml")
	if err := os.WriteFile(settings, []byte("[mirror]\nto = '"+place+"'\nbench = 'north'\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := answers(t, "", "settings", "--book", book, "--import", settings); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if out, err := answers(t, "", "mirror", "--book", book, "--to", place); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	first, err := answers(t, "", "board", "--book", book, "--new")
	if err != nil {
		t.Fatalf("%v: %s", err, first)
	}
	if fi, err := os.Stat(book + ".board"); err != nil || fi.Mode().Perm() != 0o600 {
		t.Errorf("the token is in a file of mode %v, %v", fi.Mode(), err)
	}
	k, line := hanging(t, book, "127.0.0.1:0")
	if !strings.Contains(line, "only from this computer") || strings.Contains(line, strings.Split(first, "/")[3]) {
		t.Errorf("it begins with %q", line)
	}
	_, at, _ := strings.Cut(line, "http://")
	at, _, _ = strings.Cut(at, "/")
	address := func() string {
		out, err := answers(t, "", "board", "--book", book, "--at", at)
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		return strings.TrimSpace(out)
	}
	old := address()
	act := `{"id":"t","at":"` + time.Now().Format(time.RFC3339) + `","by":"KT","act":"flask-open","body":{"place":3,"case":"4417","base":"upper","size":"large"}}`
	if out, err := answers(t, act, "record", "--book", book); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if code, page := looked(t, old); code != 200 || !strings.Contains(page, "4417") || !strings.Contains(page, "all benches") {
		t.Errorf("the board answers %d:\n%s", code, page)
	}
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(200 * time.Millisecond) {
		code, page := looked(t, old+"benches")
		if code == 200 && strings.Contains(page, "<bdi>north</bdi>") {
			break
		}
		if time.Now().After(deadline) {
			t.Errorf("all benches are answered %d:\n%s", code, page)
			break
		}
	}
	if out, err := answers(t, "", "people", "--book", book); err != nil || !strings.Contains(out, "on the wall, to look at only") {
		t.Errorf("who is on which screen: %v, %s", err, out)
	}
	if out, err := answers(t, "", "board", "--book", book, "--new"); err != nil || out == first {
		t.Fatalf("%v: %s", err, out)
	}
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(100 * time.Millisecond) {
		was, _ := looked(t, old)
		if is, _ := looked(t, address()); was == 404 && is == 200 {
			break
		}
		if time.Now().After(deadline) {
			t.Error("the old token still holds, or the new one does not")
			break
		}
	}
	k.ends()
	if err := os.Chmod(book+".board", 0o644); err != nil {
		t.Fatal(err)
	}
	if out, err := answers(t, "", "keep", "--book", book, "--board", "127.0.0.1:0"); err == nil || !strings.Contains(out, "can be read by others") {
		t.Errorf("with a token that all can read: %v, %q", err, out)
	}
}

// TestBoardOnTheNetwork: an address that others can reach is said to be one, with what it means.
func TestBoardOnTheNetwork(t *testing.T) {
	t.Parallel() // it waits more than it works
	book := filepath.Join(t.TempDir(), "bench.db")
	if out, err := answers(t, "", "board", "--book", book, "--new"); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	k, line := hanging(t, book, "0.0.0.0:0")
	if !strings.Contains(line, "FROM EVERY NETWORK") || !strings.Contains(line, "case numbers and initials") || !strings.Contains(line, "plain HTTP") {
		t.Errorf("it begins with %q", line)
	}
	k.ends()
	var out bytes.Buffer
	if err := printUnit(&out, &options{book: book, board: "127.0.0.1:8020"}, ""); err != nil || !strings.Contains(out.String(), `"--board" "127.0.0.1:8020"`) {
		t.Errorf("the service: %v\n%s", err, out.String())
	}
}
