package main

import (
	"io"
	"strings"

	"github.com/spf13/cobra"

	"flaskside/logbook/action"
	"flaskside/logbook/cases"
	"flaskside/logbook/route"
	"flaskside/logbook/words"
	"flaskside/timers/each"
)

// routesCommand lists and prints the routes in force.
func routesCommand(o *options) *cobra.Command {
	var as shape
	asTOML := false
	c := &cobra.Command{
		Use:   "routes [NAME]",
		Short: "List the routes that a case can take, or print the steps of one",
		Long: "Without a name: the routes of this house. With one: its steps in their order, with their times, where\n" +
			"they are done, what is asked and what the values rest on. A step that is off is not asked.\n\n" +
			"A house changes a route in its settings, or writes one of its own: --toml prints a route as a settings\n" +
			"file takes it, for the routes of the program with what each value rests on. The makers' instructions\n" +
			"come first.",
		Example: "flaskside routes\nflaskside routes pot\nflaskside routes packed --toml",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) > 1 {
				return wrongUsage("%s takes one route, not %d", c.CommandPath(), len(args))
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			if as.json && asTOML {
				return wrongUsage("give --json or --toml, not both")
			}
			if asTOML && len(args) == 0 {
				return wrongUsage("--toml goes with the name of a route")
			}
			h, err := o.at().House()
			if err != nil {
				return err
			}
			all := h.RouteTables()
			if len(args) == 1 {
				r, ok := h.Route(args[0])
				if !ok {
					return wrongUsage("there is no route %q: there are %s", words.Clip(args[0], 60), routeNames(all))
				}
				all = []route.Route{r}
			}
			text := func(w io.Writer) error { return route.List(w, all) }
			if len(args) == 1 {
				text = func(w io.Writer) error { return all[0].Text(w, h.Units.Pressure, h.Units.Temperature) }
			}
			if asTOML {
				text = func(w io.Writer) error { return h.WriteRoute(w, all[0]) }
			}
			return as.write(c, all, text, nil)
		},
	}
	as.jsonFlag(c)
	c.Flags().BoolVar(&asTOML, "toml", false, "as a settings file takes it")
	return c
}

func routeNames(all []route.Route) string {
	out := each.Of(all, func(r route.Route) string { return r.Name })
	return strings.Join(out, ", ")
}

// caseStepCommand records a step of a case.
func caseStepCommand(o *options) *cobra.Command {
	var base, judged, event, why string
	var values []string
	c := &cobra.Command{
		Use:   "step NUMBER [STEP]",
		Short: "Record a step of a case on its route",
		Long: "Records the step, or without one the step that comes next. Its times and what it asks for are those\n" +
			"of the route; give a value that differs with --value. A step is called by its name in the route:\n" +
			"flaskside routes NAME lists them. Record with --event that the pressure a step stands under was\n" +
			"lost, or is back.",
		Example: "flaskside case step 4417 boil-out\nflaskside case step 4417 flush --judged clean\nflaskside case step 5001 pot --value water_c=\"40 C\" --value gauge=\"2 bar\"\nflaskside case step 6001 cooling --event \"pressure lost\"",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) < 1 || len(args) > 2 {
				return wrongUsage("%s takes the number of the case and the name of a step, not %d words", c.CommandPath(), len(args))
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			number := strings.TrimSpace(args[0])
			b, err := theBase(o, number, base)
			if err != nil {
				return err
			}
			st, err := o.at().State()
			if err != nil {
				return err
			}
			a, err := cases.Step(st.Bench, action.CaseStep{Case: number, Base: b, Step: append(args, "")[1], Judged: judged, Event: event}, len(args) == 1, values)
			if err != nil {
				return err
			}
			return recordCase(o, c, a, why)
		},
	}
	baseFlag(c, &base)
	c.Flags().StringVar(&judged, "judged", "", "of a check: what was found, in the words of the table")
	c.Flags().StringVar(&event, "event", "", "what happened while the step ran: \"pressure lost\" or \"pressure back\"")
	c.Flags().StringArrayVar(&values, "value", nil, "a value that the step asks for, as in water_c=\"45 C\"; may be repeated")
	whyFlag(c, &why)
	return c
}
