package dayplan

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/words"
	"flaskside/timers/each"
	"flaskside/timers/plan"
)

var numbers = []string{"no", "one", "two", "three", "four", "five"}

var ordinals = []string{"", "first", "second", "third", "fourth", "fifth"}

// flasks puts sizes into words, as in "two small and a large".
func flasks(sizes []plan.Size) string {
	var parts []string
	for z := plan.Small; z <= plan.Large; z++ {
		n := each.Count(sizes, func(s plan.Size) bool { return s == z })
		switch {
		case n == 0:
		case n == 1 && len(sizes) > 1:
			parts = append(parts, "a "+z.String())
		case n < len(numbers):
			parts = append(parts, numbers[n]+" "+z.String())
		default:
			parts = append(parts, fmt.Sprintf("%d %s", n, z))
		}
	}
	if len(parts) < 2 {
		return strings.Join(parts, "")
	}
	return strings.Join(parts[:len(parts)-1], ", ") + " and " + parts[len(parts)-1]
}

// mostMix is up to how many flasks of a mix are told of.
const mostMix = 4

// MixWords is what it means for the flasks of a mix to share it: the chance that all are closed inside its dough, and
// what it is with one more of those that wait, by their sizes. It is "" where there is nothing to tell: no flask, or
// more than are reckoned with. Errors: settings that cannot be.
func MixWords(h house.House, resin string, roomC float64, in, waiting []string) (string, error) {
	sizes := sizesOf(in)
	if len(sizes) == 0 || len(sizes) > plan.MaxMix || len(sizes) != len(in) {
		return "", nil
	}
	p, err := houseOf(h, roomC)
	if err != nil {
		return "", err
	}
	d := doughOf(h, p, resin)
	chance := func(list []plan.Size) (float64, error) {
		c, err := plan.MixChance(list, d.WindowMin(), p, p.Hands, p.Presses)
		return c.All, err
	}
	alone, err := chance(sizes)
	if err != nil {
		return "", err
	}
	line := fmt.Sprintf("closed in time: %s %s", flasks(sizes), words.Percent(alone))
	if more := sizesOf(waiting); len(more) > 0 && len(sizes) < mostMix {
		next := slices.Min(more)
		c, err := chance(append(slices.Clone(sizes), next))
		if err != nil {
			return "", err
		}
		what := "a " + ordinals[len(sizes)+1]
		if slices.ContainsFunc(sizes, func(s plan.Size) bool { return s != next }) {
			what = fmt.Sprintf("a %s as %s", next, ordinals[len(sizes)+1])
		}
		line += fmt.Sprintf(", with %s %s", what, words.Percent(c))
	}
	return line + fmt.Sprintf(" (estimate; dough for %.0f min, press free)", d.WindowMin()), nil
}

func sizesOf(names []string) (out []plan.Size) {
	for _, s := range names {
		if z, ok := sizeOf(s); ok {
			out = append(out, z)
		}
	}
	return out
}

// doughOf is the dough of a resin by its name; of the first, for one that the house does not have.
func doughOf(h house.House, p plan.Lab, resin string) plan.DoughSpan {
	if i := slices.Index(h.ResinNames(), resin); i >= 0 {
		return p.Doughs[i]
	}
	return p.DoughSpan
}

// MixTable is how many flasks share a mix, by the house's own times.
type MixTable struct {
	Resin     string    `json:"resin"`
	RoomC     float64   `json:"room_c"`
	People    int       `json:"people"`
	Presses   int       `json:"presses"`
	WindowMin float64   `json:"window_min"`  // from dough reached to its end, as expected
	Windows   []float64 `json:"windows_min"` // of the columns
	Rows      []row     `json:"rows"`
	Learned   bool      `json:"learned"` // times of work or trend are not those the program came with
}

// row is one group of flasks.
type row struct {
	Flasks string    `json:"flasks"`
	Sizes  []string  `json:"sizes"`
	AllIn  []float64 `json:"all_in_time"` // by window: chance that all are closed in time
	Lost   []float64 `json:"lost"`        // by window: flasks expected to be lost
}

// TableOf counts the table out for a resin of the house in a room, with so many people and presses. Errors: settings
// that cannot be.
func TableOf(h house.House, resin string, roomC float64, people, presses int) (MixTable, error) {
	p, err := houseOf(h, roomC)
	if err != nil {
		return MixTable{}, err
	}
	w := doughOf(h, p, resin).WindowMin()
	t := MixTable{Resin: resin, RoomC: roomC, People: people, Presses: presses, WindowMin: w, Learned: learned(h)}
	for _, off := range []float64{-8, -4, 0, 4} {
		if w+off >= 1 {
			t.Windows = append(t.Windows, w+off)
		}
	}
	for n := 1; n <= mostMix; n++ {
		for _, list := range groups(n) {
			r := row{Flasks: flasks(list)}
			r.Sizes = append(r.Sizes, each.Of(list, plan.Size.String)...)
			for _, w := range t.Windows {
				c, err := plan.MixChance(list, w, p, people, presses)
				if err != nil {
					return MixTable{}, err
				}
				r.AllIn, r.Lost = append(r.AllIn, c.All), append(r.Lost, c.Lost)
			}
			t.Rows = append(t.Rows, r)
		}
	}
	return t, nil
}

// groups are all ways to take so many flasks, small ones first.
func groups(n int) [][]plan.Size {
	if n == 0 {
		return [][]plan.Size{nil}
	}
	var out [][]plan.Size
	for _, g := range groups(n - 1) {
		for z := plan.Small; z <= plan.Large; z++ {
			if len(g) == 0 || g[len(g)-1] <= z {
				out = append(out, append(slices.Clone(g), z))
			}
		}
	}
	return out
}

// leastShown is the chance below which four of a mix are not listed: that no column reaches it is told.
const leastShown = .05

// Text writes the table to be pinned to the wall.
func (t MixTable) Text(w io.Writer) error {
	var b strings.Builder
	one := func(n int, word, many string) string {
		if n == 1 {
			return "one " + word
		}
		return fmt.Sprintf("%d %s", n, many)
	}
	fmt.Fprintf(&b, "how many flasks share a mix: chance that all are closed in time (%s)\n", bench.YouDecide)
	fmt.Fprintf(&b, "%s, %s, %s; dough can be worked for about %.0f min\n\n", t.Resin, one(t.People, "pair of hands", "pairs of hands"), one(t.Presses, "press", "presses"), t.WindowMin)
	fmt.Fprintf(&b, "%-32s", "dough lasts")
	for _, x := range t.Windows {
		fmt.Fprintf(&b, "%8.0f min", x)
	}
	b.WriteString("\n")
	var hidden []string
	for _, r := range t.Rows {
		if len(r.Sizes) == mostMix && slices.Max(r.AllIn) < leastShown {
			hidden = append(hidden, r.Flasks)
			continue
		}
		fmt.Fprintf(&b, "%-32s", r.Flasks)
		for _, c := range r.AllIn {
			fmt.Fprintf(&b, "%12s", words.Percent(c))
		}
		b.WriteString("\n")
	}
	if len(hidden) > 0 {
		fmt.Fprintf(&b, "any other four: under %.0f %%\n", 100*leastShown)
	}
	b.WriteString("\n" + t.basis() + "\n")
	_, err := io.WriteString(w, b.String())
	return err
}

// basis says whose times these are.
func (t MixTable) basis() string {
	const counted = "Counted out over the trial closures that each size may take, the press free when dough is reached."
	if t.Learned {
		return counted + "\nTimes and trend are those of your settings."
	}
	return counted + "\nTimes and trend are the house values the program came with; flaskside calibrate --adopt takes your book's own."
}
