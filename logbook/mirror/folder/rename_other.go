//go:build !linux

package folder

import (
	"errors"
	"syscall"
)

// renameNew is not there: links are, or the name is looked at first.
func renameNew(string, string) error { return errors.ErrUnsupported }

func notForFolders(err error) bool { return errors.Is(err, syscall.EINVAL) }
