package dayplan

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"flaskside/logbook/cases"
	"flaskside/logbook/tables"
	"flaskside/logbook/words"
	"flaskside/timers/each"
	"flaskside/timers/plan"
)

// Entry is one base to be made, as it was told.
type Entry struct {
	Case  string // number of the house, with the base behind it where one was told: "4417", "4417 upper"
	Size  plan.Size
	Resin string    // resin and shade as the house calls them; cases of the same share a mix
	Due   time.Time // zero for a flask whose case was never taken in
	Rush  bool
	Work  *work       // how far it is, where a flask is at work for it; nil for one that waits
	From  time.Time   // its mould is ready then, or the work on it can go on; zero for at once
	Prep  []plan.Prep // work on its mould before its separator
}

// maxFile is the largest file of cases read, in bytes.
const maxFile = 256 << 10

const (
	mostName  = 24
	mostResin = 40
)

var bases = []string{"upper", "lower", "partial", "reline"}

// parseDue reads when a case is due: "17:00" or "today 17:00", "tomorrow 12:00", "Fri 12:00" for the next Friday,
// "2026-11-27 12:00", or an instant of RFC 3339. Hours are those of now's place.
func parseDue(s string, now time.Time) (time.Time, error) {
	t, err := cases.ParseDue(s, now)
	if err != nil {
		return t, fmt.Errorf("due %q: give it as 17:00, tomorrow 12:00, Fri 12:00, %s 12:00 or an instant of RFC 3339", words.Clip(s, 40), now.Format(time.DateOnly))
	}
	return t.In(now.Location()), nil
}

// parseCase reads a case told in one line, as in "4417 medium resin A due 17:00 rush" or "4417 upper medium resin A due
// tomorrow 12:00".
func parseCase(s string, now time.Time) (Entry, error) {
	const want = `as in "4417 medium resin A due 17:00 rush"`
	f := strings.Fields(s)
	due := slices.Index(f, "due")
	if len(f) < 4 || due < 2 {
		return Entry{}, fmt.Errorf("case %q: give number, size, resin and due, %s", words.Clip(s, 60), want)
	}
	row := map[string]string{"case": f[0]}
	rest := f[1:due]
	if slices.Contains(bases, rest[0]) {
		row["base"], rest = rest[0], rest[1:]
	}
	if len(rest) > 0 {
		row["size"], row["resin"] = rest[0], strings.Join(rest[1:], " ")
	}
	when := f[due+1:]
	if n := len(when); n > 0 && when[n-1] == "rush" {
		row["rush"], when = "yes", when[:n-1]
	}
	row["due"] = strings.Join(when, " ")
	e, err := entryOf(row, now)
	if err != nil {
		return Entry{}, fmt.Errorf("case %q: %w", words.Clip(s, 60), err)
	}
	return e, nil
}

// entryOf reads one row of named columns.
func entryOf(row map[string]string, now time.Time) (e Entry, err error) {
	plain := func(what, s string, most int) error {
		if n := utf8.RuneCountInString(s); n < 1 || n > most || strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }) {
			return fmt.Errorf("%s %q: give 1 to %d plain characters", what, words.Clip(s, 40), most)
		}
		return nil
	}
	e.Case, e.Resin = strings.TrimSpace(row["case"]), strings.TrimSpace(row["resin"])
	if err := plain("case", e.Case, mostName); err != nil {
		return e, err
	}
	if b := strings.ToLower(strings.TrimSpace(row["base"])); b != "" {
		if !slices.Contains(bases, b) {
			return e, fmt.Errorf("base %q: it is one of %s", words.Clip(b, 40), strings.Join(bases, ", "))
		}
		e.Case += " " + b
	}
	size := strings.ToLower(strings.TrimSpace(row["size"]))
	ok := false
	if e.Size, ok = sizeOf(size); !ok {
		i := slices.Index([]string{"s", "m", "l"}, size)
		if i < 0 {
			return e, fmt.Errorf("size %q: it is small, medium or large", words.Clip(size, 40))
		}
		e.Size = plan.Size(i)
	}
	if err := plain("resin", e.Resin, mostResin); err != nil {
		return e, err
	}
	if e.Due, err = parseDue(row["due"], now); err != nil {
		return e, err
	}
	switch r := strings.ToLower(strings.TrimSpace(row["rush"])); r {
	case "", "no", "0", "false":
	case "rush", "yes", "1", "true", "x":
		e.Rush = true
	default:
		return e, fmt.Errorf("rush %q: it is yes, no or empty", words.Clip(r, 40))
	}
	return e, nil
}

// columns of a file of cases, in the order in which they stand where no line names them.
var columns = []string{"case", "size", "resin", "due", "rush"}

// readCases reads a file of cases: lines of case,size,resin,due[,rush] (RFC 4180; semicolons do as well). A first line
// may name the columns, in any order, and then base is one, too. Every bad line is named; then nothing is taken.
func readCases(r io.Reader, now time.Time) ([]Entry, error) {
	b, err := io.ReadAll(io.LimitReader(r, maxFile+1))
	if err != nil {
		return nil, fmt.Errorf("read cases: %w", err)
	}
	if len(b) > maxFile {
		return nil, fmt.Errorf("the file of cases is larger than %d bytes", maxFile)
	}
	if !utf8.Valid(b) {
		return nil, errors.New("the file of cases is not UTF-8 text")
	}
	d := tables.Reader(strings.TrimPrefix(string(b), "\ufeff"))
	d.Comment = '#'
	var out []Entry
	var bad []string
	names := columns
	for n := 0; ; n++ {
		f, err := d.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			if pe, ok := errors.AsType[*csv.ParseError](err); ok {
				return nil, fmt.Errorf("line %d: %w: write fields with commas in quotes", pe.Line, pe.Err)
			}
			return nil, fmt.Errorf("read cases: %w", err)
		}
		line, _ := d.FieldPos(0)
		if n == 0 && slices.ContainsFunc(f, func(x string) bool { return strings.EqualFold(strings.TrimSpace(x), "case") }) {
			if names, err = header(f); err != nil {
				return nil, fmt.Errorf("line %d: %w", line, err)
			}
			continue
		}
		e, err := rowOf(f, names, now)
		if err != nil {
			bad = append(bad, fmt.Sprintf("line %d: %s", line, err))
			continue
		}
		out = append(out, e)
		if len(out) > plan.MaxCases {
			return nil, fmt.Errorf("more than %d cases: plan one day at a time", plan.MaxCases)
		}
	}
	if len(bad) > 0 {
		const most = 5
		if more := len(bad) - most; more > 0 {
			bad = append(bad[:most], fmt.Sprintf("and %d more lines", more))
		}
		return nil, errors.New(strings.Join(bad, "; "))
	}
	return out, nil
}

func header(f []string) ([]string, error) {
	var names []string
	for _, x := range f {
		x = strings.ToLower(strings.TrimSpace(x))
		if x != "base" && !slices.Contains(columns, x) {
			return nil, fmt.Errorf("column %q: the columns are case, base, size, resin, due and rush", words.Clip(x, 40))
		}
		if slices.Contains(names, x) {
			return nil, fmt.Errorf("column %s appears twice", x)
		}
		names = append(names, x)
	}
	for _, x := range columns[:4] {
		if !slices.Contains(names, x) {
			return nil, fmt.Errorf("column %s is missing: the columns are case,size,resin,due and rush", x)
		}
	}
	return names, nil
}

func rowOf(f, names []string, now time.Time) (Entry, error) {
	if len(f) < min(4, len(names)) || len(f) > len(names) {
		return Entry{}, fmt.Errorf("%d fields: want %s", len(f), strings.Join(names, ","))
	}
	row := map[string]string{}
	for i, x := range f {
		row[names[i]] = x
	}
	return entryOf(row, now)
}

// twice names a case that is told twice, "" for none.
func twice(list []Entry) string {
	seen := map[string]bool{}
	for _, e := range list {
		if seen[e.Case] {
			return e.Case
		}
		seen[e.Case] = true
	}
	return ""
}

// byDue puts entries in the order in which they are due, rush first.
func byDue(a, b Entry) int {
	return cmp.Or(each.FalseFirst(a.Due.IsZero(), b.Due.IsZero()), a.Due.Compare(b.Due), each.FalseFirst(!a.Rush, !b.Rush), cmp.Compare(a.Case, b.Case))
}
