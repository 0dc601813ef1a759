package jetstream

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"flaskside/logbook/disk/disktest"
	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/mirrortest"
	"flaskside/timers/longrun"
)

var powerCuts = flag.Int("powercuts", 12, "how often the power of a server's disk is cut; takes root and /dev/fuse")

// on has f work with a server whose files lie in the ext4 of a disk; the server is killed in the
// end. An error is that of mounting the disk.
func on(t *testing.T, file string, late bool, f func(to string)) error {
	t.Helper()
	folder := filepath.Join(t.TempDir(), "ext4")
	if err := os.Mkdir(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	return disktest.AsExt4(t, file, folder, func() {
		p := &process{Name: "one", Dir: filepath.Join(folder, "js"), Port: ports(t, 1)[0], Late: late, Alone: true}
		p.start(t)
		defer p.kill()
		f(fmt.Sprintf("nats://127.0.0.1:%d", p.Port))
	})
}

// begun begins a mirror, as soon as the server is up; nil where stop comes first.
func begun(t *testing.T, to string, stop <-chan struct{}) *JetStream {
	t.Helper()
	var err error
	for first := time.Now(); time.Since(first) < 2*time.Minute; {
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		var j *JetStream
		j, _, err = Begin(ctx, to, Access{})
		cancel()
		if err == nil {
			return j
		}
		select {
		case <-stop:
			return nil
		case <-time.After(20 * time.Millisecond):
		}
	}
	t.Fatal(err)
	return nil
}

// cutPower lets a bench bring records to a server until the power of its disk goes: after so
// many writes and flushes, or where a number of records is told as there. It gives the disk of
// after and what was told.
func cutPower(t *testing.T, image []byte, b *mirrortest.Invented, late bool, rnd *rand.Rand, left int, enough uint64) (after []byte, told mirror.StreamEnd) {
	t.Helper()
	d := disktest.New(image, left, disktest.Honest)
	d.Under(t, t.TempDir(), func(file string) {
		err := on(t, file, late, func(to string) {
			j := begun(t, to, d.Went)
			if j == nil {
				return
			}
			defer func() { _ = j.Close() }()
			for range 2000 {
				b.Add(1+rnd.IntN(20), fmt.Sprint("p", len(b.Recs)))
				ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
				_, err := mirror.Bring(ctx, j, b, mirror.BringOptions{Tell: func(e mirror.StreamEnd) { told = e }})
				cancel()
				if told.Seq >= enough {
					d.Cut()
				}
				if err != nil || d.Off() {
					return
				}
			}
			t.Error("the disk was hardly written")
		})
		if err != nil && !d.Off() { // else the power went before the disk was mounted
			t.Fatalf("mount: %v", err)
		}
		d.Cut()
	})
	return d.AfterCut(rnd, []float64{0, 0.5, 0.9, 1}[rnd.IntN(4)]), told
}

// back starts a server on what a power cut left, and lets the bench go on. It gives where the
// mirror ends then, and the disk as it is afterwards.
func back(t *testing.T, image []byte, b *mirrortest.Invented, late bool) (was mirror.StreamEnd, after []byte) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "disk")
	if err := os.WriteFile(file, image, 0o600); err != nil {
		t.Fatal(err)
	}
	err := on(t, file, late, func(to string) {
		j := begun(t, to, nil)
		defer func() { _ = j.Close() }()
		d, err := mirror.Bring(context.Background(), j, b, mirror.BringOptions{})
		if f := (*mirror.Fork)(nil); errors.As(err, &f) {
			t.Fatalf("what the power cut took is told as another history: %v", err)
		}
		if err != nil {
			t.Fatalf("the bench goes on: %v", err)
		}
		was = d.Was
		if c, err := mirror.Compare(context.Background(), j, b, d.Stream); err != nil || !c.Equal() || len(c.Spoilt) > 0 {
			t.Fatalf("after the power cut: %+v, %v", c, err)
		}
	})
	if err != nil {
		t.Fatalf("mount after a power cut: %v", err)
	}
	if after, err = os.ReadFile(file); err != nil {
		t.Fatal(err)
	}
	return was, after
}

// TestLostPower cuts the power of a server's disk while a bench brings records. A server that
// syncs always has all that it acknowledged; one that syncs every two minutes, as servers do
// unless told otherwise, must lack some, or the rig is blind. The bench takes neither for
// another history, and brings what is missing.
func TestLostPower(t *testing.T) {
	if testing.Short() {
		t.Skip("a power cut takes a second")
	}
	longrun.Only(t, "power cuts of a server's disk")
	t.Parallel()
	blank := disktest.Blank(t, 64<<20)
	rnd := rand.New(rand.NewPCG(20261125, 15)) //nolint:gosec // to be played again
	image, b, records := blank, mirrortest.NewBook("POWER", 0, "a"), uint64(0)
	for round := range *powerCuts {
		after, told := cutPower(t, image, b, false, rnd, 300+rnd.IntN(1500), 1<<60)
		was, now := back(t, after, b, false)
		if was.Seq < told.Seq {
			t.Fatalf("cut %d: told that all up to %s is there, and the server that syncs always has those up to %s", round, told, was)
		}
		records += told.Seq
		if image = now; round%5 == 4 {
			image, b = blank, mirrortest.NewBook("POWER", 0, fmt.Sprint("b", round))
		}
	}
	lost, controls := 0, max(1, *powerCuts/3)
	for round := range controls {
		b := mirrortest.NewBook("LATE", 0, fmt.Sprint("c", round))
		after, told := cutPower(t, blank, b, true, rnd, 1<<40, 300)
		if was, _ := back(t, after, b, true); was.Seq < told.Seq {
			lost++
		}
	}
	t.Logf("%d power cuts of a server that syncs always, the last records told as there %d in all: none lost; of %d that sync every two minutes %d lost some", *powerCuts, records, controls, lost)
	if 2*lost < controls || lost == 0 {
		t.Error("the rig is blind")
	}
}
