package main

import "github.com/spf13/cobra"

// statusCommand prints the places, windows and alarms.
func statusCommand(o *options) *cobra.Command {
	var as shape
	var at string
	c := &cobra.Command{
		Use:     "status",
		Short:   "Print places, timers and alarms",
		Example: "flaskside status\nflaskside status --json\nflaskside status --at 2026-11-25T14:07:32+01:00",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			s, err := o.at().Status(at)
			if err != nil {
				return err
			}
			return spoiltSheet(s.Spoilt, as.write(c, s.JSON, s.Text, nil))
		},
	}
	as.jsonFlag(c)
	atFlag(c, &at)
	return c
}
