//go:build unix

package jetstream

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	js "github.com/nats-io/nats.go/jetstream"

	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/mirrortest"
	"flaskside/timers/longrun"
)

// rounds: some ten seconds each; 60 are ten minutes.
var rounds = flag.Int("rounds", 6, "how often anything happens to servers, beyond what happens each time")

const asServer = "FLASKSIDE_TEST_SERVER"

// process is one server in a process of its own.
type process struct {
	Name, Dir, Routes string
	Port, Cluster     int
	Told              int  // where it tells of itself
	Late              bool // syncs every two minutes, as servers do that nobody told otherwise
	Alone             bool // is no part of a cluster

	cmd   *exec.Cmd
	alive io.Closer // its standard input: it ends with this one
}

// TestMain is a server where it was started as one.
func TestMain(m *testing.M) {
	if told := os.Getenv(asServer); told != "" {
		var p process
		if err := json.Unmarshal([]byte(told), &p); err != nil {
			panic(err)
		}
		o := &server.Options{ServerName: p.Name, Host: "127.0.0.1", Port: p.Port, HTTPHost: "127.0.0.1", HTTPPort: p.Told, JetStream: true, StoreDir: p.Dir, SyncAlways: !p.Late, NoLog: true, NoSigs: true,
			PingInterval: time.Second, MaxPingsOut: 2}
		if !p.Alone {
			// Servers tell each other of others, who would then be asked past the wires: nobody is
			// where they are told to be.
			o.Cluster = server.ClusterOpts{Name: "chaos", Host: "127.0.0.1", Port: p.Cluster, Advertise: "127.0.0.1:1", PingInterval: time.Second}
			o.Routes = server.RoutesFromStr(p.Routes)
		}
		s, err := server.NewServer(o)
		if err != nil {
			panic(err)
		}
		go s.Start()
		_, _ = io.Copy(io.Discard, os.Stdin)
		os.Exit(0)
	}
	os.Exit(m.Run())
}

func (p *process) start(t *testing.T) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	p.cmd = exec.Command(self)
	p.cmd.Env = append(os.Environ(), asServer+"="+string(b))
	if p.alive, err = p.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
}

// kill ends it as a crash does.
func (p *process) kill() {
	if p.cmd != nil {
		_ = p.cmd.Process.Kill()
		_ = p.cmd.Wait()
		_ = p.alive.Close()
		p.cmd = nil
	}
}

func (p *process) freeze() { _ = p.cmd.Process.Signal(syscall.SIGSTOP) }
func (p *process) thaw()   { _ = p.cmd.Process.Signal(syscall.SIGCONT) }

// bencher is a bench that goes on whatever happens to the servers.
type bencher struct {
	t       *testing.T
	to      string
	b       *mirrortest.Invented
	place   mirror.Remote
	told    mirror.StreamEnd // as far as it was told that it is there
	failed  int
	through int // brought while something was wrong with the servers
}

// bring tries once, as a running bench does.
func (w *bencher) bring(within time.Duration) error {
	ctx, cancel := context.WithTimeout(context.Background(), within)
	defer cancel()
	if w.place == nil {
		j, err := Open(ctx, w.to, Access{})
		if err != nil {
			w.failed++
			return err
		}
		w.place = j
	}
	d, err := mirror.Bring(ctx, w.place, w.b, mirror.BringOptions{Bench: "b", At: mirrortest.Start, Tell: func(e mirror.StreamEnd) { w.told = e }})
	var fork *mirror.Fork
	var older *mirror.Older
	var spoilt *mirror.Spoilt
	switch {
	case err == nil:
		w.told = d.End
		return nil
	case errors.As(err, &fork), errors.As(err, &older), errors.As(err, &spoilt):
		w.t.Fatalf("servers that came and went are told as: %v", err)
	}
	w.failed++
	_ = w.place.Close() // opened anew, as a running bench does
	w.place = nil
	return err
}

// chaos is three servers, the wires between them and a bench that writes to them.
type chaos struct {
	*bencher
	all  []*process
	net  *network
	slow func(time.Duration) // each write and sync of the servers' disks; nil where it cannot be had
}

func newChaos(t *testing.T, slow bool) *chaos {
	t.Helper()
	c := &chaos{}
	dir := scratch(t)
	if slow {
		dir, c.slow = slowDisk(t, dir)
	}
	ps := ports(t, 9)
	c.net = newNetwork(t, ps[3:6], ps[:3])
	var hosts []string
	for i := range 3 {
		var routes []string
		for j := range 3 {
			if i != j {
				routes = append(routes, fmt.Sprintf("nats://127.0.0.1:%d", c.net.wires[[2]int{i, j}].port()))
			}
		}
		p := &process{Name: fmt.Sprint("s", i), Dir: filepath.Join(dir, fmt.Sprint(i)), Routes: strings.Join(routes, ","), Port: ps[i], Cluster: ps[3+i], Told: ps[6+i]}
		p.start(t)
		t.Cleanup(p.kill)
		c.all, hosts = append(c.all, p), append(hosts, fmt.Sprintf("127.0.0.1:%d", c.net.wires[[2]int{3, i}].port()))
	}
	c.bencher = &bencher{t: t, to: "nats://" + strings.Join(hosts, ","), b: mirrortest.NewBook("CHAOS", 0, "a")}
	c.until("the servers find each other", func() error {
		return c.api(func(ctx context.Context, api js.JetStream) error {
			_, err := api.AccountInfo(ctx)
			return err
		})
	})
	c.until("the servers come up", func() error {
		j, made, err := Begin(context.Background(), c.to, Access{})
		if err != nil {
			return err
		}
		if a, err := j.About(context.Background()); !made || err != nil || a.Replicas != 3 {
			t.Fatalf("begun with %+v, %v", a, err)
		}
		c.place = j
		return nil
	})
	return c
}

// until waits for something, as long as that may take on a busy machine.
func (c *chaos) until(what string, f func() error) {
	c.t.Helper()
	var err error
	for begun := time.Now(); time.Since(begun) < 3*time.Minute; time.Sleep(50 * time.Millisecond) {
		if err = f(); err == nil {
			return
		}
	}
	c.t.Fatalf("waited for: %s: %v", what, err)
}

// api asks the servers through a connection of its own, past the wires.
func (c *chaos) api(f func(ctx context.Context, api js.JetStream) error) error {
	var hosts []string
	for _, p := range c.all {
		hosts = append(hosts, fmt.Sprintf("nats://127.0.0.1:%d", p.Port))
	}
	conn, err := nats.Connect(strings.Join(hosts, ","), nats.Timeout(time.Second))
	if err != nil {
		return err
	}
	defer conn.Close()
	api, err := js.New(conn)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(context.Background(), 500*time.Millisecond)
	defer cancel()
	return f(ctx, api)
}

// asked asks the stream so.
func (c *chaos) asked(f func(ctx context.Context, s js.Stream) error) error {
	return c.api(func(ctx context.Context, api js.JetStream) error {
		s, err := api.Stream(ctx, defaultStream)
		if err != nil {
			return err
		}
		return f(ctx, s)
	})
}

// together has the server lead the stream that leads them all, so that what happens to the
// others takes no election.
func (c *chaos) together() {
	c.until("one server leads all", func() error {
		r, err := http.Get(fmt.Sprintf("http://127.0.0.1:%d/jsz", c.all[0].Told))
		if err != nil {
			return err
		}
		defer func() { _ = r.Body.Close() }()
		var said server.JSInfo
		if err := json.NewDecoder(r.Body).Decode(&said); err != nil || said.Meta == nil || said.Meta.Leader == "" {
			return fmt.Errorf("nobody leads them: %+v, %w", said.Meta, err)
		}
		if at, ok := c.leader(); ok && c.all[at].Name == said.Meta.Leader {
			return nil
		}
		err = c.api(func(ctx context.Context, api js.JetStream) error {
			_, err := api.Conn().RequestWithContext(ctx, "$JS.API.STREAM.LEADER.STEPDOWN."+defaultStream, fmt.Appendf(nil, `{"placement":{"preferred":%q}}`, said.Meta.Leader))
			return err
		})
		return errors.Join(errors.New("another one leads the stream"), err)
	})
}

// leader is the number of the server that leads the stream; ok is false where it is not known.
func (c *chaos) leader() (at int, ok bool) {
	_ = c.asked(func(_ context.Context, s js.Stream) error {
		for i, p := range c.all {
			if s.CachedInfo().Cluster.Leader == p.Name {
				at, ok = i, true
			}
		}
		return nil
	})
	return at, ok
}

// kept holds what the bench was told is there against what is there, before it can bring
// anything again: that would put back what was lost.
func (c *chaos) kept() {
	c.t.Helper()
	for _, p := range c.all {
		c.until(p.Name+" is up", func() error {
			conn, err := nats.Connect(fmt.Sprintf("nats://127.0.0.1:%d", p.Port), nats.Timeout(time.Second))
			if err == nil {
				conn.Close()
			}
			return err
		})
	}
	c.until("all servers have the same", func() error {
		return c.asked(func(_ context.Context, s js.Stream) error {
			in := s.CachedInfo().Cluster
			if in == nil || in.Leader == "" || len(in.Replicas) != 2 {
				return fmt.Errorf("%+v", in)
			}
			for _, r := range in.Replicas {
				if !r.Current || r.Offline {
					return fmt.Errorf("%+v", *r)
				}
			}
			return nil
		})
	})
	if c.told.Seq == 0 {
		return
	}
	// One that led and was cut off answers for a while as if it still did, and lacks what the others
	// took meanwhile: what is lost is lost for good.
	c.until(fmt.Sprintf("message %d, of which was told that all up to %s is there", c.told.Token, c.told), func() error {
		return c.asked(func(ctx context.Context, s js.Stream) error {
			m, err := s.GetMsg(ctx, c.told.Token)
			if err != nil {
				return err
			}
			if run, err := mirror.ParseRun(m.Data); err != nil || run.Header.Hash != c.told.Hash {
				c.t.Fatalf("told that %s is message %d, which ends with %s, %v", c.told, c.told.Token, run.End(), err)
			}
			return nil
		})
	})
}

// whole brings the rest and holds all that is there against the book.
func (c *chaos) whole(what string) {
	c.t.Helper()
	c.until("the bench brings the rest after "+what, func() error { return c.bring(5 * time.Second) })
	s := mirror.Stream{Book: "CHAOS", Generation: 1}
	c.until("the mirror can be compared", func() error {
		ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
		defer cancel()
		cmp, err := mirror.Compare(ctx, c.place, c.b, s)
		if err == nil && (!cmp.Equal() || len(cmp.Spoilt) > 0 || c.told.Seq != uint64(len(c.b.Recs))) {
			c.t.Fatalf("%s: told %s, compared %+v", what, c.told, cmp)
		}
		return err
	})
	c.until("the mirror can be read", func() error {
		next := uint64(1)
		ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
		defer cancel()
		err := c.place.Read(ctx, s, 1, func(p mirror.Object) error {
			run, err := mirror.ParseRun(p.Raw)
			if err != nil {
				return err
			}
			for _, e := range run.Entries {
				if e.Seq != next || !bytes.Equal(e.Raw, c.b.Recs[e.Seq-1].Raw) {
					c.t.Fatalf("%s: record %d stands where %d should, or is another", what, e.Seq, next)
				}
				next++
			}
			return nil
		})
		if err == nil && next != uint64(len(c.b.Recs))+1 {
			c.t.Fatalf("%s: %d of %d records", what, next-1, len(c.b.Recs))
		}
		return err
	})
}

// fault is what can happen to servers.
type fault struct {
	name   string
	quorum bool // enough of them go on, and the bench must get through
	begin  func(c *chaos, first, second int, drop bool)
}

var faults = []fault{
	{"one server is killed", true, func(c *chaos, a, _ int, _ bool) { c.all[a].kill() }},
	{"one is killed, another cut off", false, func(c *chaos, a, b int, drop bool) { c.all[a].kill(); c.net.away(b, 3, drop); c.net.cut(3, b, drop) }},
	{"one is cut off", true, func(c *chaos, a, _ int, drop bool) {
		c.net.away(a, 3, drop)
		c.net.cut(3, a, drop)
		c.net.cut(a, 3, drop)
	}},
	{"one hears nobody and is heard", true, func(c *chaos, a, _ int, drop bool) {
		for i := range 3 {
			c.net.cut(i, a, drop)
		}
	}},
	{"two do not hear each other", true, func(c *chaos, a, b int, drop bool) { c.net.cut(a, b, drop); c.net.cut(b, a, drop) }},
	{"all wires are cut", false, func(c *chaos, _, _ int, drop bool) {
		for i := range 3 {
			c.net.away(i, 3, drop)
		}
	}},
	{"the bench is cut off", false, func(c *chaos, _, _ int, drop bool) { c.net.away(3, 3, drop) }},
	{"two are frozen", false, func(c *chaos, a, b int, _ bool) { c.all[a].freeze(); c.all[b].freeze() }},
	{"one is frozen, another killed", false, func(c *chaos, a, b int, _ bool) { c.all[a].freeze(); c.all[b].kill() }},
	{"all are killed", false, func(c *chaos, _, _ int, _ bool) {
		for _, p := range c.all {
			p.kill()
		}
	}},
	{"disks are slow", true, func(c *chaos, _, _ int, _ bool) {
		if c.slow != nil {
			c.slow(150 * time.Millisecond)
		}
	}},
	{"disks are slow, and one is killed", true, func(c *chaos, a, _ int, _ bool) {
		if c.slow != nil {
			c.slow(40 * time.Millisecond)
		}
		c.all[a].kill()
	}},
}

// mend ends whatever was wrong.
func (c *chaos) mend() {
	c.net.heal()
	if c.slow != nil {
		c.slow(0)
	}
	for _, p := range c.all {
		if p.cmd == nil {
			p.start(c.t)
		} else {
			p.thaw()
		}
	}
}

// round has one thing happen, for a time at least, while the bench goes on; led says that it
// happens first of all to the server that leads.
func (c *chaos) round(f fault, dice *rand.Rand, led bool, hold time.Duration) {
	hit := dice.Perm(3)
	if at, ok := c.leader(); ok {
		for hit[0] != at == led {
			hit = dice.Perm(3)
		}
	}
	f.begin(c, hit[0], hit[1], dice.IntN(2) == 0)
	add := func() { c.b.Add(1+dice.IntN(200), fmt.Sprint("a", len(c.b.Recs))) }
	begun, was := time.Now(), c.failed
	for tries := 0; tries < 2 || time.Since(begun) < hold; tries++ {
		add()
		_ = c.bring(500 * time.Millisecond) // whether it went or not is told by what is there
		if tries > 1 {
			time.Sleep(100 * time.Millisecond)
		}
	}
	if !f.quorum && c.failed == was {
		c.t.Fatalf("%s, and all goes on: nothing was tried", f.name)
	}
	if f.quorum {
		add()
		c.until("the bench gets through while "+f.name, func() error { return c.bring(5 * time.Second) })
		c.through++
	}
	c.mend()
	c.kept()
	c.whole(f.name)
}

// TestServersComeAndGo: servers in processes of their own are killed, cut off from each other
// and the bench, both at once and so many of them that the others must wait, while a bench goes
// on. What it was told is there stays there; in the end all is there, in order, once, with the
// same last hash.
func TestServersComeAndGo(t *testing.T) {
	if testing.Short() {
		t.Skip("servers that come and go take their time")
	}
	longrun.Only(t, "servers that come and go, in processes of their own")
	t.Parallel()
	c, dice := newChaos(t, *rounds > 0), rand.New(rand.NewPCG(1, 2)) //nolint:gosec // to be played again
	c.together()                                                     // each time; in the rounds whoever leads is hit as well
	c.round(faults[0], dice, false, 0)
	c.round(faults[1], dice, false, 0)
	quorums, most := 0, time.Duration(0)
	for round := range *rounds {
		f, begun := faults[round%len(faults)], time.Now()
		c.round(f, dice, dice.IntN(2) == 0, time.Duration(dice.IntN(9))*time.Second)
		if !f.quorum {
			quorums++
		}
		most = max(most, time.Since(begun))
		t.Logf("%d: %s, %.1f s", round, f.name, time.Since(begun).Seconds())
	}
	if c.failed == 0 || c.through == 0 {
		t.Error("nothing ever failed, or nothing got through: nothing was tried")
	}
	t.Logf("%d rounds, %d of them without a quorum or the bench, %d records, %d tries that failed, a round took %.1f s at most", *rounds+2, quorums+1, len(c.b.Recs), c.failed, most.Seconds())
}
