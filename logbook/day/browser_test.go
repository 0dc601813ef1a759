package day_test

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/day"
)

// browser finds a Chromium.
func browser(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	t.Skip("no Chromium is installed: the page is not opened in a browser")
	return ""
}

// inBrowser opens a page in a headless Chromium that may reach nothing and gives
// what a command of it writes to a file.
func inBrowser(t *testing.T, path string, page []byte, command, name string, more ...string) []byte {
	t.Helper()
	dir := t.TempDir()
	in, out := filepath.Join(dir, "sheet.html"), filepath.Join(dir, name)
	if err := os.WriteFile(in, page, 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	args := append([]string{"--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update",
		"--disable-sync", "--user-data-dir=" + filepath.Join(dir, "profile"), "--host-resolver-rules=MAP * ~NOTFOUND", "--no-pdf-header-footer", command + "=" + out}, more...)
	cmd := exec.CommandContext(ctx, path, append(args, "file://"+filepath.ToSlash(in))...)
	cmd.WaitDelay = 5 * time.Second
	var said bytes.Buffer
	cmd.Stderr = &said
	if err := cmd.Run(); err != nil {
		t.Fatalf("the browser: %v\n%s", err, said.String())
	}
	got, err := os.ReadFile(out)
	if err != nil {
		t.Fatalf("%v\n%s", err, said.String())
	}
	return got
}

// TestHTMLInBrowser prints pages in a browser on A4 and on Letter: all of it is
// there, in few pages, with no flask torn between two.
func TestHTMLInBrowser(t *testing.T) {
	path := browser(t)
	shift := demoSheet(t)
	busy, flasks := crowded(t)
	for _, c := range []struct {
		size   day.Size
		sheet  day.Sheet
		most   int
		flasks map[string]string
		says   []string
	}{
		{day.A4, shift, 3, demoFlasks(), []string{"Mix A: powder lot P-118", "heavy", "core (estimate)"}},
		{day.Letter, busy, 4, flasks, nil},
	} {
		t.Run(string(c.size), func(t *testing.T) {
			// The page leaves the paper to the printer; here a style stands for it.
			page := strings.Replace(string(written(t, c.sheet.HTML)), "</head>", "<style>@page { size: "+string(c.size)+" }</style></head>", 1)
			doc := inBrowser(t, path, []byte(page), "--print-to-pdf", "sheet.pdf")
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
