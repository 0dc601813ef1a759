package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/door"
	"flaskside/logbook/flash"
	"flaskside/logbook/house"
	"flaskside/logbook/keep"
	"flaskside/logbook/record"
	"flaskside/timers/simclock"
	"flaskside/timers/sysclock"
)

// says runs a command and gives what it said on both outputs.
func says(t *testing.T, ctx context.Context, args ...string) (out, side string, err error) {
	t.Helper()
	var o, e bytes.Buffer
	root := rootCommand()
	root.SetOut(&o)
	root.SetErr(&e)
	root.SetArgs(args)
	err = root.ExecuteContext(ctx)
	return o.String(), e.String(), err
}

// TestTrendOfReferenceCases asks the command for the reference cases
// (testdata/flash/cases.json, from SciPy on a dense grid): the same names, the same
// numbers to 1e-6.
func TestTrendOfReferenceCases(t *testing.T) {
	raw, err := os.ReadFile(filepath.Join("..", "..", "testdata", "flash", "cases.json"))
	if err != nil {
		t.Fatal(err)
	}
	var ref struct {
		Cases []struct {
			Name   string         `json:"name"`
			Size   string         `json:"size"`
			Trials []flash.Trial  `json:"trials"`
			Want   map[string]any `json:"want"`
		} `json:"cases"`
	}
	if err := json.Unmarshal(raw, &ref); err != nil || len(ref.Cases) < 7 {
		t.Fatalf("%d cases, %v", len(ref.Cases), err)
	}
	for _, c := range ref.Cases {
		var words []string
		for _, x := range c.Trials {
			words = append(words, x.String())
		}
		out, _, err := says(t, t.Context(), "trend", "--book", filepath.Join(t.TempDir(), "none.db"), "--json", "--size", c.Size, "--trials", strings.Join(words, ","))
		if err != nil {
			t.Fatalf("%s: %v", c.Name, err)
		}
		var got map[string]any
		if err := json.Unmarshal([]byte(out), &got); err != nil {
			t.Fatal(err)
		}
		for name, want := range c.Want {
			same(t, c.Name+": "+name, got[name], want)
		}
		for _, name := range []string{"verdict", "reasons", "allowed", "ready", "note"} {
			if _, ok := got[name]; !ok {
				t.Errorf("%s: no %s", c.Name, name)
			}
		}
	}
}

// same compares JSON values, numbers to 1e-6 of themselves and chances below 1e-6 to as
// much of that: the reference cuts its priors at 7 sds, and so far out in the tail both
// sums are coarse.
func same(t *testing.T, what string, got, want any) {
	t.Helper()
	switch w := want.(type) {
	case float64:
		g, ok := got.(float64)
		if !ok || math.Abs(g-w) > 1e-6*math.Max(math.Abs(w), 1e-6) {
			t.Errorf("%s is %v, want %v", what, got, w)
		}
	case []any:
		g, _ := got.([]any)
		if len(g) != len(w) {
			t.Fatalf("%s has %d values, want %d", what, len(g), len(w))
		}
		for i := range w {
			same(t, fmt.Sprint(what, " ", i+1), g[i], w[i])
		}
	case map[string]any:
		g, _ := got.(map[string]any)
		for k := range w {
			same(t, what+" "+k, g[k], w[k])
		}
	default:
		t.Fatalf("%s: a %T", what, want)
	}
}

// taught makes a book in which some flasks were closed, each with three closures, at a
// pace of its own: 30 s to raise, 24 s to open, 70 s to trim, 150 s to close.
func taught(t *testing.T, flasks int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "taught.db")
	at := time.Date(2026, 9, 1, 8, 0, 0, 0, time.UTC)
	var as []action.Action
	do := func(after int, body action.Body) {
		at = at.Add(time.Duration(after) * time.Second)
		as = append(as, action.Action{ID: fmt.Sprint("t", len(as)), At: at, By: "KT", Body: body, Why: "8"})
	}
	for f := 1; f <= flasks; f++ {
		do(600, action.FlaskOpen{Place: 1, Case: fmt.Sprint(4000 + f), Base: "upper", Size: "medium"})
		for i, g := range []string{"heavy", "heavy", []string{"slight", "slight", "none"}[f%3]} {
			do(70, action.PressIn{Flask: f, Added: f%7 == 0 && i == 1})
			do(30, action.PressAt{Flask: f})
			do(60, action.PressOpen{Flask: f})
			do(24, action.Flash{Flask: f, Grade: action.Grade(g)})
		}
		do(30, action.SheetOut{Flask: f})
		do(100, action.MetalToMetal{Flask: f})
		do(50, action.Clamp{Flask: f})
		do(3600, action.Outcome{Flask: f, Outcome: "finished here"})
	}
	book, err := logbook.Open(path, simclock.At(at.Add(time.Hour), "boot-1"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := book.AppendAll(as); err != nil {
		t.Fatal(err)
	}
	if err := book.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestCalibrateAdopts: what was learned is told, adopted once as one record of
// settings, and after that there is nothing more to adopt.
func TestCalibrateAdopts(t *testing.T) {
	path := taught(t, 24)
	read := func() (house.House, logbook.Head, action.Action) {
		t.Helper()
		book, err := logbook.OpenReading(path, sysclock.New())
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = book.Close() }()
		var last action.Action
		err = book.Each(book.State().Head.Seq, func(r record.Record) (bool, error) { last = r.Action; return true, nil })
		if err != nil {
			t.Fatal(err)
		}
		return book.State().Bench.House, book.State().Head, last
	}
	before, head, _ := read()
	out, _, err := says(t, t.Context(), "calibrate", "--book", path)
	if err != nil || !strings.Contains(out, "flaskside calibrate --adopt") || !strings.Contains(out, "From 24 flasks with 72 trial closures") {
		t.Fatalf("%v\n%s", err, out)
	}
	if h, now, _ := read(); now != head || h.Work != before.Work || h.Flash != before.Flash {
		t.Fatal("looking changed the book")
	}
	out, _, err = says(t, t.Context(), "calibrate", "--book", path, "--adopt", "--json", "--by", "LM")
	if err != nil {
		t.Fatal(err)
	}
	var told struct {
		Changes bool         `json:"changes"`
		Adopted logbook.Head `json:"adopted"`
		Trend   struct {
			New flash.TrendSettings `json:"new"`
		} `json:"trend"`
		Work map[string]struct {
			New     int `json:"new_s"`
			Count   int `json:"count"`
			Wanting int `json:"wanting"`
		} `json:"work"`
	}
	if err := json.Unmarshal([]byte(out), &told); err != nil {
		t.Fatal(err)
	}
	after, now, rec := read()
	if !told.Changes || told.Adopted != now || now.Seq != head.Seq+1 {
		t.Errorf("told %+v, the book ends at %v, before at %v", told, now, head)
	}
	if s, ok := rec.Body.(action.Settings); !ok || s.From != "calibration" || rec.By != "LM" {
		t.Errorf("recorded %+v", rec)
	}
	if after.Flash != told.Trend.New || after.Flash == before.Flash {
		t.Errorf("the trend in force is %+v, told %+v", after.Flash, told.Trend.New)
	}
	want := before.Work
	want.RaiseS, want.OpenS, want.TrimS, want.FinalS = 30, 24, 70, 150
	if after.Work != want || told.Work["trim_s"].Count != 48 {
		t.Errorf("work in force %+v, want %+v; told %+v", after.Work, want, told.Work)
	}
	out, _, err = says(t, t.Context(), "calibrate", "--book", path, "--adopt")
	if _, end, _ := read(); err != nil || end != now || !strings.Contains(out, "in force already: nothing recorded") {
		t.Errorf("adopted again: %v, the book ends at %v, was %v\n%s", err, end, now, out)
	}
}

// TestCalibrateThroughTheDoor adopts while a bench holds the book.
func TestCalibrateThroughTheDoor(t *testing.T) {
	path := taught(t, 8)
	clock := sysclock.New()
	book, err := logbook.Open(path, clock)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = book.Close() }()
	stop, err := door.Serve(t.Context(), keep.New(book, clock, newID))
	if err != nil {
		t.Skipf("no door on this machine: %v", err)
	}
	defer stop()
	head := book.State().Head
	out, _, err := says(t, t.Context(), "calibrate", "--book", path, "--adopt")
	if err != nil || !strings.Contains(out, "Adopted: settings recorded; head ") {
		t.Fatalf("%v\n%s", err, out)
	}
	st := book.State()
	if st.Head.Seq != head.Seq+1 || st.Bench.House.Work.RaiseS != 30 || st.Bench.House.Flash != house.Default().Flash {
		t.Errorf("the bench ends at %v with %+v", st.Head, st.Bench.House.Work)
	}
	for _, args := range [][]string{{"press", "--json"}, {"trend", "3"}, {"press", "--simulate", "--shifts", "3"}} {
		if _, _, err := says(t, t.Context(), append(args, "--book", path)...); err != nil {
			t.Errorf("%v: %v", args, err)
		}
	}
}

// TestSimulationIsInterrupted ends at once with the code that shells give an interrupt.
func TestSimulationIsInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(50*time.Millisecond, cancel)
	out, _, err := says(t, ctx, "press", "--book", filepath.Join(t.TempDir(), "none.db"), "--simulate", "--shifts", "100000")
	var code exitCode
	if !errors.As(err, &code) || code.code != 130 || out != "" {
		t.Errorf("ended with %v\n%s", err, out)
	}
}
