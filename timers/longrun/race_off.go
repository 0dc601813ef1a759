//go:build !race

package longrun

const race = false
