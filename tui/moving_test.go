package tui

import (
	"fmt"
	"html"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
)

// still is a frame of the moving picture and how long it stands.
type still struct {
	f      *frame
	stands time.Duration
	key    string // pressed to come to it; "" where only time passed
}

// rowSVG draws one row of a frame.
func rowSVG(f *frame, y int, dark bool) string {
	one := newFrame(f.w, 1)
	copy(one.cells, f.cells[y*f.w:(y+1)*f.w])
	s := svg(one, dark)
	s = s[strings.Index(s, "/>\n")+3:] // without the head and the paper
	return strings.TrimSuffix(s, "</svg>\n")
}

// movingSVG plays stills one after the other, for ever: each row is drawn once for as long
// as it stays, and the keys pressed are told beneath. Whoever wants no motion sees the last.
func movingSVG(stills []still, dark bool) string {
	const cw, ch = 9, 19
	w, h := stills[0].f.w, stills[0].f.h
	paper, ink := "#ffffff", "#202020"
	if dark {
		paper, ink = "#14181c", "#d8dee4"
	}
	var whole time.Duration
	starts := make([]time.Duration, len(stills)+1)
	for i, s := range stills {
		whole += s.stands
		starts[i+1] = whole
	}
	var style, body strings.Builder
	named := map[string]string{}
	// shown is the name of the times from one still until before another.
	shown := func(from, to int) string {
		a, z := 100*starts[from].Seconds()/whole.Seconds(), 100*starts[to].Seconds()/whole.Seconds()
		key := fmt.Sprintf("%d-%d", from, to)
		if from == 0 && to == len(stills) {
			return ""
		}
		if named[key] == "" {
			named[key] = fmt.Sprintf("t%d", len(named))
			first := "hidden"
			if from == 0 {
				first = "visible"
			}
			fmt.Fprintf(&style, "@keyframes %[1]s{0%%{visibility:%[2]s}%.3[3]f%%{visibility:visible}%.3[4]f%%,100%%{visibility:hidden}}.%[1]s{visibility:hidden;animation:%[1]s %[5]gs step-end infinite}\n", named[key], first, a, min(z, 99.999), whole.Seconds())
		}
		return named[key]
	}
	put := func(y, from, to int, drawn string) {
		class := shown(from, to)
		if to == len(stills) && class != "" {
			class += " last"
		}
		fmt.Fprintf(&body, `<g class="%s" transform="translate(0 %d)">`+"\n%s</g>\n", class, y*ch, drawn)
	}
	for y := range h {
		from, drawn := 0, rowSVG(stills[0].f, y, dark)
		for i := 1; i <= len(stills); i++ {
			next := ""
			if i < len(stills) {
				next = rowSVG(stills[i].f, y, dark)
			}
			if i == len(stills) || next != drawn {
				put(y, from, i, drawn)
				from, drawn = i, next
			}
		}
	}
	for i, s := range stills {
		if s.key == "" {
			continue
		}
		to := i + 1
		for to < len(stills) && stills[to].key == "" {
			to++
		}
		put(h, i, to, fmt.Sprintf(`<text x="12" y="30" fill="%s" font-weight="bold">key: %s</text>`+"\n", ink, html.EscapeString(s.key)))
	}
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" font-family="DejaVu Sans Mono, Menlo, Consolas, monospace" font-size="15">`+"\n<style>\n%s@media (prefers-reduced-motion:reduce){g{animation:none!important}.last{visibility:visible!important}}\n</style>\n"+`<rect width="100%%" height="100%%" rx="6" fill="%s"/>`+"\n%s</svg>\n",
		w*cw+16, (h+1)*ch+28, style.String(), paper, body.String())
}

// closureStills are a trial closure of the invented shift, from the key to READY.
func closureStills(t *testing.T) []still {
	t.Helper()
	d := demoDesk(t, 80, 24, 20*time.Minute)
	d.do(action.Caution{Hazard: "press"})
	d.do(action.PressOpen{Flask: 4}) // the press is free
	d.do(action.Flash{Flask: 4, Grade: "heavy"})
	d.m.toast = ""
	var out []still
	take := func(key string, stands time.Duration) {
		out = append(out, still{d.m.draw(), stands, key})
	}
	for _, k := range movingKeys {
		switch by, err := time.ParseDuration(k); {
		case err == nil:
			d.wait(by)
			take("", 700*time.Millisecond)
		default:
			d.press(k)
			take(strings.ToUpper(k), 1800*time.Millisecond)
		}
	}
	d.sees("READY")
	out[len(out)-1].stands = 5 * time.Second
	return out
}

// movingKeys are keys, and lengths of time that pass between them.
var movingKeys = strings.Fields("3 enter 12s 12s 12s enter 9s 13s 13s 13s 14s enter 2")

// TestMovingPicture keeps the moving picture of the README that of the program: a trial
// closure in four keys, within the size that pages show at once.
func TestMovingPicture(t *testing.T) {
	stills := closureStills(t)
	if n := len(stills); n < 8 || stills[n-1].key != "2" {
		t.Fatalf("%d stills", n)
	}
	for name, dark := range map[string]bool{"closure": true, "closure-light": false} {
		got := movingSVG(stills, dark)
		if len(got) > 400_000 {
			t.Errorf("%s takes %d bytes, at most 400 kB are promised", name, len(got))
		}
		for _, s := range stills {
			if s.key != "" && !strings.Contains(got, "key: "+s.key+"<") {
				t.Errorf("%s does not tell the key %s", name, s.key)
			}
		}
		path := filepath.Join("..", "testdata", "screens", name+".svg")
		if *updateScreens {
			if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if string(want) != got {
			t.Errorf("the moving picture %s is no longer that of the program (run with -update-screens)", path)
		}
	}
}
