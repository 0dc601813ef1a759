package day

import (
	"archive/zip"
	"encoding/xml"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// workbook is what a spreadsheet opens, written by hand after ECMA-376 part 1 (SpreadsheetML)
// and part 2 (the package): a library for it made each start of the program a fifth longer.
type workbook struct {
	title, about string
	made         time.Time // told in UTC
	sheets       []workSheet
}

// workSheet is a sheet of it: names in a bold row that stays in sight, and rows of values, each
// nil, a bool, a float64, a time.Time for what the clock on the wall shows, or else a string.
type workSheet struct {
	name  string
	names []string
	rows  [][]any
	wide  []int // of the columns, in characters
}

// cellRoom is how many characters a cell holds; no spreadsheet opens one with more.
const cellRoom = 32767

// Relations between the parts (ECMA-376 part 1, annex A and sections 12 and 15).
const (
	relations  = "http://schemas.openxmlformats.org/package/2006/relationships"
	documents  = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
	core       = "http://schemas.openxmlformats.org/package/2006/relationships/metadata/core-properties"
	properties = "http://schemas.openxmlformats.org/package/2006/metadata/core-properties"
	sheetML    = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
	kind       = "application/vnd.openxmlformats-officedocument.spreadsheetml."
)

// The looks of cells by their places in cellXfs: plain, bold, and a time (section 18.8).
const (
	plainCell, boldCell, timeCell = 0, 1, 2

	looks = `<styleSheet xmlns="` + sheetML + `"><numFmts count="1"><numFmt numFmtId="164" formatCode="yyyy\-mm\-dd\ hh:mm:ss"/></numFmts>` +
		`<fonts count="2"><font><sz val="11"/><name val="Calibri"/></font><font><b/><sz val="11"/><name val="Calibri"/></font></fonts>` +
		`<fills count="2"><fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill></fills>` +
		`<borders count="1"><border><left/><right/><top/><bottom/><diagonal/></border></borders>` +
		`<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs>` +
		`<cellXfs count="3"><xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/>` +
		`<xf numFmtId="0" fontId="1" fillId="0" borderId="0" xfId="0" applyFont="1"/>` +
		`<xf numFmtId="164" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/></cellXfs>` +
		`<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>`
)

func (b workbook) write(w io.Writer) error {
	var types, tabs, parts strings.Builder
	for i, s := range b.sheets {
		fmt.Fprintf(&types, `<Override PartName="/xl/worksheets/sheet%d.xml" ContentType="%sworksheet+xml"/>`, i+1, kind)
		fmt.Fprintf(&tabs, `<sheet name="%s" sheetId="%d" r:id="rId%[2]d"/>`, escaped(s.name), i+1)
		fmt.Fprintf(&parts, `<Relationship Id="rId%d" Type="%s/worksheet" Target="worksheets/sheet%[1]d.xml"/>`, i+1, documents)
	}
	made := b.made.UTC().Format(time.RFC3339)
	z := zip.NewWriter(w)
	var failed error
	part := func(name string, texts ...string) {
		if failed != nil {
			return
		}
		var p io.Writer
		if p, failed = z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: b.made.UTC()}); failed == nil {
			_, failed = io.WriteString(p, xml.Header+strings.Join(texts, ""))
		}
	}
	part("[Content_Types].xml", `<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">`,
		`<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>`,
		`<Override PartName="/xl/workbook.xml" ContentType="`+kind+`sheet.main+xml"/>`,
		`<Override PartName="/xl/styles.xml" ContentType="`+kind+`styles+xml"/>`,
		`<Override PartName="/docProps/core.xml" ContentType="application/vnd.openxmlformats-package.core-properties+xml"/>`, types.String(), `</Types>`)
	part("_rels/.rels", `<Relationships xmlns="`+relations+`"><Relationship Id="rId1" Type="`+documents+`/officeDocument" Target="xl/workbook.xml"/>`,
		`<Relationship Id="rId2" Type="`+core+`" Target="docProps/core.xml"/></Relationships>`)
	part("docProps/core.xml", `<cp:coreProperties xmlns:cp="`+properties+`" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:dcterms="http://purl.org/dc/terms/"`,
		` xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"><dc:title>`, escaped(b.title), `</dc:title><dc:creator>flaskside</dc:creator><dc:description>`, escaped(b.about),
		`</dc:description><dcterms:created xsi:type="dcterms:W3CDTF">`, made, `</dcterms:created><dcterms:modified xsi:type="dcterms:W3CDTF">`, made,
		`</dcterms:modified></cp:coreProperties>`)
	part("xl/workbook.xml", `<workbook xmlns="`+sheetML+`" xmlns:r="`+documents+`"><sheets>`, tabs.String(), `</sheets></workbook>`)
	part("xl/_rels/workbook.xml.rels", `<Relationships xmlns="`+relations+`">`, parts.String(), `<Relationship Id="styles" Type="`+documents+`/styles" Target="styles.xml"/></Relationships>`)
	part("xl/styles.xml", looks)
	for i, s := range b.sheets {
		part(fmt.Sprintf("xl/worksheets/sheet%d.xml", i+1), s.text())
	}
	if failed != nil {
		return failed
	}
	return z.Close()
}

// text is the part of a sheet: views, columns and data, in the order of section 18.3.1.99.
func (s workSheet) text() string {
	var b strings.Builder
	b.WriteString(`<worksheet xmlns="` + sheetML + `"><sheetViews><sheetView workbookViewId="0">` +
		`<pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/></sheetView></sheetViews><cols>`)
	for i, n := range s.wide {
		fmt.Fprintf(&b, `<col min="%d" max="%[1]d" width="%d" customWidth="1"/>`, i+1, n)
	}
	b.WriteString(`</cols><sheetData><row r="1">`)
	for i, n := range s.names {
		sheetCell(&b, i, 1, n, boldCell)
	}
	b.WriteString(`</row>`)
	for n, r := range s.rows {
		fmt.Fprintf(&b, `<row r="%d">`, n+2)
		for i, v := range r {
			sheetCell(&b, i, n+2, v, plainCell)
		}
		b.WriteString(`</row>`)
	}
	b.WriteString(`</sheetData></worksheet>`)
	return b.String()
}

// sheetCell writes one cell (section 18.3.1.4), text into the cell itself.
func sheetCell(b *strings.Builder, column, row int, v any, look int) {
	at := columnName(column) + strconv.Itoa(row)
	switch v := v.(type) {
	case nil:
	case bool:
		fmt.Fprintf(b, `<c r="%s" t="b"><v>%d</v></c>`, at, map[bool]int{true: 1}[v])
	case float64:
		fmt.Fprintf(b, `<c r="%s"><v>%s</v></c>`, at, strconv.FormatFloat(v, 'f', -1, 64))
	case time.Time:
		fmt.Fprintf(b, `<c r="%s" s="%d"><v>%s</v></c>`, at, timeCell, strconv.FormatFloat(serial(v), 'f', -1, 64))
	case string:
		if utf8.RuneCountInString(v) > cellRoom {
			v = string([]rune(v)[:cellRoom])
		}
		fmt.Fprintf(b, `<c r="%s" s="%d" t="inlineStr"><is><t xml:space="preserve">%s</t></is></c>`, at, look, escaped(v))
	}
}

// columnName is A, B … Z, AA, AB …
func columnName(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return columnName(i/26-1) + string(rune('A'+i%26))
}

// serial is a clock's time in days since the turn of 1899 to 1900 as spreadsheets count them, with
// a 29 February 1900 that never was (section 18.17.4.1): right since March of that year.
func serial(clock time.Time) float64 {
	y, m, d := clock.Date()
	days := time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Sub(time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)).Hours() / 24
	return days + float64(clock.Hour()*3600+clock.Minute()*60+clock.Second())/86400
}

// escaped is text as XML holds it. A spreadsheet reads _xHHHH_ as one character (section
// 22.9.2.19), so where such a thing was typed each underscore before an x is written as a code.
func escaped(text string) string {
	var b strings.Builder
	for i := range len(text) - 6 {
		if text[i] == '_' && text[i+1] == 'x' && text[i+6] == '_' {
			text = strings.ReplaceAll(text, "_x", "_x005F_x")
			break
		}
	}
	_ = xml.EscapeText(&b, []byte(text)) // a strings.Builder takes all
	return b.String()
}
