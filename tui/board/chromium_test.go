package board

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"flaskside/logbook/action"
	"flaskside/logbook/day/browsertest"
	"flaskside/logbook/house"
	"flaskside/timers/longrun"
	"flaskside/timers/sysclock"
	"flaskside/tui"
)

var pictures = flag.Bool("update-pictures", false, "make the pictures of the board in testdata anew")

// TestMain lets many tests wait at once, and ends the browser that they share.
func TestMain(m *testing.M) {
	longrun.Waits(10)
	code := m.Run()
	end()
	os.Exit(code)
}

var (
	end = func() {}
	// started is the browser of all tests, each of which has tabs of its own.
	started = sync.OnceValues(func() (context.Context, error) {
		dir, err := os.MkdirTemp("", "board")
		if err != nil {
			return nil, err
		}
		opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(browserAt), chromedp.UserDataDir(dir),
			chromedp.Flag("host-resolver-rules", "MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"), chromedp.DisableGPU,
			chromedp.Flag("disable-dev-shm-usage", false), chromedp.Flag("renderer-process-limit", "2"))
		if os.Geteuid() == 0 {
			opts = append(opts, chromedp.NoSandbox) // it refuses to run as root with one
		}
		ctx, stop := chromedp.NewExecAllocator(context.Background(), opts...)
		ctx, _ = chromedp.NewContext(ctx)
		end = func() {
			stop()
			_ = os.RemoveAll(dir) // a scratch folder left over harms nobody
		}
		return ctx, chromedp.Do(ctx)
	})
	browserAt string
)

var find sync.Mutex

// chromium is a browser that may reach nothing but this computer.
func chromium(t *testing.T) context.Context {
	t.Helper()
	longrun.Only(t, "a browser")
	find.Lock()
	defer find.Unlock()
	browserAt = browsertest.Find(t)
	ctx, err := started()
	if err != nil {
		t.Fatal(err)
	}
	return ctx
}

// tab is a page in the browser, and what it complained of.
type tab struct {
	t    *testing.T
	ctx  context.Context
	mu   sync.Mutex
	said []string
}

func open(t *testing.T, browser context.Context) *tab {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browser, chromedp.WithNewWindow(true)) // what is behind another is not painted
	t.Cleanup(cancel)
	p := &tab{t: t, ctx: ctx}
	note := func(format string, a ...any) {
		p.mu.Lock()
		defer p.mu.Unlock()
		p.said = append(p.said, fmt.Sprintf(format, a...))
	}
	err := chromedp.Listen(ctx, func(ev any) {
		switch e := ev.(type) {
		case *runtime.EventConsoleAPICalled:
			note("console: %s", e.Type)
		case *runtime.EventExceptionThrown:
			note("exception: %s", e.ExceptionDetails.Text)
		case *log.EventEntryAdded:
			note("%s: %s", e.Entry.Source, e.Entry.Text)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	call(p, log.Enable, cdp.Empty{})
	return p
}

func call[P, R any](p *tab, c cdp.Command[P, R], params P) (out R) {
	p.t.Helper()
	err := chromedp.Do(p.ctx, func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		var err error
		out, err = cdp.Call(ctx, t, c, params)
		return chromedp.Void{}, err
	})
	if err != nil {
		p.t.Fatal(err)
	}
	return out
}

func (p *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	if err := chromedp.Do(p.ctx, steps...); err != nil {
		p.t.Fatal(err)
	}
}

func eval[T any](p *tab, script string) T {
	p.t.Helper()
	v, err := chromedp.Run(p.ctx, chromedp.Evaluate[T](script))
	if err != nil {
		p.t.Fatalf("%s: %v", script, err)
	}
	return v
}

// until waits until a script says yes.
func (p *tab) until(what, script string) {
	p.t.Helper()
	for deadline := time.Now().Add(90 * time.Second); time.Now().Before(deadline); time.Sleep(200 * time.Millisecond) {
		// While a page is fetched anew there is none that could answer.
		if yes, err := chromedp.Run(p.ctx, chromedp.Evaluate[bool]("!!("+script+")")); err == nil && yes {
			return
		}
	}
	p.t.Fatalf("it never came to it that %s:\n%s", what, eval[string](p, "document.body.innerText"))
}

const (
	isLive = `document.documentElement.classList.contains('live') && !document.documentElement.classList.contains('old')`
	isOld  = `document.documentElement.classList.contains('old')`
	// What is shown of good news, and what runs.
	showsGood = `[...document.querySelectorAll('.good .stage, .good .verdict')].some(e => getComputedStyle(e).visibility === 'visible' && Number(getComputedStyle(e).opacity) > 0)`
	showsRun  = `[...document.querySelectorAll('time')].some(e => Number(getComputedStyle(e).opacity) > 0 && /\d (s|min)$|\dh/.test(e.textContent))`
	isDim     = `Number(getComputedStyle(document.querySelector('main')).opacity) < 0.5 && getComputedStyle(document.getElementById('old')).visibility === 'visible'`
)

// quiet holds that the page complained of nothing.
func (p *tab) quiet() {
	p.t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, s := range p.said {
		p.t.Errorf("the browser says %s", s)
	}
}

// ago records something that was done a while ago.
func (w *wall) ago(d time.Duration, body action.Body) {
	w.t.Helper()
	a := action.Action{ID: rand.Text(), At: w.clock.Read().Wall.Add(-d), By: "KT", Body: body, Why: "8"}
	if _, err := w.book.Append(a); err != nil {
		w.t.Fatalf("%s: %v", body.Kind(), err)
	}
}

// afternoon is a bench with nine flasks at work and alarms: invented.
func (w *wall) afternoon() {
	m := time.Minute
	w.ago(300*m, action.FlaskOpen{Place: 9, Case: "4388", Base: "upper", Size: "small"})
	w.ago(299*m, action.FlaskOpen{Place: 8, Case: "4391", Base: "lower", Size: "small"})
	w.ago(200*m, action.BathLoad{Flasks: []int{1, 2}, Programme: "long, 9 h"})
	for i, c := range []string{"4402", "4403", "4410", "4417", "4420", "4421", "4433"} {
		w.ago(60*m-time.Duration(i)*m, action.FlaskOpen{Place: i + 1, Case: c, Base: []string{"upper", "lower"}[i%2], Size: []action.Size{"medium", "large"}[i%2]})
		w.ago(50*m-time.Duration(i)*m, action.Coat{Flask: i + 3, Half: "both"})
	}
	w.ago(30*m, action.MixMake{Flasks: []int{3, 4, 5}, Resin: "heat-cured", PowderG: 70, LiquidG: 29, DoughS: 600, WorkS: 2700})
	w.ago(20*m, action.MixDough{Mix: 1})
	closure := func(ago time.Duration, flask int, g action.Grade) {
		w.ago(ago, action.PressIn{Flask: flask})
		w.ago(ago-m/2, action.PressAt{Flask: flask})
		w.ago(ago-2*m, action.PressOpen{Flask: flask})
		w.ago(ago-2*m-m/4, action.Flash{Flask: flask, Grade: g})
	}
	closure(19*m, 3, "heavy")
	closure(16*m, 4, "heavy")
	closure(12*m, 3, "slight")
	closure(9*m, 5, "heavy")
	w.ago(5*m, action.TimerStart{Label: "stone", Count: "down", AimS: 240})
	w.ago(2*m, action.PressIn{Flask: 4})
	w.ago(m+m/2, action.PressAt{Flask: 4})
	w.ago(m, action.Crew{Initials: "KT"})
	w.ago(m, action.TimerStart{Label: "tea", Count: "down", AimS: 3600})
}

// full is a bench with 24 flasks at work: nine on places, twelve in baths, three that have none.
func (w *wall) full() {
	m := time.Minute
	h := house.Default()
	h.Press.Presses = 2
	h.Baths = append(h.Baths, h.Baths[0])
	h.Baths[1].Name = "bath 2"
	w.ago(600*m, action.Settings{House: h})
	f := 0
	for load, count := range []int{9, 6} {
		var in []int
		for i := range count {
			f++
			w.ago(400*m-time.Duration(f)*m, action.FlaskOpen{Place: i + 1, Case: fmt.Sprint(4300 + f), Base: "upper", Size: "medium"})
			in = append(in, f)
		}
		w.ago(300*m-time.Duration(load)*100*m, action.BathLoad{Flasks: in, Programme: "long, 9 h", Bath: load + 1, OffPlace: true})
	}
	for i := range 9 {
		f++
		w.ago(60*m-time.Duration(i)*m, action.FlaskOpen{Place: i + 1, Case: fmt.Sprint(4300 + f), Base: "lower", Size: "large"})
		w.ago(50*m, action.Coat{Flask: f, Half: "both"})
	}
	w.ago(40*m, action.MixMake{Flasks: []int{16, 17, 18}, PowderG: 70, LiquidG: 29, DoughS: 600, WorkS: 3600})
	w.ago(38*m, action.MixMake{Flasks: []int{19, 20, 21}, PowderG: 70, LiquidG: 29, DoughS: 600, WorkS: 1500})
	w.ago(28*m, action.MixDough{Mix: 1})
	w.ago(27*m, action.MixDough{Mix: 2})
	w.ago(3*m, action.PressIn{Flask: 16})
	w.ago(2*m, action.PressAt{Flask: 16})
	w.ago(2*m, action.PressIn{Flask: 19, Press: 2})
	w.ago(m, action.BathUnload{Flasks: []int{1, 2, 3}})
}

// TestInABrowser holds what a person at the wall sees, in a real browser.
func TestInABrowser(t *testing.T) {
	t.Parallel()
	browser := chromium(t)
	w := hang(t, sysclock.New(), usual)
	w.afternoon()

	t.Run("both sizes, both themes", func(t *testing.T) {
		t.Parallel()
		type look struct {
			wide, high int64
			query, sys string
			light      bool
		}
		for _, c := range []look{
			{1024, 600, "?theme=light", "dark", true}, {1920, 1080, "", "dark", false}, {1024, 600, "", "dark", false},
			{1920, 1080, "?theme=dark", "light", false}, {1920, 1080, "", "light", true},
		} {
			p := open(t, browser)
			call(p, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: c.sys}}})
			p.do(chromedp.EmulateViewport(c.wide, c.high), chromedp.Navigate(w.url()+c.query))
			p.until("it is live", isLive)
			if got := eval[string](p, `getComputedStyle(document.body).backgroundColor`) == "rgb(244, 245, 242)"; got != c.light {
				t.Errorf("%+v: light is %v", c, got)
			}
			if n := eval[int](p, `[...document.querySelectorAll('.tile')].filter(e => { const r = e.getBoundingClientRect(); return r.top >= 0 && r.bottom <= innerHeight && r.right <= innerWidth }).length`); n < 8 {
				t.Errorf("%+v: %d tiles are in sight", c, n)
			}
			if over := eval[string](p, `[...document.querySelectorAll('.first, .second, .tag')].filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.textContent).join('; ')`); over != "" {
				t.Errorf("%+v: cut off: %s", c, over)
			}
			if eval[bool](p, `document.documentElement.scrollWidth > innerWidth`) {
				t.Errorf("%+v: it is wider than the screen", c)
			}
			// On a tablet of 10 inches a pixel of 1024 is 0.214 mm. A capital is about 0.72 of its size.
			// What must be read from four metres wants a two hundredth of that, 20 mm (common practice, no
			// source); ISO 9241-303 (from memory) wants 16 minutes of arc and 10 at the least, 18.6 and
			// 11.6 mm. Six alarms stand above the flasks here.
			mm := map[int64]float64{1024: 0.214, 1920: 0.277}[c.wide]
			for of, least := range map[string]float64{".grid .tag": 10, ".grid .first time b": 13, ".grid .stage": 6, ".strip .first time b": 3} {
				px := eval[float64](p, `Math.min(...[...document.querySelectorAll('`+of+`')].map(e => parseFloat(getComputedStyle(e).fontSize)))`)
				arc := math.Atan(px*0.72*mm/4000) * 180 * 60 / math.Pi
				t.Logf("%dx%d: %s %.0f px, %.1f mm, %.1f minutes of arc at four metres", c.wide, c.high, of, px, px*0.72*mm, arc)
				if arc < least {
					t.Errorf("%+v: %s is too small, want %.0f minutes of arc", c, of, least)
				}
			}
			p.quiet()
		}
	})

	t.Run("a full bench", func(t *testing.T) {
		t.Parallel()
		full := hang(t, sysclock.New(), usual)
		full.full()
		for _, c := range [][2]int64{{1920, 1080}, {1024, 600}} {
			p := open(t, browser)
			p.do(chromedp.EmulateViewport(c[0], c[1]), chromedp.Navigate(full.url()))
			p.until("it is whole", isLive+` && document.querySelectorAll('svg.bath').length === 2`)
			if over := eval[string](p, `[...document.querySelectorAll('.first, .second, .tag')].filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.textContent).join('; ')`); over != "" {
				t.Errorf("%v: cut off: %s", c, over)
			}
			if n := eval[int](p, `[...document.querySelectorAll('.tile')].filter(e => { const r = e.getBoundingClientRect(); return r.bottom <= innerHeight && r.right <= innerWidth }).length`); n != 12 {
				t.Errorf("%v: %d tiles are in sight", c, n)
			}
			if c[0] == 1920 {
				if low := eval[string](p, `[...document.querySelectorAll('.side section > div > *, #day svg')].filter(e => e.getBoundingClientRect().bottom > innerHeight - 20).map(e => e.textContent).join('; ')`); low != "" {
					t.Errorf("%v: below the screen: %s", c, low)
				}
			}
			p.quiet()
		}
	})

	t.Run("counts as the bench does", func(t *testing.T) {
		t.Parallel()
		p := open(t, browser)
		p.do(chromedp.Navigate(w.url()))
		p.until("it is live", isLive)
		var spans []time.Duration
		for _, s := range []int{0, 1, 9, 47, 59, 60, 61, 119, 178, 179, 180, 181, 599, 3598, 3600, 35999, 36000, 36001, 172799, 172801, 359999, 360001, 9e6} {
			spans = append(spans, time.Duration(s)*time.Second+time.Second/2, -time.Duration(s)*time.Second-time.Second/2)
		}
		var tags []string
		now := w.book.Now().Boot
		for _, d := range spans {
			for _, far := range []string{"", ` data-far="1"`} {
				tags = append(tags, fmt.Sprintf(`<time data-due="%f"%s><b></b> <i></i></time>`, millis(now+d), far))
			}
		}
		p.do(chromedp.Evaluate[chromedp.Void](`const made = document.createElement('div'); made.id = 'made'; made.innerHTML = ` + string(jsonOf(strings.Join(tags, ""))) + `; document.querySelector('footer').append(made)`))
		p.until("they count", `document.querySelector('#made b').textContent !== ''`)
		// It counts when it gets the eye again, so that what is read is of now and not of when it last
		// had the processor. The signs of life were as long on their way as an answer is.
		from := w.book.Now().Boot - now
		got := eval[[]string](p, `dispatchEvent(new Event('focus')), [...document.querySelectorAll('#made time')].map(e => e.textContent.trim())`)
		after := w.book.Now().Boot - now
		earliest := max(0, from-500*time.Millisecond-2*(after-from))
		for i, d := range spans {
			ok := [2]bool{}
			for at := after; at > earliest-250*time.Millisecond; at -= 250 * time.Millisecond {
				left := tui.WallTime{Left: d - max(earliest, at)}
				digits, unit := left.Digits()
				ok[0] = ok[0] || got[2*i] == left.Brief()
				ok[1] = ok[1] || got[2*i+1] == strings.TrimSpace(digits+" "+unit)
			}
			if !ok[0] || !ok[1] {
				t.Errorf("%s, of which %s went by, is %q and %q on the page", d, after, got[2*i], got[2*i+1])
			}
		}
		p.until("a second goes by", `document.querySelectorAll('#made time')[12].textContent.trim() < '`+got[12]+`'`)
		p.quiet()
	})

	t.Run("what is recorded is shown", func(t *testing.T) {
		t.Parallel()
		w := hang(t, sysclock.New(), usual)
		w.afternoon()
		p := open(t, browser)
		p.do(chromedp.Navigate(w.url()))
		p.until("it is live", isLive)
		w.must(action.TimerStart{Label: "<img src=x onerror=alert(1)>", Count: "down", AimS: 30}, action.Crew{Initials: "<b>K"})
		p.until("the timer is there", `document.getElementById('timers').textContent.includes('<img src=x onerror=alert(1)>') && document.getElementById('head').textContent.includes('<b>K')`)
		p.quiet()
	})

	t.Run("what a screen reader hears", func(t *testing.T) {
		t.Parallel()
		p := open(t, browser)
		p.do(chromedp.Navigate(w.url()))
		p.until("it is live", isLive)
		var all strings.Builder
		for _, n := range call(p, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{}).Nodes {
			if n.Ignored || n.Role == nil {
				continue
			}
			fmt.Fprintf(&all, "%s", n.Role.Value)
			if n.Name != nil {
				fmt.Fprintf(&all, " %s", n.Name.Value)
			}
			for _, a := range n.Properties {
				if a.Name == "live" && string(a.Value.Value) == `"assertive"` {
					all.WriteString(" live")
				}
			}
			all.WriteString("\n")
		}
		for _, want := range []string{`"banner"`, `"main"`, `"contentinfo"`, `"navigation" "this board"`, `"region" "places"`, `"region" "alarms"`, `"region" "baths"`, `"heading" "press order"`,
			`STONE: TIME IS UP`, `"listitem" "place 1, case 4402 upper"`, ` live`, `"image" "bath and core temperature`} {
			if !strings.Contains(all.String(), want) {
				t.Errorf("nothing of %s is heard in\n%s", want, all.String())
			}
		}
		if strings.Contains(all.String(), "NO NEWS") {
			t.Error("it is heard that there is no news while there is")
		}
		// By the keys: to the places, the themes.
		var at []string
		for range 3 {
			p.do(chromedp.KeyEvent("\t"))
			at = append(at, eval[string](p, `document.activeElement.textContent`))
		}
		if got := strings.Join(at, ", "); got != "to the places, dark, light" {
			t.Errorf("the tabulator goes to %s", got)
		}
		p.quiet()
	})

	t.Run("no script runs", func(t *testing.T) {
		t.Parallel()
		w := hang(t, sysclock.New(), usual)
		w.afternoon()
		p := open(t, browser)
		call(p, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
		p.do(chromedp.Navigate(w.url()))
		// In one look: the page soon fetches itself anew.
		still := ""
		p.until("it says as of when, and that it runs no script; and no length of time stands there that nobody counts",
			`/As of /.test(document.body.innerText) && /This browser runs no script/.test(document.body.innerText) && !(`+showsRun+`)`)
		for tries := 0; still == "" && tries < 200; tries++ {
			time.Sleep(50 * time.Millisecond)
			still, _ = chromedp.Run(p.ctx, chromedp.Evaluate[string](`document.getElementById('still').textContent`)) // it may just be fetched
		}
		p.until("it is fetched anew", `document.getElementById('still') && document.getElementById('still').textContent !== `+string(jsonOf(still)))
	})

	t.Run("no news ever comes", func(t *testing.T) {
		t.Parallel()
		w := hang(t, sysclock.New(), usual)
		w.afternoon()
		p := open(t, browser)
		call(p, network.Enable, network.EnableParams{})
		call(p, network.SetBlockedURLs, network.SetBlockedURLsParams{URLPatterns: []*network.BlockPattern{{URLPattern: "http://*:*/*/news*", Block: true}}})
		p.do(chromedp.Navigate(w.url()))
		if eval[bool](p, showsRun) {
			t.Error("a length of time runs before there is any news")
		}
		// In one look: the page soon fetches itself anew, and is new then.
		p.until("it is dimmed by its style, and no good news stands on it", isDim+" && !("+showsGood+") && !("+isOld+")")
	})
}

// TestNewsStops: whatever it is by which news stops, the page is dimmed under the age of what it
// shows, nothing runs on it and nothing is ready; and it comes back by itself.
func TestNewsStops(t *testing.T) {
	t.Parallel()
	browser := chromium(t)
	stops := func(how string, lim limits, stop, again func(*wall, *tab)) {
		t.Run(how, func(t *testing.T) {
			t.Parallel()
			w := hang(t, sysclock.New(), lim)
			w.afternoon()
			p := open(t, browser)
			p.do(chromedp.Navigate(w.url()))
			p.until("it is live", isLive)
			p.until("it shows good news, and times run", showsGood+" && "+showsRun)
			stop(w, p)
			// In one look: some pages are soon live again.
			p.until("it is old", `(`+isOld+` && `+isDim+`) && (window.seen = {good: `+showsGood+`, runs: `+showsRun+`, clock: document.getElementById('clock').textContent,
				line: document.getElementById('old').innerText, all: document.body.innerText})`)
			var seen struct {
				Good, Runs       bool
				Clock, Line, All string
			}
			if err := json.Unmarshal([]byte(eval[string](p, "JSON.stringify(window.seen)")), &seen); err != nil {
				t.Fatal(err)
			}
			if seen.Good || seen.Runs || seen.Clock != "" {
				t.Errorf("the old page shows\n%s", seen.All)
			}
			if !strings.Contains(seen.Line, "as of "+time.Now().Format("Mon")) || !strings.Contains(seen.Line, "THE ") {
				t.Errorf("above the old page stands %q", seen.Line)
			}
			t.Log(strings.ReplaceAll(seen.Line, "\n", " "))
			again(w, p)
			p.until("it is live again", isLive+" && !("+isDim+")")
		})
	}
	script := func(s string) func(*wall, *tab) {
		return func(_ *wall, p *tab) { p.do(chromedp.Evaluate[chromedp.Void](s)) }
	}
	served := func(w *wall, _ *tab) { w.serve(w.board.Addr().String(), w.board.lim) }
	stops("the bench looks at nothing any more", usual, func(w *wall, _ *tab) { w.board.looking.Lock() }, func(w *wall, _ *tab) { w.board.looking.Unlock() })
	stops("the clock of the day jumps", usual, script(`const day = Date.now; Date.now = () => day() + 3600000`), func(*wall, *tab) {})
	stops("the screen slept, and its steady clock stood still", usual,
		script(`const was = performance.now(); performance.now = () => was; const before = Date.now; Date.now = () => before() + 2000`), script(`delete performance.now`))
	stops("the bench is closed", usual, func(w *wall, _ *tab) { w.board.Close() }, served)
	stops("the bench is killed", usual, func(w *wall, _ *tab) { _ = w.board.srv.Close() }, served)
}

// TestPictures makes the pictures of the README.
func TestPictures(t *testing.T) {
	if !*pictures {
		t.Skip("-update-pictures makes them anew")
	}
	browser := chromium(t)
	w := hang(t, sysclock.New(), usual)
	w.afternoon()
	for _, c := range []struct {
		name       string
		wide, high int64
		scale      float64
		query      string
	}{{"board", 1920, 1080, 0.55, "?theme=dark"}, {"board-light", 1920, 1080, 0.55, "?theme=light"}, {"board-small", 1024, 600, 0.8, "?theme=dark"}, {"board-small-light", 1024, 600, 0.8, "?theme=light"}} {
		p := open(t, browser)
		p.do(chromedp.EmulateViewport(c.wide, c.high, chromedp.EmulateScale(c.scale)), chromedp.Navigate(w.url()+c.query))
		p.until("it is whole", isLive+` && document.querySelector('svg.bath') !== null`)
		png, err := chromedp.Run(p.ctx, chromedp.CaptureScreenshot())
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join("../../testdata/screens", c.name+".png"), png, 0o644); err != nil { //nolint:gosec // a picture for all
			t.Fatal(err)
		}
	}
}
