package main

import (
	"bufio"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"flaskside/logbook/disk"
	"flaskside/logbook/tables"
)

// shape is how an answer is written, and where.
type shape struct {
	json, csv bool
	out       string // a file; "" for the standard output
}

func (s *shape) jsonFlag(c *cobra.Command) {
	c.Flags().BoolVar(&s.json, "json", false, "as JSON, for other programs")
}

func (s *shape) csvFlag(c *cobra.Command, what string) {
	c.Flags().BoolVar(&s.csv, "csv", false, what)
}

func (s *shape) outFlag(c *cobra.Command) {
	c.Flags().StringVar(&s.out, "out", "", "write to this file instead of the standard output")
}

// write writes an answer: v as JSON, or by v where it writes itself; as CSV; or to be read. csv
// may be nil where there is no such flag.
func (s shape) write(c *cobra.Command, v any, text, csv func(io.Writer) error) error {
	return deliver(s.out, c.OutOrStdout(), func(w io.Writer) error {
		itself, ok := v.(func(io.Writer) error)
		switch {
		case s.json && ok:
			return itself(w)
		case s.json:
			return tables.JSON(w, v)
		case s.csv:
			return csv(w)
		}
		return text(w)
	})
}

// deliver writes to a file, or to the standard output where none is named.
func deliver(path string, stdout io.Writer, write func(io.Writer) error) error {
	if path != "" {
		return disk.Save(path, write)
	}
	w := bufio.NewWriter(stdout)
	if err := write(w); err != nil {
		return err
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("write to the standard output: %w", err)
	}
	return nil
}
