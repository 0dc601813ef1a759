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
