package logbook

import (
	"bufio"
	"flag"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/check"
	"flaskside/logbook/disk/disktest"
)

var lostPowers = flag.Int("lostpowers", 0, "how often the power is cut under ext4, on a disk that forgets; takes root and /dev/fuse")

// cutPower lets a process write to a book in the ext4 of a disk image until the power
// goes; it gives the image of after, and the numbers acknowledged, by id.
func cutPower(t *testing.T, image []byte, seed uint64, left int, chance float64, lies int) (after []byte, acks map[string]uint64, d *disktest.Forgetful) {
	t.Helper()
	dir := t.TempDir()
	at, folder := filepath.Join(dir, "fuse"), filepath.Join(dir, "ext4")
	for _, name := range []string{at, folder} {
		if err := os.Mkdir(name, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	d = disktest.New(image, left, lies)
	d.Under(t, at, func(file string) {
		err := disktest.AsExt4(t, file, folder, func() {
			c := spawn(t, "write", filepath.Join(folder, "bench.db"), seed)
			out, err := c.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := c.Start(); err != nil {
				t.Fatal(err)
			}
			words := make(chan []string, 1)
			go func() {
				var all []string
				lines := bufio.NewReader(out)
				for {
					line, err := lines.ReadString('\n')
					if err != nil {
						words <- all
						return
					}
					if !strings.HasPrefix(line, "error ") { // it may see the disk go
						all = append(all, line)
					}
				}
			}()
			select {
			case <-d.Went:
			case <-time.After(30 * time.Second):
				t.Error("the disk was hardly written")
				d.Cut()
			}
			time.Sleep(time.Millisecond) // what it still believes to be saved is told, too
			_ = c.Process.Kill()
			all := <-words
			_ = c.Wait() // killed: that is the point
			_, acks = acksIn(t, all)
		})
		if err != nil && !d.Off() { // else the power went before the disk was mounted
			t.Fatalf("mount: %v", err)
		}
	})
	return d.AfterCut(rand.New(rand.NewPCG(seed, 4)), chance), acks, d
}

// bookOf takes the book out of the ext4 of a disk image, which is recovered by that as
// after a power cut; "" where there is none.
func bookOf(t *testing.T, image []byte) (path string, recovered []byte) {
	t.Helper()
	dir := t.TempDir()
	name, folder := filepath.Join(dir, "disk"), filepath.Join(dir, "ext4")
	if err := os.Mkdir(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, image, 0o600); err != nil {
		t.Fatal(err)
	}
	err := disktest.AsExt4(t, name, folder, func() {
		if _, err := os.Stat(filepath.Join(folder, "bench.db")); err == nil {
			path = filepath.Join(dir, "bench.db")
			copyFile(t, filepath.Join(folder, "bench.db"), path)
		}
	})
	if err != nil {
		t.Fatalf("mount after a power cut: %v", err)
	}
	recovered, err = os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return path, recovered
}

// TestLostPower cuts the power of a disk under ext4 while a process writes, and looks
// whether all that it acknowledged is there when the power is back; on a disk that begins
// to lie about its flushes it must not be, or the rig is blind. By flag: a cut takes a quarter
// of a second.
func TestLostPower(t *testing.T) {
	if *lostPowers == 0 {
		t.Skip("-lostpowers N cuts the power N times")
	}
	empty := disktest.Blank(t, 24<<20)
	rnd := rand.New(rand.NewPCG(20261125, 9))
	var image []byte
	var acked map[string]uint64
	records, extra, unborn, writes, flushes := 0, 0, 0, 0, 0
	for round := range *lostPowers {
		most := 600        // errands of the disk until the cut
		if round%10 == 0 { // a fresh disk now and then: cut while the book is made, too
			image, acked, most = empty, map[string]uint64{}, 80
		}
		after, acks, d := cutPower(t, image, uint64(round)+1, 1+rnd.IntN(most), []float64{0, 0.5, 0.9, 1}[rnd.IntN(4)], disktest.Honest)
		writes, flushes, records = writes+d.Writes, flushes+d.Flushes, records+len(acks)
		for id, seq := range acks {
			acked[id] = seq
		}
		path, recovered := bookOf(t, after)
		image = recovered
		if path == "" {
			if len(acked) > 0 {
				t.Fatalf("round %d: the book is gone with %d acknowledged records", round, len(acked))
			}
			unborn++
			continue
		}
		extra += heldAgainst(t, round, wholeBook(t, path), acked)
		if t.Failed() {
			return
		}
	}
	t.Logf("%d power cuts under ext4, %d writes and %d flushes of the disk: %d records acknowledged, none lost; %d saved and not yet acknowledged; %d before the book was there",
		*lostPowers, writes, flushes, records, extra, unborn)

	blind := 0
	const controls = 10
	for round := range controls {
		after, acks, _ := cutPower(t, empty, uint64(round)+1, 700+rnd.IntN(200), 0.5, 60)
		if len(acks) == 0 || !loses(t, after, len(acks)) {
			blind++
		}
	}
	t.Logf("on a disk that lies %d of %d lost what was acknowledged", controls-blind, controls)
	if blind > controls/2 {
		t.Error("the rig is blind")
	}
}

// loses tells whether of some acknowledged records not all are there after a cut.
func loses(t *testing.T, image []byte, acked int) bool {
	t.Helper()
	dir := t.TempDir()
	name, folder := filepath.Join(dir, "disk"), filepath.Join(dir, "ext4")
	if err := os.WriteFile(name, image, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	lost := true
	_ = disktest.AsExt4(t, name, folder, func() { // where it cannot be mounted, all is lost
		b, err := os.ReadFile(filepath.Join(folder, "bench.db"))
		if err != nil {
			return
		}
		path := filepath.Join(dir, "bench.db")
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		rep, err := Verify(path, check.Verifying{})
		lost = err != nil || len(rep.Faults) > 0 || rep.Head.Seq < uint64(acked)
	})
	return lost
}
