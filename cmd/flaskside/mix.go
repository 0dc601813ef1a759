package main

import (
	"io"

	"github.com/spf13/cobra"

	"flaskside/logbook/mixing"
	"flaskside/timers/dough"
)

// mixCommand works out how much powder and liquid to take.
func mixCommand(o *options) *cobra.Command {
	var amount [3]float64
	var ratio, resin string
	var as shape
	allowance := dough.DefaultTrialAllowance
	measures := [3]dough.Measure{dough.InUnits, dough.InLiquidG, dough.InMouldCM3}
	c := &cobra.Command{
		Use:   "mix",
		Short: "How much powder and liquid to take, what is left over, and how much it shrinks",
		Long: "Works out both parts of a mix by the resin's own ratio, with what is left over for trials and the\n" +
			"shrinkage to expect. A ratio by volume is one of poured powder, a third of which is air: say\n" +
			"\"3:1 by volume\".",
		Example: "flaskside mix --units 2\nflaskside mix --liquid-g 18.8 --ratio 2.5\nflaskside mix --mould-cm3 35 --ratio \"3:1 by volume\" --json",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			q := dough.Request{TrialAllowance: allowance}
			for i, name := range []string{"units", "liquid-g", "mould-cm3"} {
				if c.Flags().Changed(name) {
					if q.In != "" {
						return wrongUsage("give one of --units, --liquid-g and --mould-cm3")
					}
					q.Amount, q.In = amount[i], measures[i]
				}
			}
			if q.In == "" {
				return wrongUsage("say how much: --units 2, --liquid-g 18.8 or --mould-cm3 35")
			}
			if ratio != "" {
				r, err := dough.ParseRatio(ratio)
				if err != nil {
					return err
				}
				q.Ratio = &r
			}
			h, err := o.at().House()
			if err != nil {
				return err
			}
			r, err := h.PickResin(resin)
			if err != nil {
				return err
			}
			p, err := dough.Proportion(r, q)
			if err != nil {
				return err
			}
			return as.write(c, p, func(w io.Writer) error { return mixing.Text(w, p) }, nil)
		},
	}
	c.Flags().Float64Var(&amount[0], "units", 0, "units of the resin, one for an average base")
	c.Flags().Float64Var(&amount[1], "liquid-g", 0, "grams of liquid")
	c.Flags().Float64Var(&amount[2], "mould-cm3", 0, "volume of the mould; the allowance for trials is added to it")
	c.Flags().StringVar(&ratio, "ratio", "", `powder to liquid: 2.4, "3:1 by volume", "22 g : 10 mL" (default: the resin's own)`)
	c.Flags().StringVar(&resin, "resin", "", "a resin of the house settings (default: the first)")
	c.Flags().Float64Var(&allowance, "allowance", allowance, "extra dough for trials, as a fraction of the mould")
	as.jsonFlag(c)
	return c
}
