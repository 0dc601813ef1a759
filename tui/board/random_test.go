package board

import (
	"bytes"
	"crypto/rand"
	"fmt"
	"html"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	xhtml "golang.org/x/net/html"
	"pgregory.net/rapid"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/keep"
	"flaskside/logbook/status"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
	"flaskside/tui"
)

// hostile are names that would be markup, script or another line, were they not told as text.
var hostile = rapid.OneOf(
	rapid.SampledFrom([]string{"<script>x()</script>", `"><img src=x>`, "' onload='x()", "</time></li>", "&lt;b&gt;", "{{.}}", "<!-- 1", "javascript:x()", "data: 1", "]]>1", "`${x}`",
		"</style>1", "\u202e1234", "歯1234", "é1́", "1\\n2"}),
	rapid.StringMatching(`[0-9]{1,5}`),
	rapid.StringN(1, 12, 40),
)

// history plays anything on a bench, also what is refused.
func history(t *rapid.T, book *logbook.Book, clock *simclock.Hand) {
	do := func(body action.Body) {
		_, _ = book.Append(action.Action{ID: fmt.Sprint(time.Duration(book.State().Head.Seq), "-", clock.Read().Boot), At: clock.Read().Wall, By: "KT", Body: body, Why: "8"}) // many are refused
	}
	flask := rapid.IntRange(1, 12)
	for range rapid.IntRange(1, 60).Draw(t, "acts") {
		f := flask.Draw(t, "flask")
		switch rapid.IntRange(0, 17).Draw(t, "act") {
		case 0, 1, 2:
			do(action.FlaskOpen{Place: rapid.IntRange(1, 9).Draw(t, "place"), Case: hostile.Draw(t, "case"), Base: rapid.SampledFrom([]string{"upper", "lower"}).Draw(t, "base"), Size: "medium", Tag: hostile.Draw(t, "tag")})
		case 3:
			do(action.Coat{Flask: f, Half: "both"})
		case 4:
			do(action.MixMake{Flasks: []int{f, f%12 + 1}, Resin: "heat-cured", PowderG: 45, LiquidG: 19, DoughS: 600, WorkS: rapid.IntRange(600, 4000).Draw(t, "work")})
		case 5:
			do(action.MixDough{Mix: rapid.IntRange(1, 4).Draw(t, "mix")})
		case 6, 7:
			do(action.PressIn{Flask: f})
			do(action.PressAt{Flask: f})
		case 8, 9:
			do(action.PressOpen{Flask: f})
			do(action.Flash{Flask: f, Grade: rapid.SampledFrom([]action.Grade{"none", "slight", "heavy"}).Draw(t, "grade")})
		case 10:
			do(action.SheetOut{Flask: f})
			do(action.MetalToMetal{Flask: f})
			do(action.Clamp{Flask: f})
		case 11:
			do(action.BathLoad{Flasks: []int{f}, Programme: "long, 9 h", OffPlace: rapid.Bool().Draw(t, "off")})
		case 12:
			do(action.BathReading{Bath: 1, TempC: rapid.Float64Range(20, 100).Draw(t, "temp")})
		case 13:
			do(action.BathUnload{Flasks: []int{f}})
		case 14:
			do(action.TimerStart{Label: hostile.Draw(t, "label"), Count: "down", AimS: rapid.IntRange(1, 90000).Draw(t, "aim")})
		case 15:
			do(action.TimerStart{Label: hostile.Draw(t, "label"), Count: "window", MinS: 60, AimS: 120, MaxS: 300})
		case 16:
			do(action.Crew{Initials: rapid.StringN(1, 4, 8).Draw(t, "initials")})
		case 17:
			do(action.Outcome{Flask: f, Outcome: "finished here"})
		}
		clock.Run(time.Duration(rapid.Int64Range(0, int64(20*time.Minute)).Draw(t, "while")))
		switch rapid.IntRange(0, 30).Draw(t, "clock") {
		case 0:
			clock.Reboot(time.Duration(rapid.Int64Range(0, int64(3*time.Hour)).Draw(t, "off")), rapid.StringMatching(`boot-[a-z]{4}`).Draw(t, "boot"))
		case 1:
			clock.Step(time.Duration(rapid.Int64Range(-int64(time.Hour), int64(time.Hour)).Draw(t, "step")))
		}
	}
}

// tags are what the pieces of the page are made of, and which attributes they may have.
var tags = map[string]string{
	"li": "class aria-label", "ol": "class aria-label", "ul": "class aria-label", "p": "class", "div": "class", "span": "class aria-hidden", "bdi": "class", "b": "", "i": "", "strong": "class", "h3": "", "article": "",
	"time": "class data-due data-at data-word data-ahead data-about data-far",
	"svg":  "class role aria-label viewBox", "line": "class x1 y1 x2 y2", "polyline": "class points", "rect": "class x y width height", "text": "class text-anchor x y",
}

// TestWhatItMustNeverSay holds over anything that may be done on a bench, with names of any kind:
//   - the times are those that status tells at the same moment, no more and no fewer of them, with
//     the same length left;
//   - a flask is ready where its verdict says so, and nowhere else;
//   - a name is text: the page is made of what it is made of without it;
//   - each alarm that waits is told, or counted.
func TestWhatItMustNeverSay(t *testing.T) {
	longrun.Checks(t, 20, 100)
	dir := t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		clock := simclock.At(start, "boot-1")
		book, err := logbook.Open(filepath.Join(dir, rand.Text()+".db"), clock)
		if err != nil {
			rt.Fatal(err)
		}
		defer func() { _ = book.Close() }()
		history(rt, book, clock)
		d := drawer{steady: map[string]time.Time{}}
		st, now := book.State(), book.Now()
		desk := tui.WallDesk{Cures: map[int]keep.CureEstimate{}}
		screen, err := keep.New(book, clock, rand.Text).Join(keep.Person{Own: true})
		if err != nil {
			rt.Fatal(err)
		}
		if p, err := screen.Press(now, ""); err == nil {
			desk.Press = &p.Advice
		}
		for _, c := range tui.CureCases(st) {
			desk.Cures[c.Load] = screen.Cure(c)
		}
		w := tui.WallOf(st, now, desk)
		parts, err := d.draw(w, shownState{})
		if err != nil {
			rt.Fatal(err)
		}
		var page bytes.Buffer
		for _, p := range parts {
			page.Write(p.html)
			onlyOurs(rt, p)
		}
		told := status.Of(st, now)
		sameTimes(rt, w, told, millis(now.Boot), partOf(parts, "timers"))
		ready := 0
		for f := range st.Bench.AtWork() {
			if f.Stage == bench.Trimmed && st.Bench.Verdict(f, now).Ready {
				ready++
			}
		}
		if got := strings.Count(partOf(parts, "tiles"), ">READY<"); got > ready {
			rt.Errorf("%d are READY on the board, %d on the bench", got, ready)
		}
		waiting := 0
		for _, a := range told.Alarms {
			if a.State == "unacknowledged" || strings.HasPrefix(a.State, "returned") {
				waiting++
			}
		}
		if len(w.Alarms) != waiting || strings.Count(partOf(parts, "alarms"), "<li") != min(waiting, mostAlarms) {
			rt.Errorf("%d alarms wait, the board has %d: %s", waiting, len(w.Alarms), partOf(parts, "alarms"))
		}
		for _, f := range st.Bench.Places {
			if f > 0 && !strings.Contains(html.UnescapeString(page.String()), oneLine(st.Bench.Flasks[f].Case)) {
				rt.Errorf("the case %q is nowhere on the board", st.Bench.Flasks[f].Case)
			}
		}
	})
}

// oneLine leaves out what has no place on a screen.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r < 0x20 || r >= 0x7f && r < 0xa0 {
			return -1
		}
		return r
	}, s)
}

func partOf(parts []part, id string) string {
	for _, p := range parts {
		if p.id == id {
			return string(p.html)
		}
	}
	return ""
}

// onlyOurs holds that a piece is made of our own tags with our own attributes, and well formed.
func onlyOurs(t *rapid.T, p part) {
	z := xhtml.NewTokenizer(bytes.NewReader(p.html))
	depth := 0
	for {
		switch z.Next() {
		case xhtml.ErrorToken:
			if depth != 0 {
				t.Errorf("%s is not whole:\n%s", p.id, p.html)
			}
			return
		case xhtml.CommentToken, xhtml.DoctypeToken:
			t.Errorf("%s has something that is none of ours:\n%s", p.id, p.html)
		case xhtml.EndTagToken:
			depth--
		case xhtml.StartTagToken, xhtml.SelfClosingTagToken:
			tok := z.Token()
			allowed, ok := tags[tok.Data]
			if !ok {
				t.Errorf("%s has a <%s>:\n%s", p.id, tok.Data, p.html)
			}
			for _, a := range tok.Attr {
				if !strings.Contains(" "+strings.ToLower(allowed)+" ", " "+a.Key+" ") {
					t.Errorf("%s: <%s> has %s=%q", p.id, tok.Data, a.Key, a.Val)
				}
			}
			if tok.Type == xhtml.StartTagToken {
				depth++
			}
		case xhtml.TextToken:
		}
	}
}

// sameTimes holds the times of the board to those of status.
func sameTimes(t *rapid.T, w tui.Wall, told status.Status, bootMs float64, timers string) {
	if len(w.Timers) != len(told.Windows) {
		t.Fatalf("the board has %d timers, status %d", len(w.Timers), len(told.Windows))
	}
	var due []float64
	for _, s := range strings.Split(timers, `data-due="`)[1:] {
		s, _, _ = strings.Cut(s, `"`)
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		due = append(due, v)
	}
	for i, v := range told.Windows {
		if w.Timers[i].Key != v.Key || w.Timers[i].Ahead != (v.Next != "") || w.Timers[i].Estimated != v.Estimated {
			t.Errorf("timer %d is %+v on the board, %+v in status", i, w.Timers[i], v)
		}
		if i >= len(due) {
			continue
		}
		// Status rounds up to whole seconds; a tenth of a second is what clocks read one after the other may be apart.
		if left := (due[i] - bootMs) / 1000; left > float64(v.LeftS)+0.2 || left < float64(v.LeftS)-1.2 {
			t.Errorf("%s has %.3f s left on the board, %d in status", v.Key, left, v.LeftS)
		}
	}
	if n := len(told.Windows); len(due) != n && len(due) != mostTimers && len(due) != fewTimers {
		t.Errorf("%d of %d timers stand on the board", len(due), n)
	}
}
