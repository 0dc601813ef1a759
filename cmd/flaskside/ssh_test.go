//go:build !windows

package main

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/charmbracelet/x/vt"
	"github.com/creack/pty"
	"golang.org/x/crypto/ssh"

	"flaskside/logbook/people"
	"flaskside/timers/longrun"
)

// someone is a person with a key, at a screen of the built program.
type someone struct {
	t    *testing.T
	conn *ssh.Client
	in   io.WriteCloser
	mu   sync.Mutex
	em   *vt.Emulator
	said map[string]bool // records that were shown as saved
	end  chan struct{}
}

// keyFor lets somebody in and gives their key.
func keyFor(t testing.TB, book, by, role string) ssh.Signer {
	t.Helper()
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	s, err := ssh.NewSignerFromKey(private)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := people.Add(people.Path(book), string(ssh.MarshalAuthorizedKey(s.PublicKey())), by, role, false); err != nil {
		t.Fatal(err)
	}
	return s
}

// servedAt is where the keeper serves screens.
func (k *kept) servedAt() string {
	k.t.Helper()
	line := k.says("screens over SSH at ")
	_, after, _ := strings.Cut(line, "screens over SSH at ")
	at, _, _ := strings.Cut(after, ",")
	return at
}

// keepingSSH starts a keeper that serves screens, and says where.
func keepingSSH(t testing.TB, book, at string) (*kept, string) {
	t.Helper()
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	k := &kept{t: t, cmd: exec.Command(bin, "keep", "--book", book, "--ssh", at), out: &lockedText{}}
	k.cmd.Stderr = k.out
	if err := k.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = k.cmd.Process.Kill(); _ = k.cmd.Wait() })
	addr := k.servedAt()
	k.says("keeping")
	return k, addr
}

var savedRecord = regexp.MustCompile(`saved: .*record (\d+)`)

// comes logs in.
func comes(t *testing.T, at string, key ssh.Signer) (*someone, error) {
	t.Helper()
	conn, err := ssh.Dial("tcp", at, &ssh.ClientConfig{User: "anybody", Auth: []ssh.AuthMethod{ssh.PublicKeys(key)},
		HostKeyCallback: ssh.InsecureIgnoreHostKey(), Timeout: 20 * time.Second}) //nolint:gosec // the bench of this test
	if err != nil {
		return nil, err
	}
	t.Cleanup(func() { _ = conn.Close() })
	sess, err := conn.NewSession()
	if err != nil {
		return nil, err
	}
	s := &someone{t: t, conn: conn, em: vt.NewEmulator(80, 24), said: map[string]bool{}, end: make(chan struct{})}
	out, err := sess.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if s.in, err = sess.StdinPipe(); err != nil {
		return nil, err
	}
	if err := errors.Join(sess.RequestPty("xterm-256color", 24, 80, ssh.TerminalModes{}), sess.Shell()); err != nil {
		return nil, err
	}
	go func() { _, _ = io.Copy(s.in, s.em) }()
	t.Cleanup(func() {
		if p, ok := s.em.InputPipe().(io.Closer); ok {
			_ = p.Close()
		}
	})
	go func() {
		defer close(s.end)
		buf := make([]byte, 32<<10)
		for {
			n, err := out.Read(buf)
			s.mu.Lock()
			_, _ = s.em.Write(buf[:n])
			if m := savedRecord.FindStringSubmatch(s.em.String()); m != nil {
				s.said[m[1]] = true
			}
			s.mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
	return s, nil
}

func mustCome(t *testing.T, at string, key ssh.Signer) *someone {
	t.Helper()
	s, err := comes(t, at, key)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func (s *someone) shown() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.em.String()
}

func (s *someone) sees(want string) {
	s.t.Helper()
	for deadline := time.Now().Add(30 * time.Second); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		if strings.Contains(s.shown(), want) {
			return
		}
	}
	s.t.Fatalf("the screen never showed %q:\n%s", want, s.shown())
}

func (s *someone) types(keys string) {
	for _, r := range keys {
		if _, err := io.WriteString(s.in, string(r)); err != nil {
			return // the link may be gone
		}
		time.Sleep(230 * time.Millisecond) // slower than a doubled key
	}
}

// TestTwoPeopleOneFlask: over SSH the second grade of one closure asks for a reason, as at one
// screen; undoing is about one's own record; what one acknowledges is acknowledged for the other;
// a key that is taken out ends its screen.
func TestTwoPeopleOneFlask(t *testing.T) {
	t.Parallel() // it waits more than it works
	book := filepath.Join(t.TempDir(), "bench.db")
	k, m := keyFor(t, book, "KT", "work"), keyFor(t, book, "MB", "work")
	keeper, at := keepingSSH(t, book, "127.0.0.1:0")
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	var acts strings.Builder
	ago := func(min int) string {
		return time.Now().Add(-time.Duration(min) * time.Minute).Format(time.RFC3339)
	}
	for i, l := range []string{
		`"at":%q,"act":"flask-open","body":{"place":1,"case":"4417","base":"upper","size":"medium"}`, `"at":%q,"act":"coat","body":{"flask":1,"half":"both"}`,
		`"at":%q,"act":"mix","body":{"flasks":[1]}`, `"at":%q,"act":"press-in","body":{"flask":1}`, `"at":%q,"act":"press-at","body":{"flask":1}`, `"at":%q,"act":"press-open","body":{"flask":1}`,
	} {
		fmt.Fprintf(&acts, `{"id":"a%d","by":"LL","why":"8",%s}`+"\n", i, fmt.Sprintf(l, ago([]int{60, 55, 28, 8, 6, 2}[i])))
	}
	rec := exec.Command(bin, "record", "--book", book)
	rec.Stdin = strings.NewReader(acts.String())
	if out, err := rec.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	kt, mb := mustCome(t, at, k), mustCome(t, at, m)
	for _, s := range []*someone{kt, mb} {
		s.sees("judge the flash")
		s.types("\r")
		s.sees("1 none")
	}
	kt.types("2")
	kt.sees("saved: ")
	mb.types("3")
	mb.sees("unusual")
	mb.types("0")
	kt.types("0")
	kt.sees("undo the last record?")
	kt.sees("by KT")
	kt.types("0")
	mb.types("00")
	mb.sees("nothing of yours to undo")
	// An alarm is there for both, and for both acknowledged.
	act := exec.Command(bin, "record", "--book", book)
	act.Stdin = strings.NewReader(fmt.Sprintf(`{"id":"t","by":"LL","at":%q,"act":"timer-start","body":{"label":"soak","count":"down","aim_s":60}}`, ago(3)))
	if out, err := act.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	kt.sees("▲")
	before := len(recordsThrough(t, book))
	mb.sees("▲")
	for range 8 { // all that stand
		kt.types(".")
	}
	kt.sees("no alarm to acknowledge")
	mb.types(".")
	mb.sees("no alarm to acknowledge")
	if n := len(recordsThrough(t, book)); n <= before {
		t.Error("nothing was acknowledged")
	}
	if out, err := exec.Command(bin, "people", "--book", book).CombinedOutput(); err != nil || !bytes.Contains(out, []byte("KT")) || bytes.Count(out, []byte("from 127.0.0.1 with SHA256:")) != 2 {
		t.Errorf("people: %v, %s", err, out)
	}
	if out, err := exec.Command(bin, "people", "--book", book, "remove", "MB").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	<-mb.end
	mb.sees("your key was taken out")
	if _, err := comes(t, at, m); err == nil {
		t.Error("a key that was taken out gets in")
	}
	kt.types("/")
	keeper.ends()
	kt.sees("the bench was closed")
}

// recordsThrough reads the records of a book that a bench has.
func recordsThrough(t *testing.T, book string) []string {
	t.Helper()
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(bin, "day", "--book", book, "--format", "jsonl").Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSpace(string(out)), "\n")
}

// TestKeeperKilledAtWork: the keeper is killed while people record at many screens; every
// record that a screen showed as saved is in the book, and they get in again.
func TestKeeperKilledAtWork(t *testing.T) {
	t.Parallel() // it waits more than it works
	book := filepath.Join(t.TempDir(), "bench.db")
	n := longrun.Times(4, 20)
	var keys []ssh.Signer
	for i := range n {
		keys = append(keys, keyFor(t, book, fmt.Sprint("P", i), "work"))
	}
	keeper, at := keepingSSH(t, book, "127.0.0.1:0")
	var all []*someone
	for _, k := range keys {
		s := mustCome(t, at, k)
		s.sees("place 1")
		all = append(all, s)
	}
	var work sync.WaitGroup
	for i, s := range all {
		work.Go(func() { // a timer of one's own, over and over
			for range longrun.Times(4, 6) {
				s.types("+3")
				if i == 0 {
					s.types("1")
				}
				s.types("1119\r")
			}
		})
	}
	time.Sleep(time.Duration(longrun.Times(5, 7)) * time.Second)
	if err := keeper.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	work.Wait()
	_ = keeper.cmd.Wait()
	in := map[string]bool{}
	for _, r := range recordsOf(t, book) {
		in[fmt.Sprint(r.Seq)] = true
	}
	shown := 0
	for _, s := range all {
		<-s.end
		s.mu.Lock()
		for seq := range s.said {
			shown++
			if !in[seq] {
				t.Errorf("record %s was shown as saved, and is not in the book", seq)
			}
		}
		s.mu.Unlock()
	}
	if shown == 0 {
		t.Errorf("nothing was recorded:\n%s", all[0].shown())
	}
	_, at = keepingSSH(t, book, at)
	mustCome(t, at, keys[0]).sees("place 1")
}

// onPTY runs a command on a terminal, and sees it.
func onPTY(t *testing.T, c *exec.Cmd) *terminal {
	t.Helper()
	tm := &terminal{t: t, cmd: c, em: vt.NewEmulator(80, 24), end: make(chan error, 1)}
	var err error
	if tm.pty, err = pty.StartWithSize(c, &pty.Winsize{Rows: 24, Cols: 80}); err != nil {
		t.Fatal(err)
	}
	tm.follow()
	return tm
}

// TestOpenSSHClient: a real client of OpenSSH, where it is at hand.
func TestOpenSSHClient(t *testing.T) {
	t.Parallel() // it waits more than it works
	client, err := exec.LookPath("ssh")
	if err != nil {
		t.Skip("the client of OpenSSH is not here")
	}
	dir := t.TempDir()
	book, id := filepath.Join(dir, "bench.db"), keyFile(t, dir)
	line, err := os.ReadFile(id + ".pub")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := people.Add(people.Path(book), string(line), "KT", "work", false); err != nil {
		t.Fatal(err)
	}
	_, at := keepingSSH(t, book, "127.0.0.1:0")
	tm := onPTY(t, exec.Command(client, sshArgs(dir, id, at)...))
	tm.sees("new flask on place 1")
	tm.types("\r4417\r12")
	tm.sees("saved: flask opened")
	tm.types("+91")
	if err := tm.ended(); err != nil {
		t.Errorf("it ended with %v", err)
	}
	if out, err := exec.Command(client, append(sshArgs(dir, id, at)[1:], "id")...).CombinedOutput(); err == nil {
		t.Errorf("a command ran: %s", out)
	}
}

// sshArgs are those of a client that knows nothing and asks nobody.
func sshArgs(dir, id, at string) []string {
	host, port, _ := net.SplitHostPort(at)
	return []string{"-tt", "-F", "/dev/null", "-i", id, "-o", "IdentitiesOnly=yes", "-o", "BatchMode=yes", "-o", "StrictHostKeyChecking=no",
		"-o", "UserKnownHostsFile=" + filepath.Join(dir, "known"), "-p", port, host}
}

// keyFile makes a key as ssh-keygen does.
func keyFile(t *testing.T, dir string) string {
	t.Helper()
	id := filepath.Join(dir, "id")
	if out, err := exec.Command("ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", id).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return id
}

// TestPlainSSHD: the documented line in authorized_keys of an sshd of the computer is a screen
// of the bench, of the person that it names, and of nobody else.
func TestPlainSSHD(t *testing.T) {
	longrun.Only(t, "the SSH server of the system")
	t.Parallel() // it waits more than it works
	sshd, err := exec.LookPath("/usr/sbin/sshd")
	client, err2 := exec.LookPath("ssh")
	if err := errors.Join(err, err2); err != nil {
		t.Skipf("the server of OpenSSH is not here: %v", err)
	}
	me, err := user.Current()
	if err != nil {
		t.Skip(err)
	}
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	dir, err := os.MkdirTemp("", "flaskside-sshd-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	book, id := filepath.Join(dir, "bench.db"), keyFile(t, dir)
	host := filepath.Join(dir, "host")
	if out, err := exec.Command("ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", host).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	pub, err := os.ReadFile(id + ".pub")
	if err != nil {
		t.Fatal(err)
	}
	line := fmt.Sprintf(`restrict,pty,command="%s --book %s --by KT" %s`, bin, book, pub)
	if err := os.WriteFile(filepath.Join(dir, "authorized"), []byte(line), 0o600); err != nil {
		t.Fatal(err)
	}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	at := ln.Addr().String()
	_ = ln.Close()
	_, port, _ := net.SplitHostPort(at)
	config := fmt.Sprintf("ListenAddress 127.0.0.1\nPort %s\nHostKey %s\nAuthorizedKeysFile %s/authorized\nStrictModes no\nPidFile none\nUsePAM no\nPasswordAuthentication no\nKbdInteractiveAuthentication no\nPermitRootLogin prohibit-password\n", port, host, dir)
	if err := os.WriteFile(filepath.Join(dir, "config"), []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	if me.Uid == "0" {
		_ = os.Mkdir("/run/sshd", 0o755) //nolint:gosec // as sshd wants it
	}
	server := exec.Command(sshd, "-D", "-e", "-f", filepath.Join(dir, "config"))
	var said bytes.Buffer
	server.Stderr = &said
	if err := server.Start(); err != nil {
		t.Skipf("an sshd of one's own does not start here: %v", err)
	}
	t.Cleanup(func() { _ = server.Process.Kill(); _ = server.Wait() })
	for range 100 {
		if c, err := net.Dial("tcp", at); err == nil {
			_ = c.Close()
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	k := keeping(t, book)
	args := sshArgs(dir, id, at)
	args[len(args)-1] = me.Username + "@127.0.0.1"
	tm := onPTY(t, exec.Command(client, args...))
	tm.sees("new flask on place 1")
	tm.types("\r4417\r12")
	tm.sees("saved: flask opened")
	_ = tm.cmd.Process.Kill() // the link is lost
	_ = tm.ended()
	k.ends()
	var got []string
	for _, r := range recordsOf(t, book) {
		got = append(got, r.Action.By+" "+string(r.Action.Body.Kind()))
	}
	if want := "KT screen,KT flask-open,KT screen"; strings.Join(got, ",") != want {
		t.Errorf("the book has %q, want %q; sshd said %s", got, want, said.String())
	}
}
