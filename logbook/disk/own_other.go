//go:build !unix

package disk

import (
	"io/fs"
	"os"
)

// Pipes are no files here, and links are looked for before.
const (
	noWait   = 0
	noFollow = 0
)

func room(fi fs.FileInfo) int64 { return fi.Size() }

func othersWrite(fs.FileInfo) bool { return false } // access lists say so here

// alive tells whether a process runs.
func alive(pid int) bool {
	p, err := os.FindProcess(pid)
	if err == nil {
		_ = p.Release() // only looked for
	}
	return err == nil
}
