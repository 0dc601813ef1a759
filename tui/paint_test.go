package tui

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/charmbracelet/x/ansi"
	"github.com/charmbracelet/x/vt"
	"pgregory.net/rapid"
)

// painting is a painter without its own beat, on an emulator of a terminal.
type painting struct {
	p    *Painter
	em   *vt.Emulator
	f    *frame
	look *theme
	sent int
}

func (d *painting) Write(b []byte) (int, error) { d.sent += len(b); return d.em.Write(b) }

func newPainting(w, h int) *painting {
	d := &painting{em: vt.NewEmulator(w, h), look: newTheme(true, "")}
	d.p = NewPainter(d, 0)
	d.p.draw = func(blank func(w, h int) *frame) (*frame, *theme) {
		f := blank(d.f.w, d.f.h)
		copy(f.cells, d.f.cells)
		return f, d.look
	}
	return d
}

// want is what a terminal shows that was sent the frame whole.
func (d *painting) want() *vt.Emulator {
	em := vt.NewEmulator(d.f.w, d.f.h)
	_, _ = io.WriteString(em, ansi.SetModeAltScreenSaveCursor+strings.ReplaceAll(d.f.styled(d.look), "\n", "\r\n"))
	return em
}

// differs says where two terminals do not show the same, "" for nowhere.
func differs(a, b *vt.Emulator) string {
	for y := range a.Height() {
		for x := range a.Width() {
			c, d := a.CellAt(x, y), b.CellAt(x, y)
			if c == nil || d == nil || c.Content != d.Content || !c.Style.Equal(&d.Style) {
				return fmt.Sprintf("%d,%d: %+v, want %+v", x, y, c, d)
			}
		}
	}
	return ""
}

// TestPaintedAsDrawn: after any history of frames, sizes, colours and writes of the library the
// terminal shows the newest frame, every cell of it in its look; and a frame like the last one
// takes no byte.
func TestPaintedAsDrawn(t *testing.T) {
	checks(t, 25, 200)
	rapid.Check(t, func(rt *rapid.T) {
		w, h := rapid.IntRange(1, 40).Draw(rt, "w"), rapid.IntRange(1, 8).Draw(rt, "h")
		d := newPainting(w, h)
		d.f = newFrame(w, h)
		d.p.frame()
		if d.sent > 0 {
			rt.Fatal("drawn before the terminal was ready")
		}
		_, _ = io.WriteString(d.p, ansi.SetModeAltScreenSaveCursor)
		for range rapid.IntRange(1, 12).Draw(rt, "steps") {
			switch rapid.IntRange(0, 6).Draw(rt, "what") {
			case 0:
				_, _ = io.WriteString(d.p, ansi.SetWindowTitle("12 min, press · flaskside")+ansi.SetModeBracketedPaste)
			case 1:
				_, _ = io.WriteString(d.p, ansi.CursorHomePosition+ansi.EraseEntireScreen)
			case 2:
				_, _ = io.WriteString(d.p, "text of the library")
			case 3:
				d.look = newTheme(rapid.Bool().Draw(rt, "dark"), rapid.SampledFrom([]string{"", "ANSI", "ANSI256", "Ascii"}).Draw(rt, "profile"))
			case 4:
				w, h = rapid.IntRange(1, 40).Draw(rt, "w"), rapid.IntRange(1, 8).Draw(rt, "h")
				d.em.Resize(w, h)
				d.f = newFrame(w, h)
			default:
				y := rapid.IntRange(0, h-1).Draw(rt, "y")
				text := rapid.SampledFrom([]string{"", " ", "ab", "place 1", "│", "─┬─", "√ é", "e\u0301", "日本", "12 min left, and more", "▸ 4417"}).Draw(rt, "text")
				d.f.put(rapid.IntRange(0, w-1).Draw(rt, "x"), y, w, role(rapid.IntRange(0, int(roles)-1).Draw(rt, "role")), text)
			}
			// A half of a wide character is no frame that a page draws: put mends it with the next.
			for y := range h {
				mend(d.f.cells[y*w : (y+1)*w])
			}
			d.p.frame()
			if at := differs(d.em, d.want()); at != "" {
				rt.Fatalf("it shows %q at %s\n%s\nwant\n%s", d.em.String(), at, d.em, d.f.plainText())
			}
			before := d.sent
			d.p.frame()
			if d.sent != before {
				rt.Fatalf("the same frame again took %d bytes", d.sent-before)
			}
		}
		_, _ = io.WriteString(d.p, ansi.ResetModeAltScreenSaveCursor)
		before := d.sent
		d.f.put(0, 0, w, strong, "x")
		d.p.frame()
		if d.sent != before {
			rt.Fatal("drawn after the terminal was given back")
		}
	})
}

// mend blanks halves of wide characters that were written over.
func mend(row []cell) {
	for x := range row {
		wide := ansi.StringWidth(row[x].s) == 2
		if wide && (x+1 >= len(row) || row[x+1].s != "") || row[x].s == "" && (x == 0 || ansi.StringWidth(row[x-1].s) != 2) {
			row[x] = cell{" ", plain}
		}
	}
}

// TestOddRowsAreWhole: terminals do not agree on how wide some characters are, so that a row that
// has or had one is written whole, from its first column and cleared, and each such character
// is followed by the column of the next; a row without one is not.
func TestOddRowsAreWhole(t *testing.T) {
	for text, odd := range map[string]bool{"日本 4417": true, "e\u0301 4417": true, "👩\u200d🔬 4417": true, "√ 4417": false, "─┬─ é 4417": false} {
		was, f := newFrame(20, 1), newFrame(20, 1)
		was.text(0, 0, plain, text)
		f.text(0, 0, plain, text)
		f.text(19, 0, plain, "x")
		for _, c := range [][2]*frame{{was, f}, {newFrame(20, 1), was}, {was, newFrame(20, 1)}} {
			var out bytes.Buffer
			difference(&out, c[0], c[1], newTheme(true, ""))
			if got := strings.HasPrefix(out.String(), "\x1b[1;1H"+ansi.EraseEntireLine); got != odd {
				t.Errorf("%q: written whole: %v, want %v: %q", text, got, odd, out.String())
			}
		}
		var out bytes.Buffer
		difference(&out, was, f, newTheme(true, ""))
		if r := []rune(text); odd && (!strings.Contains(out.String(), "\x1b[1;3H") && !strings.Contains(out.String(), "\x1b[1;2H")) {
			t.Errorf("%q: nothing says where what follows %q stands: %q", text, r[0], out.String())
		}
	}
}

// TestPaintedInOrder: while a screen changes as fast as it can, on a terminal that takes its time, no
// older state comes after a newer one, the last state comes, and nothing is sent before the
// terminal is ready or after it was given back.
func TestPaintedInOrder(t *testing.T) {
	const changes = 3000
	var mu sync.Mutex
	var got []string // as the terminal stood after each write
	em := vt.NewEmulator(20, 1)
	out := writerFunc(func(b []byte) (int, error) {
		mu.Lock()
		defer mu.Unlock()
		n, err := em.Write(b)
		if s := strings.TrimSpace(em.String()); s != "" {
			got = append(got, s)
		}
		time.Sleep(time.Millisecond / 4)
		return n, err
	})
	p := NewPainter(out, time.Millisecond/8)
	n, look := 0, newTheme(true, "")
	p.begin(func(blank func(w, h int) *frame) (*frame, *theme) {
		f := blank(20, 1)
		f.text(0, 0, role(n%int(roles)), fmt.Sprint(n))
		return f, look
	})
	for n < changes {
		p.model.Lock()
		n++
		p.model.Unlock()
		switch {
		case n == changes/4:
			_, _ = io.WriteString(p, ansi.SetModeAltScreenSaveCursor)
		case n%3 == 0:
			wake(p.soon)
		default:
			wake(p.now)
		}
		if n%100 == 0 {
			time.Sleep(time.Millisecond)
		}
	}
	wake(p.soon)
	for {
		mu.Lock()
		over := len(got) > 0 && got[len(got)-1] == fmt.Sprint(changes)
		mu.Unlock()
		if over {
			break
		}
		time.Sleep(time.Millisecond)
	}
	_, _ = io.WriteString(p, ansi.ResetModeAltScreenSaveCursor)
	p.model.Lock()
	n++
	p.model.Unlock()
	wake(p.now)
	p.Close()
	<-p.ended
	mu.Lock()
	defer mu.Unlock()
	before := 0
	for _, s := range got {
		i := 0
		if _, err := fmt.Sscanf(s, "%d", &i); err != nil || i < before || i < changes/4 || i > changes {
			t.Fatalf("%q after %d", s, before)
		}
		before = i
	}
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(b []byte) (int, error) { return f(b) }

// TestNobodyWaitsForThePainter: a terminal that takes nothing holds up neither who changes the
// screen nor who ends it.
func TestNobodyWaitsForThePainter(t *testing.T) {
	stuck, begun := make(chan struct{}), make(chan struct{})
	var once sync.Once
	var ready bytes.Buffer
	p := NewPainter(writerFunc(func(b []byte) (int, error) {
		if ready.Len() == 0 {
			return ready.Write(b)
		}
		once.Do(func() { close(begun) })
		<-stuck
		return len(b), nil
	}), 0)
	n, look := 0, newTheme(true, "")
	p.begin(func(blank func(w, h int) *frame) (*frame, *theme) {
		f := blank(20, 1)
		f.text(0, 0, plain, fmt.Sprint(n))
		return f, look
	})
	_, _ = io.WriteString(p, ansi.SetModeAltScreenSaveCursor)
	<-begun
	for range 1000 {
		p.model.Lock()
		n++
		p.model.Unlock()
		wake(p.now)
	}
	p.Close()
	close(stuck)
	<-p.ended
}
