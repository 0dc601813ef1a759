package jetstream

import (
	"context"
	"os"
	"path/filepath"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"
)

// slowNode is a folder or file that lies elsewhere, on a disk that takes its time.
type slowNode struct {
	fs.LoopbackNode
	each *atomic.Int64 // nanoseconds a write or sync takes
}

func (n *slowNode) wait() { time.Sleep(time.Duration(n.each.Load())) }

func (n *slowNode) Write(ctx context.Context, f fs.FileHandle, data []byte, off int64) (uint32, syscall.Errno) {
	n.wait()
	return f.(fs.FileWriter).Write(ctx, data, off)
}

func (n *slowNode) Fsync(ctx context.Context, f fs.FileHandle, flags uint32) syscall.Errno {
	n.wait()
	return f.(fs.FileFsyncer).Fsync(ctx, flags)
}

// slowDisk is a folder on a disk that can be made slow, kept in another folder; where none can
// be mounted it is that folder, and slow is nil.
func slowDisk(t *testing.T, dir string) (at string, slow func(each time.Duration)) {
	t.Helper()
	at, below := filepath.Join(dir, "slow"), filepath.Join(dir, "below")
	for _, d := range []string{at, below} {
		if err := os.Mkdir(d, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	var each atomic.Int64
	root := &fs.LoopbackRoot{Path: below, NewNode: func(r *fs.LoopbackRoot, _ *fs.Inode, _ string, _ *syscall.Stat_t) fs.InodeEmbedder { //nolint:staticcheck // the other way wraps no writes
		return &slowNode{fs.LoopbackNode{RootData: r}, &each}
	}}
	root.RootNode = root.NewNode(root, nil, "", nil) //nolint:staticcheck // as above
	s, err := fs.Mount(at, root.RootNode, &fs.Options{MountOptions: fuse.MountOptions{DirectMountStrict: true, FsName: "slow"}})
	if err != nil {
		t.Logf("no slow disk can be had here: %v", err)
		return dir, nil
	}
	t.Cleanup(func() {
		each.Store(0)
		if err := s.Unmount(); err != nil {
			_ = syscall.Unmount(at, syscall.MNT_DETACH) // so that nothing stays behind
		}
	})
	return at, func(d time.Duration) { each.Store(int64(d)) }
}
