package bench

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/lot"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// Lots: what of a flask came from which jar, and the register of jars in the house.
var lots = subject{
	rules: []rule{
		on(checkFlaskLots, applyFlaskLots, quiet, mends("stone_lot", "sheet_lot")),
		on((*checker).lotIn, (*Bench).takeIn, alive(registered[action.LotIn]), corrected(func(_ *checker, was, is action.LotIn) error {
			return sameMaterial(was.Material, is.Material)
		})),
		on((*checker).lotOut, (*Bench).withdraw, alive(registered[action.LotOut]), corrected(func(_ *checker, was, is action.LotOut) error {
			return sameMaterial(was.Material, is.Material)
		})),
	},
}

func registered[B action.Body](l *living, _ B, _ int, it *Item) bool { return l.registered[it.Seq] }

func sameMaterial(was, is action.Material) error {
	if was != is {
		return errors.New("a correction cannot make a lot one of another material: undo it and record it again")
	}
	return nil
}

func checkFlaskLots(c *checker, a action.FlaskLots) (action.FlaskLots, error) {
	if _, err := c.flask(a.Flask); err != nil {
		return a, err
	}
	a.StoneLot, a.SheetLot = c.lot(action.Stone, a.StoneLot), c.lot(action.Sheet, a.SheetLot)
	return a, nil
}

func applyFlaskLots(b *Bench, a action.FlaskLots, it *Item) {
	f := b.flask(a.Flask, it)
	if a.StoneLot != "" {
		f.StoneLot = a.StoneLot
	}
	if a.SheetLot != "" {
		f.SheetLot = a.SheetLot
	}
}

// How many lots of one material the register holds: those in the house, and those
// withdrawn, the latest of each (house defaults). Counted, not timed: what the register
// holds is then the same whatever the clock says, and what it costs at each record does
// not grow with the book. A lot that fell out is asked about as one that was never taken
// in, so that forgetting never silences a warning.
const (
	LotsHeld      = 60
	LotsWithdrawn = 20
)

// KnownLot is a lot of the register.
type KnownLot struct {
	Material action.Material
	Lot      string // as recorded: reads back by [lot.Parse]
	Product  string // the lab's own words
	Expiry   lot.Date
	In       *timers.Stamp // taken in; nil for one withdrawn without having been
	InBy     string
	Out      *timers.Stamp // withdrawn; nil while it may be used
	OutBy    string
	Reason   string // why it was withdrawn

	// The records it rests on. Of several withdrawals the first is kept with the last:
	// without it the lot would count as in use up to the last, and push another out.
	inSeq, firstOut, lastOut uint64
}

// Name is the lot as people say it: of a code its lot or serial number alone.
func (k KnownLot) Name() string {
	at := k.In
	if at == nil {
		at = k.Out
	}
	if at != nil {
		if l, err := lot.Parse(k.Lot, at.At.Year()); err == nil {
			return l.Name()
		}
	}
	return k.Lot
}

// Expired tells whether its last day of use is over on the day of an instant.
func (k KnownLot) Expired(at time.Time) bool {
	return !k.Expiry.IsZero() && lot.DateOf(at).After(k.Expiry)
}

// Lots lists the register of a material, those in use first, each in the order of the
// book.
func (b *Bench) Lots(material action.Material) (held, withdrawn []KnownLot) {
	for _, k := range b.register {
		switch {
		case k.Material != material:
		case k.Out == nil:
			held = append(held, k)
		default:
			withdrawn = append(withdrawn, k)
		}
	}
	return held, withdrawn
}

// KeepsLots tells whether lots of a material are taken in here: a lab that keeps no
// register is not asked about lots that are not in it.
func (b *Bench) KeepsLots(material action.Material) bool {
	return slices.ContainsFunc(b.register, func(k KnownLot) bool { return k.Material == material && k.In != nil })
}

// takeIn and withdraw move a lot to the end of the register, which is in order of the
// latest change.
func (b *Bench) takeIn(a action.LotIn, it *Item) {
	at := it.Stamp
	k := KnownLot{Material: a.Material, Lot: a.Lot, Product: a.Product, In: &at, InBy: it.Action.By, inSeq: it.Seq}
	_ = k.Expiry.UnmarshalText([]byte(a.Expiry)) // held to be a date when it was recorded
	b.take(a.Material, a.Lot)
	b.register = append(b.register, k)
	b.forget(a.Material)
}

func (b *Bench) withdraw(a action.LotOut, it *Item) {
	k, ok := b.take(a.Material, a.Lot)
	if !ok {
		k = KnownLot{Material: a.Material, Lot: a.Lot}
	}
	at := it.Stamp
	if k.Out == nil {
		k.firstOut = it.Seq
	}
	k.Out, k.OutBy, k.Reason, k.lastOut = &at, it.Action.By, a.Reason, it.Seq
	b.register = append(b.register, k)
	b.forget(a.Material)
}

// take takes a lot out of the register.
func (b *Bench) take(material action.Material, text string) (k KnownLot, ok bool) {
	i := slices.IndexFunc(b.register, func(k KnownLot) bool { return k.Lot == text && k.Material == material })
	if i < 0 {
		return k, false
	}
	k = b.register[i]
	b.register = slices.Delete(b.register, i, i+1)
	return k, true
}

// forget lets go of the lots of a material that are too many. The last one that was
// taken in stays: it tells that a register is kept.
func (b *Bench) forget(material action.Material) {
	in, held, withdrawn := 0, 0, 0
	for _, k := range b.register {
		if k.Material != material {
			continue
		}
		if k.In != nil {
			in++
		}
		if k.Out == nil {
			held++
		} else {
			withdrawn++
		}
	}
	if held <= LotsHeld && withdrawn <= LotsWithdrawn {
		return
	}
	i := slices.IndexFunc(b.register, func(k KnownLot) bool {
		return k.Material == material && (k.Out == nil) == (held > LotsHeld) && (k.In == nil || in > 1)
	})
	b.register = slices.Delete(b.register, i, i+1)
}

// registered gives the numbers of the records that the registers of lots and of equipment
// rest on.
func (b *Bench) registered() map[uint64]bool {
	out := map[uint64]bool{}
	for _, k := range b.register {
		out[k.inSeq], out[k.firstOut], out[k.lastOut] = true, true, true
	}
	b.pieceRecords(out)
	return out
}

// knownLots finds the lots of the register that a code or a text names, the one with the
// same text first; year is that of [lot.Parse].
func (b *Bench) knownLots(material action.Material, text string, year int) []KnownLot {
	same, _ := b.lookUp(material, text, year)
	return same
}

// lookUp finds what a text names, and what is only alike.
func (b *Bench) lookUp(material action.Material, text string, year int) (same, alike []KnownLot) {
	asked, err := lot.Parse(text, year)
	for _, k := range b.register {
		switch {
		case k.Material != material:
		case k.Lot == text:
			same = slices.Insert(same, 0, k)
		case err != nil: // nothing but its letters is known of it
		default:
			known, kerr := lot.Parse(k.Lot, year)
			if kerr != nil {
				continue
			}
			switch lot.Compare(asked, known) {
			case lot.Same:
				same = append(same, k)
			case lot.Alike:
				alike = append(alike, k)
			}
		}
	}
	return same, alike
}

// dayText is the day of an instant as people write it.
func dayText(t time.Time) string { return words.Day(lot.DateOf(t).String()) }

// thingOdd is something unusual about one lot or one piece of equipment.
type thingOdd struct{ key, text string }

// lotKey names what was asked about a lot, so that it is not asked again.
func lotKey(code string, material action.Material, text string) string {
	return code + " " + string(material) + " " + text
}

// unusualLot calls something about a lot unusual.
func (c *checker) unusualLot(code string, material action.Material, text, format string, a ...any) {
	c.unusualThing(code, lotKey(code, material, text), format, a...)
}

// unusualThing calls something about a lot or a piece of equipment unusual; key names what
// was asked about which. Two things of one action can be so for the same cause: each is told.
func (c *checker) unusualThing(code, key, format string, a ...any) {
	if c.things == nil {
		c.things = map[string][]thingOdd{}
	}
	c.things[code] = append(c.things[code], thingOdd{key, fmt.Sprintf(format, a...)})
	c.unusual(code, format, a...)
}

// asks tells whether something unusual wants a reason, and words it: of lots and equipment,
// those for which none was given yet.
func (c *checker) asks(o Odd) (Odd, bool) {
	things, ok := c.things[o.Code]
	if !ok && strings.HasPrefix(o.Code, rangePrefix) {
		return o, true
	}
	if !ok {
		return o, !c.excused[o.Code]
	}
	var ts []string
	for _, l := range things {
		if !c.excused[l.key] {
			ts = append(ts, l.text)
		}
	}
	o.Text = strings.Join(ts, "; ")
	return o, len(ts) > 0
}

// lot reads a lot that was scanned or typed and looks it up in the register. One that
// has expired, was withdrawn or never taken in, or that cannot be read as the code it
// looks like, is unusual; what is kept is short and reads back to the same product, lot
// and expiry.
func (c *checker) lot(of action.Material, scan string) string {
	if scan == "" {
		return ""
	}
	year := c.at.At.Year()
	text := scan
	l, err := lot.Parse(scan, year)
	if err != nil {
		c.unusualLot("lot-unread", of, text, "the %s lot cannot be read: %v", of, err)
		l = lot.Lot{Lot: strings.TrimSpace(scan)}
	} else {
		text = l.Entry()
	}
	same, alike := c.b.lookUp(of, text, year)
	if len(same) == 0 && c.b.KeepsLots(of) {
		hint := ""
		if len(alike) > 0 {
			hint = fmt.Sprintf(" (%s is in the register and reads alike)", alike[0].Lot)
		}
		c.unusualLot("lot-unknown", of, text, "the %s lot %s is not on the list%s", of, l.Name(), hint)
	}
	expiry := l.Expiry
	for _, k := range same {
		if k.Out != nil {
			c.unusualLot("lot-withdrawn", of, text, "the %s lot %s was taken out of use on %s: %s", of, l.Name(), dayText(k.Out.At), k.Reason)
			break
		}
	}
	for _, k := range same {
		if expiry.IsZero() {
			expiry = k.Expiry
		}
	}
	if !expiry.IsZero() && lot.DateOf(c.at.At).After(expiry) {
		c.unusualLot("lot-expired", of, text, "the %s lot %s expired on %s", of, l.Name(), words.Day(expiry.String()))
	}
	return text
}

// LotUsable tells whether a lot could be used at an instant without a question: it is
// neither expired nor taken out of use, can be read, and is in the register where one is
// kept. No lot at all asks nothing.
func (b *Bench) LotUsable(material action.Material, text string, at time.Time) bool {
	if text == "" {
		return true
	}
	c := checker{b: b, at: timers.Stamp{At: at}}
	c.lot(material, text)
	return len(c.things) == 0
}

// lotIn checks a lot that is taken in: a lot that the register knows by a fuller code is
// recorded by that, and takes over what was known of it.
func (c *checker) lotIn(a action.LotIn) (action.LotIn, error) {
	year := c.at.At.Year()
	l, err := lot.Parse(a.Lot, year)
	switch {
	case err != nil:
		c.unusualLot("lot-unread", a.Material, a.Lot, "the %s lot cannot be read: %v", a.Material, err)
		l = lot.Lot{Lot: strings.TrimSpace(a.Lot)}
	case l.Name() == "":
		return a, errors.New("this code names a product and no lot: scan the other code of the label, or type the lot")
	default:
		a.Lot = l.Entry()
		if a.Expiry != "" && !l.Expiry.IsZero() && a.Expiry != l.Expiry.String() {
			return a, fmt.Errorf("the code says that it expires on %s, not %s: leave the expiry out", l.Expiry, a.Expiry)
		}
		if a.Expiry == "" {
			a.Expiry = l.Expiry.String()
		}
	}
	for _, k := range c.b.knownLots(a.Material, a.Lot, year) {
		if k.Lot == a.Lot || l.Scheme == lot.Text {
			a.Lot = k.Lot
			if a.Product == "" {
				a.Product = k.Product
			}
			if a.Expiry == "" {
				a.Expiry = k.Expiry.String()
			}
		}
		if k.Out != nil && k.Reason != action.Withdrawals[0] {
			c.unusualLot("lot-withdrawn", a.Material, a.Lot, "the %s lot %s was taken out of use on %s: %s", a.Material, l.Name(), dayText(k.Out.At), k.Reason)
		}
	}
	var expiry lot.Date
	if err := expiry.UnmarshalText([]byte(a.Expiry)); err == nil && !expiry.IsZero() && lot.DateOf(c.at.At).After(expiry) {
		c.unusualLot("lot-expired", a.Material, a.Lot, "the %s lot %s expired on %s", a.Material, l.Name(), words.Day(expiry.String()))
	}
	return a, nil
}

// lotOut checks a lot that is withdrawn. One that is not in the register can be, for a
// maker may call back what was never entered here; where a register is kept it may be a
// slip of the key.
func (c *checker) lotOut(a action.LotOut) (action.LotOut, error) {
	year := c.at.At.Year()
	l, err := lot.Parse(a.Lot, year)
	switch {
	case err != nil:
		l = lot.Lot{Lot: strings.TrimSpace(a.Lot)}
	case l.Name() == "":
		return a, errors.New("this code names a product and no lot: scan the other code of the label, or type the lot")
	default:
		a.Lot = l.Entry()
	}
	same, alike := c.b.lookUp(a.Material, a.Lot, year)
	for i, k := range same { // one that is in use is meant before one that is gone
		if k.Out == nil {
			same[0], same[i] = same[i], same[0]
			break
		}
	}
	switch {
	case len(same) > 0 && same[0].Out != nil && same[0].Reason == a.Reason:
		return a, fmt.Errorf("the %s lot %s was taken out of use on %s already: %s", a.Material, l.Name(), dayText(same[0].Out.At), a.Reason)
	case len(same) > 0:
		a.Lot = same[0].Lot
	case c.b.KeepsLots(a.Material):
		hint := ""
		if len(alike) > 0 {
			hint = fmt.Sprintf(" (%s is in the register and reads alike)", alike[0].Lot)
		}
		c.unusualLot("lot-unknown", a.Material, a.Lot, "the %s lot %s is not on the list%s", a.Material, l.Name(), hint)
	}
	return a, nil
}
