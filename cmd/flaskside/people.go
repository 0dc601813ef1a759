package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"flaskside/logbook/action"
	"flaskside/logbook/disk"
	"flaskside/logbook/door"
	"flaskside/logbook/keep"
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
			line, err := keyLine(args[1], c.InOrStdin())
			if err != nil {
				return err
			}
			k, err := people.Add(people.Path(o.book), line, args[0], role, away)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(c.OutOrStdout(), "%s may come with %s, role %s%s\n", k.By, k.Fingerprint, k.Role, awayWords(k.Away))
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

// keyLine reads the first line of a file that is a key.
func keyLine(file string, in io.Reader) (string, error) {
	if file != "-" {
		f, err := disk.OpenSource(file)
		if err != nil {
			return "", fmt.Errorf("the public key: %w", err)
		}
		defer func() { _ = f.Close() }() // only read from
		in = f
	}
	b, err := io.ReadAll(io.LimitReader(in, 64<<10))
	if err != nil {
		return "", fmt.Errorf("the public key: %w", err)
	}
	if strings.Contains(string(b), "PRIVATE KEY") {
		return "", errors.New("that is a private key, which nobody else must see: give the file that ends in .pub")
	}
	return string(b), nil
}

func awayWords(away bool) string {
	if away {
		return ", away from the bench"
	}
	return ""
}

// listPeople prints keys and screens.
func listPeople(out io.Writer, o *options) error {
	file := people.Path(o.book)
	keys, bad, err := people.Load(file)
	if err != nil {
		return err
	}
	var b strings.Builder
	fmt.Fprintf(&b, "keys, in %s\n", words.Clean(file))
	for _, k := range keys {
		fmt.Fprintf(&b, "  %-8s %-4s  %s  %s%s\n", k.By, k.Role, k.Fingerprint, k.Comment, awayWords(k.Away))
	}
	if len(keys) == 0 {
		b.WriteString("  none: nobody can come through SSH\n")
	}
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
			fmt.Fprintf(&b, "  %s\n", words.Clean(screenWords(s)))
		}
		if len(at) == 0 {
			b.WriteString("  none\n")
		}
	}
	_, err = io.WriteString(out, b.String())
	return err
}

// screenWords say who is on a screen.
func screenWords(s keep.Present) string {
	if s.Person.From == keep.NoScreen {
		return fmt.Sprintf("keeper         since %s, without a screen", s.Since.Format("Mon 02 Jan 15:04"))
	}
	if s.Person.From == keep.OnWall {
		return fmt.Sprintf("board          since %s, on the wall, to look at only", s.Since.Format("Mon 02 Jan 15:04"))
	}
	by := s.Person.By
	if by == "" {
		by = "?"
	}
	said := fmt.Sprintf("%-8s %-4s  since %s", by, s.Person.Role, s.Since.Format("Mon 02 Jan 15:04"))
	switch p := s.Person; {
	case p.Own:
		said += ", at the program that has the logbook"
	case p.Key != "":
		said += ", from " + p.From + " with " + p.Key
	case p.From != "":
		said += ", at " + p.From
	}
	return said + awayWords(s.Person.Away)
}
