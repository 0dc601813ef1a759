package review

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/stats"
)

func written(t testing.TB, write func(io.Writer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// hostile is a month of one flask whose case number is meant for a spreadsheet and for
// a browser.
func hostile(t testing.TB) Review {
	begin := time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)
	l := newLab(t, 1, begin)
	no := l.opened(1, "large", `=1+1<script>&"`)
	l.do(60, action.Note{Flask: no, Text: "Mrs Invented wants them by Friday"})
	l.trial(no, 3000, "slight")
	l.final(no, 3000)
	l.do(60, action.Outcome{Flask: no, Outcome: "remake", Defects: []string{"short mould"}})
	return l.review(begin, begin.AddDate(0, 1, 0))
}

// TestNothingButCaseNumbers: no initials, no notes, no reasons; what is written for a
// spreadsheet or a browser is defused.
func TestNothingButCaseNumbers(t *testing.T) {
	r := hostile(t)
	flasks := written(t, func(w io.Writer) error { return r.CSV(w, PerFlask) })
	page, text := written(t, r.HTML), written(t, r.Text)
	for name, form := range map[string]string{"csv": flasks, "html": page, "text": text} {
		for _, bad := range []string{"KT", "Invented", "no time left"} {
			if strings.Contains(form, bad) {
				t.Errorf("%s tells %q", name, bad)
			}
		}
	}
	if rows := rowsOf(t, r, PerFlask); rows[1][1] != `'=1+1<script>&"` {
		t.Errorf("case in the table: %s", rows[1][1])
	}
	if strings.Contains(page, "<script") || !strings.Contains(page, "=1&#43;1&lt;script&gt;&amp;&#34;") {
		t.Error("the case number is not escaped in the page")
	}
	if err := r.CSV(io.Discard, "people"); err == nil {
		t.Error("a table that is not there was written")
	}
}

// TestPageNeedsNothing: one page, no script, nothing fetched, sizes of paper left to the
// printer; its charts are well-formed XML.
func TestPageNeedsNothing(t *testing.T) {
	l, from, until := month(t, 2, 40)
	page := written(t, l.review(from, until).HTML)
	for _, bad := range []string{"<script", "javascript:", "http:", "https:", "url(", "@import", "src=", "href=", "onload", "<link", "<iframe", "NaN", "Inf"} {
		if strings.Contains(page, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	if !strings.Contains(page, "@page") || regexp.MustCompile(`[^-]size:`).MatchString(page) {
		t.Error("the page is not one for paper of any size")
	}
	charts := regexp.MustCompile(`(?s)<svg.*?</svg>`).FindAllString(page, -1)
	if len(charts) != 2 {
		t.Fatalf("%d charts", len(charts))
	}
	for _, c := range charts {
		d := xml.NewDecoder(strings.NewReader(c))
		for {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("%v in %s", err, c)
			}
		}
		if !strings.Contains(c, "<title>") {
			t.Error("a chart has no title")
		}
	}
}

// TestWords: small numbers are called small, what cannot tell is said so, estimates are
// named, lines keep to their width, and nothing is judged.
func TestWords(t *testing.T) {
	l, from, until := month(t, 4, 12)
	few := l.review(from, until)
	l, from, until = month(t, 2, 80)
	many := l.review(from, until)
	for name, form := range map[string]string{"text": written(t, few.Text), "page": written(t, few.HTML)} {
		for _, want := range []string{"small number", "estimate", "provisional", cannotTell} {
			if !strings.Contains(form, want) {
				t.Errorf("%s of 12 flasks: no word of %q", name, want)
			}
		}
	}
	if text := written(t, many.Text); strings.Contains(text, "provisional") {
		t.Error("limits from 80 flasks are called provisional")
	}
	verdicts := regexp.MustCompile(`(?i)\*|significan|\bsafe|\bpassed|no porosity|\bproves?\b|\bbad\b|\bworse|\bbetter`)
	for _, r := range []Review{few, many} {
		text := written(t, r.Text)
		if m := verdicts.FindString(text + written(t, r.HTML)[strings.Index(written(t, r.HTML), "<h1>"):]); m != "" {
			t.Errorf("the review says %q", m)
		}
		for _, line := range strings.Split(text, "\n") {
			if utf8.RuneCountInString(line) > width {
				t.Errorf("%d wide: %s", utf8.RuneCountInString(line), line)
			}
		}
	}
	for _, note := range []string{noteShares, noteSmall} {
		if !strings.Contains(note, fmt.Sprintf("fewer than %d", fewFlasks)) {
			t.Errorf("%q does not tell what is small", note)
		}
	}
	if !strings.Contains(noteLimits, fmt.Sprintf("%.3f", stats.E2)) || !strings.Contains(noteLimits, fmt.Sprintf("%.3f", stats.D4)) {
		t.Errorf("%q does not tell the constants used", noteLimits)
	}
}

func TestPercent(t *testing.T) {
	for _, c := range []struct {
		v    float64
		want string
	}{{0, "0"}, {0.0004, "0.0"}, {0.0625, "6.2"}, {0.0994, "9.9"}, {0.0996, "10"}, {0.25, "25"}, {0.9, "90"}, {0.992, "99.2"}, {0.9999, "99.9"}, {1, "100"}} {
		if got := percent(c.v); got != c.want {
			t.Errorf("%g: %s, want %s", c.v, got, c.want)
		}
	}
}

// TestPlotHolds: a chart of any values keeps its size and shows every value outside.
func TestPlotHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(0, 20), 2, 400).Draw(t, "x")
		if rapid.Bool().Draw(t, "alike") {
			for i := range x {
				x[i] = x[0]
			}
		}
		s, err := stats.Individuals(x)
		if err != nil {
			t.Fatal(err)
		}
		c := controlChart{Chart: s, Values: x, Flasks: make([]int, len(x))}
		if c.Floor = c.Low < 0; c.Floor {
			c.Low = 0
		}
		columns := map[int]bool{}
		for _, i := range c.Outside {
			columns[i/c.perColumn()] = true
		}
		shown, dots := map[int]bool{}, 0
		lines := c.plot()
		if len(lines) != plotH {
			t.Fatalf("%d lines", len(lines))
		}
		for _, l := range lines {
			if len(l) > width {
				t.Fatalf("%d wide", len(l))
			}
			_, field, _ := strings.Cut(l, "|")
			for i, r := range field {
				shown[i] = shown[i] || r == 'X'
				if strings.ContainsRune("oX", r) {
					dots++
				}
			}
		}
		for i := range columns {
			if !shown[i] {
				t.Fatalf("nothing outside in column %d:\n%s", i, strings.Join(lines, "\n"))
			}
		}
		if dots == 0 || strings.Contains(string(c.svg("x", "")), "NaN") {
			t.Fatal("nothing drawn")
		}
		if got := strings.Count(string(c.svg("x", "")), `class="out"`); got != len(slices.Compact(c.Outside)) {
			t.Fatalf("%d marks for %d outside", got, len(c.Outside))
		}
	})
}

// TestFigures: the table of figures is rectangular, its numbers are numbers, and it
// tells the same as the review.
func TestFigures(t *testing.T) {
	l, from, until := month(t, 2, 60)
	r := l.review(from, until)
	told := map[string][]string{}
	for i, row := range rowsOf(t, r, Figures) {
		if len(row) != 10 {
			t.Fatalf("%d columns: %v", len(row), row)
		}
		if i == 0 {
			continue
		}
		for _, cell := range row[3:] {
			if v, err := strconv.ParseFloat(cell, 64); cell != "" && (err != nil || math.IsNaN(v) || math.IsInf(v, 0)) {
				t.Fatalf("%q in %v", cell, row)
			}
		}
		key := strings.Join(row[:3], "/")
		if told[key] != nil {
			t.Errorf("told twice: %s", key)
		}
		told[key] = row[3:]
	}
	for key, want := range map[string][2]string{ // value by the index of its column
		"flasks closed//number":             {"0", "60"},
		"closures/all/mean":                 {"2", num(r.Closures[len(r.Closures)-1].Mean)},
		"closures/small/flasks with 2":      {"0", strconv.Itoa(r.Closures[0].Counts[2])},
		"closures chart//centre and limits": {"4", num(r.ClosureChart.High)},
		"pin chart//moving range and limit": {"2", num(r.PinChart.MeanRange)},
		"defects/any/share":                 {"3", num(r.AnyDefect.Low)},
		"outcomes/remake/share":             {"0", strconv.Itoa(r.Outcomes[2].Count)},
		"records//taken back":               {"1", strconv.Itoa(r.Corrections.Records)},
		"any defect against unusual/" + r.Against[0].Words + "/difference": {"5", num(r.Against[0].Defect.Two)},
		"remake against unusual/" + r.Against[0].Words + "/with":           {"1", strconv.Itoa(r.Against[0].Remake.With.N)},
	} {
		i, err := strconv.Atoi(want[0])
		if err != nil {
			t.Fatal(err)
		}
		if row := told[key]; row == nil || row[i] != want[1] {
			t.Errorf("%s: %v, want %s", key, row, want[1])
		}
	}
}
