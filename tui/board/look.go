package board

import (
	"bytes"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/keep"
	"flaskside/logbook/mirror"
	"flaskside/timers"
	"flaskside/timers/press"
	"flaskside/tui"
)

// part is a piece of the page, drawn once for all boards.
type part struct {
	id   string
	html []byte
	at   uint64 // the version in which it last changed
	news []byte // it as an event, made once for all boards that hear it
}

// looker is what was last seen of the bench.
type looker struct {
	epoch string // of this run: what a board has of another one is not asked about

	looking sync.Mutex // held while the bench is looked at
	drawer  drawer
	desk    desk
	lost    bool
	flood   keep.AlarmRate
	mirror  mirror.Health

	mu      sync.Mutex
	version uint64
	parts   []part
	seen    time.Duration // on the boot clock: when the bench was last looked at
	clock   string        // the same on the wall clock, in words
	told    time.Duration // when the boards were last told of a sign of life
	rings   atomic.Uint64 // how often there was something to tell
	cast    cast          // what was told last
	asked   time.Time     // when somebody last asked for the board
}

// cast is what is told to all boards that have the version before it, made once.
type cast struct {
	from uint64
	text []byte
}

// desk is what is worked out beside the board, so that no news waits for it.
type desk struct {
	mu      sync.Mutex
	done    chan struct{} // closed when what is under way is done; nil while nothing is
	seq     uint64        // the book's end when that was last done
	any     bool
	at      time.Duration
	version int // counts what came of it

	press *press.Advice
	cures map[int]keep.CureEstimate
	keys  map[int]uint64
	tally []string
	ready chan struct{} // something was worked out
}

func (l *looker) init() {
	l.epoch = rand.Text()[:8]
	l.desk.ready = make(chan struct{}, 1)
	l.drawer.steady = map[string]time.Time{}
}

// unwatched is for how long the bench is looked at after nobody asks any more.
const unwatched = 20 * time.Second

// look looks at the bench until the board ends: with each record, when a timer reaches an end,
// and once a second, as long as there is a board.
func (b *Board) look() {
	next := time.NewTimer(b.lim.look)
	defer next.Stop()
	defer b.desk.wait()
	for {
		select {
		case <-b.ends:
			return
		case <-b.cfg.Bench.Wake():
			n := b.cfg.Bench.Take()
			b.looking.Lock()
			b.lost, b.flood, b.mirror = n.Lost != nil, n.Flood, n.Mirror
			b.looking.Unlock()
		case <-b.desk.ready:
		case <-next.C:
		}
		b.mu.Lock()
		watched := time.Since(b.asked) < unwatched
		b.mu.Unlock()
		wait := b.lim.look
		if watched {
			wait = b.glance()
		}
		next.Reset(wait)
	}
}

// glance looks at the bench once and draws it; it gives when it is worth while to look again.
func (b *Board) glance() (next time.Duration) {
	next = b.lim.look
	defer func() {
		if p := recover(); p != nil { // no sign of life is given then: the boards dim
			b.fault(p)
		}
	}()
	b.looking.Lock()
	defer b.looking.Unlock()
	st, now := b.cfg.Bench.State(), b.cfg.Bench.Now()
	d, version := b.desk.take()
	d.Flood, d.Mirror = b.flood, b.mirror
	wall := tui.WallOf(st, now, d)
	drawn, err := b.drawer.draw(wall, shownState{head: st.Head.Seq, desk: version, lost: b.lost, tally: b.desk.counted()})
	if err != nil {
		b.fault(err)
		return next
	}
	b.keep(drawn, now)
	b.work(st, now)
	for _, t := range wall.Timers {
		if t.Ahead && t.Left < next {
			next = t.Left + time.Millisecond
		}
	}
	return max(next, 10*time.Millisecond)
}

// keep takes what was drawn, and rings where something of it is new or a sign of life is due.
func (b *Board) keep(drawn []part, now timers.Now) {
	if b.kept(drawn, now) {
		b.ring()
	}
}

// kept is what of it is done with the lock held; it tells whether to ring.
func (b *Board) kept(drawn []part, now timers.Now) bool {
	fresh := b.cfg.Bench.Now() // drawing took a moment, which the boards must not take for one of theirs
	b.mu.Lock()
	defer b.mu.Unlock()
	changed, had := false, b.version
	for i, p := range drawn {
		if len(b.parts) != len(drawn) || !bytes.Equal(b.parts[i].html, p.html) {
			if !changed {
				b.version++
			}
			changed = true
			drawn[i].at, drawn[i].news = b.version, newsOf(p)
			continue
		}
		drawn[i].at, drawn[i].news = b.parts[i].at, b.parts[i].news
	}
	b.parts, b.seen, b.clock = drawn, now.Boot, now.Wall.Format(asOf)
	since := now.Boot - b.told
	if !changed && since < b.lim.pulse && since >= 0 {
		return false
	}
	b.told = now.Boot
	b.cast = cast{had, b.tell(had, fresh)}
	b.rings.Add(1)
	return true
}

// now is the bench as it stands, for a page that is opened.
func (b *Board) now() shown {
	b.mu.Lock()
	b.asked = time.Now()
	b.mu.Unlock()
	b.glance()
	b.mu.Lock()
	defer b.mu.Unlock()
	out := shown{clock: b.clock}
	for _, p := range b.parts {
		out.set(p)
	}
	return out
}

// have is what a board has, as it tells it.
func (l *looker) have(version uint64) string { return l.epoch + "-" + strconv.FormatUint(version, 10) }

// parse reads what a board has; of another run it has nothing.
func (b *Board) parse(s string) uint64 {
	epoch, v, _ := strings.Cut(s, "-")
	n, err := strconv.ParseUint(v, 10, 64)
	if err != nil || epoch != b.epoch {
		return 0
	}
	return n
}

// newsOf is a piece of the page as an event.
func newsOf(p part) []byte {
	return fmt.Appendf(nil, "event: part\ndata: %s\n\n", jsonOf(struct {
		ID   string `json:"id"`
		HTML string `json:"html"`
	}{p.id, string(p.html)}))
}

// since is what a board that has a version is to be told. One that begins to listen is told on
// the clock of that moment; the others what was made for all of them, where they had the version before.
func (b *Board) since(have uint64, begins bool) (news []byte, version, rings uint64) {
	now := b.cfg.Bench.Now()
	b.mu.Lock()
	defer b.mu.Unlock()
	b.asked = time.Now()
	if news = b.cast.text; begins || have != b.cast.from {
		news = b.tell(have, now)
	}
	return news, b.version, b.rings.Load()
}

// tell is a piece of an answer: what changed since a version, and a sign of life, which is when
// the bench was last looked at, and what its clock says now. Called with the lock held.
func (l *looker) tell(have uint64, now timers.Now) []byte {
	var news []byte
	for _, p := range l.parts {
		if p.at > have {
			news = append(news, p.news...)
		}
	}
	return pieceOf(l.alive(news, now))
}

// alive adds a sign of life.
func (l *looker) alive(out []byte, now timers.Now) []byte {
	_, zone := now.Wall.Zone()
	out = append(slices.Grow(out, 200), "event: alive\nid: "...)
	out = append(out, l.have(l.version)...)
	out = append(out, "\ndata: {\"at\":"...) // the clock of the bench, ms
	out = strconv.AppendFloat(out, millis(now.Boot), 'f', -1, 64)
	out = append(out, ",\"seen\":"...) // when the bench was looked at, by the same
	out = strconv.AppendFloat(out, millis(l.seen), 'f', -1, 64)
	out = append(out, ",\"wall\":"...) // ms of the day's clock, its zone in it
	out = strconv.AppendInt(out, now.Wall.UnixMilli()+int64(zone)*1000, 10)
	out = append(out, ",\"clock\":"...) // of seen, in words
	out = strconv.AppendQuote(out, l.clock)
	out = append(out, ",\"page\":"...)
	out = strconv.AppendQuote(out, pageMark())
	return append(out, "}\n\n"...)
}

func millis(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// jsonOf is on one line, whatever is in it.
func jsonOf(v any) []byte {
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)              // it is put into no page
	if err := enc.Encode(v); err != nil { // plain data of our own
		panic(err)
	}
	return bytes.TrimSuffix(out.Bytes(), []byte("\n"))
}

// take gives what was worked out, and how often that was.
func (d *desk) take() (tui.WallDesk, int) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return tui.WallDesk{Press: d.press, Cures: d.cures}, d.version
}

func (d *desk) counted() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.tally
}

// wait waits until nothing is worked out any more.
func (d *desk) wait() {
	d.mu.Lock()
	done := d.done
	d.mu.Unlock()
	if done != nil {
		<-done
	}
}

// work works out beside the board what takes longer: the press order, the cures, the tally; for
// a bench that changed, and the press order now and then.
func (b *Board) work(st logbook.Snapshot, now timers.Now) {
	d := &b.desk
	d.mu.Lock()
	defer d.mu.Unlock()
	since := now.Mono - d.at
	if d.done != nil || d.any && d.seq == st.Head.Seq && since >= 0 && since < keep.PressFor {
		return
	}
	d.done, d.any, d.seq, d.at = make(chan struct{}), true, st.Head.Seq, now.Mono
	had, keys := d.cures, d.keys
	go func() {
		defer func() {
			if p := recover(); p != nil {
				b.fault(p)
			}
			d.mu.Lock()
			close(d.done)
			d.done = nil
			d.version++
			d.mu.Unlock()
			select {
			case d.ready <- struct{}{}:
			default: // it has been said already
			}
		}()
		cures, of := map[int]keep.CureEstimate{}, map[int]uint64{}
		for _, c := range tui.CureCases(st) {
			of[c.Load] = c.Key()
			if k, ok := keys[c.Load]; ok && k == c.Key() {
				cures[c.Load] = had[c.Load]
				continue
			}
			cures[c.Load] = b.cfg.Bench.Cure(c)
		}
		p, err := b.cfg.Bench.Press(now, "")
		var tally []string
		if b.cfg.Tally != nil {
			tally, _ = b.cfg.Tally() // where it cannot be counted nothing is said
		}
		d.mu.Lock()
		defer d.mu.Unlock()
		d.cures, d.keys, d.tally, d.press = cures, of, tally, nil
		if err == nil {
			d.press = &p.Advice
		}
	}()
}
