package day

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
	"time"
)

func TestColumnName(t *testing.T) {
	for i, want := range map[int]string{0: "A", 25: "Z", 26: "AA", 51: "AZ", 52: "BA", 701: "ZZ", 702: "AAA"} {
		if got := columnName(i); got != want {
			t.Errorf("column %d is %s, want %s", i, got, want)
		}
	}
}

// TestSerial: the second is an example of ECMA-376 part 1, section 18.17.4 (from memory); a day is 1 and its hours are parts of it.
func TestSerial(t *testing.T) {
	for clock, want := range map[string]float64{"1900-03-01T00:00:00Z": 61, "1910-02-03T10:05:54Z": 3687 + 36354.0/86400, "2009-07-06T12:00:00Z": 40000.5} {
		at, err := time.Parse(time.RFC3339, clock)
		if err != nil {
			t.Fatal(err)
		}
		if got := serial(at); got != want {
			t.Errorf("%s is %v, want %v", clock, got, want)
		}
	}
}

// TestWorkbookParts: every part is XML, is declared and is named by another; what a cell cannot
// hold is cut, and no text is read as a code.
func TestWorkbookParts(t *testing.T) {
	var raw bytes.Buffer
	b := workbook{title: "a <title>", about: `"about" & more`, made: time.Date(2026, 11, 25, 8, 0, 0, 0, time.FixedZone("", 3600)),
		sheets: []workSheet{{name: "one", names: []string{"a"}, wide: []int{3}, rows: [][]any{{"_x0041_ and _x"}, {strings.Repeat("ä", cellRoom+1)}, {"my_xray"}}}, {name: "two"}}}
	if err := b.write(&raw); err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(raw.Bytes()), int64(raw.Len()))
	if err != nil {
		t.Fatal(err)
	}
	parts := map[string]string{}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		parts[f.Name] = string(text)
		d := xml.NewDecoder(bytes.NewReader(text))
		for err == nil {
			_, err = d.Token()
		}
		if !errors.Is(err, io.EOF) {
			t.Errorf("%s is no XML: %v\n%s", f.Name, err, text)
		}
	}
	for name := range parts {
		if !strings.HasSuffix(name, ".rels") && name != "[Content_Types].xml" && !strings.Contains(parts["[Content_Types].xml"], `"/`+name+`"`) {
			t.Errorf("the kind of %s is not declared", name)
		}
		_, short, _ := strings.Cut(name, "/")
		if !strings.Contains(name, "_") && !strings.Contains(parts["_rels/.rels"], `"`+name+`"`) && !strings.Contains(parts["xl/_rels/workbook.xml.rels"], `"`+short+`"`) {
			t.Errorf("nothing names %s", name)
		}
	}
	for _, want := range []string{">_x005F_x0041_ and _x005F_x<", ">" + strings.Repeat("ä", cellRoom) + "<", ">my_xray<"} {
		if !strings.Contains(parts["xl/worksheets/sheet1.xml"], want) {
			t.Errorf("the sheet has no %.40s", want)
		}
	}
	for _, want := range []string{"<dc:title>a &lt;title&gt;</dc:title>", ">2026-11-25T07:00:00Z</dcterms:created>", "about&#34; &amp; more<"} {
		if !strings.Contains(parts["docProps/core.xml"], want) {
			t.Errorf("the properties have no %s: %s", want, parts["docProps/core.xml"])
		}
	}
}
