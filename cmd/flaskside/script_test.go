package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"flaskside/logbook"
	"flaskside/logbook/door"
	"flaskside/logbook/keep"
	"flaskside/timers/longrun"
	"flaskside/timers/sysclock"
)

func TestMain(m *testing.M) {
	testscript.Main(sweeping{m}, map[string]func(){
		"flaskside": main,
		"holdbook":  holdBook,
	})
}

// sweeping runs the tests and takes away the program that they built.
type sweeping struct{ *testing.M }

func (s sweeping) Run() int {
	longrun.Waits(6)
	code := s.M.Run()
	if scratch != "" {
		_ = os.RemoveAll(scratch) // a scratch folder left over harms nobody
	}
	return code
}

// holdBook stands in for a running bench: it holds a book and answers at its door
// until it is told to end.
func holdBook() {
	ctx, cancel := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer cancel()
	clock := sysclock.New()
	book, err := logbook.Open(os.Args[1], clock)
	if err == nil {
		defer book.Announce("the bench")()
		_, err = door.Serve(ctx, keep.New(book, clock, newID))
	}
	if err == nil {
		err = os.WriteFile("ready", nil, 0o600)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	<-ctx.Done()
	_ = book.Close()
}

// TestScripts runs the scripts that document the command line. Besides the words of
// testscript they use:
//
//	exits CODE[|CODE] COMMAND...   the command must end with this code, or one of these
//	write FILE TEXT         a file from a Go string literal, so that any byte can be given
//	many FILE COUNT TEXT    a file with the text COUNT times
//	await FILE              wait for a file to appear
//	samebench A B           two outputs of status --json must tell the same, the chain's end left aside
//	headof, publickey FILE VARIABLE   what a command told, for the next ones
//	theone PATTERN VARIABLE           the name of the one file of a pattern
//	swap FILE OLD NEW                 spoil a file: one text in the place of another
//	zero FILE                         spoil a file: nothing but zeros
//	untouched FILE COMMAND  the command must fail and leave the file as it is; of a
//	                        logbook the chain of records, for a sign of life may be left
func TestScripts(t *testing.T) {
	dir := filepath.Join("..", "..", "testdata", "script")
	var files []string   // none for all
	if longrun.Raced() { // those in which something runs beside something else
		for _, name := range []string{"running", "probe", "mirror", "press", "plan", "round"} {
			files = append(files, filepath.Join(dir, name+".txt"))
		}
		dir = ""
	}
	testscript.Run(t, testscript.Params{
		Dir: dir, Files: files,
		Setup: func(e *testscript.Env) error {
			e.Setenv("TZ", "Europe/Berlin")
			e.Setenv("XDG_DATA_HOME", filepath.Join(e.WorkDir, "data"))
			e.Setenv("LocalAppData", filepath.Join(e.WorkDir, "data"))
			e.Setenv("NO_COLOR", "1")
			books, err := filepath.Abs(filepath.Join("..", "..", "testdata", "books"))
			e.Setenv("BOOKS", books)
			return err
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"exits":     exits,
			"write":     write,
			"many":      many,
			"await":     await,
			"samebench": sameBench,
			"untouched": untouched,
			"headof":    headOf,
			"publickey": publicKey,
			"swap":      swap,
			"zero":      zero,
			"theone":    theOne,
		},
	})
}

func want(ts *testscript.TestScript, neg bool, ok bool, usage string) {
	if neg || !ok {
		ts.Fatalf("usage: %s", usage)
	}
}

func exits(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, len(args) >= 2, "exits CODE[|CODE] COMMAND...")
	got := 0
	var ee *exec.ExitError
	if err := ts.Exec(args[1], args[2:]...); errors.As(err, &ee) {
		got = ee.ExitCode()
	} else if err != nil {
		ts.Fatalf("%v", err)
	}
	if !slices.Contains(strings.Split(args[0], "|"), strconv.Itoa(got)) {
		ts.Fatalf("exit code %d, want %s", got, args[0])
	}
}

func write(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, len(args) == 2, "write FILE TEXT")
	text, err := strconv.Unquote(`"` + strings.ReplaceAll(args[1], `"`, `\"`) + `"`)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(text), 0o600))
}

func many(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, len(args) == 3, "many FILE COUNT TEXT")
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(strings.Repeat(args[2], n)), 0o600))
}

func await(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, len(args) == 1, "await FILE")
	for range 1000 {
		if _, err := os.Stat(ts.MkAbs(args[0])); err == nil {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	ts.Fatalf("%s did not appear", args[0])
}

func sameBench(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, len(args) == 2, "samebench A B")
	var told [2]map[string]any
	for i, name := range args {
		ts.Check(json.Unmarshal([]byte(ts.ReadFile(name)), &told[i]))
		if told[i]["places"] == nil {
			ts.Fatalf("%s is not a status", name)
		}
		delete(told[i], "head") // another book has another chain
	}
	if !reflect.DeepEqual(told[0], told[1]) {
		ts.Fatalf("the benches differ:\n%v\n%v", told[0], told[1])
	}
}

func untouched(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, len(args) >= 2, "untouched FILE COMMAND...")
	head := func() string {
		book, err := logbook.OpenReading(ts.MkAbs(args[0]), sysclock.New())
		if err != nil {
			return ts.ReadFile(args[0])
		}
		defer func() { _ = book.Close() }()
		return book.State().Head.String()
	}
	before := head()
	if err := ts.Exec(args[1], args[2:]...); err == nil {
		ts.Fatalf("%v was taken", args[1:])
	}
	if head() != before {
		ts.Fatalf("%s was changed", args[0])
	}
}
