package bench

import (
	"fmt"
	"strconv"

	"flaskside/logbook/action"
)

// How many presses, baths, pots and ovens there are the settings say; the register says what is
// known of each, and which are out of use. What is out of use counts nowhere: not for the press
// order, the plan, the forms, nor for the question whether a place is taken.

// itemOf is the kind of equipment that a place of a route is; "" for one that is none.
func itemOf(place string) action.PieceKind {
	switch item := action.PieceKind(place); item {
	case action.Press, action.Bath, action.Pot, action.Oven:
		return item
	}
	return ""
}

// Usable lists the presses, or the baths, of the settings that the register does not say are out
// of use, by number.
func (b *Bench) Usable(item action.PieceKind) []int {
	var out []int
	for n := 1; n <= b.House.Spots(string(item)); n++ {
		if k, known := b.Piece(action.Piece{Item: item, Name: strconv.Itoa(n)}); !known || k.Out == nil {
			out = append(out, n)
		}
	}
	return out
}

// Spots is how many cases can be in a place at once, each closed for itself, leaving out what is
// out of use; ok is false for a place that takes any number. A pot or an oven has no number: one
// that is out of use is missing unless the register has as many others as the settings say.
func (b *Bench) Spots(place string) (n int, ok bool) {
	has := b.House.Spots(place)
	switch item := itemOf(place); item {
	case action.Press, action.Bath:
		return len(b.Usable(item)), true
	case action.Pot, action.Oven:
		held, out := len(b.PiecesOf(item)), 0
		for _, k := range b.pieces {
			if k.Item == item && k.Out != nil {
				out++
			}
		}
		return min(has, held+max(0, has-held-out)), true
	}
	return 0, false
}

// beyondCode marks a piece of equipment that is more than the settings have.
const beyondCode = "equipment-beyond"

// settingOf names where the settings say how many there are.
var settingOf = map[action.PieceKind]string{action.Press: "press.presses", action.Bath: "baths", action.Pot: "pots", action.Oven: "ovens"}

// beyondSettings asks about a piece that is taken in, or one that a gauge or a thermometer is
// fitted to, which is more than the settings say there are: the bench would not know it.
func (c *checker) beyondSettings(a action.EquipIn) {
	ask := func(p action.Piece, has int) {
		c.unusualThing(beyondCode, pieceKey(beyondCode, p), "%s is more than the settings have: %s. Say there first how many there are (%s)", p, haveWords(p.Item, has), settingOf[p.Item])
	}
	numbered := func(p action.Piece) {
		has := c.b.House.Spots(string(p.Item))
		if n, err := strconv.Atoi(p.Name); err == nil && (p.Item == action.Press || p.Item == action.Bath) && n > has {
			ask(p, has)
		}
	}
	p := action.Piece{Item: a.Item, Name: a.Name}
	numbered(p)
	if on, fitted := a.FittedTo(); fitted {
		numbered(on)
	}
	if k, known := c.b.Piece(p); (a.Item == action.Pot || a.Item == action.Oven) && (!known || k.Out != nil) {
		if has := c.b.House.Spots(string(a.Item)); len(c.b.PiecesOf(a.Item)) >= has {
			ask(p, has)
		}
	}
}

func haveWords(item action.PieceKind, n int) string {
	switch {
	case n == 1:
		return "one " + string(item)
	case item == action.Press:
		return fmt.Sprintf("%d presses", n)
	}
	return fmt.Sprintf("%d %ss", n, item)
}
