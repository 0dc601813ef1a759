package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/units"
	"flaskside/timers"
	"flaskside/timers/cure"
)

// How often a probe is looked at and its readings recorded (house defaults).
const (
	recordEvery = time.Minute      // while flasks are in the bath
	recordIdle  = 10 * time.Minute // while none is
	recordJump  = 0.5              // K; a change of more is recorded at once
	recordLeast = 5 * time.Second  // but never sooner than this
	sensorEvery = 10 * time.Second // a file of the kernel is read this often
	lineEvery   = time.Second      // a file that another program fills is looked at this often
	silentEvery = 20 * time.Second // whether a probe is silent is looked at this often
	probeMemory = 36 * time.Hour   // lines older than this are history
	probeLine   = 256              // bytes of the longest line
	probeBy     = "probe"          // stands in the records in place of initials
)

// probe is a source of bath temperatures.
type probe struct {
	path string
	bath int
}

// parseProbe reads PATH or PATH@BATH.
func parseProbe(text string) (probe, error) {
	p := probe{text, 1}
	if i := strings.LastIndexByte(text, '@'); i >= 0 {
		if n, err := strconv.Atoi(text[i+1:]); err == nil {
			if n < 1 || n > 9 {
				return p, wrongUsage("--probe %s: baths have the numbers 1 to 9", text)
			}
			p = probe{text[:i], n}
		}
	}
	if p.path == "" {
		return p, wrongUsage("--probe wants a file, as /run/bath.txt or /sys/bus/w1/devices/28-0123456789ab/w1_slave@2")
	}
	return p, nil
}

// parseProbes reads the probes of the command line.
func (o *options) parseProbes() ([]probe, error) {
	var out []probe
	for _, text := range o.probes {
		p, err := parseProbe(text)
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// sensor tells whether the path is a file of the kernel that holds one value at a
// time: a 1-wire thermometer (w1_slave, temperature) or one of hwmon
// (temp*_input). Any other is a file or pipe of lines.
func (p probe) sensor() bool {
	name := filepath.Base(p.path)
	hwmon, _ := filepath.Match("temp*_input", name)
	return hwmon || name == "w1_slave" || strings.HasPrefix(filepath.Clean(p.path), "/sys/")
}

// keeper is the logbook as a probe sees it.
type keeper interface {
	State() logbook.State
	Append(action.Action) (logbook.Saved, error)
}

// watcher follows one probe into the logbook.
type watcher struct {
	probe
	book  keeper
	clock timers.Clock
	tell  func(line string) // says something on the screen

	heard atomic.Int64 // when it last said anything, ns of the wall clock

	floor time.Time    // what the book had before: older lines are no news
	line  cure.Reading // last one read
	kept  cure.Reading // last one recorded
	told  map[string]bool
}

// watch follows a probe until the context ends. It never gives up: what cannot be
// read is told once, and the silence raises its own alarm, or is told again and
// again where nothing was ever read.
func watch(ctx context.Context, p probe, book keeper, clock timers.Clock, tell func(line string)) {
	w := &watcher{probe: p, book: book, clock: clock, tell: tell, told: map[string]bool{}}
	if r, ok := book.State().Bench.LastReading(p.bath); ok {
		w.kept = cure.Reading{At: r.At.At, TempC: r.TempC}
		w.floor = w.kept.At
	}
	w.heard.Store(clock.Read().Wall.UnixNano())
	var beside sync.WaitGroup
	defer beside.Wait()
	beside.Go(func() {
		for sleep(ctx, silentEvery); ctx.Err() == nil; sleep(ctx, silentEvery) {
			w.tellSilence()
		}
	})
	for ctx.Err() == nil {
		if p.sensor() {
			w.readSensor()
			sleep(ctx, sensorEvery)
			continue
		}
		if w.line.At.After(w.floor) {
			w.floor = w.line.At // a file begun anew may hold what was read before
		}
		if err := w.follow(ctx); err != nil && ctx.Err() == nil {
			w.refuse(err)
		}
		sleep(ctx, lineEvery)
	}
}

// watchAll follows every probe until the context ends. A fault of one is kept in a
// file and told, and ends that one alone.
func watchAll(ctx context.Context, probes []probe, book keeper, clock timers.Clock, tell func(line string), fault func(trace string) string) {
	var all sync.WaitGroup
	for _, p := range probes {
		all.Go(func() {
			defer func() {
				if x := recover(); x != nil {
					tell("a fault in the program; the probe of bath " + strconv.Itoa(p.bath) + " is followed no more. Kept in " + fault(fmt.Sprintf("probe %s: %v\n\n%s", p.path, x, debug.Stack())))
				}
			}()
			watch(ctx, p, book, clock, tell)
		})
	}
	all.Wait()
}

// sleep waits, or until the context ends.
func sleep(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}

// tellSilence tells of a probe that has said nothing while flasks are in the bath.
// One that the book has heard has an alarm of its own (see package bench).
func (w *watcher) tellSilence() {
	b := w.book.State().Bench
	for _, r := range b.Readings {
		if r.Bath == w.bath && r.Source != bench.Typed {
			return
		}
	}
	limit := cure.DefaultSilent
	if w.bath <= len(b.House.Baths) {
		limit = b.House.Baths[w.bath-1].Silent()
	}
	now := w.clock.Read().Wall
	if quiet := now.Sub(time.Unix(0, w.heard.Load())); quiet > limit && w.inUse() {
		w.heard.Store(now.UnixNano())
		w.tell(fmt.Sprintf("probe of bath %d: nothing read for %s", w.bath, units.FormatDuration(quiet)))
	}
}

// refuse tells why something was not taken, once for each reason: the digits in it
// change, the reason does not.
func (w *watcher) refuse(err error) {
	reason := strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return -1
		}
		return r
	}, err.Error())
	if w.told[reason] || len(w.told) > 100 {
		return
	}
	w.told[reason] = true
	w.tell(fmt.Sprintf("probe of bath %d: %s", w.bath, oneLine(err)))
}

// readSensor reads a file of the kernel once.
func (w *watcher) readSensor() {
	text, err := readSmall(w.path)
	if err != nil {
		w.refuse(err)
		return
	}
	parse := cure.ParseThousandths
	if filepath.Base(w.path) == "w1_slave" {
		parse = cure.ParseW1Slave
	}
	c, err := parse(text)
	if err != nil {
		w.refuse(err)
		return
	}
	w.take(cure.Reading{At: w.clock.Read().Wall, TempC: c})
}

// readSmall reads a file that holds a few bytes.
func readSmall(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	b, err := io.ReadAll(io.LimitReader(f, 1024))
	_ = f.Close() // only read from
	return string(b), err
}

// follow reads the lines of a file or a pipe as they come, until the context ends or
// the file is another one.
func (w *watcher) follow(ctx context.Context) error {
	fi, err := os.Stat(w.path)
	if err != nil {
		return err
	}
	how := os.O_RDONLY
	if fi.Mode().Type() == fs.ModeNamedPipe {
		how = os.O_RDWR // so that the pipe does not end with each program that fills it
	}
	f, err := os.OpenFile(w.path, how, 0)
	if err != nil {
		return err
	}
	stop := context.AfterFunc(ctx, func() { _ = f.Close() }) // ends a read that waits
	defer func() {
		if stop() {
			_ = f.Close() // only read from
		}
	}()
	var rest []byte // of a line whose end has not come yet
	buf := make([]byte, 4096)
	seen := int64(0)
	for {
		n, err := f.Read(buf)
		seen += int64(n)
		rest = w.lines(append(rest, buf[:n]...))
		switch {
		case ctx.Err() != nil:
			return nil
		case err != nil && !errors.Is(err, io.EOF):
			return err
		case err == nil:
			continue
		}
		sleep(ctx, lineEvery)
		if now, err := os.Stat(w.path); err != nil || !os.SameFile(fi, now) || now.Size() < seen {
			return err // put aside, or begun anew: open what is there now
		}
	}
}

// lines takes the whole lines of b and gives what is left of the last. A line
// without an end is not kept.
func (w *watcher) lines(b []byte) []byte {
	for {
		i := bytes.IndexByte(b, '\n')
		if i < 0 {
			break
		}
		w.takeLine(string(b[:i]))
		b = b[i+1:]
	}
	if len(b) > probeLine {
		w.refuse(fmt.Errorf("a line of more than %d bytes is no reading", probeLine))
		return nil
	}
	return append([]byte(nil), b...)
}

func (w *watcher) takeLine(line string) {
	line = strings.TrimSpace(line)
	if line == "" || line[0] == '#' {
		return
	}
	r, err := cure.ParseReading(line)
	if err != nil {
		w.refuse(err)
		return
	}
	w.take(r)
}

// take records a reading where it is due.
func (w *watcher) take(r cure.Reading) {
	now := w.clock.Read().Wall
	switch ahead := r.At.Sub(now); {
	case ahead >= recordEvery:
		w.refuse(fmt.Errorf("reading of %s lies in the future: check the clocks", r.At.Format(time.RFC3339)))
		return
	case ahead > 0:
		r.At = now // the other program's clock is a little fast
	}
	if !r.At.After(w.floor) || now.Sub(r.At) > probeMemory {
		return // in the book already, or long over
	}
	if err := r.Follows(w.line); err != nil {
		w.refuse(err)
		return
	}
	w.line = r
	w.heard.Store(now.UnixNano())
	if !w.due(r) {
		return
	}
	_, err := w.book.Append(action.Action{ID: newID(), At: r.At, By: probeBy, Body: action.BathReading{Bath: w.bath, TempC: r.TempC, Source: w.source()}})
	switch {
	case err == nil:
		w.kept = r
	case errors.Is(err, logbook.ErrUnknown), errors.Is(err, logbook.ErrNotSaved): // the screen tells of a failing book; the next reading tries again
	default:
		w.refuse(err)
	}
}

// due tells whether a reading is to be recorded: one a minute, or when the bath has
// changed.
func (w *watcher) due(r cure.Reading) bool {
	if w.kept.At.IsZero() {
		return true
	}
	since := r.At.Sub(w.kept.At)
	every := recordIdle
	if w.inUse() {
		every = recordEvery
	}
	return since >= every || since >= recordLeast && math.Abs(r.TempC-w.kept.TempC) > recordJump
}

// inUse tells whether flasks are in the bath.
func (w *watcher) inUse() bool {
	b := w.book.State().Bench
	for _, no := range bench.Sorted(b.Loads) {
		if l := b.Loads[no]; l.Bath == w.bath && len(b.StillIn(l)) > 0 {
			return true
		}
	}
	return false
}

// source names the probe in the records by the end of its path.
func (w *watcher) source() string {
	const most = 60
	rs := []rune(printable(w.path, math.MaxInt))
	return string(rs[max(0, len(rs)-most):])
}
