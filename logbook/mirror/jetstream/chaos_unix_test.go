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
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/mirrortest"
	"flaskside/timers/longrun"
)

// rounds: about ten seconds each; 60 are ten minutes.
var rounds = flag.Int("rounds", longrun.Times(2, 6), "how often servers are killed and cut off")

const asServer = "FLASKSIDE_TEST_SERVER"

// process is one server in a process of its own.
type process struct {
	Name, Dir, Routes string
	Port, Cluster     int

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
		o := &server.Options{ServerName: p.Name, Host: "127.0.0.1", Port: p.Port, JetStream: true, StoreDir: p.Dir, SyncAlways: true, NoLog: true, NoSigs: true,
			Cluster: server.ClusterOpts{Name: "chaos", Host: "127.0.0.1", Port: p.Cluster}, Routes: server.RoutesFromStr(p.Routes)}
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

// freeze cuts it off: its wires stay and say nothing.
func (p *process) freeze() { _ = p.cmd.Process.Signal(syscall.SIGSTOP) }
func (p *process) thaw()   { _ = p.cmd.Process.Signal(syscall.SIGCONT) }

// bencher is a bench that goes on whatever happens to the servers.
type bencher struct {
	t      *testing.T
	to     string
	b      *mirrortest.Book
	place  mirror.Place
	told   mirror.End // as far as it was told that it is there
	failed int
}

// bring tries once, as a running bench does.
func (w *bencher) bring(within time.Duration) error {
	ctx, cancel := context.WithTimeout(context.Background(), within)
	defer cancel()
	if w.place == nil {
		j, err := Open(ctx, w.to, Access{})
		if err != nil {
			return err
		}
		w.place = j
	}
	d, err := mirror.Bring(ctx, w.place, w.b, mirror.Options{Bench: "b", At: mirrortest.Start, Tell: func(e mirror.End) { w.told = e }})
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

// TestServersComeAndGo: servers in processes of their own are killed, frozen, both, and so many
// at once that the others must wait, while a bench goes on. What it was told is there stays
// there; in the end all is there, in order, once, with the same last hash.
func TestServersComeAndGo(t *testing.T) {
	if testing.Short() {
		t.Skip("servers that come and go take their time")
	}
	ps := ports(t, 6)
	var routes []string
	for _, p := range ps[3:] {
		routes = append(routes, fmt.Sprintf("nats://127.0.0.1:%d", p))
	}
	dir := scratch(t)
	var all []*process
	var hosts []string
	for i := range 3 {
		p := &process{Name: fmt.Sprint("s", i), Dir: filepath.Join(dir, fmt.Sprint(i)), Routes: strings.Join(routes, ","), Port: ps[i], Cluster: ps[3+i]}
		p.start(t)
		t.Cleanup(p.kill)
		all, hosts = append(all, p), append(hosts, fmt.Sprintf("127.0.0.1:%d", p.Port))
	}
	w := &bencher{t: t, to: "nats://" + strings.Join(hosts, ","), b: mirrortest.NewBook("CHAOS", 0, "a")}
	begun := false
	for range 100 {
		j, made, err := Begin(context.Background(), w.to, Access{})
		if err == nil {
			if a, err := j.About(context.Background()); !made || err != nil || a.Replicas != 3 {
				t.Fatalf("begun with %+v, %v", a, err)
			}
			w.place, begun = j, true
			break
		}
		time.Sleep(200 * time.Millisecond)
	}
	if !begun {
		t.Fatal("the servers do not come up")
	}
	quorums := 0
	dice := rand.New(rand.NewPCG(1, 2)) //nolint:gosec // to be played again
	for round := range *rounds {
		hit := dice.Perm(3)[:1+round%2]
		if len(hit) == 2 {
			quorums++
		}
		for k, i := range hit {
			if (round/2+k)%2 == 0 {
				all[i].kill()
			} else {
				all[i].freeze()
			}
		}
		for range 2 {
			w.b.Add(1+dice.IntN(700), fmt.Sprint("r", round, "-", len(w.b.Recs)))
			_ = w.bring(2 * time.Second) // whether it went or not is told by what is there
		}
		for _, i := range hit {
			if all[i].cmd == nil {
				all[i].start(t)
			} else {
				all[i].thaw()
			}
		}
		var err error
		for range 60 {
			if err = w.bring(5 * time.Second); err == nil {
				break
			}
			time.Sleep(250 * time.Millisecond)
		}
		if err != nil {
			t.Fatalf("round %d: the servers are back, and nothing gets there: %v", round, err)
		}
		w.whole(round)
	}
	if w.failed == 0 {
		t.Error("nothing ever failed: nothing was tried")
	}
	t.Logf("%d rounds, %d without a quorum, %d records, %d tries that failed", *rounds, quorums, len(w.b.Recs), w.failed)
}

// whole holds all that is there against the book.
func (w *bencher) whole(round int) {
	w.t.Helper()
	ctx, s := context.Background(), mirror.Stream{Book: "CHAOS", Generation: 1}
	c, err := mirror.Compare(ctx, w.place, w.b, s)
	for range 60 { // the servers may still be agreeing on who leads
		if err == nil {
			break
		}
		time.Sleep(250 * time.Millisecond)
		c, err = mirror.Compare(ctx, w.place, w.b, s)
	}
	if err != nil || !c.Equal() || len(c.Spoilt) > 0 || w.told.Seq != uint64(len(w.b.Recs)) {
		w.t.Fatalf("round %d: told %s, compared %+v, %v", round, w.told, c, err)
	}
	next := uint64(1)
	read := func(p mirror.Piece) error {
		run, err := mirror.ParseRun(p.Raw)
		if err != nil {
			return err
		}
		for _, e := range run.Entries {
			if e.Seq != next || !bytes.Equal(e.Raw, w.b.Recs[e.Seq-1].Raw) {
				w.t.Fatalf("round %d: record %d stands where %d should, or is another", round, e.Seq, next)
			}
			next++
		}
		return nil
	}
	for range 60 {
		next = 1
		if err = w.place.Read(ctx, s, 1, read); err == nil {
			break
		}
		time.Sleep(250 * time.Millisecond)
	}
	if err != nil || next != uint64(len(w.b.Recs))+1 {
		w.t.Fatalf("round %d: %d of %d records, %v", round, next-1, len(w.b.Recs), err)
	}
}
