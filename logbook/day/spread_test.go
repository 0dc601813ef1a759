package day_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"io"
	"strconv"
	"strings"
	"testing"

	"flaskside/logbook/action"
	"flaskside/logbook/day"
)

// TestSpreadsheet writes a day full of texts that a spreadsheet would run, and
// numbers that it must still take for numbers.
func TestSpreadsheet(t *testing.T) {
	s := newShift(t, "2026-11-25 08:00", "UTC")
	s.do(0, action.FlaskOpen{Place: 1, Case: "=1+1", Base: "upper", Size: "small", Tag: "@SUM(A1)"})
	s.do(0, action.MixMake{Flasks: []int{1}, PowderLot: `-2+3,"x"`, LiquidLot: "=9"})
	tag := s.do(0, action.Note{Flask: 1, Text: "=cmd|' /C calc'!A0"})
	s.fix(tag, `{"text":"-fine"}`, "=why")
	s.do(0, action.ClockEvent{What: "clock moved", ByS: -3600})
	sheet := s.sheet("2026-11-25")
	for _, table := range day.Tables {
		raw := written(t, func(w io.Writer) error { return sheet.CSV(w, table) })
		rows, err := csv.NewReader(bytes.NewReader(raw)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range rows {
			if len(row) != len(rows[0]) {
				t.Errorf("%s: a row has %d cells, the header %d", table, len(row), len(rows[0]))
			}
			for _, cell := range row {
				if cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])) {
					if _, err := strconv.ParseFloat(cell, 64); err != nil {
						t.Errorf("%s: the cell %q would be run", table, cell)
					}
				}
			}
		}
		// RFC 4180, section 2: lines end with CR LF, the last one too here.
		if bytes.Count(raw, []byte("\n")) != bytes.Count(raw, []byte("\r\n")) || !bytes.HasSuffix(raw, []byte("\r\n")) {
			t.Errorf("%s: not every line ends with CR LF", table)
		}
	}
	if got := cells(t, sheet, day.Flasks, "case"); got[0] != "'=1+1" {
		t.Errorf("the case is written as %q", got[0])
	}
	// RFC 4180, section 2, 6 and 7: a field with commas or quotes stands in quotes,
	// and quotes in it are doubled.
	if raw := written(t, func(w io.Writer) error { return sheet.CSV(w, day.Flasks) }); !bytes.Contains(raw, []byte(`,"'-2+3,""x""",`)) {
		t.Errorf("the lot is written as %s", raw)
	}
}

// TestStoredNumbers holds the numbers in the tables against those recorded.
func TestStoredNumbers(t *testing.T) {
	s := invented(t)
	sheet := s.sheet("2026-11-25")
	for _, c := range []struct {
		table  day.Table
		column string
		want   string
	}{
		{day.Closures, "pressure_psi", "3000 3000 3000 2500 3000 3000 3000 3000"},
		{day.Closures, "grams", " 1.25      "},
		{day.Closures, "held_s", "60 60  60 60  60 "},
		{day.Flasks, "pin_mm", "0.4  "},
		{day.Flasks, "trials", "2 2 2"},
		{day.Flasks, "backed_off_turn", "0.25 0.25 "},
	} {
		if got := strings.Join(cells(t, sheet, c.table, c.column), " "); got != c.want {
			t.Errorf("%s, %s: %q, want %q", c.table, c.column, got, c.want)
		}
	}
	for i, seq := range cells(t, sheet, day.Records, "seq") {
		if seq != strconv.Itoa(i+1) {
			t.Errorf("row %d has the number %q", i+1, seq)
		}
	}
	taken := 0
	for _, v := range cells(t, sheet, day.Records, "taken_back") {
		if v == "yes" {
			taken++
		}
	}
	if taken != 1 {
		t.Errorf("%d records are marked taken back, want 1", taken)
	}
	var was []string
	for _, v := range cells(t, sheet, day.Records, "was") {
		if v != "" {
			was = append(was, v)
		}
	}
	if got, err := json.Marshal(was); err != nil || string(got) != `["case: 4471","powder_lot: P-2031","pressure_psi: 3000","grade: heavy"]` {
		t.Errorf("the values first written are told as %s", got)
	}
}
