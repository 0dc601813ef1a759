package door

import (
	"io/fs"
	"syscall"

	"golang.org/x/sys/windows"
)

const (
	connRefused = windows.WSAECONNREFUSED
	modesMean   = false // here access lists do, and the folders of a user are his own by them
)

func ours(fs.FileInfo) bool { return true }

func beforeBind(_, _ string, _ syscall.RawConn) error { return nil }
