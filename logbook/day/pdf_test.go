package day_test

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"flaskside/logbook/action"
	"flaskside/logbook/day"
)

func pdf(size day.PaperSize, s day.Sheet) func(io.Writer) error {
	return func(w io.Writer) error { return s.PDF(w, size) }
}

// paperSizes are the sizes in points: A4 is 210 × 297 mm (ISO 216), Letter 8.5 × 11
// in (ANSI/ASME Y14.1, size A).
var paperSizes = map[day.PaperSize][2]float64{day.A4: {210 / 25.4 * 72, 297 / 25.4 * 72}, day.Letter: {8.5 * 72, 11 * 72}}

// pages counts the pages of a PDF by its page objects (ISO 32000-1, section 7.7.3.3)
// and checks their size, which they have or inherit.
func pages(t *testing.T, doc []byte, size day.PaperSize) int {
	t.Helper()
	if !bytes.HasPrefix(doc, []byte("%PDF-1.")) {
		t.Fatalf("this is not a PDF: %.20q", doc)
	}
	boxes := regexp.MustCompile(`/MediaBox ?\[0 0 ([0-9.]+) ([0-9.]+)\]`).FindAllSubmatch(doc, -1)
	if len(boxes) == 0 {
		t.Error("no page tells its size")
	}
	for _, b := range boxes {
		for i := range 2 {
			if v, err := strconv.ParseFloat(string(b[i+1]), 64); err != nil || v < paperSizes[size][i]-1.5 || v > paperSizes[size][i]+1.5 {
				t.Errorf("a page of %s is %s × %s points", size, b[1], b[2])
			}
		}
	}
	return len(regexp.MustCompile(`/Type ?/Page\b[^s]`).FindAll(doc, -1))
}

// pdfText reads the text of a PDF, a form feed after each page, with a reader that
// has nothing to do with its writer: pdftotext of poppler-utils.
func pdfText(t *testing.T, doc []byte) string {
	t.Helper()
	reader, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("pdftotext (poppler-utils) is not installed: the text of the PDF is not read back")
	}
	path := filepath.Join(t.TempDir(), "sheet.pdf")
	if err := os.WriteFile(path, doc, 0o600); err != nil {
		t.Fatal(err)
	}
	boxes, err := exec.Command(reader, "-bbox", path, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	onPaper(t, boxes)
	out, err := exec.Command(reader, "-layout", path, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

// onPaper checks that each word stands on its page with some air about it.
func onPaper(t *testing.T, boxes []byte) {
	t.Helper()
	const air = 10.0 // points
	var wide, high float64
	number := func(b []byte) float64 {
		v, err := strconv.ParseFloat(string(b), 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	n := 0
	for _, m := range regexp.MustCompile(`<page width="([0-9.]+)" height="([0-9.]+)">|<word xMin="([-0-9.]+)" yMin="([-0-9.]+)" xMax="([-0-9.]+)" yMax="([-0-9.]+)">(.*?)</word>`).FindAllSubmatch(boxes, -1) {
		if len(m[1]) > 0 {
			wide, high = number(m[1]), number(m[2])
			continue
		}
		n++
		if number(m[3]) < air || number(m[4]) < air || number(m[5]) > wide-air || number(m[6]) > high-air {
			t.Errorf("the word %q runs off the page: %s", m[7], m[0])
		}
	}
	if n == 0 {
		t.Error("there is no word on paper")
	}
}

// together checks that each flask stands on one page, from its heading to the line
// of its final closure.
func together(t *testing.T, text string, flasks map[string]string) {
	t.Helper()
	for head, last := range flasks {
		found := false
		for _, page := range strings.Split(text, "\f") {
			_, after, ok := strings.Cut(page, head)
			found = found || ok && strings.Contains(after, last)
		}
		if !found {
			t.Errorf("%q and %q stand on no page together:\n%s", head, last, text)
		}
	}
}

func demoFlasks() map[string]string {
	return map[string]string{"Case 4391": "sheet out 03:58", "Case 4402": "sheet out 04:00", "Case 4417": "sheet out 14:26", "Case 4420": "sheet out 14:28"}
}

// crowded is a day of flasks with so many notes that some flask would lie across the
// end of a page, were it let.
func crowded(t testing.TB) (day.Sheet, map[string]string) {
	s := newShift(t, "2026-11-25 08:00", "Europe/Berlin")
	flasks := map[string]string{}
	for i := range 6 {
		s.do(minute, action.FlaskOpen{Place: i + 1, Case: fmt.Sprint(4400 + i), Base: "upper", Size: "small"})
		s.do(minute, action.Coat{Flask: i + 1, Half: "both"})
		for n := range 9 + 2*i {
			s.do(second, action.Note{Flask: i + 1, Text: fmt.Sprintf("note %d of %d", n+1, i+1)})
		}
		flasks[fmt.Sprintf("Case %d", 4400+i)] = fmt.Sprintf("note %d of %d", 9+2*i, i+1)
	}
	return s.sheet("2026-11-25"), flasks
}

// TestPDF: the sheet on both papers, the same each time, its text readable by
// another program.
func TestPDF(t *testing.T) {
	s := demoSheet(t)
	for size, want := range map[day.PaperSize]int{day.A4: 3, day.Letter: 3} {
		t.Run(string(size), func(t *testing.T) {
			doc := written(t, pdf(size, s))
			if n := pages(t, doc, size); n != want {
				t.Errorf("%d pages, want %d", n, want)
			}
			if !bytes.Equal(doc, written(t, pdf(size, s))) {
				t.Error("the same sheet is not the same file")
			}
			text := pdfText(t, doc)
			for _, want := range []string{"Wednesday 25 November 2026", "Case 4420 · lower, medium · flask 4", "powder lot P-118", "liquid lot L-073", "9 h to 12 h", "3000 psi", "not as set",
				"Bath load 2", "Technician", "Supervisor", "Logbook head when this sheet was made: " + s.Head} {
				if !strings.Contains(text, want) {
					t.Errorf("the PDF does not say %q:\n%s", want, text)
				}
			}
			together(t, text, demoFlasks())
		})
	}
	busy, flasks := crowded(t)
	for size := range paperSizes {
		together(t, pdfText(t, written(t, pdf(size, busy))), flasks)
	}
	if err := s.PDF(io.Discard, "A5"); err == nil {
		t.Error("paper that is none was taken")
	}
}

// TestPDFLetters: letters outside its font are told, all others are there.
func TestPDFLetters(t *testing.T) {
	s, _ := hostile(t)
	text := pdfText(t, written(t, pdf(day.A4, s.sheet("2026-11-25"))))
	for _, want := range []string{"Größe Łódź Ελλάδα Привет □□ □", "letters could not be printed: □ stands for each", "<script>alert(1)</script>", `"><img src=x onerror=alert(1)>`} {
		if !strings.Contains(text, want) {
			t.Errorf("the PDF does not say %q:\n%s", want, text)
		}
	}
	if text := pdfText(t, written(t, pdf(day.A4, demoSheet(t)))); strings.Contains(text, "could not be printed") {
		t.Error("letters are said to be lacking that are not")
	}
}

// TestPaperTakesAnyDay: many closures, long words and letters of any kind break
// neither the page nor the PDF, and nothing runs off a page.
func TestPaperTakesAnyDay(t *testing.T) {
	for _, c := range []struct {
		closures    int
		text        string
		least, most int
	}{{0, "語", 1, 1}, {7, "unbroken", 1, 2}, {70, "<&> ", 2, 4}} {
		s := newShift(t, "2026-11-25 08:00", "Europe/Berlin")
		s.do(0, action.FlaskOpen{Place: 1, Case: strings.Repeat("W", 24), Base: "upper", Size: "small"}, "8")
		s.do(minute, action.Coat{Flask: 1, Half: "both", DryMinS: 60}, "8")
		s.do(10*minute, action.MixMake{Flasks: []int{1}, DoughS: 600, WorkS: 86400}, "8")
		s.do(10*minute, action.MixDough{Mix: 1})
		for i := range c.closures {
			if i%10 == 3 {
				s.do(second, action.DoughAdd{Flask: 1}, "8")
			}
			s.trial(minute, 1, action.Grades[i%3])
		}
		s.do(second, action.Note{Flask: 1, Text: "x" + strings.Repeat(c.text, 399/utf8.RuneCountInString(c.text))})
		sheet := s.sheet("2026-11-25")
		page := written(t, sheet.HTML)
		balanced(t, page)
		pictures(t, page)
		doc := written(t, pdf(day.Letter, sheet))
		if n := pages(t, doc, day.Letter); n < c.least || n > c.most {
			t.Errorf("the day of %d closures takes %d pages", c.closures, n)
		}
		pdfText(t, doc) // all on paper
	}
}
