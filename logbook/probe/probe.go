// Package probe follows thermometers into the logbook: what is read from one, when a
// reading is recorded, and when one has been silent for too long.
package probe

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
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
	memory      = 36 * time.Hour   // lines older than this are history
	longest     = 256              // bytes of the longest line
	by          = "probe"          // stands in the records in place of initials
)

// Probe is a source of bath temperatures: a file, a pipe or a sensor.
type Probe struct {
	Path string
	Bath int // from 1
}

// Parse reads PATH or PATH@BATH.
func Parse(text string) (Probe, error) {
	p := Probe{text, 1}
	if i := strings.LastIndexByte(text, '@'); i >= 0 {
		if n, err := strconv.Atoi(text[i+1:]); err == nil {
			if n < 1 || n > 9 {
				return p, fmt.Errorf("%s: baths have the numbers 1 to 9", text)
			}
			p = Probe{text[:i], n}
		}
	}
	if p.Path == "" {
		return p, errors.New("needs a file, as /run/bath.txt or /sys/bus/w1/devices/28-0123456789ab/w1_slave@2")
	}
	return p, nil
}

// sensor tells whether the path is a file of the kernel that holds one value at a
// time: a 1-wire thermometer (w1_slave, temperature) or one of hwmon
// (temp*_input). Any other is a file or pipe of lines.
func (p Probe) sensor() bool {
	name := filepath.Base(p.Path)
	hwmon, _ := filepath.Match("temp*_input", name)
	return hwmon || name == "w1_slave" || strings.HasPrefix(filepath.Clean(p.Path), "/sys/")
}

// recorder is the logbook as a probe sees it.
type recorder interface {
	State() logbook.Snapshot
	Append(action.Action) (logbook.Saved, error)
}

// Desk is what probes are followed with.
type Desk struct {
	Book  recorder
	Clock timers.Clock
	NewID func() string             // a new id for an action
	Tell  func(line string)         // says something on the screen
	Fault func(trace string) string // keeps a fault in a file and gives its name
}

// Follow follows every probe until the context ends. A fault of one is kept in a
// file and told, and ends that one alone.
func (d Desk) Follow(ctx context.Context, probes []Probe) {
	var all sync.WaitGroup
	for _, p := range probes {
		all.Go(func() {
			defer func() {
				if x := recover(); x != nil {
					d.Tell("a fault in the program; the probe of bath " + strconv.Itoa(p.Bath) + " is followed no more. Kept in " + d.Fault(fmt.Sprintf("probe %s: %v\n\n%s", p.Path, x, debug.Stack())))
				}
			}()
			d.watch(ctx, p, lineEvery)
		})
	}
	all.Wait()
}

// watcher follows one probe into the logbook.
type watcher struct {
	Desk
	Probe

	every time.Duration // between two looks at a file

	heard atomic.Int64 // when it last said anything, ns of the wall clock

	floor time.Time        // what the book had before: older lines are no news
	line  cure.BathReading // last one read
	kept  cure.BathReading // last one recorded
	told  map[string]bool
}

// watch follows a probe until the context ends. It never gives up: what cannot be
// read is told once, and the silence raises its own alarm, or is told again and
// again where nothing was ever read.
func (d Desk) watch(ctx context.Context, p Probe, every time.Duration) {
	w := &watcher{Desk: d, Probe: p, every: every, told: map[string]bool{}}
	if r, ok := d.Book.State().Bench.LastReading(p.Bath); ok {
		w.kept = cure.BathReading{At: r.At.At, TempC: r.TempC}
		w.floor = w.kept.At
	}
	w.heard.Store(d.Clock.Read().Wall.UnixNano())
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
		sleep(ctx, w.every)
	}
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
	w.Tell(fmt.Sprintf("probe of bath %d: %s", w.Bath, err))
}
