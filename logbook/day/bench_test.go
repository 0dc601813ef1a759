package day_test

import (
	"io"
	"testing"

	"flaskside/logbook/day"
)

// BenchmarkSheet gathers the invented day from its book and writes it.
func BenchmarkSheet(b *testing.B) {
	s := invented(b)
	sheet := s.sheet("2026-11-25")
	b.Run("gather", func(b *testing.B) {
		for b.Loop() {
			if _, err := day.Gather(s.book, sheet.From, sheet.Until); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("text", func(b *testing.B) {
		for b.Loop() {
			if err := sheet.Text(io.Discard); err != nil {
				b.Fatal(err)
			}
		}
	})
	for name, write := range map[string]func(io.Writer) error{"html": sheet.HTML, "pdf": pdf(day.A4, sheet), "xlsx": sheet.XLSX, "ics": sheet.ICS} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if err := write(io.Discard); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	b.Run("records", func(b *testing.B) {
		for b.Loop() {
			if err := sheet.CSV(io.Discard, day.Records); err != nil {
				b.Fatal(err)
			}
		}
	})
}
