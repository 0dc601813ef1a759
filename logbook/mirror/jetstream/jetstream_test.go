package jetstream

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/mirrortest"
	"flaskside/timers/longrun"
)

// scratchDir, where it is not nil, gives the folders instead.
var scratchDir func() string

// scratch is a folder in memory where the machine has one, so that syncs cost nothing.
func scratch(t testing.TB) string {
	if scratchDir != nil {
		return scratchDir()
	}
	if dir, err := os.MkdirTemp("/dev/shm", "flaskside-test-"); err == nil {
		t.Cleanup(func() { _ = os.RemoveAll(dir) })
		return dir
	}
	return t.TempDir()
}

// options of a server on a port of this machine alone.
func options(t testing.TB, name string) *server.Options {
	return &server.Options{ServerName: name, Host: "127.0.0.1", Port: server.RANDOM_PORT, JetStream: true, StoreDir: scratch(t), SyncAlways: true, NoLog: true, NoSigs: true, MaxPayload: 8 << 20}
}

func start(t testing.TB, o *server.Options) *server.Server {
	t.Helper()
	s, err := server.NewServer(o)
	if err != nil {
		t.Fatal(err)
	}
	go s.Start()
	t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	if !s.ReadyForConnections(10 * time.Second) {
		t.Fatal("the server does not come up")
	}
	return s
}

func at(servers ...*server.Server) string {
	var hosts []string
	for _, s := range servers {
		hosts = append(hosts, s.Addr().String())
	}
	return "nats://" + strings.Join(hosts, ",")
}

// ports gives free ones of this machine.
func ports(t testing.TB, n int) []int {
	var out []int
	for range n {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = l.Close() }()
		out = append(out, l.Addr().(*net.TCPAddr).Port)
	}
	return out
}

// three are servers that each keep a copy.
func three(t testing.TB) []*server.Server {
	t.Helper()
	ps := ports(t, 3)
	var routes []string
	for _, p := range ps {
		routes = append(routes, fmt.Sprintf("nats://127.0.0.1:%d", p))
	}
	var out []*server.Server
	for i, p := range ps {
		o := options(t, fmt.Sprint("s", i))
		o.Cluster = server.ClusterOpts{Name: "test", Host: "127.0.0.1", Port: p}
		o.Routes = server.RoutesFromStr(strings.Join(routes, ","))
		s, err := server.NewServer(o)
		if err != nil {
			t.Fatal(err)
		}
		go s.Start()
		t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
		out = append(out, s)
	}
	for range 300 {
		for _, s := range out {
			if s.JetStreamIsLeader() && len(s.JetStreamClusterPeers()) == 3 {
				return out
			}
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatal("the servers do not find each other")
	return nil
}

// fresh begins a mirror; each case has a stream of its own.
func fresh(t *testing.T, to string, copies int) (mirror.Remote, func() mirror.Remote) {
	t.Helper()
	var j *JetStream
	var err error
	for tries := 0; ; tries++ { // servers that have just found each other refuse for a moment, or answer late
		var made bool
		if j, made, err = Begin(context.Background(), to, Access{}); err == nil {
			if !made && tries == 0 {
				t.Fatal("a mirror is there already")
			}
			break
		}
		if tries == 100 {
			t.Fatal(err)
		}
		time.Sleep(100 * time.Millisecond)
	}
	if a, err := j.About(context.Background()); err != nil || a.Replicas != copies || a.MayDelete {
		t.Fatalf("%+v, %v", a, err)
	}
	return j, func() mirror.Remote {
		q, err := Open(context.Background(), to, Access{})
		if err != nil {
			t.Fatal(err)
		}
		return q
	}
}

func TestSuiteOneServer(t *testing.T) {
	t.Parallel()
	to, n := at(start(t, options(t, "one"))), 0
	mirrortest.Suite(t, func(t *testing.T) (mirror.Remote, func() mirror.Remote) {
		n++
		return fresh(t, fmt.Sprintf("%s/LAB%d", to, n), 1)
	})
}

func TestSuiteThreeServers(t *testing.T) {
	longrun.Only(t, "three servers that agree on each run")
	t.Parallel()
	to := at(three(t)...)
	first, again := fresh(t, to, 3)
	defer func() { _ = first.Close() }()
	mirrortest.Suite(t, func(t *testing.T) (mirror.Remote, func() mirror.Remote) { // one stream, for which they agree once on who leads
		return mirrortest.Since(t, again)
	})
}

func TestNoMirror(t *testing.T) {
	ctx := context.Background()
	to := at(start(t, options(t, "one")))
	if _, err := Open(ctx, to, Access{}); !errors.Is(err, mirror.ErrNoMirror) {
		t.Errorf("no stream is there: %v", err)
	}
	if _, err := Open(ctx, fmt.Sprintf("nats://127.0.0.1:%d", ports(t, 1)[0]), Access{}); err == nil || errors.Is(err, mirror.ErrNoMirror) || !strings.Contains(err.Error(), "do not answer") {
		t.Errorf("no server is there: %v", err)
	}
}

// TestAddresses: what is no address is refused; what is not this machine alone is never asked
// without encryption.
func TestAddresses(t *testing.T) {
	for to, want := range map[string]address{
		"nats://localhost":             {hosts: []string{"nats://localhost:4222"}, stream: "FLASKSIDE", loopback: true},
		"nats://127.0.0.1:7/LAB":       {hosts: []string{"nats://127.0.0.1:7"}, stream: "LAB", loopback: true},
		"nats://[::1]:7":               {hosts: []string{"nats://[::1]:7"}, stream: "FLASKSIDE", loopback: true},
		"nats://a,b:1,c":               {hosts: []string{"nats://a:4222", "nats://b:1", "nats://c:4222"}, stream: "FLASKSIDE"},
		"nats://localhost,b":           {hosts: []string{"nats://localhost:4222", "nats://b:4222"}, stream: "FLASKSIDE"},
		"tls://localhost":              {hosts: []string{"nats://localhost:4222"}, stream: "FLASKSIDE", loopback: true, tls: true},
		"nats://127.0.0.1.example.org": {hosts: []string{"nats://127.0.0.1.example.org:4222"}, stream: "FLASKSIDE"},
	} {
		got, err := parse(to)
		if err != nil || fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%s: %+v, %v", to, got, err)
		}
	}
	for _, to := range []string{"nats://", "nats://a:b", "nats://a:99999", "nats://,", "nats://a/x.y", "nats://a/x/y", "nats://a/>"} {
		if a, err := parse(to); err == nil {
			t.Errorf("%s is read as %+v", to, a)
		}
	}
}

// TestNoPlainText: servers that are not this machine's own and offer no encryption get nothing.
func TestNoPlainText(t *testing.T) {
	host, err := os.Hostname()
	if err != nil {
		t.Skip("this machine has no name")
	}
	addrs, err := net.LookupHost(host)
	if err != nil || len(addrs) == 0 {
		t.Skip("the name of this machine has no address")
	}
	o := options(t, "one")
	o.Host = "0.0.0.0"
	s := start(t, o)
	to := fmt.Sprintf("nats://%s:%d", host, s.Addr().(*net.TCPAddr).Port)
	if _, err := Open(context.Background(), to, Access{User: "kt", Password: "secret-word"}); err == nil || !strings.Contains(err.Error(), "nothing was sent") || strings.Contains(err.Error(), "secret-word") {
		t.Errorf("%s: %v", to, err)
	}
}

// TestRefused: an account that is wrong is told so, and its password is in no error.
func TestRefused(t *testing.T) {
	o := options(t, "one")
	o.Username, o.Password = "kt", "right-word"
	to := at(start(t, o))
	for _, a := range []Access{{}, {User: "kt", Password: "wrong-word"}, {Token: "wrong-word"}} {
		_, err := Open(context.Background(), to, a)
		if err == nil || !strings.Contains(err.Error(), "refuse this account") || strings.Contains(err.Error(), "wrong-word") {
			t.Errorf("%v", err)
		}
	}
	if _, _, err := Begin(context.Background(), to, Access{User: "kt", Password: "right-word"}); err != nil {
		t.Error(err)
	}
}
