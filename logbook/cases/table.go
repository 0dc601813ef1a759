package cases

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"flaskside/logbook/action"
	"flaskside/logbook/tables"
	"flaskside/logbook/words"
)

// columns names the columns of a table of cases; those from rush on may be missing.
var columns = []string{"case", "base", "size", "due", "rush", "resin", "shade", "remake_of", "remark", "route"}

// told are the columns that [CSV] adds; a list that was written is read again without them.
var told = []string{"late", "state", "flask", "remakes", "in", "in_by"}

// needed is how many of the columns every table has.
const needed = 4

// Parsed is one row of a table: a case, or what is wrong with the row.
type Parsed struct {
	No   int // of the line in the file, from 1
	Case action.CaseIn
	Err  error
}

// maxRows bounds a table: more is another file by mistake.
const maxRows = 5000

// ReadCSV reads a table of cases: RFC 4180, the first line names the columns in any order,
// comma or semicolon between them. A row that cannot be read is named and the rest read; an
// error means that the file is no such table.
func ReadCSV(r io.Reader, now time.Time) ([]Parsed, error) {
	text, err := tableText(r)
	if err != nil {
		return nil, err
	}
	in := tables.Reader(text)
	names, err := in.Read()
	var syntax *csv.ParseError
	if errors.As(err, &syntax) {
		return nil, fmt.Errorf("its first line is not CSV: %w", syntax.Err)
	}
	if err != nil {
		return nil, fmt.Errorf("the table is empty: its first line names the columns %s", strings.Join(columns, ","))
	}
	at, err := places(names)
	if err != nil {
		return nil, err
	}
	var out []Parsed
	seen := map[string]int{}
	for {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if errors.As(err, &syntax) {
			return append(out, Parsed{No: syntax.StartLine, Err: fmt.Errorf("this is not CSV: %w; what follows was not read", syntax.Err)}), nil
		}
		if err != nil {
			return nil, err
		}
		no, _ := in.FieldPos(0)
		if len(row) == 1 && strings.TrimSpace(row[0]) == "" {
			continue
		}
		if len(out) >= maxRows {
			return nil, fmt.Errorf("the table has more than %d rows: is it the right file?", maxRows)
		}
		l := Parsed{No: no}
		if len(row) > len(names) {
			l.Err = fmt.Errorf("it has %d fields, the first line names %d", len(row), len(names))
		} else {
			l.Case, l.Err = caseOf(row, at, now)
		}
		if key := l.Case.Case + "\x00" + l.Case.Base; l.Err == nil {
			if first := seen[key]; first > 0 {
				l.Err = fmt.Errorf("case %s %s is on line %d already", l.Case.Case, l.Case.Base, first)
			} else {
				seen[key] = no
			}
		}
		out = append(out, l)
	}
}

// maxTable is the longest table in bytes; a row of the longest case takes some hundreds.
const maxTable = 8 << 20

// tableText reads a table whole, or not at all. Lines may end as on any machine.
func tableText(r io.Reader) (string, error) {
	raw, err := io.ReadAll(io.LimitReader(r, maxTable+1))
	switch {
	case err != nil:
		return "", err
	case len(raw) > maxTable:
		return "", fmt.Errorf("it has more than %d MiB, which no table of cases has: is it the right file?", maxTable>>20)
	case !utf8.Valid(raw):
		return "", errors.New("the text is not UTF-8: save it as CSV in UTF-8")
	}
	text := strings.TrimPrefix(string(raw), "\ufeff")
	if !strings.Contains(text, "\n") {
		text = strings.ReplaceAll(text, "\r", "\n")
	}
	return text, nil
}

// shown is what somebody wrote as an error may repeat it: short, on one line.
func shown(s string) string {
	return strconv.Quote(words.Clip(strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return '·'
		}
		return r
	}, strings.TrimSpace(s)), 40))
}

// places finds the columns by the names in the first line.
func places(names []string) (map[string]int, error) {
	at := map[string]int{}
	for i, n := range names {
		n = strings.ToLower(strings.TrimSpace(n))
		if slices.Contains(told, n) {
			continue
		}
		if !slices.Contains(columns, n) {
			return nil, fmt.Errorf("the table has a column %s: the columns are %s", shown(n), strings.Join(columns, ", "))
		}
		if _, twice := at[n]; twice {
			return nil, fmt.Errorf("the table has the column %q twice", n)
		}
		at[n] = i
	}
	for _, n := range columns[:needed] {
		if _, ok := at[n]; !ok {
			return nil, fmt.Errorf("the table lacks the column %q: it needs %s", n, strings.Join(columns[:needed], ", "))
		}
	}
	return at, nil
}

func caseOf(row []string, at map[string]int, now time.Time) (action.CaseIn, error) {
	get := func(name string) string {
		if i, ok := at[name]; ok && i < len(row) {
			return strings.TrimSpace(row[i])
		}
		return ""
	}
	c := action.CaseIn{Case: get("case"), Base: strings.ToLower(get("base")), Size: action.Size(strings.ToLower(get("size"))), Resin: get("resin"), Shade: get("shade"),
		RemakeOf: get("remake_of"), Remark: get("remark"), Route: get("route")}
	switch rush := strings.ToLower(get("rush")); rush {
	case "yes", "y", "1", "true", "x", "rush":
		c.Rush = true
	case "", "no", "n", "0", "false":
	default:
		return c, fmt.Errorf("rush is yes or no, not %s", shown(rush))
	}
	due, err := ParseDue(get("due"), now)
	if err != nil {
		return c, err
	}
	c.Due = due.Format(time.RFC3339)
	return c, c.Valid()
}
