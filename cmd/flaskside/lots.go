package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/intake"
	"flaskside/logbook/lot"
	"flaskside/logbook/lot/register"
	"flaskside/timers"
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

// code gives the entry of what was scanned; a code that cannot be read is an error, for
// at a command line there is time to look at the label.
func code(stdin io.Reader, scans []string, year int) (lot.Lot, error) {
	l, err := readLot(stdin, scans, year)
	if err == nil && l.Name() == "" {
		err = errors.New("this code names a product and no lot: scan the other code of the label, too, or type the lot")
	}
	return l, err
}

func lotInCommand(o *options) *cobra.Command {
	var product, expiry, why string
	c := &cobra.Command{
		Use:   "take-in MATERIAL SCAN [SCAN]",
		Short: "Take a lot into the register: powder, liquid, separator, sheet or stone",
		Long: "Once lots of a material are taken in, the bench asks about a mix or a coat with a lot that was not\n" +
			"taken in, was withdrawn, or is past its last day of use. Nothing is blocked; the answer is recorded.",
		Example: "flaskside lot take-in powder '(01)03453120000011(17)281231(10)ABCD1234' --by KT\nflaskside lot take-in stone G-77 --expiry 2027-04",
		Args:    theLot,
		RunE: func(c *cobra.Command, args []string) error {
			clock := sysclock.New()
			now := clock.Read().Wall
			l, err := code(c.InOrStdin(), args[1:], now.Year())
			if err != nil {
				return err
			}
			in := action.LotIn{Material: action.Material(args[0]), Lot: l.Entry(), Product: product}
			if expiry != "" {
				d, err := lot.TypedDate(expiry)
				if err != nil {
					return fmt.Errorf("--expiry: %w", err)
				}
				in.Expiry = d.String()
			}
			r, err := o.recordOne(in, why)
			if err != nil {
				return intake.ByWhy(err)
			}
			return toldLot(c.OutOrStdout(), "taken in", r.Action.Body, now, r.Seq)
		},
	}
	c.Flags().StringVar(&product, "product", "", "the product in your own words")
	c.Flags().StringVar(&expiry, "expiry", "", "last day of use, where the code does not say it: 2027-04-30, or a month")
	c.Flags().StringVar(&why, "why", "", "the reason, if something about it is unusual")
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
			clock := sysclock.New()
			now := clock.Read().Wall
			l, err := code(c.InOrStdin(), args[1:], now.Year())
			if err != nil {
				return err
			}
			r, err := o.recordOne(action.LotOut{Material: action.Material(args[0]), Lot: l.Entry(), Reason: reason}, why)
			if err != nil {
				return intake.ByWhy(err)
			}
			return toldLot(c.OutOrStdout(), "withdrawn", r.Action.Body, now, r.Seq)
		},
	}
	c.Flags().StringVar(&reason, "reason", "", "one of used up, recalled, expired or spoilt")
	c.Flags().StringVar(&why, "why", "", "the reason, if something about it is unusual")
	return c
}

// toldLot says what was recorded.
func toldLot(w io.Writer, what string, body action.Body, now time.Time, seq uint64) error {
	material, text, more := "", "", ""
	switch a := body.(type) {
	case action.LotIn:
		if material, text = string(a.Material), a.Lot; a.Expiry != "" {
			more = ", to be used until " + a.Expiry
		}
	case action.LotOut:
		material, text, more = string(a.Material), a.Lot, ", "+a.Reason
	}
	at := timers.Stamp{At: now}
	_, err := fmt.Fprintf(w, "%s: %s lot %s%s; record %d\n", what, material, bench.KnownLot{Lot: text, In: &at}.Name(), more, seq)
	return err
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
