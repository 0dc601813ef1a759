package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"flaskside/logbook/asked"
	"flaskside/logbook/reach"
)

// options are the flags that every command knows.
type options struct {
	book string
	by   string

	onAlarm string // of the bench alone
	notify  string
	probes  []string
	board   string
	plain   bool // of the bench and the demo
}

// wrongUsage makes the error of a command said wrongly: exit code 2.
func wrongUsage(format string, a ...any) error { return asked.Wrongly(format, a...) }

// interrupted is the exit code of work that was ended before it had anything to show: as a shell has it for SIGINT.
const interrupted = 130

// exitCode is an error that wants an exit code of its own.
type exitCode struct {
	error
	code int
}

// Unwrap gives the error within.
func (e exitCode) Unwrap() error { return e.error }

// rootCommand puts the program together: without a command it opens the bench.
func rootCommand() *cobra.Command {
	o := &options{}
	root := &cobra.Command{
		Use:   "flaskside",
		Short: "Timers, trial closures and logbook of a denture flasking bench",
		Long: "flaskside runs every timer of a denture flasking bench at once, logs each trial closure,\n" +
			"and keeps an append-only logbook. Without a command it opens the bench.",
		Example: "flaskside\nflaskside demo\nflaskside day --format text",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return wrongUsage("there is no command %q: see flaskside --help", args[0])
			}
			return nil
		},
		SilenceUsage: true, SilenceErrors: true,
		PersistentPreRunE: func(c *cobra.Command, _ []string) error {
			if err := noneEmpty(c); err != nil {
				return err
			}
			if len([]rune(o.by)) > 8 {
				return wrongUsage("--by takes initials, at most 8 characters")
			}
			if o.book == "" {
				path, err := reach.Usual()
				if err != nil {
					return err
				}
				o.book = path
			}
			return nil
		},
		RunE: func(c *cobra.Command, _ []string) error { return runBench(c.Context(), o) },
	}
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error { return asked.Wrong{Err: flagWords(c, err)} })
	root.PersistentFlags().StringVar(&o.book, "book", "", "the logbook (default: in your data folder)")
	plainFlag(root, o)
	root.Flags().StringVar(&o.notify, "notify", "auto", "how the terminal shows an alarm, besides the bell: auto, 9, 777, 99 (the control sequence) or none")
	besideFlags(root, o)
	root.PersistentFlags().StringVar(&o.by, "by", "", "initials of who is at the bench")
	for _, g := range []struct {
		title    string
		commands []*cobra.Command
	}{
		{"at the bench", []*cobra.Command{demoCommand(o), statusCommand(o), trendCommand(o), pressCommand(o), labelCommand(o), keepCommand(o), boardCommand(o), peopleCommand(o)}},
		{"the day and its cases", []*cobra.Command{caseCommand(o), planCommand(o), dayCommand(o), reviewCommand(o), routesCommand(o)}},
		{"the house", []*cobra.Command{settingsCommand(o), lotCommand(o), equipmentCommand(o), calibrateCommand(o), benchesCommand()}},
		{"to work out", []*cobra.Command{mixCommand(o), doughCommand(o), cureCommand(o)}},
		{"the logbook", []*cobra.Command{recordCommand(o), verifyCommand(o), backupCommand(o), restoreCommand(o), salvageCommand(o), mirrorCommand(o), sealCommand(o), doctorCommand(o), apartCommand(o)}},
	} {
		root.AddGroup(&cobra.Group{ID: g.title, Title: g.title})
		for _, c := range g.commands {
			c.GroupID = g.title
			root.AddCommand(c)
		}
	}
	root.AddCommand(versionCommand())
	return root
}

// flagWords says what is wrong with a flag, and what it takes.
func flagWords(c *cobra.Command, err error) error {
	var value *pflag.InvalidValueError
	var missing *pflag.ValueRequiredError
	var unknown *pflag.NotExistError
	switch {
	case errors.As(err, &value):
		takes, ok := map[string]string{"int": "a whole number", "uint64": "a whole number from 0 on", "float64": "a number", "bool": "true or false", "duration": "a length of time, as in 15m"}[value.GetFlag().Value.Type()]
		if !ok {
			return err
		}
		return fmt.Errorf("--%s takes %s, not %q", value.GetFlag().Name, takes, value.GetValue())
	case errors.As(err, &missing):
		return fmt.Errorf("--%s takes a value after it", strings.TrimLeft(missing.GetSpecifiedName(), "-"))
	case errors.As(err, &unknown):
		return fmt.Errorf("%s has no flag %s: see %s --help", c.CommandPath(), dashed(unknown.GetSpecifiedName()), c.CommandPath())
	}
	return err
}

// noneEmpty refuses flags that were given with nothing in them, as by a variable of a script that is not set: passed over
// they would open the usual logbook, or begin a bench without the door that was asked for.
func noneEmpty(c *cobra.Command) error {
	for name, takes := range map[string]string{"book": "the file of a logbook", "on-alarm": "a command",
		"ssh": fmt.Sprintf("an address and a port, as in 127.0.0.1:%d", sshPort), "board": fmt.Sprintf("an address and a port, as in 127.0.0.1:%d", boardPort)} {
		if f := c.Flags().Lookup(name); f != nil && f.Changed && f.Value.String() == "" {
			return wrongUsage("--%s takes %s, and nothing stands there: give one, or leave --%[1]s out", name, takes)
		}
	}
	return nil
}

// dashed is a flag as it is typed.
func dashed(name string) string {
	if len(name) == 1 {
		return "-" + name
	}
	return "--" + name
}

// plainFlag adds the flag of the commands that show a bench.
func plainFlag(c *cobra.Command, o *options) {
	c.Flags().BoolVar(&o.plain, "plain", false, "the bench in ASCII, line by line as it changes, for screen readers")
}

// besideFlags adds the flags of the commands that have the book.
func besideFlags(c *cobra.Command, o *options) {
	c.Flags().StringVar(&o.onAlarm, "on-alarm", "", "a command to run when an alarm sounds; the words of the alarm are its last argument")
	c.Flags().StringArrayVar(&o.probes, "probe", nil, "follow a bath's temperature from FILE or FILE@BATH: lines of an RFC 3339 time and °C, a pipe of such lines, or a sensor under /sys; may be repeated")
	c.Flags().StringVar(&o.board, "board", "", "serve the wall board, which nobody can change anything on, at ADDRESS:PORT, as in 127.0.0.1:8020, to whoever knows its token (flaskside board)")
}

// noArgs refuses arguments as wrong usage.
func noArgs(c *cobra.Command, args []string) error {
	if len(args) > 0 {
		return wrongUsage("%s takes no arguments, not %q", c.CommandPath(), strings.Join(args, " "))
	}
	return nil
}
