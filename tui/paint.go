package tui

import (
	"bytes"
	"io"
	"slices"
	"strconv"
	"sync"
	"time"
	"unicode/utf8"

	"github.com/charmbracelet/x/ansi"
	"github.com/charmbracelet/x/term"
)

// Painter puts the frames of one screen on its terminal, as soon as there is something new
// to be seen and in as few bytes as that takes. While nothing is new it sleeps.
//
// The library's own renderer looks whether something is new at each beat of its rate: a high
// rate costs an idle bench its sleep, a low one lets a key wait. It is left what is no cell
// (modes, title, the way in and out), at a slow rate; it writes through the painter, which
// draws all anew where the library cleared the terminal.
//
// A painter never draws an older state of the screen after a newer one, nor anything before
// the terminal was made ready or after it was given back; and nobody who changes the screen
// waits for its writing.
type Painter struct {
	out   io.Writer
	every time.Duration

	now, soon  chan struct{} // room for one each
	end, ended chan struct{}
	once       sync.Once

	model sync.Mutex // of the screen: held while it changes, and while it is drawn
	draw  func(blank func(w, h int) *frame) (*frame, *theme)

	mu    sync.Mutex // of the terminal: held while it is written to
	on    bool       // it is ready
	whole bool       // it shows one frame whole, and not how it comes to be
	was   *frame     // what it shows; nil: nobody knows
	look  *theme

	spare *frame // of the one who draws, as is
	buf   bytes.Buffer
}

// Settling is how long what nobody waits for at the keys, news say, may wait for more of its kind.
const settling = 20 * time.Millisecond

// NewPainter makes the painter of a terminal. Two frames are begun every so far apart at least;
// the first after a rest is drawn at once.
func NewPainter(out io.Writer, every time.Duration) *Painter {
	return &Painter{out: out, every: every, now: make(chan struct{}, 1), soon: make(chan struct{}, 1), end: make(chan struct{}), ended: make(chan struct{})}
}

// Output is where the library writes what it writes itself.
func (p *Painter) Output() io.Writer {
	if f, ok := p.out.(term.File); ok {
		return file{f, p}
	}
	return p
}

// file is the terminal as the library knows it, but for what is written to it.
type file struct {
	term.File
	p *Painter
}

func (f file) Write(b []byte) (int, error) { return f.p.Write(b) }

// Write lets the library write.
func (p *Painter) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if ready, over := bytes.LastIndex(b, []byte(ansi.SetModeAltScreenSaveCursor)), bytes.LastIndex(b, []byte(ansi.ResetModeAltScreenSaveCursor)); ready != over {
		p.on, p.was = ready > over, nil
	}
	if clears(b) {
		p.was = nil
	}
	n, err := p.out.Write(b)
	if p.on && p.was == nil {
		wake(p.now)
	}
	return n, err
}

// Ask sends the terminal a question between two frames, one whose answer comes as keys do. Where
// something is being written, or the terminal is not ready, it is not asked: false.
func (p *Painter) Ask(question string) bool {
	if !p.mu.TryLock() { // that writing has its own bound
		return false
	}
	defer p.mu.Unlock()
	if !p.on {
		return false
	}
	_, err := io.WriteString(p.out, question)
	return err == nil
}

// atOnce says whether the terminal can be told to show a frame whole, and not how it comes
// to be.
func (p *Painter) atOnce(can bool) { p.mu.Lock(); p.whole = can; p.mu.Unlock() }

// clears tells whether a sequence may change what stands in the cells of a terminal: all that
// is not the setting of a mode, a question, or a text for its title.
func clears(b []byte) bool {
	var state byte
	parser := ansi.GetParser()
	defer ansi.PutParser(parser)
	for len(b) > 0 {
		seq, width, n, next := ansi.DecodeSequence(b, state, parser)
		if width > 0 {
			return true
		}
		if ansi.HasCsiPrefix(seq) {
			switch ansi.Cmd(parser.Command()).Final() {
			case 'J', 'K', 'L', 'M', 'P', 'S', 'T', 'X', '@', 'r', 'b':
				return true
			}
		}
		if string(seq) == "\n" {
			return true
		}
		b, state = b[n:], next
	}
	return false
}

// begin lets the painter draw a screen until it is told to end.
func (p *Painter) begin(draw func(blank func(w, h int) *frame) (*frame, *theme)) {
	p.draw = draw
	go p.paint()
}

// Close ends the painter: the screen is nobody's from here on. It does not wait for a terminal
// that takes nothing.
func (p *Painter) Close() {
	p.once.Do(func() { close(p.end) })
	p.model.Lock() // whoever draws still is let finish
	defer p.model.Unlock()
}

// closed tells whether the painter was ended.
func (p *Painter) closed() bool {
	select {
	case <-p.end:
		return true
	default:
		return false
	}
}

// wake says that there is something to do.
func wake(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default: // it has been said already
	}
}

// paint draws when there is something new.
func (p *Painter) paint() {
	defer close(p.ended)
	var last time.Time
	for {
		select {
		case <-p.end:
			return
		case <-p.now:
		case <-p.soon:
			if !p.rest(settling, p.now) {
				return
			}
		}
		if !p.rest(time.Until(last.Add(p.every)), nil) {
			return
		}
		for _, c := range []chan struct{}{p.now, p.soon} { // what comes from here on is drawn anew
			select {
			case <-c:
			default:
			}
		}
		last = time.Now()
		p.frame()
	}
}

// rest waits for a while, or until something wakes it; false says that all ends.
func (p *Painter) rest(d time.Duration, woken <-chan struct{}) bool {
	if d <= 0 {
		return true
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-woken:
	case <-p.end:
		return false
	}
	return true
}

// frame draws the screen as it is now.
func (p *Painter) frame() {
	p.model.Lock()
	var f *frame
	var look *theme
	if !p.closed() {
		f, look = p.draw(p.blank)
	}
	p.model.Unlock()
	if f == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.on {
		p.spare = f
		return
	}
	if p.look != look {
		p.look, p.was = look, nil
	}
	p.buf.Reset()
	difference(&p.buf, p.was, f, look)
	p.was, p.spare = f, p.was
	if p.buf.Len() == 0 {
		return
	}
	b := p.buf.Bytes()
	if p.whole {
		b = append([]byte(ansi.SetModeSynchronizedOutput), b...)
		b = append(b, ansi.ResetModeSynchronizedOutput...)
	}
	_, _ = p.out.Write(b) // of a terminal that is gone the program hears elsewhere
}

// blank gives an empty frame, one that is not shown any more where there is one. It is for
// the one who draws, and waits for nobody.
func (p *Painter) blank(w, h int) *frame {
	f := p.spare
	p.spare = nil
	if f == nil || f.w != w || f.h != h {
		return newFrame(w, h)
	}
	f.clear()
	return f
}

// difference writes what makes a terminal that shows one frame show another; was is nil where
// nobody knows what it shows.
func difference(out *bytes.Buffer, was, f *frame, look *theme) {
	if was == nil || was.w != f.w || was.h != f.h {
		out.WriteString(ansi.ResetStyle + ansi.CursorHomePosition + ansi.EraseEntireScreen)
		was = nil
	}
	pen := pen{out: out, look: look, x: -1}
	for y := range f.h {
		row := f.cells[y*f.w : (y+1)*f.w]
		var old []cell // nil: blank
		if was != nil {
			old = was.cells[y*f.w : (y+1)*f.w]
		}
		pen.row(y, old, row)
	}
	pen.role(plain)
}

// pen writes cells, and knows where it stands and how it writes.
type pen struct {
	out  *bytes.Buffer
	look *theme
	x, y int // where the next cell goes; x -1: nobody knows
	on   role
}

// near is how many cells that are as they were are written again rather than passed over: to
// pass over costs as many bytes.
const near = 5

// row writes the cells of a row that are not as they were. A row with wide characters, old or
// new, is written whole where anything of it changed: terminals do not agree on their widths.
func (p *pen) row(y int, old, row []cell) {
	same := func(x int) bool {
		if old == nil {
			return row[x] == cell{" ", plain}
		}
		return old[x] == row[x]
	}
	from := 0
	for from < len(row) && same(from) {
		from++
	}
	if from == len(row) {
		return
	}
	odd := func(c cell) bool { return !simple(c.s) }
	if slices.ContainsFunc(row, odd) || slices.ContainsFunc(old, odd) {
		p.move(0, y)
		p.role(plain)
		p.out.WriteString(ansi.EraseEntireLine)
		for x := range row {
			p.put(x, y, row[x])
		}
		return
	}
	for x, skipped := from, 0; x < len(row); x++ {
		if same(x) {
			skipped++
			continue
		}
		if p.x == x-skipped && p.y == y && skipped <= near { // not worth a jump
			for i := x - skipped; i < x; i++ {
				p.put(i, y, row[i])
			}
		}
		p.put(x, y, row[x])
		skipped = 0
	}
}

// simple tells whether a cell holds one character of one column, on which all terminals agree.
func simple(s string) bool {
	if len(s) == 1 {
		return true
	}
	r, n := utf8.DecodeRuneInString(s)
	switch {
	case n != len(s) || n == 0:
		return false
	case r > 0xad && r < 0x300, r >= 0x2500 && r < 0x25a0, r >= 0x2800 && r < 0x2900: // letters, rules and blocks, the dots of charts: the common case
		return true
	}
	return ansi.StringWidth(s) == 1
}

// put writes a cell where it belongs.
func (p *pen) put(x, y int, c cell) {
	if c.s == "" { // the right half of the one before
		return
	}
	p.move(x, y)
	p.role(c.role)
	p.out.WriteString(c.s)
	p.x++
	if len(c.s) > 1 && !simple(c.s) {
		p.x = -1 // who knows
	}
}

// move goes to a cell.
func (p *pen) move(x, y int) {
	if p.x == x && p.y == y {
		return
	}
	p.out.WriteString("\x1b[")
	p.out.Write(strconv.AppendInt(p.out.AvailableBuffer(), int64(y+1), 10))
	p.out.WriteByte(';')
	p.out.Write(strconv.AppendInt(p.out.AvailableBuffer(), int64(x+1), 10))
	p.out.WriteByte('H')
	p.x, p.y = x, y
}

// role goes on in a role.
func (p *pen) role(r role) {
	if r == p.on {
		return
	}
	p.out.WriteString(p.look.off[p.on])
	p.out.WriteString(p.look.on[r])
	p.on = r
}
