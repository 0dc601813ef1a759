package board

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"flaskside/logbook/words"
	"flaskside/tui"
)

//go:embed page.html
var pageHTML string

//go:embed page.css
var pageCSS string

//go:embed page.js
var pageJS string

// pageMark tells one version of the page from another.
var pageMark = sync.OnceValue(func() string {
	sum := sha256.Sum256([]byte(pageHTML + pageCSS + pageJS))
	return hex.EncodeToString(sum[:6])
})

// pages are read when the first is drawn, for few starts of the program draw one.
var pages = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("").Funcs(template.FuncMap{
		"script": func() template.JS { return template.JS(pageJS) }, //nolint:gosec // our own file
	}).Parse(pageHTML))
})

// frame is what every page has.
type frame struct {
	Nonce    string
	Theme    string // dark, light, or "" for that of the screen
	Mark     string
	Style    template.CSS
	OldMs    int64
	Fine     int // from so many seconds on large digits count single ones
	Clock    string
	Refresh  int // seconds, for a browser without a script
	Headline string
}

func (b *Board) frame(nonce, theme string, s shown) frame {
	old := b.lim.old
	style := strings.ReplaceAll(pageCSS, "OLD_AFTER", fmt.Sprintf("%gs", old.Seconds()))
	return frame{Nonce: nonce, Theme: theme, Mark: pageMark(), Style: template.CSS(style), //nolint:gosec // our own file
		OldMs: old.Milliseconds(), Fine: int(tui.FineDigits.Seconds()), Clock: s.clock, Refresh: int(old.Seconds()) - 2, Headline: "board · flaskside"}
}

// shown is the bench as a page that is opened has it.
type shown struct {
	clock                                          string
	Head, Alarms, Tiles, Timers, Press, Baths, Day template.HTML
}

func (s *shown) set(p part) {
	to := map[string]*template.HTML{"head": &s.Head, "alarms": &s.Alarms, "tiles": &s.Tiles, "timers": &s.Timers, "press": &s.Press, "baths": &s.Baths, "day": &s.Day}[p.id]
	*to = template.HTML(p.html) //nolint:gosec // made by the same templates
}

// whole is a page.
type whole struct {
	frame
	shown
	Benches bool
}

// shownState is what a drawing rests on beside the words.
type shownState struct {
	head  uint64
	desk  int
	lost  bool
	tally []string
}

// drawer draws a bench, and keeps what need not be drawn again.
type drawer struct {
	steady map[string]time.Time // instants as they were last shown, by what they are of
	used   map[string]time.Time // those of this drawing
	key    string               // what pictures were last drawn of
	baths  []byte
	day    []byte
}

// moment is an instant that does not tremble: the clocks are read one after the other, and what
// was worked out from two of them moves by what lay in between.
func (d *drawer) moment(key string, t time.Time) time.Time {
	if was, ok := d.steady[key]; ok && t.Sub(was).Abs() < trembling {
		t = was
	}
	d.used[key] = t
	return t
}

// trembling is less than anybody sees, and more than lies between two readings of clocks.
const trembling = 200 * time.Millisecond

// timeView is a time that the page counts on by itself.
type timeView struct {
	Due   string // on the clock of the bench, ms
	At    string // the hour
	Word  string // what the hour is
	Ahead bool   // it leads to something
	About bool   // estimated
	Far   bool   // large digits
	Mood  tui.Mood
}

func (d *drawer) time(wall tui.Wall, t tui.WallTime, far bool) timeView {
	due := millis(wall.Now.Boot + t.Left)
	// The same instant as a time, so that one rule holds it steady.
	due = float64(d.moment("boot "+t.Key, time.UnixMicro(int64(due*1000))).UnixMicro()) / 1000
	v := timeView{Due: strconv.FormatFloat(due, 'f', -1, 64), At: words.Instant(d.moment("wall "+t.Key, t.Due), wall.Now.Wall), Word: "until", Ahead: t.Ahead, About: t.Estimated, Far: far, Mood: t.Mood}
	if !t.Ahead {
		v.Word = "since"
	}
	return v
}

type alarmView struct {
	tui.WallAlarm
	Since string
}

type tileView struct {
	tui.WallTile
	T    *timeView
	Call string // for who does not see it
}

type timerView struct {
	tui.WallTimer
	T timeView
}

// The most that is shown of what could be long; how much more there is is said.
const (
	mostAlarms      = 5
	mostAlarmsSmall = 2 // by the style
	mostTimers      = 6
	fewTimers       = 4 // beside two loads
	mostLoads       = 2 // with a picture
	mostComing      = 6
)

// draw draws the pieces of the page.
func (d *drawer) draw(wall tui.Wall, s shownState) ([]part, error) {
	d.used = map[string]time.Time{}
	defer func() { d.steady = d.used }()
	var out []part
	var failed error
	add := func(id string, data any) {
		var b bytes.Buffer
		if err := pages().ExecuteTemplate(&b, id, data); err != nil && failed == nil {
			failed = err
		}
		out = append(out, part{id: id, html: b.Bytes()})
	}
	add("head", struct {
		Crew, Quiet, Mirror, Day, Tally string
		Lost                            bool
		Free                            []int
	}{wall.Crew, wall.Quiet, wall.Mirror, wall.Now.Wall.Format("Mon 2 Jan"), strings.Join(s.tally, ", "), s.lost, wall.Free})
	var alarms []alarmView
	for _, a := range wall.Alarms[:min(len(wall.Alarms), mostAlarms)] {
		alarms = append(alarms, alarmView{a, words.Instant(d.moment("rose "+a.Key, a.Rose), wall.Now.Wall)})
	}
	add("alarms", struct {
		List            []alarmView
		More, MoreSmall int // beyond what a large screen and a small one have room for
		Flood           string
	}{alarms, len(wall.Alarms) - len(alarms), len(wall.Alarms) - mostAlarmsSmall, wall.Flood})
	add("tiles", d.tiles(wall))
	add("timers", d.timers(wall))
	add("press", wall.Press)
	if key := pictureKey(wall, s); key != d.key || d.key == "" {
		d.key = key
		add("baths", d.bathViews(wall))
		d.baths = out[len(out)-1].html
		add("day", d.dayView(wall))
		d.day = out[len(out)-1].html
	} else {
		out = append(out, part{id: "baths", html: d.baths}, part{id: "day", html: d.day})
	}
	return out, failed
}

// pictureKey is another one when the pictures are: with a record, an estimate, a timer at an
// end, and each minute.
func pictureKey(wall tui.Wall, s shownState) string {
	var b strings.Builder
	fmt.Fprint(&b, s.head, " ", s.desk, " ", wall.Now.Wall.Format("2006-01-02 15:04 -07"))
	for _, t := range wall.Timers {
		fmt.Fprint(&b, " ", t.Key, t.Words, t.Mood)
	}
	return b.String()
}

// How many tiles are large, and how many are in a row beneath them (house defaults). More would
// be too small to be read from across the room.
const (
	mostNear  = 4
	mostStrip = 6
	mostTiles = mostNear + 2*8
)

// grids are the columns and rows for so many large tiles: each as large as it can be.
func grids(n int) (cols, rows int) {
	switch {
	case n <= 2:
		return 1, n
	default:
		return 2, 2
	}
}

// wants ranks a tile by how soon it wants something: what is late, what soon will be, what has a
// limit near or has just come to its end, what can be done, and the rest; of two alike the one
// whose moment is nearer, or that has waited longer.
func wants(t tui.WallTile) (rank int, near time.Duration) {
	if t.Time == nil {
		near = 1<<63 - 1
	} else {
		near = t.Time.Left.Abs()
	}
	switch {
	case t.Mood == tui.Alarm:
		return 0, near
	case t.Mood == tui.Soon:
		return 1, near
	case t.Time != nil && t.Time.Ahead && near < 30*time.Minute, t.Time != nil && t.Mood == tui.Good && near < 10*time.Minute:
		return 2, near
	case t.Mood == tui.Good:
		return 3, -near // it has waited longest
	case t.Time != nil && t.Time.Ahead:
		return 4, near
	}
	return 5, near
}

// soonest are those tiles, in their order, that want something first.
func soonest(tiles []tui.WallTile, n int) (near []bool) {
	near = make([]bool, len(tiles))
	order := make([]int, len(tiles))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		rankA, nearA := wants(tiles[a])
		rankB, nearB := wants(tiles[b])
		return cmp.Or(cmp.Compare(rankA, rankB), cmp.Compare(nearA, nearB))
	})
	for _, i := range order[:min(n, len(order))] {
		near[i] = true
	}
	return near
}

func (d *drawer) tiles(wall tui.Wall) any {
	var near, strip []tileView
	first := soonest(wall.Tiles, mostNear)
	for i, t := range wall.Tiles {
		v := tileView{WallTile: t}
		if t.Time != nil {
			at := d.time(wall, *t.Time, true)
			v.T = &at
		}
		switch {
		case t.Step:
			v.Call = "case " + t.Case
		case t.Load:
			v.Call = t.Tag + ", cases " + t.Case
		default:
			v.Call = fmt.Sprintf("place %s, case %s %s", t.Tag, t.Case, t.Base)
		}
		if first[i] {
			near = append(near, v)
		} else if len(strip) < mostTiles-mostNear {
			strip = append(strip, v)
		}
	}
	cols, rows := grids(len(near))
	strips, stripCols := min(1, len(strip)), len(strip)
	if len(strip) > mostStrip {
		strips, stripCols = 2, (len(strip)+1)/2
	}
	return struct {
		Near, Strip                   []tileView
		Cols, Rows, Strips, StripCols int
		More                          int
	}{near, strip, cols, rows, strips, stripCols, len(wall.Tiles) - len(near) - len(strip)}
}

func (d *drawer) timers(wall tui.Wall) any {
	most := mostTimers
	if len(wall.Baths) >= mostLoads {
		most = fewTimers
	}
	var list []timerView
	for _, t := range wall.Timers[:min(len(wall.Timers), most)] {
		list = append(list, timerView{t, d.time(wall, t.WallTime, false)})
	}
	return struct {
		List []timerView
		More int
	}{list, len(wall.Timers) - len(list)}
}

type bathView struct {
	Head    string
	Lines   []tui.WallLine
	Picture template.HTML
}

func (d *drawer) bathViews(wall tui.Wall) []bathView {
	var out []bathView
	for i, b := range wall.Baths {
		v := bathView{Head: b.Head, Lines: b.Lines}
		if i >= mostLoads {
			v.Lines = b.Lines[:min(len(b.Lines), 1)]
		} else if b.Picture != nil {
			v.Picture = bathSVG(b.Head, *b.Picture)
		}
		out = append(out, v)
	}
	return out
}

func (d *drawer) dayView(wall tui.Wall) any {
	type due struct{ At, Words string }
	var coming []due
	for _, c := range wall.Coming[:min(len(wall.Coming), mostComing)] {
		coming = append(coming, due{words.Instant(d.moment("due "+c.Key, c.At), wall.Now.Wall), c.Words})
	}
	return struct {
		Picture template.HTML
		Coming  []due
		More    int
	}{daySVG(wall.Line, wall.Labels), coming, len(wall.Coming) - len(coming)}
}
