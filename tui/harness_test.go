package tui

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/keep"
	"flaskside/timers/simclock"
)

var updateScreens = flag.Bool("update-screens", false, "write the golden screens anew")

// desk is a screen on a real book in a scratch folder, with clocks moved by hand
// and commands run on the spot.
type desk struct {
	t      *testing.T
	m      *Model
	book   *logbook.Book
	path   string
	ck     *simclock.Hand // the bench's clock, and that of the hands
	n      int
	keys   int
	raw    []string // what was sent to the terminal as it is
	quit   bool
	keeper Keeper
	hub    *keep.Hub
	at0    *keep.Screen // of the hub
	watch  *keep.Watch
	advise bool // let the press order be worked out too
}

// shiftStart is when the invented shift of the tests begins.
var shiftStart = time.Date(2026, 11, 25, 8, 0, 0, 0, time.FixedZone("CET", 3600))

func newDesk(t *testing.T, w, h int) *desk {
	t.Helper()
	d := &desk{t: t, ck: simclock.At(shiftStart, "boot-1"), path: filepath.Join(t.TempDir(), "bench.db")}
	d.openBook()
	d.m.Update(tea.WindowSizeMsg{Width: w, Height: h})
	return d
}

func (d *desk) openBook() {
	d.t.Helper()
	b, err := logbook.Open(d.path, d.ck)
	if err != nil {
		d.t.Fatal(err)
	}
	d.t.Cleanup(func() { _ = b.Close() })
	d.book = b
	d.hub = keep.New(b, d.ck, func() string { d.n++; return fmt.Sprintf("hub-%05d", d.n) })
	d.watch = &keep.Watch{Tick: time.Second}
	d.watch.On(d.hub)
	d.start(d.join(keep.Person{By: "KT", Own: true}))
}

// join is another screen of the bench.
func (d *desk) join(p keep.Person) *keep.Screen {
	d.t.Helper()
	s, err := d.hub.Join(p)
	if err != nil {
		d.t.Fatal(err)
	}
	d.at0 = s
	return s
}

// heard lets the screen hear what is new on the bench.
func (d *desk) heard() { d.feed(heard(d.at0.Take())) }

// start begins a screen at a keeper.
func (d *desk) start(k Keeper) {
	w, h := 80, 24
	if d.m != nil {
		w, h = d.m.w, d.m.h
	}
	d.keeper = k
	d.m = New(Config{Keeper: k, Hands: d.ck, NewID: func() string { d.n++; return fmt.Sprintf("id-%05d", d.n) }, Every: time.Second})
	d.m.w, d.m.h = w, h
	d.m.advising = !d.advise
}

// run executes a command and what follows from it.
func (d *desk) run(cmd tea.Cmd) {
	if cmd == nil {
		return
	}
	d.feed(cmd())
}

func (d *desk) feed(msg tea.Msg) {
	switch msg := msg.(type) {
	case nil:
	case tea.BatchMsg:
		for _, c := range msg {
			d.run(c)
		}
	case tea.QuitMsg:
		d.quit = true
	default:
		if v := reflect.ValueOf(msg); v.Kind() == reflect.Slice && v.Type().Elem() == reflect.TypeOf(tea.Cmd(nil)) {
			for i := range v.Len() {
				d.run(v.Index(i).Interface().(tea.Cmd))
			}
			return
		}
		if r, ok := msg.(tea.RawMsg); ok {
			d.raw = append(d.raw, fmt.Sprint(r.Msg))
			return
		}
		_, cmd := d.m.Update(msg)
		d.run(cmd)
	}
}

func keyMsg(name string) tea.KeyPressMsg {
	special := map[string]rune{"enter": tea.KeyEnter, "esc": tea.KeyEscape, "backspace": tea.KeyBackspace, "up": tea.KeyUp, "down": tea.KeyDown, "home": tea.KeyHome, "end": tea.KeyEnd, "space": tea.KeySpace}
	if c, ok := special[name]; ok {
		k := tea.KeyPressMsg{Code: c}
		if name == "space" {
			k.Text = " "
		}
		return k
	}
	if name == "ctrl+c" {
		return tea.KeyPressMsg{Code: 'c', Mod: tea.ModCtrl}
	}
	return tea.KeyPressMsg{Code: []rune(name)[0], Text: name}
}

// press presses keys a second apart: "1 enter 4417 enter" with words of digits
// typed one by one.
func (d *desk) press(keys string) *desk {
	d.t.Helper()
	for _, word := range strings.Fields(keys) {
		if len([]rune(word)) == 1 || slices.Contains(strings.Fields("enter esc backspace up down home end space ctrl+c"), word) {
			d.one(word)
			continue
		}
		for _, r := range word {
			d.one(string(r))
		}
	}
	return d
}

func (d *desk) one(key string) {
	d.ck.Run(time.Second)
	d.keys++
	d.feed(keyMsg(key))
}

// wait lets time pass and the screen look at the clock.
func (d *desk) wait(by time.Duration) *desk {
	d.ck.Run(by - time.Second)
	d.watch.On(d.hub)
	d.ck.Run(time.Second)
	d.watch.Look()
	d.heard()
	d.run(d.m.onTick())
	return d
}

func (d *desk) screen() string { return d.m.draw().plainText() }

func (d *desk) sees(want ...string) {
	d.t.Helper()
	s := d.screen()
	for _, w := range want {
		if !strings.Contains(s, w) {
			d.t.Errorf("the screen does not show %q:\n%s", w, s)
		}
	}
}

// golden compares the screen with the one kept under testdata/screens.
func (d *desk) golden(name string) {
	d.t.Helper()
	goldenText(d.t, name, d.screen())
}

func goldenText(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("..", "testdata", "screens", name+".txt")
	got += "\n"
	if *updateScreens {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v (run with -update-screens to make it)", err)
	}
	if string(want) != got {
		t.Errorf("screen %s has changed (run with -update-screens if that is right)\n--- want\n%s--- got\n%s", name, want, got)
	}
}
