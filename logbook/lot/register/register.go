// Package register is the lots in the house and those withdrawn, as text, for a spreadsheet and for
// other programs.
package register

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"text/tabwriter"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/tables"
	"flaskside/logbook/words"
)

// Listed is a lot of the register.
type Listed struct {
	Material string     `json:"material"`
	Lot      string     `json:"lot"`   // as people say it
	Entry    string     `json:"entry"` // as recorded
	Product  string     `json:"product,omitempty"`
	Expiry   string     `json:"expiry,omitempty"`
	Expired  bool       `json:"expired"`
	In       *time.Time `json:"in,omitempty"`
	InBy     string     `json:"in_by,omitempty"`
	Out      *time.Time `json:"out,omitempty"`
	OutBy    string     `json:"out_by,omitempty"`
	Reason   string     `json:"reason,omitempty"`
}

// CSV writes the register for a spreadsheet: RFC 4180 with a header line, times
// in RFC 3339, nothing that would run as a formula.
func CSV(w io.Writer, lines []Listed) error {
	stamp := func(t *time.Time) string {
		if t == nil {
			return ""
		}
		return t.Local().Format(time.RFC3339)
	}
	rows := [][]string{{"material", "lot", "expiry", "expired", "product", "in", "in_by", "out", "out_by", "reason", "entry"}}
	for _, l := range lines {
		expired := ""
		if l.Expired {
			expired = "yes"
		}
		rows = append(rows, []string{l.Material, tables.Defuse(l.Lot), l.Expiry, expired, tables.Defuse(l.Product), stamp(l.In), tables.Defuse(l.InBy),
			stamp(l.Out), tables.Defuse(l.OutBy), l.Reason, tables.Defuse(l.Entry)})
	}
	if err := tables.Write(w, rows); err != nil {
		return fmt.Errorf("write the register of lots: %w", err)
	}
	return nil
}

// Text writes the register to be read.
func Text(w io.Writer, lines []Listed) error {
	if len(lines) == 0 {
		_, err := fmt.Fprintln(w, "no lots booked in yet: flaskside lot take-in MATERIAL LOT")
		return err
	}
	date := func(t *time.Time) string {
		if t == nil {
			return "-"
		}
		return t.Local().Format(time.DateOnly)
	}
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "material\tlot\tuse until\ttaken in\tstate\tproduct")
	for _, l := range lines {
		state := "in use"
		switch {
		case l.Out != nil:
			state = fmt.Sprintf("withdrawn %s %s: %s", date(l.Out), l.OutBy, l.Reason)
		case l.Expired:
			state = "EXPIRED"
		}
		until := l.Expiry
		until = cmp.Or(until, "-")
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s %s\t%s\t%s\n", l.Material, words.Clean(l.Lot), until, date(l.In), l.InBy, state, l.Product)
	}
	return tw.Flush()
}

// Of lists the lots of a bench by material: those in use, then those withdrawn.
func Of(b *bench.Bench, now time.Time) []Listed {
	lines := []Listed{}
	for _, material := range action.Materials {
		held, withdrawn := b.Lots(material)
		for _, k := range slices.Concat(held, withdrawn) {
			l := Listed{Material: string(material), Lot: k.Name(), Entry: k.Lot, Product: k.Product, Expiry: k.Expiry.String(), Expired: k.Expired(now), InBy: k.InBy, OutBy: k.OutBy, Reason: k.Reason}
			if k.In != nil {
				l.In = &k.In.At
			}
			if k.Out != nil {
				l.Out = &k.Out.At
			}
			lines = append(lines, l)
		}
	}
	return lines
}
