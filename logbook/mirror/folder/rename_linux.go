package folder

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// renameNew renames a file to a name that nothing has, renameat2(2).
func renameNew(from, to string) error {
	err := unix.Renameat2(unix.AT_FDCWD, from, unix.AT_FDCWD, to, unix.RENAME_NOREPLACE)
	if err != nil {
		return &os.LinkError{Op: "rename", Old: from, New: to, Err: err}
	}
	return nil
}

// notForFolders tells whether a file system does not sync folders, fsync(2).
func notForFolders(err error) bool { return errors.Is(err, unix.EINVAL) }
