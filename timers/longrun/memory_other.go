//go:build !linux

package longrun

// memory is a folder in memory; none is known of here.
func memory() string { return "" }
