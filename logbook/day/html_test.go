package day_test

import (
	"encoding/xml"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"flaskside/logbook/action"
	"flaskside/logbook/day"
)

// hostile plays a day whose every free text tries to break out of the page it is
// put on.
func hostile(t testing.TB) (s *shift, texts []string) {
	texts = []string{`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `</style></svg>{{.}}`, `a&amp;b '"` + "`", `=1+1;,\n`, "Größe Łódź Ελλάδα Привет 日本 😀"}
	s = newShift(t, "2026-11-25 08:00", "Europe/Berlin")
	h := s.book.State().Bench.House
	h.Lab = texts[0]
	h.Programmes[0].Name = `</p><b>`
	s.do(0, action.Settings{House: h, From: "typed"})
	s.do(0, action.Crew{Initials: "<b>"})
	s.do(minute, action.FlaskOpen{Place: 1, Case: `<i>4417&`, Base: "upper", Size: "small", Tag: `"'><b>`})
	s.do(minute, action.Coat{Flask: 1, Half: "both", Lot: `<u>`})
	s.do(11*minute, action.MixMake{Flasks: []int{1}, PowderLot: `<a href="x">`, LiquidLot: `L&118`, DoughS: 600, WorkS: 2700})
	s.do(10*minute, action.MixDough{Mix: 1})
	s.trial(minute, 1, "heavy")
	s.trial(minute, 1, "slight")
	for _, text := range texts {
		s.do(second, action.Note{Flask: 1, Text: text})
	}
	s.do(second, action.TimerStart{Label: texts[0], Count: "up"})
	s.do(minute, action.SheetOut{Flask: 1})
	s.do(minute, action.MetalToMetal{Flask: 1})
	s.do(minute, action.Clamp{Flask: 1})
	s.do(40*minute, action.BathLoad{Flasks: []int{1}, Programme: h.Programmes[0].Name})
	return s, texts
}

// balanced reads a page tag by tag: every element that is not void must be closed
// in its order (WHATWG HTML, section 13.1.2).
func balanced(t *testing.T, page []byte) {
	t.Helper()
	void := []string{"meta", "col"}
	var open []string
	for z := html.NewTokenizer(strings.NewReader(string(page))); ; {
		switch z.Next() {
		case html.ErrorToken:
			if !errors.Is(z.Err(), io.EOF) || len(open) > 0 {
				t.Errorf("the page ends with %v and open elements %v", z.Err(), open)
			}
			return
		case html.StartTagToken:
			if name, _ := z.TagName(); !slices.Contains(void, string(name)) {
				open = append(open, string(name))
			}
		case html.EndTagToken:
			name, _ := z.TagName()
			if len(open) == 0 || open[len(open)-1] != string(name) {
				t.Fatalf("</%s> closes %v", name, open)
			}
			open = open[:len(open)-1]
		}
	}
}

// selfContained checks that a page runs nothing and fetches nothing, and gives what
// is read on it.
func selfContained(t *testing.T, page []byte) string {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(string(page)))
	if err != nil {
		t.Fatal(err)
	}
	allowed := []string{"html", "head", "meta", "title", "style", "body", "header", "h1", "small", "div", "p", "main", "section", "h2", "span", "table", "colgroup", "col",
		"thead", "tbody", "tr", "th", "td", "strong", "svg", "polyline", "polygon", "circle", "text", "footer"}
	var text strings.Builder
	for n := range doc.Descendants() {
		switch n.Type {
		case html.TextNode:
			if n.Parent.Data != "style" {
				text.WriteString(n.Data + " ")
			} else if bad := strings.ToLower(n.Data); strings.Contains(bad, "url(") || strings.Contains(bad, "@import") || strings.Contains(bad, "//") {
				t.Error("the style fetches something")
			}
		case html.ElementNode:
			if !slices.Contains(allowed, n.Data) {
				t.Errorf("there is an element <%s>", n.Data)
			}
			for _, a := range n.Attr {
				if strings.HasPrefix(a.Key, "on") || slices.Contains([]string{"src", "href", "style", "srcset", "action", "xlink:href"}, a.Key) || strings.Contains(a.Val, "//") {
					t.Errorf("<%s> has the attribute %s=%q", n.Data, a.Key, a.Val)
				}
			}
		case html.CommentNode:
			t.Errorf("there is a comment %q", n.Data)
		}
	}
	return strings.Join(strings.Fields(text.String()), " ")
}

// pictures gives the SVG elements of a page, each read as XML.
func pictures(t *testing.T, page []byte) []string {
	t.Helper()
	var out []string
	for _, part := range strings.Split(string(page), "<svg ")[1:] {
		body, _, ok := strings.Cut(part, "</svg>")
		if !ok {
			t.Fatal("a picture does not end")
		}
		svg := "<svg " + body + "</svg>"
		for d := xml.NewDecoder(strings.NewReader(svg)); ; {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("a picture is not a XML: %v\n%s", err, svg)
			}
		}
		if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
			t.Errorf("a picture has no place for something:\n%s", svg)
		}
		out = append(out, svg)
	}
	return out
}

// TestHTML holds the page of several days against what it must tell.
func TestHTML(t *testing.T) {
	inv := invented(t)
	first, second := inv.sheet("2026-11-25"), inv.sheet("2026-11-26")
	first.Made = first.Until
	for _, c := range []struct {
		name     string
		sheet    day.Sheet
		pictures int
		says     []string
	}{
		{"demo", demoSheet(t), 6, []string{"DAY", "Wednesday 25 November 2026", "Case 4417 · upper, medium · flask 3", "3000 psi", "powder lot P-118", "liquid lot L-073", "Bath load 2", "long and boil",
			"bench set 03:59 KT 05:30 KT 1 h 30 min 30 min to 1 h 31 min over", "curing, load 1 05:30 KT 14:33 KT 9 h 3 min 9 h to 12 h time only, no reading", "Technician", "Supervisor", "Made Wed 25 Nov 2026 16:00:00 +01:00"}},
		{"invented", first, 5, []string{"case 4417*", "2500 psi", "powder lot P-2013*", "Separator lot S-77", "case number 4471 → 4417 08:01 by KT: wrong key", "Undone", "Cautions shown and read 08:00 KT monomer: vapour, fire, skin",
			"Unusual: cooling cut short, 13:50 KT (no time left)", "2 not as set", "not before Thu 26 Nov 07:00", "dough added", "adjusted", "raised bite (pin open)", "running", "* corrected: see Corrections"}},
		{"next day", second, 3, []string{"Thursday 26 November 2026", "9 h 10 min"}},
		{"no flask", inv.sheet("2026-11-20"), 0, []string{"No flask stood on the bench.", "Technician"}},
	} {
		c.sheet.Head = "67:0123456789abcdef"
		page := written(t, c.sheet.HTML)
		balanced(t, page)
		text := selfContained(t, page)
		if n := len(pictures(t, page)); n != c.pictures {
			t.Errorf("%s: there are %d pictures, want %d", c.name, n, c.pictures)
		}
		for _, want := range append(c.says, "Logbook head when this sheet was made: 67:0123456789abcdef") {
			if !strings.Contains(strings.ToUpper(text), strings.ToUpper(want)) {
				t.Errorf("%s: the page does not say %q:\n%s", c.name, want, text)
			}
		}
		for _, bad := range []string{"safe", "passed", "no porosity", "%!"} {
			if strings.Contains(text, bad) {
				t.Errorf("%s: the page says %q", c.name, bad)
			}
		}
	}
}

// TestHTMLEscapes: whatever was typed is read on the page as it was typed, and is
// nothing but text.
func TestHTMLEscapes(t *testing.T) {
	s, texts := hostile(t)
	page := written(t, s.sheet("2026-11-25").HTML)
	balanced(t, page)
	text := selfContained(t, page)
	for _, want := range append(texts, `<i>4417&`, `"'><b>`, `<a href="x">`, `</p><b>`) {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not read on the page", want)
		}
	}
}

// TestAlarmsOfTheDay: what was acknowledged, with the time that took; what ended
// with the step that was due; what nobody answered.
func TestAlarmsOfTheDay(t *testing.T) {
	s := newShift(t, "2026-11-25 08:00", "Europe/Berlin")
	s.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "small"})
	s.do(minute, action.Coat{Flask: 1, Half: "both", DryMinS: 600})
	s.do(10*minute+42*second, action.AlarmHeard{Alarm: "flask/1/dry/both/1#not before"})
	s.do(18*second, action.MixMake{Flasks: []int{1}, DoughS: 600, WorkS: 2700})
	s.do(10*minute+30*second, action.MixDough{Mix: 1})
	s.do(minute, action.PressIn{Flask: 1})
	s.do(minute, action.PressAt{Flask: 1, HoldS: 60})
	s.do(65*second, action.PressOpen{Flask: 1})
	s.do(second, action.Flash{Flask: 1, Grade: "heavy"})
	s.do(120*minute, action.Note{Flask: 1, Text: "left lying"})
	s.do(second, action.TimerStart{Label: "stone", Count: "window", MinS: 60, MaxS: 300})
	s.do(10*minute, action.TimerStop{Timer: 1})
	sheet := s.sheet("2026-11-25")
	sheet.Made = s.clock.Read().Wall
	text := selfContained(t, written(t, sheet.HTML))
	for _, want := range []string{
		"both halves: drying time is up 4417 upper 3 low 08:11 08:11 42 s KT",
		"hold time is up 1 2 medium 08:25 5 s",
		"mix A: dough expected (estimate): check it 1 3 low 08:22 30 s",
		"stone: is over 1 high 10:30 cleared by the next step 10:35 5 min", // its first end gave way to it
		"dough, mix A 08:12 KT at most 45 min overdue (estimate)", "Dough, mix A is running: not after 08:57 (estimate)",
		"mix A: working time is over (estimate) 4417 upper 1 high 08:57 not acknowledged",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q:\n%s", want, text)
		}
	}
	plain := strings.Join(strings.Fields(string(written(t, sheet.Text))), " ")
	for _, want := range []string{
		"ALARMS 5 in all, 2 of them high; 1 acknowledged, half of them within 42 s, the last after 42 s",
		"08:11 3 low both halves: drying time is up, case 4417 upper (flask 1) acknowledged 08:11 by KT, after 42 s",
		"08:57 1 high mix A: working time is over (estimate), case 4417 upper (flask 1) not acknowledged",
		"10:30 1 high stone: is over cleared by the next step 10:35, after 5 min",
		"1 x hold time is up (2 medium), cleared by the next step, after 5 s",
	} {
		if !strings.Contains(plain, want) {
			t.Errorf("the text does not say %q:\n%s", want, plain)
		}
	}
	for column, want := range map[string]string{"answer": "acknowledged|cleared by the next step|cleared by the next step|not acknowledged|cleared by the next step", "after_s": "42|30|5||300", "priority": "3|3|2|1|1"} {
		if got := strings.Join(cells(t, sheet, day.Alarms, column), "|"); got != want {
			t.Errorf("column %s is %s, want %s", column, got, want)
		}
	}
	if strings.Contains(text, "stone: time is up") {
		t.Errorf("two ends of one window that nobody answered are two alarms:\n%s", text)
	}
}
