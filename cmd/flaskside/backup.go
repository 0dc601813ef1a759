package main

import (
	"errors"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/check"
	"flaskside/logbook/door"
	"flaskside/logbook/mirror/upkeep"
	"flaskside/logbook/words"
	"flaskside/timers/sysclock"
)

// oneFile asks for the name of one file.
func oneFile(c *cobra.Command, args []string) error {
	if len(args) != 1 {
		return wrongUsage("%s takes one file, not %d", c.CommandPath(), len(args))
	}
	return nil
}

// backupCommand copies the logbook, also while a bench runs on it.
func backupCommand(o *options) *cobra.Command {
	return &cobra.Command{
		Use:   "backup FILE",
		Short: "Copy the logbook to a file, also while the bench runs",
		Long: "Writes a copy beside FILE, syncs it, looks through it as verify does, and only then gives it\n" +
			"its name. An older copy of the same logbook stays until then. Where the journal beside the logbook\n" +
			"holds records that the logbook does not, the copy is made all the same, says so, and ends with 3.",
		Example: "flaskside backup /media/stick/2026-11-25.db",
		Args:    oneFile,
		RunE: func(c *cobra.Command, args []string) error {
			beside, jerr := check.JournalFiles(o.book) // before the copy is made, so that they cannot be ahead
			snapshot, done, err := o.at().Snapshot()
			if err != nil {
				return check.Damaged(err)
			}
			defer done()
			var outside []check.Fault
			rep, err := logbook.Backup(o.book, args[0], snapshot, func(path string) (check.Report, error) {
				rep, err := apartly(c.Context())(path, check.Verifying{Journals: beside, Beside: o.book})
				outside = rep.Outside()
				rep.Faults = slices.DeleteFunc(rep.Faults, func(f check.Fault) bool { return f.Kind == check.FaultJournal || f.Kind == check.FaultFork })
				return rep, err
			})
			if err != nil {
				return check.Damaged(err)
			}
			_, err = fmt.Fprintf(c.OutOrStdout(), "%s: %s, head %s, %d bytes, checked, no fault\n", args[0], words.Count(int(rep.Records), "record", "records"), rep.Head, rep.Bytes)
			switch {
			case err != nil:
			case len(outside) > 0:
				err = check.Unsoundly("the backup is as the logbook is, but records are known that neither holds: %s", outside[0])
			case jerr != nil:
				err = check.Unsoundly("the backup is as the logbook is; the journal beside it could not be looked through: %w", jerr)
			}
			return err
		},
	}
}

// restoreCommand puts a backup in the place of the logbook.
func restoreCommand(o *options) *cobra.Command {
	var discard bool
	var q upkeep.Wanted
	c := &cobra.Command{
		Use:   "restore FILE",
		Short: "Put a backup in the place of the logbook, or make it anew from a mirror",
		Long: "Looks through the backup first, and refuses if the logbook, or the journal beside it, holds\n" +
			"records that the backup lacks. The logbook it replaces is kept beside it under another name.\n" +
			"With --from the logbook is made from the records of a mirror alone, each proven by its hash, and\n" +
			"looked through. Do not go on with one logbook in two places: the mirror refuses the second.",
		Example: "flaskside restore /media/stick/2026-11-25.db\nflaskside restore --from /media/stick/mirror --bench 'bench 1'",
		Args: func(c *cobra.Command, args []string) error {
			changed := c.Flags().Changed
			switch {
			case q.From == "" && (changed("bench") || changed("generation") || changed("records")):
				return wrongUsage("--bench, --generation and --records go with --from PLACE")
			case q.From == "":
				return oneFile(c, args)
			case len(args) > 0:
				return wrongUsage("--from PLACE takes no file beside it, not %q", args[0])
			case changed("generation") && q.Generation < 1:
				return wrongUsage("--generation takes a number from 1 on")
			case q.Records != "" && discard:
				return wrongUsage("--records replaces nothing, so that nothing can be discarded")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			if client, err := door.Dial(o.book); err == nil {
				who, err := client.Who()
				if err != nil {
					return err
				}
				return fmt.Errorf("a bench is running on this logbook (process %d, since %s): leave it first", who.PID, who.Since.Format("02 Jan 15:04"))
			}
			if q.From != "" {
				return q.Back(c.Context(), sysclock.New(), c.OutOrStdout(), func(made string) error { return restore(c, o, made, discard) })
			}
			return restore(c, o, args[0], discard)
		},
	}
	c.Flags().BoolVar(&discard, "discard-newer", false, "give up the records that the backup lacks (they stay in the logbook that is kept, and a record says so)")
	c.Flags().StringVar(&q.From, "from", "", "make it from the mirror at this place")
	c.Flags().StringVar(&q.Bench, "bench", "", "of this bench, by its name in the mirror or the beginning of its logbook's identity")
	c.Flags().IntVar(&q.Generation, "generation", 0, "of this generation (default: the newest)")
	c.Flags().StringVar(&q.Records, "records", "", "only write the records to this file as JSON Lines, also where the mirror lacks some")
	return c
}

func restore(c *cobra.Command, o *options, backup string, discard bool) error {
	r, err := logbook.Restore(backup, o.book, sysclock.New().Read().Wall, discard, o.by, checking(c.Context()))
	var newer *logbook.Newer
	switch {
	case errors.As(err, &newer):
		return fmt.Errorf("%w: --discard-newer gives them up", err)
	case err != nil:
		return check.Damaged(err)
	}
	return r.Text(c.OutOrStdout())
}
