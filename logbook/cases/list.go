package cases

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"flaskside/logbook/bench"
	"flaskside/logbook/tables"
	"flaskside/logbook/words"
)

// State says where a case on the list is, in a few words; place is that of its flask.
func State(k bench.Case, b *bench.Bench) string {
	f := b.Flasks[k.Flask]
	next, more := b.NextOfCase(k)
	_, routed := b.RouteOf(k)
	switch {
	case f == nil && more && k.Remakes > 0 && k.Running() == nil:
		return "to be remade, next: " + next.Called()
	case f == nil && more:
		if d := k.Running(); d != nil {
			return d.Called() + "; next: " + next.Called()
		}
		return "next: " + next.Called()
	case f == nil && routed && (len(k.Steps) > 0 || k.Made > 0):
		return "no further step"
	case f == nil && k.Remakes > 0:
		return "waits, to be remade"
	case f == nil:
		return "waits"
	case !f.AtWork():
		return string(f.Stage)
	}
	return b.StandsWords(f)
}

// Due says when a case is due, and that it is over.
func Due(k bench.Case, now time.Time) string {
	s := words.Instant(k.DueAt(), now)
	if k.DueAt().Before(now) {
		s += ", LATE"
	}
	return s
}

// pair gives the other base of a case that is on the list, or at work, with it; "" for none.
func pair(k bench.Case, b *bench.Bench) string {
	other := map[string]string{"upper": "lower", "lower": "upper"}[k.Base]
	if other == "" {
		return ""
	}
	if _, ok := b.CaseOnList(k.Case, other); ok {
		return other
	}
	return ""
}

// Text writes the list for the screen.
func Text(w io.Writer, b *bench.Bench, now time.Time) error {
	all := b.Cases()
	if len(all) == 0 {
		_, err := fmt.Fprintln(w, "no case waits: flaskside case in NUMBER takes one in")
		return err
	}
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "due\tcase\tbase\tsize\tresin\tstate\t")
	for _, k := range all {
		var more []string
		if k.Rush {
			more = append(more, "RUSH")
		}
		if p := pair(k, b); p != "" {
			more = append(more, "pair with the "+p)
		}
		if k.RemakeOf != "" {
			more = append(more, "remake of "+k.RemakeOf)
		}
		if k.Shade != "" {
			more = append(more, k.Shade)
		}
		if k.Remark != "" {
			more = append(more, k.Remark)
		}
		resin := k.Resin
		resin = cmp.Or(resin, "-")
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", Due(k, now), k.Case, k.Base, k.Size, resin, State(k, b), strings.Join(more, ", "))
	}
	return tw.Flush()
}

// row is a case as the tables give it.
type row struct {
	Case     string    `json:"case"`
	Base     string    `json:"base"`
	Size     string    `json:"size"`
	Due      time.Time `json:"due"`
	Late     bool      `json:"late"` // past its due time, and not done
	Rush     bool      `json:"rush"`
	Resin    string    `json:"resin,omitempty"`
	Shade    string    `json:"shade,omitempty"`
	RemakeOf string    `json:"remake_of,omitempty"`
	Remark   string    `json:"remark,omitempty"`
	Route    string    `json:"route,omitempty"`
	Next     string    `json:"next,omitempty"` // step of its route, by its name
	State    string    `json:"state"`
	Flask    int       `json:"flask,omitempty"`
	Remakes  int       `json:"remakes,omitempty"`
	In       time.Time `json:"in"`
	InBy     string    `json:"in_by,omitempty"`
}

func nextName(k bench.Case, b *bench.Bench) string {
	s, _ := b.NextOfCase(k)
	return s.Name
}

func rows(b *bench.Bench, now time.Time) []row {
	out := []row{}
	for _, k := range b.Cases() {
		out = append(out, row{k.Case, k.Base, string(k.Size), k.DueAt(), k.DueAt().Before(now), k.Rush, k.Resin, k.Shade, k.RemakeOf, k.Remark, k.Route, nextName(k, b), State(k, b), k.Flask, k.Remakes, k.In.At.In(now.Location()), k.InBy})
	}
	return out
}

// JSON writes the list for other programs.
func JSON(w io.Writer, b *bench.Bench, now time.Time) error {
	return tables.JSON(w, rows(b, now))
}

// CSV writes the list for a spreadsheet. [ReadCSV] reads it back.
func CSV(w io.Writer, b *bench.Bench, now time.Time) error {
	yes := map[bool]string{true: "yes"}
	out := [][]string{slices.Concat(columns, told)}
	for _, r := range rows(b, now) {
		flask := ""
		if r.Flask > 0 {
			flask = fmt.Sprint(r.Flask)
		}
		out = append(out, []string{tables.Defuse(r.Case), r.Base, r.Size, r.Due.Format(time.RFC3339), yes[r.Rush], tables.Defuse(r.Resin), tables.Defuse(r.Shade),
			tables.Defuse(r.RemakeOf), tables.Defuse(r.Remark), tables.Defuse(r.Route), yes[r.Late], r.State, flask, fmt.Sprint(r.Remakes), r.In.Format(time.RFC3339), tables.Defuse(r.InBy)})
	}
	return tables.Write(w, out)
}
