package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"flaskside/logbook/action"
	"flaskside/logbook/door"
	"flaskside/logbook/people"
	"flaskside/logbook/words"
)

// peopleCommand tells who may come through SSH, and who is there.
func peopleCommand(o *options) *cobra.Command {
	c := &cobra.Command{
		Use:   "people",
		Short: "Who may reach the bench over SSH, and who is on which screen",
		Long: "Lists the keys by which people reach the bench over SSH (flaskside keep --ssh), and who is on which\n" +
			"screen of the running bench. The keys are in a file beside the logbook, one line each:\n" +
			`  flaskside="by=KT,role=work" and then the line of the public key` + "\n" +
			"Roles: see may only look; work may do all of the bench; lead may also change settings, withdraw\n" +
			"lots, sign off, and undo or correct what others recorded.",
		Example: "flaskside people\nflaskside people add KT ~/.ssh/id_ed25519.pub\nflaskside people remove KT",
		Args:    noArgs,
		RunE:    func(c *cobra.Command, _ []string) error { return listPeople(c.OutOrStdout(), o) },
	}
	role, away := action.RoleWork, false
	add := &cobra.Command{
		Use:   "add INITIALS FILE",
		Short: "Let somebody in with the public key in a file, - for standard input",
		Args: cobra.MatchAll(func(_ *cobra.Command, args []string) error {
			return wantArgs(args, 2, "initials and the file of a public key")
		}),
		RunE: func(c *cobra.Command, args []string) error {
			line, err := people.ReadKey(args[1], c.InOrStdin())
			if err != nil {
				return err
			}
			k, err := people.Add(people.Path(o.book), line, args[0], role, away)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintln(c.OutOrStdout(), k.Words())
			return err
		},
	}
	add.Flags().StringVar(&role, "role", role, "see, work or lead")
	add.Flags().BoolVar(&away, "away", false, "not at the bench: alarms are seen, and not acknowledged or snoozed")
	remove := &cobra.Command{
		Use:   "remove INITIALS|FINGERPRINT",
		Short: "Take out somebody's keys, or one key; their screens end within seconds",
		Args:  cobra.MatchAll(func(_ *cobra.Command, args []string) error { return wantArgs(args, 1, "initials or a fingerprint") }),
		RunE: func(c *cobra.Command, args []string) error {
			gone, err := people.Remove(people.Path(o.book), args[0])
			if err != nil {
				return err
			}
			for _, k := range gone {
				if _, err := fmt.Fprintf(c.OutOrStdout(), "%s comes no more with %s\n", k.By, k.Fingerprint); err != nil {
					return err
				}
			}
			return nil
		},
	}
	c.AddCommand(add, remove)
	return c
}

// wantArgs refuses other than n arguments as wrong usage.
func wantArgs(args []string, n int, what string) error {
	if len(args) != n {
		return wrongUsage("this takes %s", what)
	}
	return nil
}

// listPeople prints keys and screens.
func listPeople(out io.Writer, o *options) error {
	file := people.Path(o.book)
	keys, bad, err := people.Load(file)
	if err != nil {
		return err
	}
	var b strings.Builder
	people.Text(&b, file, keys)
	for _, l := range bad {
		fmt.Fprintf(os.Stderr, "flaskside: %s; the line is skipped\n", words.Clean(l.Error()))
	}
	client, err := door.Dial(o.book)
	switch {
	case errors.Is(err, door.ErrNobody):
		b.WriteString("screens\n  none: no bench is running on this logbook\n")
	case err != nil:
		return err
	default:
		at, err := client.Screens()
		if err != nil {
			return err
		}
		b.WriteString("screens\n")
		for _, s := range at {
			fmt.Fprintf(&b, "  %s\n", s.Words())
		}
		if len(at) == 0 {
			b.WriteString("  none\n")
		}
	}
	_, err = io.WriteString(out, b.String())
	return err
}
