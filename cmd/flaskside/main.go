// Flaskside is the bench of the person who packs and heat-cures denture bases.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	_ "time/tzdata" // a bench in any zone, on any machine

	"charm.land/fang/v2"

	"flaskside/logbook/asked"
	"flaskside/logbook/check"
	"flaskside/logbook/words"
)

// version is set when a release is built.
var version = "development"

// askedWrongly is the exit code of a question put wrongly.
const askedWrongly = 2

func main() { os.Exit(run(os.Args[1:])) }

// run is the whole program: it gives the exit code, 0, 1 for an error, 2 for wrong
// usage, or the one that an error asks for.
func run(args []string) int {
	root := rootCommand()
	root.SetArgs(args)
	fitHelp(root, args)
	err := fang.Execute(context.Background(), root, fang.WithVersion(version),
		fang.WithErrorHandler(func(w io.Writer, _ fang.Styles, err error) {
			_, _ = fmt.Fprintln(w, "flaskside: "+words.Refusal(err)) // nowhere to tell a failing stderr
		}))
	var code exitCode
	var wrong asked.Wrong
	var unsound check.Unsound
	switch {
	case err == nil:
		return 0
	case errors.As(err, &code):
		return code.code
	case errors.As(err, &wrong):
		return askedWrongly
	case errors.As(err, &unsound):
		return faultsFound
	}
	return 1
}
