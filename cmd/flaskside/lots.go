package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/lot/register"
	"flaskside/timers/sysclock"
)

// theLot reads what take-in and withdraw are given: the material, and the code or the
// two codes of one label.
func theLot(c *cobra.Command, args []string) error {
	switch {
	case len(args) == 0 || !slices.Contains(action.Materials, action.Material(args[0])):
		return wrongUsage("%s takes the material first: %s", c.CommandPath(), action.Words(action.Materials))
	case len(args) == 1:
		return wrongUsage("%s %s takes the lot next, as scanned or typed, or - to read a line", c.CommandPath(), args[0])
	case len(args) > 3:
		return wrongUsage("%s takes the one or two codes of a label, not %d", c.CommandPath(), len(args)-1)
	}
	return nil
}

func lotInCommand(o *options) *cobra.Command {
	var in action.LotIn
	var expiry, why string
	c := &cobra.Command{
		Use:   "take-in MATERIAL SCAN [SCAN]",
		Short: "Take a lot into the register: powder, liquid, separator, sheet or stone",
		Long: "Once lots of a material are taken in, the bench asks about a mix or a coat with a lot that was not\n" +
			"taken in, was withdrawn, or is past its last day of use. Nothing is blocked; the answer is recorded.",
		Example: "flaskside lot take-in powder '(17)281231(10)ABCD1234'\nflaskside lot take-in stone G-77 --expiry 2027-04",
		Args:    theLot,
		RunE: func(c *cobra.Command, args []string) error {
			in.Material = action.Material(args[0])
			now := sysclock.New().Read().Wall
			in, err := register.TakenIn(in, args[1:], c.InOrStdin(), expiry, now.Year())
			if err != nil {
				return err
			}
			return o.take(c, in, why, func(b action.Body) string { return register.Told(b, now) })
		},
	}
	c.Flags().StringVar(&in.Product, "product", "", "the product in your own words")
	c.Flags().StringVar(&expiry, "expiry", "", "last day of use, where the code does not say it: 2027-04-30, or a month")
	whyFlag(c, &why)
	return c
}

func lotOutCommand(o *options) *cobra.Command {
	var reason, why string
	c := &cobra.Command{
		Use:     "withdraw MATERIAL SCAN [SCAN]",
		Short:   "Withdraw a lot from use: used up, recalled, expired or spoilt",
		Long:    "Withdraws a lot. flaskside lot --which LOT lists the flasks that had it.",
		Example: "flaskside lot withdraw powder P-2031 --reason recalled --by KT",
		Args:    theLot,
		RunE: func(c *cobra.Command, args []string) error {
			if !slices.Contains(action.Withdrawals, reason) {
				return wrongUsage("--reason is one of %s", strings.Join(action.Withdrawals, ", "))
			}
			now := sysclock.New().Read().Wall
			out, err := register.Withdrawn(action.LotOut{Material: action.Material(args[0]), Reason: reason}, args[1:], c.InOrStdin(), now.Year())
			if err != nil {
				return err
			}
			return o.take(c, out, why, func(b action.Body) string { return register.Told(b, now) })
		},
	}
	c.Flags().StringVar(&reason, "reason", "", "one of used up, recalled, expired or spoilt")
	whyFlag(c, &why)
	return c
}

func lotRegisterCommand(o *options) *cobra.Command {
	var f shape
	c := &cobra.Command{
		Use:   "register",
		Short: "List the lots in the house and those withdrawn",
		Long: fmt.Sprintf("Lists the register: for each material the last %d lots in use and the last %d withdrawn. Older ones\n"+
			"stay in the logbook, and flaskside lot --which finds their flasks.", bench.LotsHeld, bench.LotsWithdrawn),
		Args: noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := f.one(); err != nil {
				return err
			}
			at := o.at()
			st, err := at.State()
			if err != nil {
				return err
			}
			lines := register.Of(st.Bench, at.Clock.Read().Wall.Local())
			return f.write(c, lines, func(w io.Writer) error { return register.Text(w, lines) }, func(w io.Writer) error { return register.CSV(w, lines) })
		},
	}
	f.jsonFlag(c)
	f.csvFlag(c, "the register as CSV, for a spreadsheet")
	return c
}
