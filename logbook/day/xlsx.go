package day

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"time"
	"unicode/utf8"
)

// XLSX writes the tables as a workbook, a sheet each: numbers as numbers, instants
// as dates and times, what is yes or no as such, all else as text that runs as no
// formula. The first row, the names of the columns, stays in sight. A workbook
// knows no zones: times are on the clock of the sheet's zone, and a column of the
// records tells its offset from UTC.
func (s Sheet) XLSX(w io.Writer) error {
	made := s.Made
	if made.IsZero() {
		made = s.end()
	}
	b := workbook{title: "Day sheet, " + s.date(), made: made,
		about: fmt.Sprintf("Times on the clock of %s. Logbook head when it was made: %s", s.zone(), s.Head)}
	for _, t := range Tables {
		sheet, err := s.workSheet(t)
		if err != nil {
			return fmt.Errorf("write table %s: %w", t, err)
		}
		b.sheets = append(b.sheets, sheet)
	}
	if err := b.write(w); err != nil {
		return fmt.Errorf("write workbook: %w", err)
	}
	return nil
}

// workSheet is the sheet of a table.
func (s Sheet) workSheet(t Table) (workSheet, error) {
	rows, err := s.rows(t, func(text string) string { return text })
	if err != nil {
		return workSheet{}, err
	}
	sheet := workSheet{name: string(t), names: rows[0]}
	offsets := -1
	if t == Records {
		offsets = slices.Index(rows[0], "at")
		sheet.names = append(slices.Clone(rows[0]), "at_offset")
	}
	for i, n := range sheet.names {
		wide := utf8.RuneCountInString(n)
		for _, r := range rows[1:] {
			if i < len(r) {
				wide = max(wide, min(utf8.RuneCountInString(r[i]), 50))
			}
		}
		sheet.wide = append(sheet.wide, wide+2)
	}
	for _, r := range rows[1:] {
		row := make([]any, 0, len(sheet.names))
		for i, v := range r {
			row = append(row, s.typed(sheet.names[i], v))
		}
		if offsets >= 0 {
			offset := ""
			if at, err := time.Parse(time.RFC3339, r[offsets]); err == nil {
				offset = at.Format("-07:00")
			}
			row = append(row, offset)
		}
		sheet.rows = append(sheet.rows, row)
	}
	return sheet, nil
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
func (s Sheet) typed(name, v string) any {
	switch {
	case v == "":
		return nil
	case isTime(name):
		if at, err := time.Parse(time.RFC3339, v); err == nil {
			return at.In(s.From.Location())
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
