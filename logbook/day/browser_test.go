package day_test

import (
	"strings"
	"testing"

	"flaskside/logbook/day"
	"flaskside/logbook/day/browsertest"
	"flaskside/timers/longrun"
)

// TestHTMLInBrowser prints pages in a browser on A4 and on Letter: all of it is
// there, in few pages, with no flask torn between two.
func TestHTMLInBrowser(t *testing.T) {
	longrun.Only(t, "the sheet on paper, by a browser")
	path := browsertest.Find(t)
	shift := demoSheet(t)
	busy, flasks := crowded(t)
	for _, c := range []struct {
		size   day.PaperSize
		sheet  day.Sheet
		most   int
		flasks map[string]string
		says   []string
	}{
		{day.Letter, busy, 4, flasks, nil},
		{day.A4, shift, 3, demoFlasks(), []string{"Mix A: powder lot P-118", "heavy", "core (estimate)"}},
	} {
		t.Run(string(c.size), func(t *testing.T) {
			// The page leaves the paper to the printer; here a style stands for it.
			page := strings.Replace(string(written(t, c.sheet.HTML)), "</head>", "<style>@page { size: "+string(c.size)+" }</style></head>", 1)
			doc := browsertest.Open(t, path, []byte(page), "--print-to-pdf", "sheet.pdf")
			if n := pages(t, doc, c.size); n < 2 || n > c.most {
				t.Errorf("%d pages", n)
			}
			text := pdfText(t, doc)
			for _, want := range append(c.says, "Wednesday 25 November 2026", "Technician", "Supervisor", "Logbook head when this sheet was made: "+c.sheet.Head,
				"Day sheet, Wednesday 25 November 2026 · logbook head "+c.sheet.Head) {
				if !strings.Contains(text, want) {
					t.Errorf("the printed page does not say %q:\n%s", want, text)
				}
			}
			together(t, text, c.flasks)
		})
	}
}
