// Package day makes the exports of a day: a sheet to read, to print and to sign,
// tables for a spreadsheet, a calendar of what is to come, and the records
// themselves. It is pure: what it writes comes from the bench it is given ([Gather]
// reads that from a logbook) and from nothing else.
//
// A day reaches from local midnight to local midnight ([Bounds]). What began
// before it or goes on after it is shown with what is known at the day's end.
// Corrected values are shown as corrected, with a mark; the values first written
// stand beside them.
package day

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/timers"
	"flaskside/timers/each"
)

// Sheet is a day, ready to be written in any of its forms.
type Sheet struct {
	Bench  *bench.Bench
	Head   string    // end of the chain when the sheet was made, number and short hash
	From   time.Time // first instant; its location is the zone of the sheet
	Until  time.Time // first instant after the day
	Made   time.Time // when it is made; zero where that is nobody's concern
	Case   string    // the record of this case, over all of its days, instead of a day; "" for a day
	Spoilt []string  // what is not as it was written, a line each; the sheet begins with it
	Known  time.Time // only what was done up to this instant, corrections included, is told; zero: everything
}

// JSONL writes the exact bytes of every record, one a line: those of the day and
// the earlier ones they rest on. Read into an empty book they give the same bench.
func (s Sheet) JSONL(w io.Writer) error {
	for _, it := range s.Bench.Items {
		if _, err := w.Write(append(bytes.Clone(it.Raw), '\n')); err != nil {
			return fmt.Errorf("write record %d: %w", it.Seq, err)
		}
	}
	return nil
}

// has tells whether an instant lies in the day.
func (s Sheet) has(t time.Time) bool { return !t.Before(s.From) && t.Before(s.Until) }

// hasAny tells whether any of the moments lies in the day.
func (s Sheet) hasAny(ts ...*timers.Stamp) bool {
	return slices.ContainsFunc(ts, func(t *timers.Stamp) bool { return t != nil && s.has(t.At) })
}

// items lists the records of the day in order of the book.
func (s Sheet) items() []bench.Item {
	return each.That(s.Bench.Items, func(it bench.Item) bool { return s.has(it.Stamp.At) || s.signs(it) })
}

// flasks lists the flasks that stood on the bench at some time of the day.
func (s Sheet) flasks() []*bench.Flask {
	var out []*bench.Flask
	for _, no := range bench.Sorted(s.Bench.Flasks) {
		f := s.Bench.Flasks[no]
		if f.Base != "" && f.Opened.At.Before(s.Until) && (f.Ended == nil || !f.Ended.At.Before(s.From)) {
			out = append(out, f)
		}
	}
	return out
}

// mixes lists the mixes made in the day, and those its flasks were packed with.
func (s Sheet) mixes() []*bench.Mix {
	used := map[int]bool{}
	for _, f := range s.flasks() {
		used[f.Mix] = true
	}
	var out []*bench.Mix
	for _, no := range bench.Sorted(s.Bench.Mixes) {
		if m := s.Bench.Mixes[no]; used[no] || s.has(m.Made.At) {
			out = append(out, m)
		}
	}
	return out
}

// loads lists the loads of the day's flasks.
func (s Sheet) loads() []*bench.Load {
	used := map[int]bool{}
	for _, f := range s.flasks() {
		used[f.Load] = true
	}
	var out []*bench.Load
	for _, no := range bench.Sorted(s.Bench.Loads) {
		if used[no] {
			out = append(out, s.Bench.Loads[no])
		}
	}
	return out
}

// corrected tells whether a record of a kind about a subject counts with other
// values than were first written: in one of the fields named, or in any.
func (s Sheet) corrected(about action.Subject, kind action.Kind, names ...string) bool {
	for _, it := range s.Bench.Items {
		if it.TakenBack != nil || !it.Corrected() || it.Body.Kind() != kind || !slices.Contains(it.Body.Subjects(), about) {
			continue
		}
		for _, cs := range s.changes(it) {
			for _, c := range cs {
				if len(names) == 0 || slices.Contains(names, c.name) {
					return true
				}
			}
		}
	}
	return false
}

// star is the mark of a corrected value.
func star(corrected bool) string {
	if corrected {
		return "*"
	}
	return ""
}

// mark is the star where a record of a kind about a flask was corrected.
func (s Sheet) mark(f *bench.Flask, kind action.Kind, names ...string) string {
	return star(s.corrected(flaskNo(f), kind, names...))
}

func flaskNo(f *bench.Flask) action.Subject { return action.Subject{Class: 'f', No: f.No} }

// field is one value of a body by its name.
type field struct{ name, value string }

// fields takes a body apart in the order of its type, as words.
func fields(body action.Body) []field {
	b, err := json.Marshal(body)
	if err != nil {
		return nil // bodies come out of the book, where they stood as JSON
	}
	d := json.NewDecoder(bytes.NewReader(b))
	if _, err := d.Token(); err != nil {
		return nil
	}
	var out []field
	for d.More() {
		name, err := d.Token()
		var v json.RawMessage
		if err != nil || d.Decode(&v) != nil {
			return out
		}
		out = append(out, field{fmt.Sprint(name), valueWords(v)})
	}
	return out
}

// valueWords writes a JSON value without quotes and brackets, where it is simple.
func valueWords(v json.RawMessage) string {
	var list []json.RawMessage
	var text string
	switch {
	case json.Unmarshal(v, &text) == nil:
		return text
	case json.Unmarshal(v, &list) == nil:
		ws := make([]string, len(list))
		for i, e := range list {
			ws[i] = valueWords(e)
		}
		return strings.Join(ws, ", ")
	}
	return string(v)
}

// change is a value that a correction replaced.
type change struct{ name, was, is string }

// changes lists what each correction of a record replaced, in order.
func (s Sheet) changes(it bench.Item) [][]change {
	out := make([][]change, 0, len(it.Corrections))
	body, at := it.Action.Body, it.Record.Stamp.At
	for _, c := range it.Corrections {
		amended, then, err := action.Amend(body, at, c.Action.Body.(action.Correct).Set)
		if err != nil {
			out = append(out, nil) // the fold did not let it count either
			continue
		}
		var cs []change
		if !then.Equal(at) {
			cs = append(cs, change{"at", s.stamp(at), s.stamp(then)})
		}
		was := map[string]string{}
		for _, f := range fields(body) {
			was[f.name] = f.value
		}
		for _, f := range fields(amended) {
			if was[f.name] != f.value {
				cs = append(cs, change{f.name, was[f.name], f.value})
			}
			delete(was, f.name)
		}
		for _, f := range fields(body) { // in order: what the correction emptied
			if v, left := was[f.name]; left {
				cs = append(cs, change{f.name, v, ""})
			}
		}
		out, body, at = append(out, cs), amended, then
	}
	return out
}

// stamp writes an instant in full, in the zone of the sheet.
func (s Sheet) stamp(t time.Time) string { return t.In(s.From.Location()).Format(time.RFC3339) }

// took gives the time between two moments; ok is false where the second has not
// come, or belongs to an earlier round.
func took(from timers.Stamp, to *timers.Stamp) (p timers.Passed, ok bool) {
	if to == nil {
		return timers.Passed{}, false
	}
	sameBoot := from.BootID != "" && from.BootID == to.BootID
	if sameBoot && to.Boot < from.Boot || !sameBoot && to.At.Before(from.At) {
		return timers.Passed{}, false
	}
	now := timers.Now{Reading: timers.Reading{Wall: to.At, Boot: to.Boot, BootID: to.BootID}}
	return now.Since(from), true
}

// Formats are those that [Sheet.Write] writes.
var Formats = []string{"text", "html", "pdf", "csv", "xlsx", "ics", "jsonl"}

// Write writes the sheet in one of the formats: csv one table of it, pdf on paper of a size.
func (s Sheet) Write(w io.Writer, format string, table Table, paper PaperSize) error {
	switch format {
	case "csv":
		return s.CSV(w, table)
	case "jsonl":
		return s.JSONL(w)
	case "html":
		return s.HTML(w)
	case "pdf":
		return s.PDF(w, paper)
	case "xlsx":
		return s.XLSX(w)
	case "ics":
		return s.ICS(w)
	}
	return s.Text(w)
}
