package main

import (
	"bufio"
	"fmt"
	"io"
	"os"

	"github.com/charmbracelet/x/term"
	"github.com/spf13/cobra"

	"flaskside/logbook/day"
	"flaskside/logbook/disk"
	"flaskside/logbook/tables"
)

// shape is how an answer is written, and where; each command has the flags of it that it takes.
type shape struct {
	json, csv     bool
	format, paper string
	out           string // a file; "" for the standard output
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

// sheetFlags adds --format, --paper and --out; formats says which there are.
func (s *shape) sheetFlags(c *cobra.Command, formats string) {
	c.Flags().StringVar(&s.format, "format", "text", formats)
	c.Flags().StringVar(&s.paper, "paper", "a4", "paper of the pdf format: a4 or letter")
	s.outFlag(c)
}

// one refuses two shapes at once.
func (s shape) one() error {
	if s.csv && s.json {
		return wrongUsage("give --csv or --json, not both")
	}
	return nil
}

// onPaper reads the size of the paper, which the PDF alone has.
func (s shape) onPaper(c *cobra.Command) (day.PaperSize, error) {
	size, err := day.ParseSize(s.paper)
	if err != nil {
		return "", wrongUsage("--paper: %w", err)
	}
	if c.Flags().Changed("paper") && s.format != "pdf" {
		return "", wrongUsage("--paper goes with --format pdf")
	}
	return size, nil
}

// offScreen refuses what cannot be shown where it would go to a terminal.
func (s shape) offScreen(c *cobra.Command, what string) error {
	if f, ok := c.OutOrStdout().(*os.File); ok && s.out == "" && term.IsTerminal(f.Fd()) {
		return wrongUsage("%s cannot be shown on a screen: name a file with --out", what)
	}
	return nil
}

// write writes an answer: v as JSON, or by v where it writes itself; as CSV; or to be read. csv
// may be nil where there is no such flag.
func (s shape) write(c *cobra.Command, v any, text, csv func(io.Writer) error) error {
	return s.deliver(c, func(w io.Writer) error {
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

// deliver writes what has a shape of its own.
func (s shape) deliver(c *cobra.Command, write func(io.Writer) error) error {
	return deliver(s.out, c.OutOrStdout(), write)
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
