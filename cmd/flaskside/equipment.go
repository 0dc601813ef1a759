package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/equipment"
	"flaskside/logbook/house"
	"flaskside/logbook/lot/recall"
	"flaskside/logbook/reach"
)

// equipmentCommand keeps the register of equipment.
func equipmentCommand(o *options) *cobra.Command {
	var f shape
	var which string
	c := &cobra.Command{
		Use:   "equipment",
		Short: "Keep the register of equipment: what is in use, and what is due for a check",
		Long: "Lists what is in use, how it stands, and what is out of use. A press and a bath have the number that\n" +
			"the bench knows them by, a flask the tag painted on it, a clamp its number.\n\n" +
			"A cure in a bath whose thermometer is overdue for a check, or a pressure read off such a gauge, is\n" +
			"pointed out once and stands in the record and on the sheet. Nothing is refused for it. The rated\n" +
			"load of press, flask and clamp is a limit like press.max_psi in the settings: the weakest counts.\n\n" +
			"--which lists the flasks that had a press, a bath, a flask or a clamp; for a gauge or a thermometer,\n" +
			"those whose press or bath had it then, as the register says.",
		Example: "flaskside equipment take-in thermometer T1 --on 'bath 1'\nflaskside equipment checked thermometer T1 --ice 0.3C\nflaskside equipment due\nflaskside equipment --which 'clamp 12' --csv",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := f.one(); err != nil {
				return err
			}
			if c.Flags().Changed("which") {
				return listPiece(c, o, which, f)
			}
			return listEquipment(c, o, f, func(all []equipment.Listed, _ time.Time) []equipment.Listed { return all }, "no equipment in the register: flaskside equipment take-in KIND NAME")
		},
	}
	f.jsonFlag(c)
	f.csvFlag(c, "as CSV, for a spreadsheet")
	c.Flags().StringVar(&which, "which", "", "list the flasks that had this piece, as in 'clamp 12' or 'thermometer T1'")
	c.AddCommand(equipmentInCommand(o), equipmentCheckedCommand(o), equipmentWaterCommand(o), equipmentOutCommand(o), equipmentDueCommand(o))
	return c
}

func listEquipment(c *cobra.Command, o *options, f shape, some func([]equipment.Listed, time.Time) []equipment.Listed, none string) error {
	at := o.at()
	st, err := at.State()
	if err != nil {
		return err
	}
	now := at.Clock.Read().Wall.Local()
	lines := some(equipment.Lines(st.Bench, now), now)
	return f.write(c, lines, func(w io.Writer) error { return equipment.Text(w, lines, st.Bench.House.Units, none) },
		func(w io.Writer) error { return equipment.CSV(w, lines) })
}

// listPiece writes which flasks of a book had a piece of equipment.
func listPiece(c *cobra.Command, o *options, text string, f shape) error {
	asked, err := action.ParsePiece(text)
	if err != nil {
		return fmt.Errorf("--which: %w", err)
	}
	list, err := reach.Read(o.at(), func(book *logbook.Book) (recall.PieceList, error) { return recall.FindPiece(book, asked, time.Local) })
	if err != nil {
		return err
	}
	return f.write(c, list, list.Text, list.CSV)
}

func equipmentDueCommand(o *options) *cobra.Command {
	var f shape
	days := 0
	c := &cobra.Command{
		Use:     "due",
		Short:   "List what is to be checked, what was found off, and which water is to be changed",
		Long:    "Lists what is overdue, what was found off by more than is allowed, and what nothing is known of.\n--within adds what falls due in so many days.",
		Example: "flaskside equipment due\nflaskside equipment due --within 7 --csv",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := f.one(); err != nil {
				return err
			}
			if days < 0 || days > 3660 {
				return wrongUsage("--within is a number of days from 0 to 3660, not %d", days)
			}
			none := "nothing of the register is due today"
			if days > 0 {
				none = fmt.Sprintf("nothing of the register is due within %d days", days)
			}
			return listEquipment(c, o, f, func(all []equipment.Listed, now time.Time) []equipment.Listed { return equipment.Due(all, now, days) }, none)
		},
	}
	f.jsonFlag(c)
	f.csvFlag(c, "as CSV, for a spreadsheet")
	c.Flags().IntVar(&days, "within", 0, "also what falls due within so many days")
	return c
}

// aPiece reads what the commands of the register are given: a kind and a name.
func aPiece(items ...action.PieceKind) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		switch {
		case len(args) == 0 || !slices.Contains(items, action.PieceKind(args[0])):
			return wrongUsage("%s takes the kind first: %s", c.CommandPath(), action.Words(items))
		case len(args) == 1:
			return wrongUsage("%s %s takes its name or number next", c.CommandPath(), args[0])
		case len(args) > 2:
			return wrongUsage("%s takes a kind and a name, not %d words: put a name with blanks in quotes", c.CommandPath(), len(args))
		}
		return nil
	}
}

func piece(args []string) (action.PieceKind, string) {
	return action.PieceKind(args[0]), strings.TrimSpace(args[1])
}

// takePiece records something of the register and says what was recorded.
func takePiece(c *cobra.Command, o *options, h house.House, body action.Body, why string) error {
	return o.take(c, body, why, action.Teller{Units: h.Units, Full: true}.Tell)
}

func equipmentInCommand(o *options) *cobra.Command {
	var in action.EquipIn
	var rated, scale, why string
	c := &cobra.Command{
		Use:   "take-in KIND NAME",
		Short: "Take a piece of equipment into the register, or change what it says of one",
		Long: "Takes in a press, bath, pot, oven, flask, clamp, gauge or thermometer. For one that is there already,\n" +
			"what is left out stays as it was. One that was out of use is in use again; a gauge or a thermometer\n" +
			"then counts as not checked.",
		Example: "flaskside equipment take-in press 1 --rated 5000psi\nflaskside equipment take-in gauge G1 --on 'press 1' --scale 6000psi --class 1.6\nflaskside equipment take-in clamp 12 --spring --rated 4000psi --by KT",
		Args:    aPiece(action.Equipment...),
		RunE: func(c *cobra.Command, args []string) error {
			h, err := o.at().House()
			if err != nil {
				return err
			}
			in.Item, in.Name = piece(args)
			if in, err = equipment.TakenIn(in, rated, scale, h.Units); err != nil {
				return err
			}
			return takePiece(c, o, h, in, why)
		},
	}
	c.Flags().StringVar(&in.On, "on", "", "what a gauge or a thermometer is fitted to, as in 'press 1' or 'bath 2'")
	c.Flags().StringVar(&rated, "rated", "", "rated load of a press, a flask or a clamp by its maker, as the gauge of the press shows it: 5000psi, 345bar")
	c.Flags().StringVar(&scale, "scale", "", "the end of the scale of a gauge: 6000psi, 400bar")
	c.Flags().Float64Var(&in.ClassPct, "class", 0, "class of a gauge, per cent of its scale (default: 2.5)")
	c.Flags().Float64Var(&in.Litres, "litres", 0, "water in a pot; that of a bath stands in the settings")
	c.Flags().BoolVar(&in.Spring, "spring", false, "a clamp with springs")
	c.Flags().IntVar(&in.EveryDays, "every-days", 0, "days from one check, or change of water, to the next (default: thermometer 30, gauge 182, water 14)")
	c.Flags().StringVar(&in.Product, "product", "", "what it is, in your own words")
	whyFlag(c, &why)
	return c
}

func equipmentCheckedCommand(o *options) *cobra.Command {
	var a action.EquipCheck
	var why string
	c := &cobra.Command{
		Use:   "checked KIND NAME",
		Short: "Record the check of a gauge or a thermometer",
		Long: "A thermometer is held in melting ice, in boiling water, or beside another; a gauge beside another.\n" +
			"Water boils below 100 °C where the air is thin: its boiling point is worked out from --air, a\n" +
			"barometer in the room, or from place.altitude_m or place.air_hpa in the settings. What was found is\n" +
			"recorded, nothing is adjusted, and the maker's instructions come first.",
		Example: "flaskside equipment checked thermometer T1 --ice 0.2C --boil 98.9C --air 985\nflaskside equipment checked gauge G1 --read 3050psi --against 3000psi --due 2027-05-31",
		Args:    aPiece(action.Gauge, action.Thermometer),
		RunE: func(c *cobra.Command, args []string) error {
			if !slices.ContainsFunc([]string{"ice", "boil", "read", "against"}, c.Flags().Changed) {
				return wrongUsage("%s says what it read: --ice or --boil of a thermometer, or --read with --against", c.CommandPath())
			}
			if c.Flags().Changed("read") != c.Flags().Changed("against") {
				return wrongUsage("--read and --against belong together: what it read, and what the other one read")
			}
			h, err := o.at().House()
			if err != nil {
				return err
			}
			a.Item, a.Name = piece(args)
			typed := map[string]string{}
			c.Flags().Visit(func(f *pflag.Flag) { typed[f.Name] = f.Value.String() })
			if a, err = equipment.Checked(a, typed, h.Units); err != nil {
				return err
			}
			return takePiece(c, o, h, a, why)
		},
	}
	c.Flags().String("ice", "", "what it read in melting ice: 0.2C, 32F")
	c.Flags().String("boil", "", "what it read in boiling water")
	c.Flags().Float64Var(&a.AirHPa, "air", 0, "air pressure in the room then, hPa, not brought down to the sea (default: as the settings have it)")
	c.Flags().String("read", "", "what it read beside another")
	c.Flags().String("against", "", "what the other one read")
	c.Flags().String("due", "", "last day on which the next check is in time (default: by the days between checks)")
	whyFlag(c, &why)
	return c
}

func equipmentWaterCommand(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "water KIND NAME",
		Short:   "Record that the water of a bath or a pot was changed",
		Example: "flaskside equipment water bath 1 --by KT",
		Args:    aPiece(action.Bath, action.Pot),
		RunE: func(c *cobra.Command, args []string) error {
			item, name := piece(args)
			return takePiece(c, o, house.Default(), action.EquipWater{Item: item, Name: name}, "")
		},
	}
}

func equipmentOutCommand(o *options) *cobra.Command {
	var reason, why string
	c := &cobra.Command{
		Use:     "withdraw KIND NAME",
		Short:   "Take a piece of equipment out of use: worn, broken, recalled",
		Long:    "flaskside equipment --which lists the flasks that had it.",
		Example: "flaskside equipment withdraw clamp 12 --reason recalled --by KT",
		Args:    aPiece(action.Equipment...),
		RunE: func(c *cobra.Command, args []string) error {
			if !slices.Contains(action.EquipmentOut, reason) {
				return wrongUsage("--reason is one of %s", strings.Join(action.EquipmentOut, ", "))
			}
			item, name := piece(args)
			return takePiece(c, o, house.Default(), action.EquipOut{Item: item, Name: name, Reason: reason}, why)
		},
	}
	c.Flags().StringVar(&reason, "reason", "", "one of "+strings.Join(action.EquipmentOut, ", "))
	whyFlag(c, &why)
	return c
}
