package main

import (
	"bytes"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"flaskside/timers/longrun"
)

// play is the run of one script: how it starts the program. In the long run, and where races are
// looked for (what a start leaves behind still reads the zone), each start is a
// process of its own. In a plain run the program runs within the tests, one script after the
// other: a start costs ten times what most commands do, and there are nine hundred.
type play struct{ in string }

type playKey struct{}

func playOf(ts *testscript.TestScript) *play { return ts.Value(playKey{}).(*play) }

func flaskside(ts *testscript.TestScript, neg bool, args []string) {
	switch code := playOf(ts).run(ts, args); {
	case neg && code == 0:
		ts.Fatalf("it was taken")
	case !neg && code != 0:
		ts.Fatalf("exit code %d", code)
	}
}

func input(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, len(args) == 1, "input FILE")
	playOf(ts).in = ts.ReadFile(args[0])
}

// run gives the exit code.
func (p *play) run(ts *testscript.TestScript, args []string) int {
	in := p.in
	p.in = ""
	if longrun.Set() || longrun.Raced() {
		cmd := exec.Command("flaskside", args...)
		cmd.Env = os.Environ()
		for _, name := range scriptEnv {
			cmd.Env = append(cmd.Env, name+"="+ts.Getenv(name))
		}
		cmd.Dir, cmd.Stdin, cmd.Stdout, cmd.Stderr = ts.MkAbs("."), strings.NewReader(in), ts.Stdout(), ts.Stderr()
		err := cmd.Run()
		if _, ended := errors.AsType[*exec.ExitError](err); err != nil && !ended {
			ts.Fatalf("%v", err)
		}
		return cmd.ProcessState.ExitCode()
	}
	code, out, told, err := within(ts.MkAbs("."), ts.Getenv, in, args)
	_, _ = ts.Stdout().Write(out)
	_, _ = ts.Stderr().Write(told)
	if err != nil {
		ts.Fatalf("%v", err)
	}
	return code
}

// scriptEnv are the variables that a script may set; of the rest a start within this process
// has those of the tests, which other scripts read meanwhile.
var scriptEnv = []string{"TZ", "HOME", "TMPDIR", "NO_COLOR", "XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME", "AppData", "LocalAppData"}

// theOneWithin has the folder, the environment and the standard files of this process.
var theOneWithin sync.Mutex

// within runs the program within this process: in a folder, with variables and an input.
func within(dir string, env func(string) string, in string, args []string) (code int, out, told []byte, err error) {
	theOneWithin.Lock()
	defer theOneWithin.Unlock()
	var std [3]*os.File
	for i, name := range []string{"in", "out", "told"} {
		if std[i], err = os.Create(filepath.Join(scratch, name)); err != nil {
			return 0, nil, nil, err
		}
		defer func() { _ = std[i].Close() }()
	}
	if _, err = std[0].WriteString(in); err == nil {
		_, err = std[0].Seek(0, io.SeekStart)
	}
	if err != nil {
		return 0, nil, nil, err
	}
	back, err := moveTo(dir, env, std)
	if back == nil {
		return 0, nil, nil, err
	}
	if err == nil {
		code, err = unpanicked(args)
	}
	err = errors.Join(err, back())
	for i, to := range []*[]byte{&out, &told} {
		b, readErr := os.ReadFile(std[i+1].Name())
		*to, err = b, errors.Join(err, readErr)
	}
	return code, out, told, err
}

func unpanicked(args []string) (code int, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = errors.New("panic: " + string(debug.Stack()))
		}
	}()
	return run(args), nil
}

// moveTo takes this process to another folder, to other variables and standard files, and
// gives the way back.
func moveTo(dir string, env func(string) string, std [3]*os.File) (back func() error, err error) {
	set := func(dir string, env func(string) (string, bool), std [3]*os.File, zone *time.Location) error {
		os.Stdin, os.Stdout, os.Stderr, time.Local = std[0], std[1], std[2], zone
		err := os.Chdir(dir)
		for _, name := range scriptEnv {
			change := os.Unsetenv
			if v, ok := env(name); ok {
				change = func(name string) error { return os.Setenv(name, v) }
			}
			err = errors.Join(err, change(name))
		}
		return err
	}
	was := map[string]string{}
	for _, name := range scriptEnv {
		if v, ok := os.LookupEnv(name); ok {
			was[name] = v
		}
	}
	wasStd, wasZone := [3]*os.File{os.Stdin, os.Stdout, os.Stderr}, time.Local
	folder, err := os.Getwd()
	if err != nil {
		return nil, err
	}
	zone, err := time.LoadLocation(env("TZ"))
	if err != nil {
		return nil, err
	}
	back = func() error {
		return set(folder, func(name string) (string, bool) { v, ok := was[name]; return v, ok }, wasStd, wasZone)
	}
	return back, set(dir, func(name string) (string, bool) { v := env(name); return v, v != "" }, std, zone)
}

// A script that sets a variable which a start within this process is not given would try
// something else here than in the long run.
func TestScriptsSetWhatIsHandedOn(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "script", "*.txt"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no scripts: %v", err)
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for line := range bytes.Lines(text) {
			name, _, ok := strings.Cut(strings.TrimPrefix(string(line), "env "), "=")
			if ok && strings.HasPrefix(string(line), "env ") && !slices.Contains(scriptEnv, name) {
				t.Errorf("%s sets %s, which scriptEnv lacks", file, name)
			}
		}
	}
}
