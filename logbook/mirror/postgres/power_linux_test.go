package postgres

import (
	"context"
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

var powerCuts = flag.Int("powercuts", longrun.Times(0, 3), "how often the power of the server's disk is cut; takes root and /dev/fuse")

// imageBytes has room for a cluster and its log of 16 MB parts.
const imageBytes = 224 << 20

// on has f work in the folder of an ext4 in a file; the server in it is killed in the end.
func (r *real) on(file string, f func(dir string)) error {
	r.t.Helper()
	folder := filepath.Join(r.t.TempDir(), "ext4")
	if err := os.Mkdir(folder, 0o755); err != nil {
		r.t.Fatal(err)
	}
	for dir := folder; len(dir) > len(os.TempDir()); dir = filepath.Dir(dir) { // it runs as another user
		if err := os.Chmod(dir, 0o755); err != nil { //nolint:gosec // of a test
			r.t.Fatal(err)
		}
	}
	return disktest.AsExt4(r.t, file, folder, func() {
		defer r.kill()
		r.in(folder)
		f(folder)
	})
}

func (r *real) file(image []byte) string {
	file := filepath.Join(r.t.TempDir(), "disk")
	if err := os.WriteFile(file, image, 0o600); err != nil {
		r.t.Fatal(err)
	}
	return file
}

// TestLostPower cuts the power of the server's disk while a bench brings records. A server as it
// comes has all that it acknowledged; one with fsync off must lack some or not come up, or the
// rig is blind.
func TestLostPower(t *testing.T) {
	if *powerCuts == 0 {
		t.Skip("-powercuts N cuts the power N times")
	}
	r, ctx := found(t), context.Background()
	file := r.file(disktest.Blank(t, imageBytes))
	if err := r.on(file, func(dir string) {
		r.init(dir)
		r.start()
		if _, _, err := Begin(ctx, r.at("postgres"), Access{}); err != nil {
			t.Fatal(err)
		}
		r.do("postgres", "checkpoint")
	}); err != nil {
		t.Fatal(err)
	}
	made, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	rnd := rand.New(rand.NewPCG(20261125, 16)) //nolint:gosec // to be played again
	cut := func(name string, left int, enough uint64) (told, was mirror.StreamEnd, up bool) {
		b := mirrortest.NewBook("POWER", 0, name)
		d := disktest.New(made, left, disktest.Honest)
		d.Under(t, t.TempDir(), func(file string) {
			if err := r.on(file, func(string) {
				if !r.startUnless(d.Went) {
					return
				}
				p, err := Open(ctx, r.at("postgres"), Access{})
				for err == nil && !d.Off() {
					b.Add(1+rnd.IntN(20), fmt.Sprint(len(b.Recs)))
					wait, cancel := context.WithTimeout(ctx, 5*time.Second)
					_, err = mirror.Bring(wait, p, b, mirror.BringOptions{Tell: func(e mirror.StreamEnd) { told = e }})
					cancel()
					if told.Seq >= enough {
						d.Cut()
					}
				}
			}); err != nil && !d.Off() {
				t.Fatalf("mount: %v", err)
			}
			d.Cut()
		})
		err := r.on(r.file(d.AfterCut(rnd, []float64{0, 0.5, 0.9, 1}[rnd.IntN(4)])), func(string) {
			wait, cancel := context.WithTimeout(ctx, 20*time.Second)
			defer cancel()
			if up = r.startUnless(wait.Done()); !up {
				return
			}
			p, err := Open(ctx, r.at("postgres"), Access{})
			if err != nil {
				up = false
				return
			}
			defer func() { _ = p.Close() }()
			done, err := mirror.Bring(ctx, p, b, mirror.BringOptions{})
			if was = done.Was; err != nil && !r.careless {
				t.Fatalf("the bench goes on: %v", err)
			}
		})
		return told, was, up && err == nil
	}
	records := uint64(0)
	for round := range *powerCuts {
		told, was, up := cut(fmt.Sprint("a", round), 400+rnd.IntN(1500), 1<<60)
		if !up || was.Seq < told.Seq {
			t.Fatalf("cut %d: told that all up to %s is there, and the server has those up to %s (up %v)", round, told, was, up)
		}
		records += told.Seq
	}
	r.careless = true
	lost := 0
	for round := range 2 {
		if told, was, up := cut(fmt.Sprint("c", round), 1<<40, 300); !up || was.Seq < told.Seq {
			lost++
		}
	}
	t.Logf("%d power cuts, %d records told as there: none lost; with fsync off %d of 2 lost some", *powerCuts, records, lost)
	if lost == 0 {
		t.Error("the rig is blind")
	}
}
