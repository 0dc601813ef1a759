//go:build linux

// Package disktest cuts the power of a disk under a real file system. For tests alone; it takes
// root, /dev/fuse and the tools of ext4.
package disktest

import (
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
)

// Forgetful is a disk in memory, one file of a file system of its own. As a real one it
// answers a write before that is safe, and only a flush makes it so: at a power cut any of
// the sectors written since may be there or not.
type Forgetful struct {
	fuse.RawFileSystem

	Went            chan struct{} // closed when the power goes
	Writes, Flushes int           // of this power

	mu    sync.Mutex
	size  int
	now   []byte       // as the computer sees it
	safe  []byte       // as after a power cut that spares nothing
	since map[int]bool // sectors written since the last flush
	left  int          // writes and flushes until the power goes
	off   bool         // it went
	lies  int          // after so many flushes one is answered and makes nothing safe
}

const (
	diskFile = 2 // the node of the file; 1 is the folder

	// Honest is a disk that never lies.
	Honest = math.MaxInt
	// SectorBytes is what a disk writes whole or not at all (512 or more on all that are sold).
	SectorBytes = 512
)

// New makes a disk of an image. Its power goes after so many writes and flushes, or by
// [Forgetful.Cut]; after so many flushes it begins to lie about them, [Honest] for never.
func New(image []byte, left, lies int) *Forgetful {
	return &Forgetful{
		RawFileSystem: fuse.NewDefaultRawFileSystem(), size: len(image), now: append([]byte(nil), image...), safe: append([]byte(nil), image...),
		since: map[int]bool{}, left: left, Went: make(chan struct{}), lies: lies,
	}
}

// Cut cuts the power.
func (d *Forgetful) Cut() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.left = 0
	d.powered()
}

// Off tells whether the power went.
func (d *Forgetful) Off() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.off
}

// powered counts an errand; false where the power is gone.
func (d *Forgetful) powered() bool {
	if d.left--; d.left < 0 && !d.off {
		d.off = true
		close(d.Went)
	}
	return !d.off
}

// AfterCut is what the disk holds when the power is back: what is safe, and of the
// sectors written since each with a chance.
func (d *Forgetful) AfterCut(rnd *rand.Rand, chance float64) []byte {
	d.mu.Lock()
	defer d.mu.Unlock()
	out := append([]byte(nil), d.safe...)
	for s := range d.size / SectorBytes {
		if d.since[s] && rnd.Float64() < chance {
			copy(out[s*SectorBytes:(s+1)*SectorBytes], d.now[s*SectorBytes:])
		}
	}
	return out
}

func (d *Forgetful) attr(node uint64, out *fuse.Attr) fuse.Status {
	out.Ino, out.Nlink, out.Mode = node, 1, syscall.S_IFDIR|0o700
	if node == diskFile {
		out.Mode, out.Size, out.Blksize = syscall.S_IFREG|0o600, uint64(d.size), 4096
	}
	return fuse.OK
}

func (d *Forgetful) Lookup(_ <-chan struct{}, _ *fuse.InHeader, name string, out *fuse.EntryOut) fuse.Status {
	if name != "disk" {
		return fuse.ENOENT
	}
	out.NodeId = diskFile
	out.SetEntryTimeout(time.Hour)
	out.SetAttrTimeout(time.Hour)
	return d.attr(diskFile, &out.Attr)
}

func (d *Forgetful) GetAttr(_ <-chan struct{}, in *fuse.GetAttrIn, out *fuse.AttrOut) fuse.Status {
	out.SetTimeout(time.Hour)
	return d.attr(in.NodeId, &out.Attr)
}

func (d *Forgetful) SetAttr(_ <-chan struct{}, in *fuse.SetAttrIn, out *fuse.AttrOut) fuse.Status {
	return d.attr(in.NodeId, &out.Attr) // times are of no interest
}

func (d *Forgetful) Open(<-chan struct{}, *fuse.OpenIn, *fuse.OpenOut) fuse.Status { return fuse.OK }

func (d *Forgetful) Read(_ <-chan struct{}, in *fuse.ReadIn, buf []byte) (fuse.ReadResult, fuse.Status) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.off {
		return nil, fuse.EIO
	}
	from := min(int(in.Offset), d.size)
	return fuse.ReadResultData(buf[:copy(buf, d.now[from:])]), fuse.OK
}

func (d *Forgetful) Write(_ <-chan struct{}, in *fuse.WriteIn, data []byte) (uint32, fuse.Status) {
	d.mu.Lock()
	defer d.mu.Unlock()
	at := int(in.Offset)
	if !d.powered() || at+len(data) > d.size {
		return 0, fuse.EIO
	}
	d.Writes++
	copy(d.now[at:], data)
	for s := at / SectorBytes; s*SectorBytes < at+len(data); s++ {
		d.since[s] = true
	}
	return uint32(len(data)), fuse.OK
}

func (d *Forgetful) Fsync(<-chan struct{}, *fuse.FsyncIn) fuse.Status {
	d.mu.Lock()
	defer d.mu.Unlock()
	if !d.powered() {
		return fuse.EIO
	}
	d.Flushes++
	if d.Flushes > d.lies {
		return fuse.OK
	}
	for s := range d.since {
		copy(d.safe[s*SectorBytes:(s+1)*SectorBytes], d.now[s*SectorBytes:])
	}
	clear(d.since)
	return fuse.OK
}

// tool runs a program of the system and gives what it says.
func tool(t testing.TB, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v: %s", name, strings.Join(args, " "), err, out)
	}
	return strings.TrimSpace(string(out))
}

// AsExt4 has f work in the ext4 that a file holds; an error is that of mounting it.
func AsExt4(t testing.TB, image, folder string, f func()) error {
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

// Under has f work with a disk, by the name of its file.
func (d *Forgetful) Under(t testing.TB, dir string, f func(file string)) {
	t.Helper()
	server, err := fuse.NewServer(d, dir, &fuse.MountOptions{DirectMountStrict: true, FsName: "forgetful", MaxWrite: 128 << 10})
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
	f(filepath.Join(dir, "disk"))
}

// Blank is the image of a new ext4 of so many bytes; the test is skipped where none can be made.
func Blank(t testing.TB, size int) []byte {
	t.Helper()
	if os.Geteuid() != 0 {
		t.Skip("only root can mount the disks")
	}
	for _, name := range []string{"mkfs.ext4", "losetup"} {
		if _, err := exec.LookPath(name); err != nil {
			t.Skip(name + " is not here")
		}
	}
	file := filepath.Join(t.TempDir(), "blank")
	if err := os.WriteFile(file, make([]byte, size), 0o600); err != nil {
		t.Fatal(err)
	}
	tool(t, "mkfs.ext4", "-q", "-F", file)
	image, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return image
}
