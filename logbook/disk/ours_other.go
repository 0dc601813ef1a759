//go:build !unix

package disk

import "io/fs"

// Ours tells whether a file belongs to this user: there are no owners by number here.
func Ours(fs.FileInfo) bool { return true }
