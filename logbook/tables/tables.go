// Package tables writes what other programs read: tables as RFC 4180 has them, and JSON.
package tables

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strings"
)

// Write writes rows, the names of the columns first, lines ended by CR LF.
func Write(w io.Writer, rows [][]string) error {
	c := csv.NewWriter(w)
	c.UseCRLF = true
	return c.WriteAll(rows)
}

// Reader reads the rows of a table, RFC 4180: a semicolon between the columns where the first line has more of them than
// of commas, and as many columns in a row as there are.
func Reader(text string) *csv.Reader {
	in := csv.NewReader(strings.NewReader(text))
	in.FieldsPerRecord, in.TrimLeadingSpace = -1, true
	if head, _, _ := strings.Cut(text, "\n"); strings.Count(head, ";") > strings.Count(head, ",") {
		in.Comma = ';'
	}
	return in
}

// JSON writes a value, indented, with <, > and & as they are.
func JSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	if err := enc.Encode(v); err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	return nil
}

// Defuse makes a text harmless for a spreadsheet. The characters that begin a
// formula, plain or full width, and those that could hide one behind a line break
// are the ones that the OWASP page "CSV Injection" lists (from memory).
func Defuse(text string) string {
	const begins = "=+-@\t\r\n＝＋－＠"
	if t := strings.TrimLeft(text, " \u00a0"); t != "" && strings.ContainsRune(begins, []rune(t)[0]) {
		return "'" + text
	}
	return text
}
