package door

import (
	"syscall"

	"golang.org/x/sys/windows"
)

const (
	connRefused = windows.WSAECONNREFUSED
	modesMean   = false // here access lists do, and the folders of a user are his own by them
)

func beforeBind(_, _ string, _ syscall.RawConn) error { return nil }
