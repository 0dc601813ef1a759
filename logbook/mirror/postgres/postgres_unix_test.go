//go:build unix

package postgres

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/mirrortest"
	"flaskside/timers/longrun"
)

var rounds = flag.Int("rounds", longrun.Times(1, 12), "how often the server is killed")

// real is a PostgreSQL server in a process of its own.
type real struct {
	t         testing.TB
	bin, data string
	port      int
	as        *syscall.Credential // it refuses to run as root
	careless  bool                // it answers before anything is synced
	cmd       *exec.Cmd
	ended     chan struct{}
}

// found finds the PostgreSQL of this machine, and who it may run as.
func found(t testing.TB) *real {
	t.Helper()
	all, _ := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if len(all) == 0 {
		if path, err := exec.LookPath("initdb"); err == nil {
			all = []string{path}
		}
	}
	if len(all) == 0 {
		t.Skip("PostgreSQL is not on this machine: install it to try this")
	}
	slices.Sort(all)
	r := &real{t: t, bin: filepath.Dir(all[len(all)-1])}
	if os.Getuid() == 0 {
		u, err := user.Lookup("postgres")
		if err != nil {
			t.Skip("there is no user postgres, and the server refuses to run as root")
		}
		uid, _ := strconv.ParseUint(u.Uid, 10, 32)
		gid, _ := strconv.ParseUint(u.Gid, 10, 32)
		r.as = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	r.port = l.Addr().(*net.TCPAddr).Port
	_ = l.Close()
	return r
}

// init makes a cluster in a folder, which is given to whom the server runs as.
func (r *real) init(dir string) {
	r.t.Helper()
	r.in(dir)
	if r.as != nil {
		if err := os.Chown(dir, int(r.as.Uid), int(r.as.Gid)); err != nil {
			r.t.Fatal(err)
		}
	}
	init := r.command("initdb", "-D", r.data, "-U", "kt", "-A", "trust", "--no-instructions", "--no-sync", "--locale=C", "-E", "UTF8")
	if out, err := init.CombinedOutput(); err != nil {
		r.t.Fatalf("%v: %s", err, out)
	}
}

func (r *real) in(dir string) { r.data = filepath.Join(dir, "data") }

// served is the server of all tests, in its folder; nil where none was asked for yet.
var served *real

// TestMain ends the server that the tests share.
func TestMain(m *testing.M) {
	code := m.Run()
	if served != nil {
		served.kill()
		_ = os.RemoveAll(filepath.Dir(served.data))
	}
	os.Exit(code)
}

// serve gives the server, of the PostgreSQL on this machine, and a new database in it.
func serve(t testing.TB) (r *real, database string) {
	t.Helper()
	longrun.Only(t, "a PostgreSQL server")
	if served == nil {
		r := found(t)
		dir, err := os.MkdirTemp("", "flaskside-pg-")
		if err != nil {
			t.Fatal(err)
		}
		r.in(dir)
		served = r
		r.init(dir)
	}
	served.t = t
	if served.cmd == nil {
		served.start()
	}
	database = "of" + strings.ToLower(t.Name())
	served.do("postgres", "create database "+database)
	return served, database
}

func (r *real) command(name string, args ...string) *exec.Cmd {
	c := exec.Command(filepath.Join(r.bin, name), args...)
	c.Dir = filepath.Dir(r.data)
	c.SysProcAttr = &syscall.SysProcAttr{Credential: r.as}
	return c
}

func (r *real) start() { r.startUnless(nil) }

// startUnless starts the server, unless something comes first; tells whether it is up.
func (r *real) startUnless(stop <-chan struct{}) bool {
	r.t.Helper()
	// What a killed server leaves behind, memory that its last process still holds, can make
	// the next one end at once: then it is begun again.
	for begun := time.Now(); time.Since(begun) < 3*time.Minute; time.Sleep(50 * time.Millisecond) {
		if r.up(stop) {
			return true
		}
		r.kill()
		select {
		case <-stop:
			return false
		default:
		}
	}
	r.t.Fatal("the server does not come up")
	return false
}

// up starts the server and tells whether it answers; false where it ended, or something came first.
func (r *real) up(stop <-chan struct{}) bool {
	r.t.Helper()
	r.cmd = r.command("postgres", "-D", r.data, "-p", strconv.Itoa(r.port), "-c", "listen_addresses=127.0.0.1", "-c", "unix_socket_directories=", "-c", "max_connections=40", "-c", "fsync="+onOff(!r.careless))
	if err := r.cmd.Start(); err != nil {
		r.t.Fatal(err)
	}
	r.ended = make(chan struct{})
	go func(c *exec.Cmd, ended chan struct{}) { _ = c.Wait(); close(ended) }(r.cmd, r.ended)
	for begun := time.Now(); time.Since(begun) < time.Minute; {
		p, err := connect(context.Background(), r.at("postgres"), Access{})
		if err == nil {
			_ = p.Close()
			return true
		}
		select {
		case <-r.ended:
			return false
		case <-stop:
			return false
		case <-time.After(20 * time.Millisecond):
		}
	}
	return false
}

func onOff(on bool) string {
	if on {
		return "on"
	}
	return "off"
}

// kill ends the server and all its processes as a crash does. Each of those has a group of its
// own, and is found by whose child it is.
func (r *real) kill() {
	if r.cmd == nil {
		return
	}
	pid := r.cmd.Process.Pid
	_ = syscall.Kill(pid, syscall.SIGSTOP) // it begins no others meanwhile
	all := append(children(pid), pid)
	for _, p := range all {
		_ = syscall.Kill(p, syscall.SIGKILL)
	}
	<-r.ended
	r.cmd = nil
	for _, p := range all { // until the system has let go of them
		for begun := time.Now(); syscall.Kill(p, 0) == nil && !zombie(p) && time.Since(begun) < time.Minute; {
			time.Sleep(time.Millisecond)
		}
	}
}

// stat gives the state of a process and whose child it is; none where there is no /proc.
func stat(pid int) (state string, parent int) {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return "", 0
	}
	_, rest, _ := strings.Cut(string(b), ") ") // after its name
	f := strings.Fields(rest)
	if len(f) < 2 {
		return "", 0
	}
	parent, _ = strconv.Atoi(f[1])
	return f[0], parent
}

func zombie(pid int) bool { state, _ := stat(pid); return state == "Z" }

func children(of int) (out []int) {
	all, _ := filepath.Glob("/proc/[0-9]*")
	for _, p := range all {
		if pid, err := strconv.Atoi(filepath.Base(p)); err == nil {
			if _, parent := stat(pid); parent == of {
				out = append(out, pid)
			}
		}
	}
	return out
}

func (r *real) at(database string) string {
	return fmt.Sprintf("postgres://kt@127.0.0.1:%d/%s", r.port, database)
}

func (r *real) do(database, sql string) {
	r.t.Helper()
	p, err := connect(context.Background(), r.at(database), Access{})
	if err == nil {
		_, err = p.ask(context.Background(), sql)
		_ = p.Close()
	}
	if err != nil {
		r.t.Fatalf("%s: %v", sql, err)
	}
}

func TestSuite(t *testing.T) {
	r, name := serve(t)
	if _, err := Open(context.Background(), r.at(name), Access{}); !errors.Is(err, mirror.ErrNoMirror) {
		t.Fatalf("no table is there: %v", err)
	}
	p, made, err := Begin(context.Background(), r.at(name), Access{})
	if err != nil || !made {
		t.Fatal(made, err)
	}
	defer func() { _ = p.Close() }()
	mirrortest.Suite(t, func(t *testing.T) (mirror.Remote, func() mirror.Remote) {
		return mirrortest.Since(t, func() mirror.Remote {
			q, err := Open(context.Background(), r.at(name), Access{})
			if err != nil {
				t.Fatal(err)
			}
			return q
		})
	})
}

// TestPrivileges: an account that may only look and add is enough; one that may do more, and a
// server that does not sync, are told of.
func TestPrivileges(t *testing.T) {
	r, name := serve(t)
	ctx := context.Background()
	p, _, err := Begin(ctx, r.at(name), Access{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = p.Close() }()
	if a, err := p.About(ctx); err != nil || !a.MayDelete || a.ReadOnly || len(a.Risks) != 1 || !strings.Contains(a.Risks[0].Do, "SELECT and INSERT alone") {
		t.Errorf("the owner: %+v, %v", a, err)
	}
	r.do(name, "create role bench login")
	r.do(name, "grant select, insert on "+table+" to bench")
	q, err := Open(ctx, r.at(name), Access{User: "bench"})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = q.Close() }()
	if a, err := q.About(ctx); err != nil || a.MayDelete || a.ReadOnly || a.Risks != nil || a.Unknown != nil {
		t.Errorf("the bench: %+v, %v", a, err)
	}
	b := mirrortest.NewBook("B", 20, "a")
	if _, err := mirror.Bring(ctx, q, b, mirror.BringOptions{}); err != nil {
		t.Error(err)
	}
	r.do(name, "revoke insert on "+table+" from bench")
	b.Add(1, "a")
	if _, err := mirror.Bring(ctx, q, b, mirror.BringOptions{}); err == nil || !strings.Contains(err.Error(), "refuses this account") {
		t.Errorf("without the right to add: %v", err)
	}
	if a, err := q.About(ctx); err != nil || !a.ReadOnly {
		t.Errorf("without the right to add: %+v, %v", a, err)
	}
}

// TestKilledWhileItWrites: the server is killed, with all its processes, again and again while a
// bench goes on. What the bench was told is there stays there; in the end all is there.
func TestKilledWhileItWrites(t *testing.T) {
	if testing.Short() {
		t.Skip("a server that is killed again and again takes its time")
	}
	r, name := serve(t)
	ctx := context.Background()
	if p, _, err := Begin(ctx, r.at(name), Access{}); err != nil {
		t.Fatal(err)
	} else if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	b, failed := mirrortest.NewBook("KILLED", 0, "a"), 0
	for round := range *rounds {
		var told mirror.StreamEnd
		b.Add(8*mirror.RunRecords, fmt.Sprint("r", round))
		now, killed, runs := make(chan struct{}), make(chan struct{}), 0
		go func() {
			defer close(killed)
			<-now
			r.kill()
		}()
		if p, err := Open(ctx, r.at(name), Access{}); err == nil {
			_, err := mirror.Bring(ctx, p, b, mirror.BringOptions{Tell: func(e mirror.StreamEnd) {
				if told = e; runs == round%5 { // from then on while the next are written
					close(now)
				}
				runs++
			}})
			if err != nil {
				failed++
			}
			_ = p.Close()
		}
		if runs <= round%5 {
			close(now)
		}
		<-killed
		r.start()
		p, err := Open(ctx, r.at(name), Access{})
		if err != nil {
			t.Fatal(err)
		}
		s := mirror.Stream{Book: "KILLED", Generation: 1}
		c, err := mirror.Compare(ctx, p, b, s)
		if err != nil || c.Alike < told.Seq || len(c.Missing) > 0 || len(c.Other) > 0 || len(c.Spoilt) > 0 {
			t.Fatalf("round %d: told %s, then %+v, %v", round, told, c, err)
		}
		if _, err := mirror.Bring(ctx, p, b, mirror.BringOptions{}); err != nil {
			t.Fatalf("round %d: the server is back: %v", round, err)
		}
		if c, err := mirror.Compare(ctx, p, b, s); err != nil || !c.Equal() {
			t.Fatalf("round %d: %+v, %v", round, c, err)
		}
		_ = p.Close()
	}
	if failed == 0 {
		t.Error("it was never killed while it wrote: nothing was tried")
	}
	t.Logf("%d records, %d times broken off", len(b.Recs), failed)
}

// TestNotThere: what is not there, or not encrypted, is told, and no password with it.
func TestNotThere(t *testing.T) {
	for _, to := range []string{"postgres://kt@127.0.0.1:1/x", "postgres://kt@nowhere.invalid/x"} {
		if _, err := Open(context.Background(), to, Access{Password: "secret-word"}); err == nil || strings.Contains(err.Error(), "secret-word") || !strings.Contains(err.Error(), "cannot be reached") {
			t.Errorf("%s: %v", to, err)
		}
	}
	for host, want := range map[string]bool{"localhost": true, "127.0.0.1": true, "::1": true, "/run/postgresql": true, "10.0.0.1": false, "db.lab": false, "localhost.lab": false} {
		if local(host) != want {
			t.Errorf("%s is this machine: %v", host, !want)
		}
	}
}
