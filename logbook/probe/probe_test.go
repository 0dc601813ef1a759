package probe

import (
	"context"
	"crypto/rand"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/timers/simclock"
)

// probeDesk is a logbook with a hand on its clock, and what was told.
type probeDesk struct {
	t    *testing.T
	ck   *simclock.Hand
	book *logbook.Book
	n    int

	mu   sync.Mutex
	told []string
}

// soon is how often a file is looked at here.
const soon = 10 * time.Millisecond

func newProbeDesk(t *testing.T) *probeDesk {
	t.Helper()
	d := &probeDesk{t: t, ck: simclock.At(time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC), "boot-1")}
	book, err := logbook.Open(filepath.Join(t.TempDir(), "b.db"), d.ck)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = book.Close() })
	d.book = book
	return d
}

func (d *probeDesk) do(body action.Body) {
	d.t.Helper()
	d.n++
	if _, err := d.book.Append(action.Action{ID: fmt.Sprint("p", d.n), At: d.ck.Read().Wall, By: "KT", Body: body, Why: "8"}); err != nil {
		d.t.Fatal(err)
	}
}

// load puts a flask in the bath.
func (d *probeDesk) load() {
	d.do(action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	d.do(action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h", BathC: 74})
}

func (d *probeDesk) tell(line string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.told = append(d.told, line)
}

func (d *probeDesk) said() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return strings.Join(d.told, "\n")
}

func (d *probeDesk) desk() Desk {
	return Desk{Book: d.book, Clock: d.ck, NewID: rand.Text, Tell: d.tell}
}

func (d *probeDesk) watcher(p Probe) *watcher {
	return &watcher{Desk: d.desk(), Probe: p, told: map[string]bool{}}
}

// kept lists what is in the book, as minutes after nine and °C.
func (d *probeDesk) kept() string {
	var out []string
	for _, r := range d.book.State().Bench.Readings {
		out = append(out, fmt.Sprintf("%g:%g", r.At.At.Sub(time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC)).Minutes(), r.TempC))
	}
	return strings.Join(out, " ")
}

func (d *probeDesk) wants(kept string) {
	d.t.Helper()
	if got := d.kept(); got != kept {
		d.t.Errorf("the book has %q, want %q", got, kept)
	}
}

func TestParseProbe(t *testing.T) {
	for in, want := range map[string]Probe{
		"/run/bath.txt":   {"/run/bath.txt", 1},
		"/run/bath.txt@2": {"/run/bath.txt", 2},
		"a@b/c@9":         {"a@b/c", 9},
		"a@b":             {"a@b", 1},
	} {
		if got, err := Parse(in); err != nil || got != want {
			t.Errorf("%q is %+v, %v", in, got, err)
		}
	}
	for _, in := range []string{"", "@2", "x@0", "x@10", "x@-1"} {
		if got, err := Parse(in); err == nil {
			t.Errorf("%q is %+v, %v", in, got, err)
		}
	}
	for path, want := range map[string]bool{
		"/sys/bus/w1/devices/28-0123456789ab/w1_slave":    true,
		"/sys/bus/w1/devices/28-0123456789ab/temperature": true,
		"/sys/class/hwmon/hwmon0/temp1_input":             true,
		"/tmp/temp2_input":                                true,
		"/tmp/w1_slave":                                   true,
		"/tmp/readings.txt":                               false,
		"/tmp/sys/readings":                               false,
	} {
		if got := (Probe{Path: path}).sensor(); got != want {
			t.Errorf("%s: a sensor is %t", path, got)
		}
	}
}

// TestOneAMinute: a reading a minute is recorded, and at once what has changed by
// more than half a kelvin; an empty bath is recorded seldom.
func TestOneAMinute(t *testing.T) {
	d := newProbeDesk(t)
	w := d.watcher(Probe{"/sys/x", 1})
	d.load()
	at := func(min, c float64) {
		d.ck.Step(d.book.State().Bench.Loads[1].In.At.Add(time.Duration(min * float64(time.Minute))).Sub(d.ck.Read().Wall))
		w.takeLine(d.ck.Read().Wall.Format(time.RFC3339) + fmt.Sprintf(" %g", c))
	}
	at(0, 74)
	at(0.5, 74.4)
	at(0.9, 74.5) // half a kelvin is not more
	at(1, 74.1)
	at(1.2, 73.5)
	at(1.25, 70) // sooner than five seconds after
	at(1.5, 73.6)
	at(2.2, 73.5)
	d.wants("0:74 1:74.1 1.2:73.5 2.2:73.5")
	d.do(action.BathUnload{Flasks: []int{1}})
	at(4, 73.5)
	at(12, 73.5)
	at(12.3, 73.5)
	if got := d.kept(); !strings.HasSuffix(got, " 12.3:73.5") || strings.Contains(got, " 4:") {
		t.Errorf("of an empty bath the book has %q", got)
	}
	if it := d.book.State().Bench.Items[3]; it.Action.By != by || it.Body.(action.BathReading).Source != "/sys/x" {
		t.Errorf("the record is %+v", it)
	}
}

// TestRefusedReadings: what cannot be is not recorded and told once, whatever its
// figures.
func TestRefusedReadings(t *testing.T) {
	d := newProbeDesk(t)
	d.load()
	w := d.watcher(Probe{"bath.txt", 1})
	d.ck.Run(10 * time.Minute)
	rest := w.lines([]byte("# a heading\n\n2026-11-25T21:05:00Z 74\n2026-11-25T21:05:10Z 400\n2026-11-25T21:05:20Z 401\n2026-11-25T21:05:30Z -3\n" +
		"2026-11-25T21:05:40Z NaN\ngarbage\n\xff\xfe\n2026-11-25T21:04:00Z 74\n2026-11-25T23:30:00Z 74\n2026-11-25T21:06:00+00:00 74.5\n2026-11-25T21:0"))
	d.wants("5:74 6:74.5")
	rest = w.lines(append(rest, []byte("7:00Z 74,25 \r\n")...))
	if len(rest) != 0 {
		t.Errorf("%q is left over", rest)
	}
	d.wants("5:74 6:74.5 7:74.25")
	if rest := w.lines([]byte(strings.Repeat("x", 300))); rest != nil {
		t.Errorf("a line without an end is kept")
	}
	said := d.said()
	for _, want := range []string{"probe of bath 1: reading 400 °C cannot be: a bath reads 0 to 130 °C", "reading -3 °C cannot be", `"NaN"`, `"garbage"`, "its clock runs back", "lies in the future", "more than 256 bytes"} {
		if n := strings.Count(said, want); n != 1 {
			t.Errorf("%q is told %d times in\n%s", want, n, said)
		}
	}
	if strings.Contains(said, "401") {
		t.Errorf("the same is told twice:\n%s", said)
	}
}

// TestSensors reads the two kinds of files of the kernel, in thousandths of a degree.
func TestSensors(t *testing.T) {
	d := newProbeDesk(t)
	d.load()
	dir := t.TempDir()
	put := func(name, text string) Probe {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return Probe{path, 1}
	}
	// The example of the kernel's documentation of w1_therm, at 74.5 °C.
	w := d.watcher(put("w1_slave", "a8 04 4b 46 7f ff 08 10 2c : crc=2c YES\na8 04 4b 46 7f ff 08 10 2c t=74500\n"))
	w.readSensor()
	d.wants("0:74.5")
	d.ck.Run(time.Minute)
	w.Probe = put("temp1_input", "73750\n")
	w.readSensor()
	d.wants("0:74.5 1:73.75")
	d.ck.Run(time.Minute)
	w.Probe = put("w1_slave", "00 00 00 00 00 00 00 00 00 : crc=2c NO\n00 00 t=74500\n")
	w.readSensor()
	w.Probe = put("temp1_input", "milli\n")
	w.readSensor()
	w.Probe = Probe{filepath.Join(dir, "gone", "temp1_input"), 1}
	w.readSensor()
	w.readSensor()
	d.wants("0:74.5 1:73.75")
	if said := d.said(); strings.Count(said, "checksum failed") != 1 || strings.Count(said, "not a whole number") != 1 || strings.Count(said, "no such file") != 1 {
		t.Errorf("told\n%s", said)
	}
}

// TestHistoryOfTheFile: what a file held while no bench ran comes into the book, one
// a minute, and not twice.
func TestHistoryOfTheFile(t *testing.T) {
	d := newProbeDesk(t)
	d.load()
	d.ck.Run(2 * time.Hour)
	path := filepath.Join(t.TempDir(), "bath.txt")
	var b strings.Builder
	b.WriteString("2026-11-20T21:00:00Z 74\n") // of another week
	for s := range 3600 / 10 {
		fmt.Fprintf(&b, "%s 74.%d\n", time.Date(2026, 11, 25, 21, 0, 10*s, 0, time.UTC).Format(time.RFC3339), s%3)
	}
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		ctx, cancel := context.WithCancel(context.Background())
		done := make(chan struct{})
		go func() { d.desk().watch(ctx, Probe{path, 1}, soon); close(done) }()
		wait(t, func() bool { return len(d.book.State().Bench.Readings) >= 60 })
		cancel()
		<-done
		if n := len(d.book.State().Bench.Readings); n != 60 {
			t.Errorf("the book has %d readings, want 60", n)
		}
	}
	if d.said() != "" {
		t.Errorf("told\n%s", d.said())
	}
}

// TestNeverHeard: a probe that never said anything while flasks are in the bath is
// told of again and again; one that the book has heard has its alarm instead.
func TestNeverHeard(t *testing.T) {
	d := newProbeDesk(t)
	w := d.watcher(Probe{"bath.txt", 1})
	w.heard.Store(d.ck.Read().Wall.UnixNano())
	d.ck.Run(time.Hour)
	w.tellSilence()
	if d.said() != "" {
		t.Errorf("with no flask in the bath it tells %s", d.said())
	}
	d.load()
	for range 3 {
		w.tellSilence()
		d.ck.Run(4 * time.Minute)
	}
	if got := d.said(); got != "probe of bath 1: nothing read for 1 h\nprobe of bath 1: nothing read for 8 min" {
		t.Errorf("told\n%s", got)
	}
	w.takeLine(d.ck.Read().Wall.Format(time.RFC3339) + " 74")
	d.ck.Run(time.Hour)
	w.tellSilence()
	if n := strings.Count(d.said(), "\n"); n != 1 {
		t.Errorf("told\n%s", d.said())
	}
}

// wait waits some seconds for something to come true.
func wait(t *testing.T, ok func() bool) {
	t.Helper()
	for range 1000 {
		if ok() {
			return
		}
		time.Sleep(5 * time.Millisecond)
	}
	t.Fatal("it did not come true within 5 s")
}

// TestFileInUse follows a file that grows, is cut short and begun anew, and one that
// is not there at first.
func TestFileInUse(t *testing.T) {
	t.Parallel()
	d := newProbeDesk(t)
	d.load()
	d.ck.Run(time.Hour)
	path := filepath.Join(t.TempDir(), "bath.txt")
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { d.desk().watch(ctx, Probe{path, 1}, soon); close(done) }()
	wait(t, func() bool { return strings.Contains(d.said(), "no such file") })
	write := func(how int, text string) {
		f, err := os.OpenFile(path, how|os.O_WRONLY|os.O_CREATE, 0o600)
		if err == nil {
			_, err = f.WriteString(text)
		}
		if err != nil {
			t.Fatal(err)
		}
		_ = f.Close()
	}
	write(os.O_APPEND, "2026-11-25T21:01:00Z 74\n2026-11-25T21:02")
	wait(t, func() bool { return d.kept() == "1:74" })
	write(os.O_APPEND, ":00Z 75\n")
	wait(t, func() bool { return d.kept() == "1:74 2:75" })
	write(os.O_TRUNC, "2026-11-25T21:03:00Z 76\n")
	wait(t, func() bool { return d.kept() == "1:74 2:75 3:76" })
	cancel()
	<-done
	if n := strings.Count(d.said(), "\n"); n != 0 {
		t.Errorf("told\n%s", d.said())
	}
}

// fakeBook takes readings and keeps them in memory.
type fakeBook struct {
	st   logbook.Snapshot
	took []action.BathReading
}

func (f *fakeBook) State() logbook.Snapshot { return f.st }
func (f *fakeBook) Append(a action.Action) (logbook.Saved, error) {
	if err := a.Valid(); err != nil {
		return logbook.Saved{}, err
	}
	f.took = append(f.took, a.Body.(action.BathReading))
	return logbook.Saved{}, nil
}

// FuzzProbeLines: whatever another program writes, in whatever pieces, nothing
// impossible reaches the book, and what is kept back and told stays bounded.
func FuzzProbeLines(f *testing.F) {
	f.Add([]byte("2026-11-25T21:05:00Z 74\n# x\n2026-11-25T21:06:00Z 1e9\n"), 7)
	f.Add([]byte("2026-11-25T21:05:00Z NaN\r\n\x00\xff\n\n2026-11-25T21:04:00Z 74,5 \n"), 1)
	f.Add([]byte(strings.Repeat("9", 5000)), 4096)
	f.Fuzz(func(t *testing.T, b []byte, piece int) {
		if piece < 1 || len(b) > 1<<16 {
			return
		}
		ck := simclock.At(time.Date(2026, 11, 25, 22, 0, 0, 0, time.UTC), "boot-1")
		book := &fakeBook{st: logbook.Snapshot{Bench: bench.Fold(nil, bench.Counters{})}}
		told := 0
		w := &watcher{Desk: Desk{Book: book, Clock: ck, NewID: rand.Text, Tell: func(string) { told++ }}, Probe: Probe{"x", 1}, told: map[string]bool{}}
		var rest []byte
		for len(b) > 0 {
			n := min(piece, len(b))
			rest = w.lines(append(rest, b[:n]...))
			b = b[n:]
			if len(rest) > longest {
				t.Fatalf("%d bytes are kept back", len(rest))
			}
		}
		if told > 102 {
			t.Fatalf("told %d times", told)
		}
		for _, r := range book.took {
			if !(r.TempC >= 0 && r.TempC <= 130) {
				t.Fatalf("%g °C is in the book", r.TempC)
			}
		}
	})
}
