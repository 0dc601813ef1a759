//go:build unix

package disk

import (
	"io/fs"
	"os"
	"syscall"
)

// Ours tells whether a file belongs to this user. On Windows access lists do, and the
// folders of a user are his own by them.
func Ours(fi fs.FileInfo) bool {
	st, ok := fi.Sys().(*syscall.Stat_t)
	return ok && int(st.Uid) == os.Geteuid()
}

// Number tells a file from any other on its file system, as long as it is there.
func Number(fi fs.FileInfo) uint64 {
	st, ok := fi.Sys().(*syscall.Stat_t)
	if !ok {
		return 0
	}
	return uint64(st.Ino) //nolint:unconvert // it is narrower on some systems
}
