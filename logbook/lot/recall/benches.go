package recall

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"flaskside/logbook/lot"
	"flaskside/logbook/tables"
	"flaskside/timers/each"
)

// AtBench is the list of one of several benches.
type AtBench struct {
	Bench string   `json:"bench"`
	Book  string   `json:"book"`            // identity of its logbook
	Lacks []string `json:"lacks,omitempty"` // records that could not be looked at
	Err   string   `json:"err,omitempty"`   // why the bench could not be looked at
	List
}

// TextOf writes the lists of several benches, those first that had the lot; a bench that could
// not be looked at is never passed over.
func TextOf(w io.Writer, asked lot.Lot, all []AtBench) error {
	var had, none, unread []string
	flasks := 0
	var body strings.Builder
	for _, b := range all {
		seen := map[int]bool{}
		for _, u := range b.Uses {
			if u.Flask > 0 {
				seen[u.Flask] = true
			}
		}
		switch flasks += len(seen); {
		case b.Err != "":
			unread = append(unread, b.Bench+": "+b.Err)
			continue
		case len(b.Uses) == 0 && len(b.Once) == 0:
			none = append(none, b.Bench)
		default:
			had = append(had, b.Bench)
			fmt.Fprintf(&body, "\n%s\n", b.Bench)
			if err := b.Text(&body); err != nil {
				return err
			}
		}
		if n := len(b.Lacks); n > 0 {
			unread = append(unread, fmt.Sprintf("%s: the mirror lacks records of it: %s", b.Bench, strings.Join(b.Lacks[:min(n, 3)], "; ")))
		}
	}
	count := func(n int, one, many string) string {
		if n == 1 {
			return "1 " + one
		}
		return fmt.Sprintf("%d %s", n, many)
	}
	var out strings.Builder
	fmt.Fprintf(&out, "lot %s: %s at %s of %d\n", asked.Name(), count(flasks, "flask", "flasks"), count(len(had), "bench", "benches"), len(all))
	if len(unread) > 0 {
		out.WriteString("NOT ALL WAS LOOKED AT:\n  " + strings.Join(unread, "\n  ") + "\n")
	}
	if len(none) > 0 {
		fmt.Fprintf(&out, "nothing at: %s\n", strings.Join(none, ", "))
	}
	_, err := io.WriteString(w, out.String()+body.String())
	return err
}

// CSVOf writes the lists of several benches as one table, as [List.CSV] does, the bench first.
func CSVOf(w io.Writer, all []AtBench) error {
	rows := [][]string{append([]string{"bench", "book"}, header...)}
	for _, b := range all {
		for _, row := range b.rows() {
			rows = append(rows, append([]string{tables.Defuse(b.Bench), b.Book}, row...))
		}
	}
	if err := tables.Write(w, rows); err != nil {
		return fmt.Errorf("write the recall list: %w", err)
	}
	return nil
}

// JSONOf writes the lists of several benches for other programs.
func JSONOf(w io.Writer, asked lot.Lot, all []AtBench) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	err := enc.Encode(struct {
		Asked   lot.Lot   `json:"asked"`
		Benches []AtBench `json:"benches"`
	}{asked, slices.Clip(all)})
	if err != nil {
		return fmt.Errorf("write the recall list: %w", err)
	}
	return nil
}

// Unread tells how many benches could not be looked at, or not whole.
func Unread(all []AtBench) int {
	return each.Count(all, func(b AtBench) bool { return b.Err != "" || len(b.Lacks) > 0 })
}

// header names the columns of a table.
var header = []string{"flask", "case", "base", "day", "at", "what", "lot", "match", "mix", "outcome", "ended_at", "corrected", "record"}
