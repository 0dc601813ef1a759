package day

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"time"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"
)

// XLSX writes the tables as a workbook, a sheet each: numbers as numbers, instants
// as dates and times, what is yes or no as such, all else as text that runs as no
// formula. The first row, the names of the columns, stays in sight. A workbook
// knows no zones: times are on the clock of the sheet's zone, and a column of the
// records tells its offset from UTC.
func (s Sheet) XLSX(w io.Writer) (err error) {
	f := excelize.NewFile()
	defer func() {
		if cerr := f.Close(); err == nil && cerr != nil {
			err = fmt.Errorf("close workbook: %w", cerr)
		}
	}()
	head, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	if err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	layout := "yyyy-mm-dd hh:mm:ss"
	when, err := f.NewStyle(&excelize.Style{CustomNumFmt: &layout})
	if err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	for i, t := range Tables {
		if i == 0 {
			err = f.SetSheetName(f.GetSheetName(0), string(t))
		} else {
			_, err = f.NewSheet(string(t))
		}
		if err == nil {
			err = s.workSheet(f, t, head, when)
		}
		if err != nil {
			return fmt.Errorf("write table %s: %w", t, err)
		}
	}
	made := s.Made
	if made.IsZero() {
		made = s.end()
	}
	stamp := made.UTC().Format(time.RFC3339)
	if err := f.SetDocProps(&excelize.DocProperties{Title: "Day sheet, " + s.date(), Created: stamp, Modified: stamp, Creator: "flaskside",
		Description: fmt.Sprintf("Times on the clock of %s. Logbook head when it was made: %s", s.zone(), s.Head)}); err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	if err := f.Write(w); err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	return nil
}

// workSheet fills the sheet of a table.
func (s Sheet) workSheet(f *excelize.File, t Table, head, when int) error {
	rows, err := s.rows(t, func(text string) string { return text })
	if err != nil {
		return err
	}
	names := rows[0]
	offsets := -1
	if t == Records {
		offsets = slices.Index(names, "at")
		names = append(slices.Clone(names), "at_offset")
	}
	w, err := f.NewStreamWriter(string(t))
	if err != nil {
		return err
	}
	for i, n := range names {
		wide := utf8.RuneCountInString(n)
		for _, r := range rows[1:] {
			if i < len(r) {
				wide = max(wide, min(utf8.RuneCountInString(r[i]), 50))
			}
		}
		if err := w.SetColWidth(i+1, i+1, float64(wide+2)); err != nil {
			return err
		}
	}
	if err := w.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	cells := make([]any, len(names))
	for i, n := range names {
		cells[i] = excelize.Cell{StyleID: head, Value: n}
	}
	if err := w.SetRow("A1", cells); err != nil {
		return err
	}
	for n, r := range rows[1:] {
		row := make([]any, 0, len(names))
		for i, v := range r {
			row = append(row, s.typed(names[i], v, when))
		}
		if offsets >= 0 {
			offset := ""
			if at, err := time.Parse(time.RFC3339, r[offsets]); err == nil {
				offset = at.Format("-07:00")
			}
			row = append(row, offset)
		}
		if err := w.SetRow("A"+strconv.Itoa(n+2), row); err != nil {
			return err
		}
	}
	return w.Flush()
}

// Columns whose values are not text.
func isTime(name string) bool {
	return slices.Contains([]string{"at", "written", "in_at", "pressure_at", "open_at", "judged_at", "opened_at", "sheet_out_at", "metal_to_metal_at", "clamped_at",
		"in_bath_at", "out_of_bath_at", "in_water_at", "deflasked_at", "ended_at", "rose_at", "answered_at"}, name)
}

func isNumber(name string) bool {
	return slices.Contains([]string{"seq", "flask", "mix", "load", "trial", "press", "pressure_psi", "hold_aim_s", "held_s", "grams", "place", "trials", "bath", "off", "backed_off_turn", "pin_mm", "priority", "after_s"}, name)
}

func isYes(name string) bool {
	return slices.Contains([]string{"corrected", "taken_back", "dough_added"}, name)
}

// typed gives a value the type of its column; one that has another form, such as a
// list of flasks, stays text, and none is an empty cell.
func (s Sheet) typed(name, v string, when int) any {
	switch {
	case v == "":
		return nil
	case isTime(name):
		if at, err := time.Parse(time.RFC3339, v); err == nil {
			at = at.In(s.From.Location())
			y, m, d := at.Date()
			return excelize.Cell{StyleID: when, Value: time.Date(y, m, d, at.Hour(), at.Minute(), at.Second(), 0, time.UTC)}
		}
	case isNumber(name):
		if n, err := strconv.ParseFloat(v, 64); err == nil {
			return n
		}
	case isYes(name):
		if v == "yes" {
			return true
		}
	}
	return v
}
