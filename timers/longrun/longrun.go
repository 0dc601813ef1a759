// Package longrun says how often tests that could go on for ever repeat: seldom in
// `go test ./...`, so that nobody waits to run it, and often where FLASKSIDE_LONG is set,
// as .ci/run sets it. For tests alone.
package longrun

import (
	"os"
	"runtime/debug"
	"testing"
)

// Variable is the environment variable that makes the tests long; any value but "" and "0".
const Variable = "FLASKSIDE_LONG"

// Set tells whether it is set.
func Set() bool { v := os.Getenv(Variable); return v != "" && v != "0" }

// Times gives long where it is set, else usual.
func Times(usual, long int) int {
	if Set() {
		return long
	}
	return usual
}

// Only skips what is tried in the long run alone, with what it is.
func Only(t testing.TB, what string) {
	t.Helper()
	if !Set() {
		t.Skip(what + ": in the long run only, with " + Variable + "=1")
	}
}

// Tests hold little and throw much away: with room for it they take a third less of the
// processor. A GOGC of the environment stands.
func init() {
	if _, set := os.LookupEnv("GOGC"); !set {
		debug.SetGCPercent(400)
	}
}

// SkipUnderRace skips, in a short run under the race detector, what is long arithmetic: it
// takes twenty times as long there, and what runs at once in it other tests try as well.
func SkipUnderRace(t testing.TB) {
	t.Helper()
	if Raced() {
		t.Skip("long arithmetic: not tried under the race detector in a short run")
	}
}

// Raced tells whether this is a short run under the race detector.
func Raced() bool { return race && testing.Short() }
