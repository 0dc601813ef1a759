package review

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"flaskside/logbook/bench"
	"flaskside/logbook/day/browsertest"
	"flaskside/timers/longrun"
)

// TestPageInBrowser prints the page of a month in a browser, on A4 and on Letter: every
// heading is there, in the order of the page, the charts are drawn, and a month is a few
// pages. The text is read back by another program (pdftotext of poppler-utils).
func TestPageInBrowser(t *testing.T) {
	longrun.Only(t, "the page in a browser")
	path := browsertest.Find(t)
	reader, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("pdftotext (poppler-utils) is not installed: the printed page is not read back")
	}
	l, from, until := month(t, 7, 60)
	b := bench.Fold(l.recs, bench.Counters{})
	r := Of(b, from, until, Boiling(b, from, until))
	r.Head = "48213:9f3a00c1deadbeef"
	page := written(t, func(w io.Writer) error { return r.HTML(w) })
	if n := strings.Count(page, "<svg"); n < 2 {
		t.Errorf("the page has %d charts", n)
	}
	var heads []string
	for _, m := range regexp.MustCompile(`<h2>([^<]*)</h2>`).FindAllStringSubmatch(page, -1) {
		heads = append(heads, strings.NewReplacer("&#39;", "'", "&amp;", "&").Replace(m[1]))
	}
	if len(heads) < 8 {
		t.Fatalf("headings %q", heads)
	}
	for _, size := range []string{"A4", "letter"} {
		sized := strings.Replace(page, "</head>", "<style>@page { size: "+size+" }</style></head>", 1)
		doc := browsertest.Open(t, path, []byte(sized), "--print-to-pdf", "review.pdf")
		if n := len(regexp.MustCompile(`/Type ?/Page\b[^s]`).FindAll(doc, -1)); n < 2 || n > 6 {
			t.Errorf("%s: %d pages", size, n)
		}
		file := filepath.Join(t.TempDir(), "review.pdf")
		if err := os.WriteFile(file, doc, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(reader, "-layout", file, "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		text := string(bytes.Join(bytes.Fields(out), []byte(" ")))
		for _, want := range []string{"(Wilson)", "48213:9f3a00c1deadbeef"} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: the printed page does not say %q:\n%s", size, want, out)
			}
		}
		for _, want := range heads {
			_, after, ok := strings.Cut(text, want)
			if !ok {
				t.Fatalf("%s: the printed page does not say %q, or not in its place:\n%s", size, want, out)
			}
			text = after
		}
	}
}
