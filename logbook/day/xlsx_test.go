package day_test

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"io"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/thedatashed/xlsxreader"

	"flaskside/logbook/action"
	"flaskside/logbook/day"
)

// workbook reads a sheet of a workbook back with another library: its rows by
// column.
func workbook(t *testing.T, raw []byte, table day.Table) (names []string, rows []map[string]xlsxreader.Cell) {
	t.Helper()
	book, err := xlsxreader.NewReader(raw)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(book.Sheets, []string{"records", "closures", "flasks", "alarms", "equipment", "steps"}) {
		t.Fatalf("the sheets are %v", book.Sheets)
	}
	for row := range book.ReadRows(string(table)) {
		if row.Error != nil {
			t.Fatal(row.Error)
		}
		if row.Index == 1 {
			for _, c := range row.Cells {
				names = append(names, c.Value)
			}
			continue
		}
		cells := map[string]xlsxreader.Cell{}
		for _, c := range row.Cells {
			cells[names[c.ColumnIndex()]] = c
		}
		rows = append(rows, cells)
	}
	return names, rows
}

// onClock tells whether a time read from a workbook is that of a clock. Such a time
// is a fraction of a day, and the reader cuts what is left of a second off.
func onClock(read string, at time.Time) bool {
	_, offset := at.Zone()
	got, err := time.Parse(time.RFC3339, read)
	less := at.Add(time.Duration(offset) * time.Second).Sub(got)
	return err == nil && less >= 0 && less <= time.Second
}

// TestXLSX: each table holds what its CSV holds, typed, under a header that stays.
func TestXLSX(t *testing.T) {
	sheet := invented(t).sheet("2026-11-25")
	raw := written(t, sheet.XLSX)
	for _, table := range day.Tables {
		want, err := csv.NewReader(bytes.NewReader(written(t, func(w io.Writer) error { return sheet.CSV(w, table) }))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		names, rows := workbook(t, raw, table)
		if !slices.Equal(slices.DeleteFunc(slices.Clone(names), func(n string) bool { return n == "at_offset" }), want[0]) || len(rows) != len(want)-1 {
			t.Fatalf("%s: %d rows of %v", table, len(rows), names)
		}
		for i, r := range want[1:] {
			for c, v := range r {
				got := rows[i][want[0][c]]
				at, terr := time.Parse(time.RFC3339, v)
				n, nerr := strconv.ParseFloat(v, 64)
				switch name := want[0][c]; {
				case v == "":
					if got.Value != "" {
						t.Errorf("%s row %d: %s is %q, want nothing", table, i, name, got.Value)
					}
				case terr == nil:
					if wall := at.In(sheet.From.Location()); got.Type != xlsxreader.TypeDateTime || !onClock(got.Value, wall) {
						t.Errorf("%s row %d: %s is %s %q, want the time %s", table, i, name, got.Type, got.Value, wall)
					}
				case v == "yes":
					if got.Type != xlsxreader.TypeBoolean || got.Value != "1" {
						t.Errorf("%s row %d: %s is %s %q, want true", table, i, name, got.Type, got.Value)
					}
				case nerr == nil && name != "case":
					if f, err := strconv.ParseFloat(got.Value, 64); err != nil || f != n || got.Type != xlsxreader.TypeNumerical {
						t.Errorf("%s row %d: %s is %s %q, want the number %s", table, i, name, got.Type, got.Value, v)
					}
				default:
					if got.Type != xlsxreader.TypeString || got.Value != v {
						t.Errorf("%s row %d: %s is %s %q, want the text %q", table, i, name, got.Type, got.Value, v)
					}
				}
			}
			if table == day.Records && rows[i]["at_offset"].Value != "+01:00" {
				t.Errorf("row %d: the offset is %q", i, rows[i]["at_offset"].Value)
			}
		}
	}
	// The header stays in sight (ECMA-376 part 1, section 18.3.1.66, pane).
	z, err := zip.NewReader(bytes.NewReader(raw), int64(len(raw)))
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range []string{"1", "2", "3", "4"} {
		f, err := z.Open("xl/worksheets/sheet" + n + ".xml")
		if err != nil {
			t.Fatal(err)
		}
		xml, err := io.ReadAll(f)
		if err != nil {
			t.Fatal(err)
		}
		if s := string(xml); !strings.Contains(s, `ySplit="1"`) || !strings.Contains(s, `state="frozen"`) || strings.Contains(s, "<f>") {
			t.Errorf("sheet %s has no frozen header, or a formula", n)
		}
	}
}

// TestXLSXText: text is the text that was typed, even where a spreadsheet would run
// it, and a case number of digits is no number.
func TestXLSXText(t *testing.T) {
	s, texts := hostile(t)
	names := []string{"=1+1", "0017", "@SUM(A1)", "-2", "yes", "2026-11-25T08:00:00Z"}
	for i, c := range names {
		s.do(minute, action.FlaskOpen{Place: i + 2, Case: c, Base: "upper", Size: "small"}, "8")
	}
	raw := written(t, s.sheet("2026-11-25").XLSX)
	_, flasks := workbook(t, raw, day.Flasks)
	for i, want := range names {
		if got := flasks[i+1]["case"]; got.Type != xlsxreader.TypeString || got.Value != want {
			t.Errorf("case %q is %s %q", want, got.Type, got.Value)
		}
	}
	_, records := workbook(t, raw, day.Records)
	for _, want := range texts {
		if !slices.ContainsFunc(records, func(r map[string]xlsxreader.Cell) bool { return r["fields"].Value == "text: "+want }) {
			t.Errorf("the note %q did not come back", want)
		}
	}
}

// TestXLSXRepeatedHour: in the hour that comes twice the offset tells which is meant.
func TestXLSXRepeatedHour(t *testing.T) {
	s := newShift(t, "2026-10-25 01:30", "Europe/Berlin")
	s.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	s.do(time.Hour, action.Note{Flask: 1, Text: "first"})
	s.do(time.Hour, action.Note{Flask: 1, Text: "second"})
	_, rows := workbook(t, written(t, s.sheet("2026-10-25").XLSX), day.Records)
	for i, want := range []string{"2026-10-25T01:30:00+02:00", "2026-10-25T02:30:00+02:00", "2026-10-25T02:30:00+01:00"} {
		at, err := time.Parse(time.RFC3339, want)
		if err != nil {
			t.Fatal(err)
		}
		if got := rows[i]; !onClock(got["at"].Value, at) || got["at_offset"].Value != at.Format("-07:00") {
			t.Errorf("record %d is at %s %s, want %s", i+1, got["at"].Value, got["at_offset"].Value, want)
		}
	}
}
