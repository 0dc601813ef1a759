package logbook

import (
	"bufio"
	"flag"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/hanwen/go-fuse/v2/fuse"

	"flaskside/logbook/check"
)

var lostPowers = flag.Int("lostpowers", 0, "how often the power is cut under ext4, on a disk that forgets; takes root and /dev/fuse")

// forgetful is a disk in memory, one file of a file system of its own. As a real one it
// answers a write before that is safe, and only a flush makes it so: at a power cut any of
// the sectors written since may be there or not.
type forgetful struct {
	fuse.RawFileSystem

	mu     sync.Mutex
	size   int
	now    []byte        // as the computer sees it
	safe   []byte        // as after a power cut that spares nothing
	since  map[int]bool  // sectors written since the last flush
	left   int           // writes and flushes until the power goes
	off    bool          // it went
	went   chan struct{} // closed then
	lies   int           // after so many flushes one is answered and makes nothing safe
	writes int           // of this power
	flush  int
}

const (
	diskFile = 2           // the node of the file; 1 is the folder
	honest   = math.MaxInt // a disk that never lies
)

func newForgetful(image []byte, left, lies int) *forgetful {
	return &forgetful{
		RawFileSystem: fuse.NewDefaultRawFileSystem(), size: len(image), now: append([]byte(nil), image...), safe: append([]byte(nil), image...),
		since: map[int]bool{}, left: left, went: make(chan struct{}), lies: lies,
	}
}

// powered counts an errand; false where the power is gone.
func (d *forgetful) powered() bool {
	if d.left--; d.left < 0 && !d.off {
		d.off = true
		close(d.went)
	}
	return !d.off
}

// afterCut is what the disk holds when the power is back: what is safe, and of the
// sectors written since each with a chance.
func (d *forgetful) afterCut(rnd *rand.Rand, chance float64) []byte {
	d.mu.Lock()
	defer d.mu.Unlock()
	out := append([]byte(nil), d.safe...)
	for s := range d.size / sectorBytes {
		if d.since[s] && rnd.Float64() < chance {
			copy(out[s*sectorBytes:(s+1)*sectorBytes], d.now[s*sectorBytes:])
		}
	}
	return out
}

func (d *forgetful) attr(node uint64, out *fuse.Attr) fuse.Status {
	out.Ino, out.Nlink, out.Mode = node, 1, syscall.S_IFDIR|0o700
	if node == diskFile {
		out.Mode, out.Size, out.Blksize = syscall.S_IFREG|0o600, uint64(d.size), 4096
	}
	return fuse.OK
}

func (d *forgetful) Lookup(_ <-chan struct{}, _ *fuse.InHeader, name string, out *fuse.EntryOut) fuse.Status {
	if name != "disk" {
		return fuse.ENOENT
	}
	out.NodeId = diskFile
	out.SetEntryTimeout(time.Hour)
	out.SetAttrTimeout(time.Hour)
	return d.attr(diskFile, &out.Attr)
}

func (d *forgetful) GetAttr(_ <-chan struct{}, in *fuse.GetAttrIn, out *fuse.AttrOut) fuse.Status {
	out.SetTimeout(time.Hour)
	return d.attr(in.NodeId, &out.Attr)
}

func (d *forgetful) SetAttr(_ <-chan struct{}, in *fuse.SetAttrIn, out *fuse.AttrOut) fuse.Status {
	return d.attr(in.NodeId, &out.Attr) // times are of no interest
}

func (d *forgetful) Open(<-chan struct{}, *fuse.OpenIn, *fuse.OpenOut) fuse.Status { return fuse.OK }

func (d *forgetful) Read(_ <-chan struct{}, in *fuse.ReadIn, buf []byte) (fuse.ReadResult, fuse.Status) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.off {
		return nil, fuse.EIO
	}
	from := min(int(in.Offset), d.size)
	return fuse.ReadResultData(buf[:copy(buf, d.now[from:])]), fuse.OK
}

func (d *forgetful) Write(_ <-chan struct{}, in *fuse.WriteIn, data []byte) (uint32, fuse.Status) {
	d.mu.Lock()
	defer d.mu.Unlock()
	at := int(in.Offset)
	if !d.powered() || at+len(data) > d.size {
		return 0, fuse.EIO
	}
	d.writes++
	copy(d.now[at:], data)
	for s := at / sectorBytes; s*sectorBytes < at+len(data); s++ {
		d.since[s] = true
	}
	return uint32(len(data)), fuse.OK
}

func (d *forgetful) Fsync(<-chan struct{}, *fuse.FsyncIn) fuse.Status {
	d.mu.Lock()
	defer d.mu.Unlock()
	if !d.powered() {
		return fuse.EIO
	}
	d.flush++
	if d.flush > d.lies {
		return fuse.OK
	}
	for s := range d.since {
		copy(d.safe[s*sectorBytes:(s+1)*sectorBytes], d.now[s*sectorBytes:])
	}
	clear(d.since)
	return fuse.OK
}

// tool runs a program of the system.
func tool(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v: %s", name, strings.Join(args, " "), err, out)
	}
	return strings.TrimSpace(string(out))
}

// asExt4 has f work in the ext4 that a file holds; an error is that of mounting it.
func asExt4(t *testing.T, image, folder string, f func()) error {
	t.Helper()
	dev := tool(t, "losetup", "--find", "--show", image)
	defer tool(t, "losetup", "--detach", dev)
	if err := syscall.Mount(dev, folder, "ext4", 0, ""); err != nil {
		return err
	}
	defer func() {
		if err := syscall.Unmount(folder, 0); err != nil {
			t.Errorf("unmount: %v", err)
			_ = syscall.Unmount(folder, syscall.MNT_DETACH) // so that nothing stays behind
		}
	}()
	f()
	return nil
}

// cutPower lets a process write to a book in the ext4 of a disk image until the power
// goes; it gives the image of after, and the numbers acknowledged, by id.
func cutPower(t *testing.T, image []byte, seed uint64, left int, chance float64, lies int) (after []byte, acks map[string]uint64, d *forgetful) {
	t.Helper()
	dir := t.TempDir()
	at, folder := filepath.Join(dir, "fuse"), filepath.Join(dir, "ext4")
	for _, name := range []string{at, folder} {
		if err := os.Mkdir(name, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	d = newForgetful(image, left, lies)
	server, err := fuse.NewServer(d, at, &fuse.MountOptions{DirectMountStrict: true, FsName: "forgetful", MaxWrite: 128 << 10})
	if err != nil {
		t.Skipf("no file system of a program can be mounted here: %v", err)
	}
	go server.Serve()
	defer func() {
		if err := server.Unmount(); err != nil {
			t.Errorf("unmount: %v", err)
		}
	}()
	if err := server.WaitMount(); err != nil {
		t.Fatal(err)
	}
	err = asExt4(t, filepath.Join(at, "disk"), folder, func() {
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
		case <-d.went:
		case <-time.After(30 * time.Second):
			t.Error("the disk was hardly written")
			d.mu.Lock()
			d.left = 0
			d.powered()
			d.mu.Unlock()
		}
		time.Sleep(time.Millisecond) // what it still believes to be saved is told, too
		_ = c.Process.Kill()
		all := <-words
		_ = c.Wait() // killed: that is the point
		_, acks = acksIn(t, all)
	})
	if err != nil && !d.off { // else the power went before the disk was mounted
		t.Fatalf("mount: %v", err)
	}
	return d.afterCut(rand.New(rand.NewPCG(seed, 4)), chance), acks, d
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
	err := asExt4(t, name, folder, func() {
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
	if os.Geteuid() != 0 {
		t.Skip("only root can mount the disks")
	}
	for _, name := range []string{"mkfs.ext4", "losetup"} {
		if _, err := exec.LookPath(name); err != nil {
			t.Skip(name + " is not here")
		}
	}
	blank := filepath.Join(t.TempDir(), "blank")
	if err := os.WriteFile(blank, make([]byte, 24<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	tool(t, "mkfs.ext4", "-q", "-F", blank)
	empty, err := os.ReadFile(blank)
	if err != nil {
		t.Fatal(err)
	}
	rnd := rand.New(rand.NewPCG(20261125, 9))
	var image []byte
	var acked map[string]uint64
	records, extra, unborn, writes, flushes := 0, 0, 0, 0, 0
	for round := range *lostPowers {
		most := 600        // errands of the disk until the cut
		if round%10 == 0 { // a fresh disk now and then: cut while the book is made, too
			image, acked, most = empty, map[string]uint64{}, 80
		}
		after, acks, d := cutPower(t, image, uint64(round)+1, 1+rnd.IntN(most), []float64{0, 0.5, 0.9, 1}[rnd.IntN(4)], honest)
		writes, flushes, records = writes+d.writes, flushes+d.flush, records+len(acks)
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
	_ = asExt4(t, name, folder, func() { // where it cannot be mounted, all is lost
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
