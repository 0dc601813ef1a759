package main

import (
	"io"
	"runtime/debug"
	"runtime/metrics"
	"time"

	"github.com/spf13/cobra"

	"flaskside/logbook/action"
	"flaskside/logbook/intake"
)

// memoryOfLong is what the program should keep to while it records a long input, bytes. A
// bench that needs more gets it, and a quarter beside: else nearly all time goes into looking for what is free.
const memoryOfLong = 80 << 20

// keepToMemory looks after that until it is stopped.
func keepToMemory() (stop func()) {
	look := func() {
		live := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
		metrics.Read(live)
		debug.SetMemoryLimit(max(memoryOfLong, int64(live[0].Value.Uint64())*5/4+memoryOfLong/8))
	}
	look()
	debug.SetGCPercent(50)
	every := time.NewTicker(200 * time.Millisecond)
	done := make(chan struct{})
	go func() {
		for {
			select {
			case <-done:
				return
			case <-every.C:
				look()
			}
		}
	}()
	return func() { every.Stop(); close(done) }
}

// recordCommand appends actions given as JSON Lines.
func recordCommand(o *options) *cobra.Command {
	var keepGoing, schema bool
	c := &cobra.Command{
		Use:   "record",
		Short: "Record actions given as JSON Lines on the standard input",
		Long: "Reads one action a line, each with its own time, and records all of them or none; the first bad line\n" +
			"is named with the reason. An action whose id is in the logbook already is not recorded again. A long\n" +
			"input is checked whole and then recorded in parts: after a power cut give it again, and it carries on.",
		Example: "flaskside record < actions.jsonl\nflaskside record --keep-going < actions.jsonl\nflaskside record --schema",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if schema {
				return deliver("", c.OutOrStdout(), func(w io.Writer) error { _, err := w.Write(action.Schema()); return err })
			}
			in, err := intake.Keep(c.InOrStdin())
			if err != nil {
				return err
			}
			defer in.Close()
			if keepGoing {
				return in.RecordGood(o.at(), o.by, c.OutOrStdout(), c.ErrOrStderr())
			}
			if in.Long() {
				defer keepToMemory()()
			}
			return in.Record(o.at(), o.by, c.OutOrStdout())
		},
	}
	c.Flags().BoolVar(&keepGoing, "keep-going", false, "record the good lines and list the bad ones")
	c.Flags().BoolVar(&schema, "schema", false, "print the JSON Schema of an action")
	return c
}
