package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"reflect"
	"runtime"
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

// TestMain runs the tests, or under another name what they start: the test binary is the
// program then.
func TestMain(m *testing.M) {
	switch strings.TrimSuffix(filepath.Base(os.Args[0]), ".exe") {
	case "flaskside":
		main()
	case "holdbook":
		holdBook()
		return
	}
	longrun.Waits(12)
	code := 1
	if err := standIns("flaskside", "holdbook"); err != nil {
		fmt.Fprintln(os.Stderr, err)
	} else {
		code = m.Run()
	}
	if scratch != "" {
		_ = os.RemoveAll(scratch) // a scratch folder left over harms nobody
	}
	os.Exit(code)
}

// standIns puts the test binary on the path under other names, the program's first.
func standIns(names ...string) (err error) {
	if scratch, err = os.MkdirTemp("", "flaskside-tests-"); err != nil {
		return err
	}
	self, err := os.Executable()
	if err != nil {
		return err
	}
	end := ""
	if runtime.GOOS == "windows" {
		end = ".exe"
	}
	for _, name := range names {
		if err := standIn(self, filepath.Join(scratch, name+end)); err != nil {
			return err
		}
	}
	program := filepath.Join(scratch, names[0]+end)
	thisProgram = func() (string, error) { return program, nil }
	return os.Setenv("PATH", scratch+string(filepath.ListSeparator)+os.Getenv("PATH"))
}

func standIn(self, at string) error {
	if os.Link(self, at) == nil {
		return nil
	}
	program, err := os.ReadFile(self) // on another disk
	if err != nil {
		return err
	}
	return os.WriteFile(at, program, 0o700) //nolint:gosec // a program is run
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
//	flaskside ARGUMENTS...  the program; ! flaskside must fail
//	input FILE              what the next flaskside reads
//	exits CODE[|CODE] flaskside ARGUMENTS...   it must end with this code, or one of these
//	write FILE TEXT         a file from a Go string literal, so that any byte can be given
//	many FILE COUNT TEXT    a file with the text COUNT times
//	await FILE              wait for a file to appear
//	samebench A B           two outputs of status --json must tell the same, the chain's end left aside
//	headof, publickey FILE VARIABLE   what a command told, for the next ones
//	theone PATTERN VARIABLE           the name of the one file of a pattern
//	swap FILE OLD NEW                 spoil a file: one text in the place of another
//	zero FILE                         spoil a file: nothing but zeros
//	untouched FILE flaskside ARGUMENTS...   it must fail and leave the file as it is; of a
//	                        logbook the chain of records, for a sign of life may be left
func TestScripts(t *testing.T) {
	dir, err := filepath.Abs(filepath.Join("..", "..", "testdata", "script")) // the scripts work elsewhere
	if err != nil {
		t.Fatal(err)
	}
	books := filepath.Join(filepath.Dir(dir), "books")
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
			e.Values[playKey{}] = &play{}
			e.Setenv("BOOKS", books)
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"flaskside": flaskside,
			"input":     input,
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
	want(ts, neg, len(args) >= 2 && args[1] == "flaskside", "exits CODE[|CODE] flaskside ARGUMENTS...")
	if got := playOf(ts).run(ts, args[2:]); !slices.Contains(strings.Split(args[0], "|"), strconv.Itoa(got)) {
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
	want(ts, neg, len(args) >= 2 && args[1] == "flaskside", "untouched FILE flaskside ARGUMENTS...")
	head := func() string {
		book, err := logbook.OpenReading(ts.MkAbs(args[0]), sysclock.New())
		if err != nil {
			return ts.ReadFile(args[0])
		}
		defer func() { _ = book.Close() }()
		return book.State().Head.String()
	}
	before := head()
	if playOf(ts).run(ts, args[2:]) == 0 {
		ts.Fatalf("%v was taken", args[1:])
	}
	if head() != before {
		ts.Fatalf("%s was changed", args[0])
	}
}
