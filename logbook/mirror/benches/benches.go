// Package benches tells of all benches of a mirror, a line each: how each stood when it was
// last heard, worked out for now by its timers. It says nothing of what the mirror has not got.
package benches

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/shelf"
	"flaskside/logbook/status"
	"flaskside/logbook/tables"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// Glance is a line on one of the benches.
type Glance struct {
	Name       string    `json:"bench"`
	Book       string    `json:"book"` // identity of its logbook
	Generation int       `json:"generation"`
	Records    uint64    `json:"records"`             // the last one in the mirror
	Heard      time.Time `json:"heard,omitzero"`      // when that was brought, by the bench's clock
	Behind     uint64    `json:"behind"`              // how many it had beyond that when it was heard
	AtWork     int       `json:"at_work"`             // flasks on places and in baths
	Next       string    `json:"next,omitempty"`      // the timer that ends next, in words
	Due        time.Time `json:"due,omitzero"`        // and when
	Estimated  bool      `json:"estimated,omitempty"` // by the wall clock alone
	Alarms     int       `json:"alarms"`              // that wait for a hand
	Lacks      []string  `json:"lacks,omitempty"`     // what the mirror does not hold
	Err        string    `json:"err,omitempty"`       // why nothing can be said
}

// of tells of one bench at a moment.
func of(k shelf.Kept, now timers.Reading) Glance {
	h := k.Header
	b := Glance{Name: k.Name(), Book: k.Stream.Book, Generation: k.Stream.Generation, Records: h.Last, Heard: h.At, Behind: h.Head - min(h.Head, h.Last), Lacks: k.Lacks}
	if k.Err != nil {
		b.Err = k.Err.Error()
		return b
	}
	s := status.Of(k.Book.State(), status.AsOf(now.Wall, now)) // its boot clock is another machine's
	b.AtWork = len(s.Places) + len(s.Away)
	for _, w := range s.Windows {
		if w.Next != "" && (b.Due.IsZero() || w.Due.Before(b.Due)) {
			b.Next, b.Due, b.Estimated = words.Timer(w.What, w.Label, ""), w.Due, w.Estimated
		}
	}
	for _, a := range s.Alarms {
		if a.State == string(timers.Unacknowledged) || a.State == string(timers.Returned) {
			b.Alarms++
		}
	}
	return b
}

// Columns are the heads of [Rows].
var Columns = []string{"bench", "at work", "next due", "alarms", "last heard", "behind"}

// NoneHeard is said where the mirror has no bench.
const NoneHeard = "no bench has been heard yet"

// Rows tell each bench in words, under [Columns], as of a moment; beneath is what more must be
// said of some.
func Rows(all []Glance, now time.Time) (rows [][]string, beneath []string) {
	for _, b := range all {
		name := b.Name
		if twice(all, b) {
			name += " (" + mirror.Short(b.Book) + ")"
		}
		heard, behind := "never", "-"
		if !b.Heard.IsZero() {
			heard = words.Instant(b.Heard, now)
		}
		if b.Behind > 0 {
			behind = fmt.Sprint(b.Behind)
		}
		if b.Err != "" {
			rows = append(rows, []string{name, "?", "?", "?", heard, "?"})
			beneath = append(beneath, name+": NOT READ: "+b.Err)
			continue
		}
		next := "-"
		if b.Next != "" {
			next = words.Instant(b.Due, now) + " " + b.Next
		}
		rows = append(rows, []string{name, fmt.Sprint(b.AtWork), next, fmt.Sprint(b.Alarms), heard, behind})
		if n := len(b.Lacks); n > 0 {
			beneath = append(beneath, fmt.Sprintf("%s: the mirror lacks records, so that this may not be all: %s", name, b.Lacks[0]))
		}
	}
	return rows, beneath
}

// Text writes a table for people, as of a moment.
func Text(w io.Writer, all []Glance, now time.Time) error {
	var out strings.Builder
	fmt.Fprintf(&out, "%s, as the mirror knows them\n\n", now.Format("Mon 2 Jan 2006 15:04"))
	t := tabwriter.NewWriter(&out, 0, 0, 2, ' ', 0)
	rows, beneath := Rows(all, now)
	for _, r := range append([][]string{Columns}, rows...) {
		fmt.Fprintln(t, strings.Join(r, "\t"))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if len(all) == 0 {
		out.WriteString(NoneHeard + "\n")
	}
	if len(beneath) > 0 {
		out.WriteString("\n" + strings.Join(beneath, "\n") + "\n")
	}
	_, err := io.WriteString(w, out.String())
	return err
}

func twice(all []Glance, b Glance) bool {
	n := 0
	for _, o := range all {
		if o.Name == b.Name {
			n++
		}
	}
	return n > 1
}

// JSON writes them for other programs.
func JSON(w io.Writer, all []Glance, now time.Time) error {
	return tables.JSON(w, struct {
		At      time.Time `json:"at"`
		Benches []Glance  `json:"benches"`
	}{now, all})
}

// Unread tells how many of them could not be read, or not whole.
func Unread(all []Glance) (n int) {
	for _, b := range all {
		if b.Err != "" || len(b.Lacks) > 0 {
			n++
		}
	}
	return n
}
