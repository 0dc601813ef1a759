package main

import (
	"bufio"
	"fmt"
	"io"

	"flaskside/logbook/disk"
)

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
