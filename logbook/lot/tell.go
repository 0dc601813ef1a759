package lot

import (
	"fmt"
	"io"

	"flaskside/logbook/tables"
)

// Tell writes what was read.
func Tell(w io.Writer, l Lot, today Date, asJSON bool) error {
	expired := l.Expired(today)
	if expired {
		l.Warnings = append(l.Warnings, fmt.Sprintf("expired: the last day of use was %s", l.Expiry))
	}
	if asJSON {
		return tables.JSON(w, struct {
			Lot
			Expired bool   `json:"expired"`
			Entry   string `json:"entry,omitempty"`
		}{l, expired, l.Entry()})
	}
	product := l.GTIN
	if l.Scheme == HIBC {
		product = l.LIC + " " + l.Product
	}
	scheme := map[Scheme]string{GS1: "GS1", HIBC: "HIBC", Text: "as typed"}[l.Scheme]
	lines := [][2]string{{"read as", scheme}, {"product", product}, {"unit", l.Unit}, {"lot", l.Lot}, {"serial", l.Serial}, {"made", l.Made.String()}, {"expiry", l.Expiry.String()}}
	for _, e := range l.Others {
		lines = append(lines, [2]string{"(" + e.ID + ")", e.Value})
	}
	for _, warning := range l.Warnings {
		lines = append(lines, [2]string{"warning", warning})
	}
	for _, line := range lines {
		if line[1] == "" || line[1] == " " {
			continue
		}
		if _, err := fmt.Fprintf(w, "%-8s %s\n", line[0], line[1]); err != nil {
			return fmt.Errorf("write the lot: %w", err)
		}
	}
	return nil
}
