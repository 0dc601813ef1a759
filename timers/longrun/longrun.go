// Package longrun says how often tests that could go on for ever repeat: seldom in
// `go test ./...`, so that nobody waits to run it, and often where FLASKSIDE_LONG is set,
// as .ci/run sets it. For tests alone.
package longrun

import (
	"flag"
	"os"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// variable is the environment variable that makes the tests long; any value but "" and "0".
const variable = "FLASKSIDE_LONG"

// Set tells whether it is set.
func Set() bool { v := os.Getenv(variable); return v != "" && v != "0" }

// Times gives long where it is set, else usual.
func Times(usual, long int) int {
	if Set() {
		return long
	}
	return usual
}

// Checks has pgregory.net/rapid try a property of this test so often, unless the command or
// AllChecks says how often. Its number is one for the whole program: the test must not run
// beside others.
func Checks(t testing.TB, usual, long int) {
	t.Helper()
	if AllChecks(usual, long) {
		t.Cleanup(func() { set("rapid.checks", usualChecks) })
	}
}

// usualChecks is how often rapid tries where nobody says.
const usualChecks = "100"

// AllChecks is Checks for all tests of a package, for TestMain; it tells whether it set the number.
func AllChecks(usual, long int) bool {
	f := flag.Lookup("rapid.checks")
	if f == nil || f.Value.String() != usualChecks {
		return false // told by -rapid.checks or RAPID_CHECKS
	}
	set(f.Name, strconv.Itoa(Times(usual, long)))
	return true
}

func set(name, value string) {
	if err := flag.Set(name, value); err != nil {
		panic(err)
	}
}

// Waits lets so many tests of a package that wait more than they work run beside each other,
// unless the command says how many. For TestMain, which has parsed the flags by then.
func Waits(n int) {
	if !flag.Parsed() {
		flag.Parse()
	}
	told := false
	flag.Visit(func(f *flag.Flag) { told = told || f.Name == "test.parallel" })
	if told {
		return
	}
	set("test.parallel", strconv.Itoa(n))
}

// Only skips what is tried in the long run alone, with what it is.
func Only(t testing.TB, what string) {
	t.Helper()
	if !Set() {
		t.Skip(what + ": in the long run only, with " + variable + "=1")
	}
}

// Tests hold little and throw much away: with room for it they take a third less of the
// processor. A GOGC of the environment stands.
func init() {
	if _, set := os.LookupEnv("GOGC"); !set {
		debug.SetGCPercent(400)
	}
	// What syncs each record waits for the disk half of the time. In the long run, and for
	// benchmarks, scratch folders lie on the disk; a TMPDIR of the environment stands.
	_, set := os.LookupEnv("TMPDIR")
	benches := slices.ContainsFunc(os.Args, func(a string) bool {
		v, is := strings.CutPrefix(a, "-test.bench=")
		return is && v != ""
	})
	if dir := memory(); dir != "" && !set && !benches && !Set() {
		_ = os.Setenv("TMPDIR", dir)
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
