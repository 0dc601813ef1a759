package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/words"
)

// toStdout is what --export stands for without a file.
const toStdout = "-"

// settingsCommand shows, exports and imports the house settings.
func settingsCommand(o *options) *cobra.Command {
	var from, to string
	var yes bool
	c := &cobra.Command{
		Use:   "settings",
		Short: "Show the house settings, write them to a file, or read them from one",
		Long: "Prints the house settings in force as TOML, writes them to a file, or records those of a file.\n" +
			"What a file leaves out stays as it is; lists merge by name, and [remove] names what is to go from\n" +
			"them. Numbers may be written with their unit, as '207 bar', '165 F' or '9 h'. A number outside its\n" +
			"usual range is refused unless --yes says that it is meant. Flasks at work keep the values they were\n" +
			"begun with.",
		Example: "flaskside settings\nflaskside settings --export house.toml\nflaskside settings --import house.toml --by KT\nflaskside settings --import house.toml --yes --by KT",
		Args: func(_ *cobra.Command, args []string) error {
			switch {
			case len(args) > 1, len(args) == 1 && to != toStdout:
				return wrongUsage("settings takes --import FILE or --export FILE, not %q", args)
			case len(args) == 1:
				to = args[0] // --export FILE, written apart
			}
			if from != "" && to != "" {
				return wrongUsage("--import and --export do not go together")
			}
			if yes && from == "" {
				return wrongUsage("--yes goes with --import")
			}
			return nil
		},
		RunE: func(c *cobra.Command, _ []string) error {
			if from != "" {
				return takeSettings(from, yes, o, c.OutOrStdout())
			}
			h, err := o.at().House()
			if err != nil {
				return err
			}
			if to == toStdout {
				to = ""
			}
			return deliver(to, c.OutOrStdout(), h.WriteTOML)
		},
	}
	c.Flags().StringVar(&from, "import", "", "record the settings of this TOML file")
	c.Flags().BoolVar(&yes, "yes", false, "record numbers outside their usual range: they are meant")
	c.Flags().StringVar(&to, "export", "", "write the settings to this file (default: standard output)")
	c.Flags().Lookup("export").NoOptDefVal = toStdout
	return c
}

// takeSettings records the settings of a file, if they are others than those in
// force.
func takeSettings(from string, yes bool, o *options, out io.Writer) error {
	was, err := o.at().House()
	if err != nil {
		return err
	}
	f, err := os.Open(from)
	if err != nil {
		return fmt.Errorf("read settings: %w", err)
	}
	is, err := house.ReadTOML(f, was)
	_ = f.Close() // only read from
	if err != nil {
		return fmt.Errorf("%s: %w", filepath.Base(from), err)
	}
	why := ""
	if yes {
		why = words.SaidYes
	}
	head, err := o.change(was, is, house.FromFile(filepath.Base(from)), why)
	if ask, ok := errors.AsType[*bench.NeedsReason](err); ok {
		return fmt.Errorf("%s: %s: check it; if it is meant, say --yes", filepath.Base(from), ask.What())
	}
	if err != nil {
		return err
	}
	if head == nil {
		_, err := fmt.Fprintln(out, "these settings are in force already: nothing recorded")
		return err
	}
	for _, s := range house.ChangeWords(house.Changes(was, is)) {
		if _, err := fmt.Fprintln(out, s); err != nil {
			return fmt.Errorf("list the changes: %w", err)
		}
	}
	_, err = fmt.Fprintf(out, "settings recorded; head %s\n", head)
	return err
}

// change records settings, where they are others than those in force; no head where they are the
// same. why is the reason given where one is asked for, "" for none.
func (o *options) change(was, is house.House, from, why string) (*logbook.Head, error) {
	if house.Same(was, is) {
		return nil, nil
	}
	r, err := o.recordOne(action.Settings{House: is, From: from}, "")
	var ask *bench.NeedsReason
	if errors.As(err, &ask) && why != "" {
		r, err = o.recordOne(action.Settings{House: is, From: from}, why)
	}
	if err != nil {
		return nil, err
	}
	return &logbook.Head{Seq: r.Seq, Hash: r.Hash()}, nil
}
