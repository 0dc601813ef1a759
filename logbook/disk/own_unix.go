//go:build unix

package disk

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
)

const (
	noWait   = syscall.O_NONBLOCK
	noFollow = syscall.O_NOFOLLOW
)

// room is how many bytes of a file are on the disk.
func room(fi fs.FileInfo) int64 {
	if st, ok := fi.Sys().(*syscall.Stat_t); ok {
		return st.Blocks * 512 // stat(2), whatever the block size of the file system
	}
	return fi.Size()
}

// othersWrite tells whether users other than its owner and root may write in a folder. The
// group of the same number as this user is his alone, as most systems hand them out.
func othersWrite(fi fs.FileInfo) bool {
	st, ok := fi.Sys().(*syscall.Stat_t)
	if !ok {
		return false
	}
	me := os.Geteuid()
	return fi.Mode().Perm()&0o002 != 0 ||
		fi.Mode().Perm()&0o020 != 0 && int(st.Gid) != me && st.Gid != 0 ||
		me != 0 && int(st.Uid) != me && st.Uid != 0
}

// alive tells whether a process runs; one of another user does.
func alive(pid int) bool {
	err := syscall.Kill(pid, 0)
	return err == nil || errors.Is(err, syscall.EPERM)
}
