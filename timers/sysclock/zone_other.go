//go:build !unix

package sysclock

// zoneName is not known here: the zone of the start of the program stays in force.
func zoneName() string { return "" }
