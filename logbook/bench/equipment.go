package bench

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/lot"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// Equipment: the register of what is used again and again, and what of it spoke against a
// step. What it never does:
//
//   - call an instrument checked by a check that lies after the instant asked about, by one
//     made before it was taken out of use, or because a date lies ahead;
//   - call anything in date of which no check is known;
//   - refuse a step for want of a check, or tell the same want twice until there is another check;
//   - let a record that comes later change what a step was recorded under: that stands in its
//     own record ([action.Doubt]), which no correction takes out.
var equipment = subject{
	rules: []rule{
		on((*checker).equipIn, (*Bench).equipIn, quiet, alive(pieceAlive[action.EquipIn]), corrected(func(_ *checker, was, is action.EquipIn) error {
			if was.On != is.On {
				return errors.New("a correction cannot fit it to something else: take it in again")
			}
			return samePiece(was, is)
		})),
		on((*checker).equipCheck, (*Bench).equipCheck, quiet, alive(pieceAlive[action.EquipCheck]), corrected(func(c *checker, was, is action.EquipCheck) error {
			if err := samePiece(was, is); err != nil {
				return err
			}
			return c.comparable(is)
		})),
		on((*checker).equipWater, (*Bench).equipWater, quiet, alive(pieceAlive[action.EquipWater]), corrected(func(_ *checker, was, is action.EquipWater) error { return samePiece(was, is) })),
		on((*checker).equipOut, (*Bench).equipOut, quiet, alive(pieceAlive[action.EquipOut]), corrected(func(_ *checker, was, is action.EquipOut) error { return samePiece(was, is) })),
	},
}

func pieceAlive[B action.Body](l *living, _ B, _ int, it *Item) bool { return l.registered[it.Seq] }

func samePiece(was, is action.Body) error {
	p, _ := action.PieceOf(was)
	q, _ := action.PieceOf(is)
	if p.Key() != q.Key() {
		return errors.New("a correction cannot make it another piece of equipment: undo it and record it again")
	}
	return nil
}

// Bounds of the register (house defaults). What is in use is never forgotten: a list that is
// full takes no more.
const (
	piecesHeld  = 200
	piecesOut   = 40
	checksHeld  = 3
	allowedK    = 1   // a bath 2 K off needs 2 to 2.5 h more at 74 °C (the model of package cure); ±1 °C at ice and boil is asked of kitchen thermometers
	gaugeClass  = 2.5 // per cent of the scale, where the class is not known (EN 837-1 has 0.1 to 4)
	farK        = 10  // two thermometers this far apart are a slip of the key or of the unit
	farOfGauge  = 0.2 // the same of two gauges, of what the other reads
	farAheadDay = 800 // days to the next check that are asked about
)

// Days from one check, or change of water, to the next, where the house says nothing: ice
// monthly, gauges every six months, cure water fortnightly (common practice, no source).
var everyDays = map[action.PieceKind]int{action.Thermometer: 30, action.Gauge: 182, action.Bath: 14, action.Pot: 14}

// Codes of what is unusual about equipment.
const (
	pieceOutCode     = "equipment-out"
	PieceUnknownCode = "equipment-unknown"
	pieceCaseCode    = "equipment-case" // named like a case
	checkFarCode     = "check-far"
	checkDueCode     = "check-due-far"
)

// KnownPiece is a piece of equipment of the register.
type KnownPiece struct {
	action.EquipIn // as it was told last

	In      *timers.Stamp // came in, or back into use; nil where only its end is known
	InBy    string
	Out     *timers.Stamp // nil while it is in use
	OutBy   string
	Reason  string
	Checks  []pieceCheck // since it is in use, the oldest first; the latest few
	Water   *timers.Stamp
	WaterBy string

	back                             bool // it came back into use: checks before that count for nothing
	inSeq, lastSeq, outSeq, waterSeq uint64
	told                             []toldOf
}

// toldOf is what was told of a piece, and with which record.
type toldOf struct {
	what string
	seq  uint64
}

// pieceCheck is a check of an instrument.
type pieceCheck struct {
	action.EquipCheck
	At  timers.Stamp
	By  string
	seq uint64
}

// Piece names it.
func (k KnownPiece) Piece() action.Piece { return action.Piece{Item: k.Item, Name: k.Name} }

// Upkeep is how an instrument stands with its checks, or what holds water with its changes.
type Upkeep struct {
	Last    *pieceCheck // the latest check up to then; nil for none
	Due     lot.Date    // last day on which the next one is in time; zero where nothing is known
	Overdue bool
	Later   bool // there are checks, all of them after the instant
	Off     action.CheckPoint
	Allowed float64 // K or psi; 0 where it is not known
}

// OffByMuch tells whether the latest check found it further off than is allowed.
func (s Upkeep) OffByMuch() bool {
	return s.Last != nil && s.Allowed > 0 && math.Abs(s.Off.Off) > s.Allowed+1e-9
}

// Standing tells how it stands at an instant. Only what was done up to then counts.
func (k KnownPiece) Standing(at time.Time) Upkeep {
	var s Upkeep
	switch {
	case k.Out != nil:
		return s
	case k.Item.Filled():
		if k.Water != nil && !k.Water.At.After(at) && k.EveryDays > 0 {
			s.Due = lot.DateOf(k.Water.At.AddDate(0, 0, k.EveryDays))
		}
	case k.Item.Checked():
		for i := range k.Checks {
			if !k.Checks[i].At.At.After(at) {
				s.Last = &k.Checks[i]
			}
		}
		if s.Last == nil {
			s.Later = len(k.Checks) > 0
			return s
		}
		_ = s.Due.UnmarshalText([]byte(s.Last.Due)) // held to be a date when it was recorded
		s.Off, _ = s.Last.Worst()
		s.Allowed = allowedK
		if k.Item == action.Gauge {
			s.Allowed = cmp.Or(k.ClassPct, gaugeClass) / 100 * k.ScalePSI
		}
	}
	s.Overdue = !s.Due.IsZero() && lot.DateOf(at).After(s.Due)
	return s
}

// Pieces lists the register, those in use first: by kind, then by name, numbers as numbers.
func (b *Bench) Pieces() (held, out []KnownPiece) {
	for _, k := range b.pieces {
		if k.Out == nil {
			held = append(held, k)
		} else {
			out = append(out, k)
		}
	}
	order := func(x, y KnownPiece) int {
		return cmp.Or(cmp.Compare(slices.Index(action.Equipment, x.Item), slices.Index(action.Equipment, y.Item)), ByNumber(x.Name, y.Name))
	}
	slices.SortStableFunc(held, order)
	slices.SortStableFunc(out, order)
	return held, out
}

// ByNumber orders names with the number at their end as a number: F2 before F10.
func ByNumber(x, y string) int {
	split := func(s string) (string, int) {
		head := strings.TrimRight(s, "0123456789")
		n, err := strconv.Atoi(s[len(head):])
		if err != nil {
			n = -1
		}
		return strings.ToLower(head), n
	}
	a, n := split(x)
	c, m := split(y)
	return cmp.Or(cmp.Compare(a, c), cmp.Compare(n, m), cmp.Compare(x, y))
}

// PiecesOf lists what of a kind is in use.
func (b *Bench) PiecesOf(item action.PieceKind) []KnownPiece {
	held, _ := b.Pieces()
	return slices.DeleteFunc(held, func(k KnownPiece) bool { return k.Item != item })
}

// Free lists the flasks or the clamps in use that are on no flask at work.
func (b *Bench) Free(item action.PieceKind) []KnownPiece {
	return slices.DeleteFunc(b.PiecesOf(item), func(k KnownPiece) bool {
		for f := range b.AtWork() {
			if item == action.FlaskMetal && strings.EqualFold(f.Tag, k.Name) {
				return true
			}
			if item == action.ClampItem && strings.EqualFold(f.Clamp, k.Name) && rank(f.Stage) < rank(Open) {
				return true
			}
		}
		return false
	})
}

// Piece finds a piece of the register.
func (b *Bench) Piece(p action.Piece) (KnownPiece, bool) {
	if i := b.pieceAt(p); i >= 0 {
		return b.pieces[i], true
	}
	return KnownPiece{}, false
}

func (b *Bench) pieceAt(p action.Piece) int {
	return slices.IndexFunc(b.pieces, func(k KnownPiece) bool { return k.Piece().Key() == p.Key() })
}

func (b *Bench) takePiece(p action.Piece) KnownPiece {
	i := b.pieceAt(p)
	if i < 0 {
		return KnownPiece{EquipIn: action.EquipIn{Item: p.Item, Name: p.Name}}
	}
	k := b.pieces[i]
	b.pieces = slices.Delete(b.pieces, i, i+1)
	return k
}

// equipIn and equipOut move a piece to the end of the register.
func (b *Bench) equipIn(a action.EquipIn, it *Item) {
	k := b.takePiece(action.Piece{Item: a.Item, Name: a.Name})
	if k.Out != nil {
		k.back, k.In = true, nil
	}
	if k.In == nil {
		k.In, k.InBy, k.inSeq = it.at(), it.Action.By, it.Seq
	}
	k.EquipIn, k.lastSeq = a, it.Seq
	k.Out, k.OutBy, k.Reason = nil, "", ""
	b.pieces = append(b.pieces, k)
}

func (b *Bench) equipOut(a action.EquipOut, it *Item) {
	k := b.takePiece(action.Piece{Item: a.Item, Name: a.Name})
	k.Out, k.OutBy, k.Reason, k.outSeq = it.at(), it.Action.By, a.Reason, it.Seq
	k.Checks, k.told, k.back = nil, nil, false
	b.pieces = append(b.pieces, k)
	n := 0
	for _, k := range b.pieces {
		if k.Out != nil {
			n++
		}
	}
	if n > piecesOut {
		i := slices.IndexFunc(b.pieces, func(k KnownPiece) bool { return k.Out != nil })
		b.pieces = slices.Delete(b.pieces, i, i+1)
	}
}

// equipCheck keeps the latest few checks by when they were made, whenever they were typed.
func (b *Bench) equipCheck(a action.EquipCheck, it *Item) {
	i := b.pieceAt(action.Piece{Item: a.Item, Name: a.Name})
	if i < 0 {
		return
	}
	k := &b.pieces[i]
	if k.Out != nil || k.back && it.Stamp.At.Before(k.In.At) {
		return
	}
	n := len(k.Checks)
	if n == 0 || !it.Stamp.At.Before(k.Checks[n-1].At.At) {
		k.told = nil
	}
	k.Checks = append(slices.Clone(k.Checks), pieceCheck{a, it.Stamp, it.Action.By, it.Seq})
	slices.SortStableFunc(k.Checks, func(x, y pieceCheck) int { return cmp.Or(x.At.At.Compare(y.At.At), cmp.Compare(x.seq, y.seq)) })
	k.Checks = k.Checks[max(0, len(k.Checks)-checksHeld):]
}

func (b *Bench) equipWater(a action.EquipWater, it *Item) {
	i := b.pieceAt(action.Piece(a))
	if i < 0 {
		return
	}
	if k := &b.pieces[i]; k.Water == nil || !it.Stamp.At.Before(k.Water.At) {
		k.Water, k.WaterBy, k.waterSeq = it.at(), it.Action.By, it.Seq
	}
}

// tell notes with which record the want of an instrument is told first.
func (b *Bench) tell(ds []action.Doubt, it *Item) {
	for _, d := range ds {
		p, err := action.ParsePiece(d.Item)
		if err != nil {
			continue
		}
		i := b.pieceAt(p)
		if i < 0 || b.pieces[i].Out != nil || slices.ContainsFunc(b.pieces[i].told, func(t toldOf) bool { return t.what == d.What }) {
			continue
		}
		b.pieces[i].told = append(slices.Clone(b.pieces[i].told), toldOf{d.What, it.Seq})
	}
}

// FirstTold gives what spoke against the instruments of a record and was not told before.
func (b *Bench) FirstTold(id string) []action.Doubt {
	it, ok := b.Item(id)
	if !ok {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(action.DoubtsOf(it.Body)), func(d action.Doubt) bool {
		p, err := action.ParsePiece(d.Item)
		k, known := b.Piece(p)
		return err == nil && known && !slices.Contains(k.told, toldOf{d.What, it.Seq})
	})
}

// Told is what was told of an instrument with a record.
type Told struct {
	Seq uint64
	action.Doubt
}

// ToldFrom lists what was told of instruments in use with a record of the book, or one after it,
// and not before, in the order of the book.
func (b *Bench) ToldFrom(first uint64) (out []Told) {
	for i := range b.Items {
		it := &b.Items[i]
		if it.Seq < first {
			continue
		}
		for _, d := range b.FirstTold(it.Action.ID) {
			out = append(out, Told{it.Seq, d})
		}
	}
	return out
}

// pieceRecords gives the numbers of the records that the register of equipment rests on.
func (b *Bench) pieceRecords(out map[uint64]bool) {
	for _, k := range b.pieces {
		out[k.inSeq], out[k.lastSeq], out[k.outSeq], out[k.waterSeq] = true, true, true, true
		for _, c := range k.Checks {
			out[c.seq] = true
		}
		for _, t := range k.told {
			out[t.seq] = true
		}
	}
}

// doubts tells what speaks against the instruments of a kind that are fitted to a piece, at
// an instant. What the register does not know at all, it says nothing of.
func (b *Bench) doubts(kind action.PieceKind, of action.Piece, at time.Time) []action.Doubt {
	var out []action.Doubt
	fitted := false
	held, _ := b.Pieces()
	for _, k := range held {
		on, ok := k.FittedTo()
		if !ok || k.Item != kind || on.Key() != of.Key() {
			continue
		}
		fitted = true
		d := action.Doubt{Item: k.Piece().String()}
		s := k.Standing(at)
		switch {
		case s.Later && len(k.Checks) == checksHeld:
			continue // older checks are not at hand: nothing is known
		case s.Last == nil:
			d.What = action.Unchecked
			out = append(out, d)
			continue
		case s.Overdue:
			d.What, d.Due = action.Overdue, s.Due.String()
			out = append(out, d)
		}
		if s.OffByMuch() {
			out = append(out, action.Doubt{Item: d.Item, What: action.OffByMuch, Off: math.Round(s.Off.Off*100) / 100})
		}
	}
	if k, ok := b.Piece(of); ok && k.Out == nil && !fitted {
		out = append(out, action.Doubt{Item: k.Piece().String(), What: action.NoInstrument})
	}
	return out[:min(len(out), 9)]
}

// InDoubt tells whether something spoke against a gauge or a thermometer that work on a flask
// rests on.
func (f *Flask) InDoubt(b *Bench) bool {
	if l := b.LoadOf(f); l != nil && f.InBath != nil && len(l.Doubts) > 0 {
		return true
	}
	return len(f.MetalDoubt) > 0 || slices.ContainsFunc(f.Trials, func(t Trial) bool { return len(t.Doubts) > 0 })
}

// pressOf is the press that a pressure was read at.
func (c *checker) pressOf(body action.Body) (action.Piece, bool) {
	n := 0
	switch a := body.(type) {
	case action.PressAt:
		if f := c.b.Flasks[a.Flask]; f != nil {
			n = max(1, f.Press)
		}
	case action.MetalToMetal:
		n = max(1, a.Press)
	}
	return action.Piece{Item: action.Press, Name: strconv.Itoa(n)}, n > 0
}

// doubted puts what speaks against its instruments into a step, and nothing else: what was
// typed there counts for nothing.
func (c *checker) doubted(body action.Body) action.Body {
	press, _ := c.pressOf(body)
	switch a := body.(type) {
	case action.PressAt:
		a.Doubts = c.b.doubts(action.Gauge, press, c.at.At)
		return a
	case action.MetalToMetal:
		a.Doubts = c.b.doubts(action.Gauge, press, c.at.At)
		return a
	case action.BathLoad:
		a.Doubts = c.b.doubts(action.Thermometer, action.Piece{Item: action.Bath, Name: strconv.Itoa(a.Bath)}, c.at.At)
		return a
	}
	return body
}

// pieceKey names what was asked about a piece, so that it is not asked again.
func pieceKey(code string, p action.Piece) string { return code + " " + p.Key() }

// piecesInUse asks about equipment that is out of use, or not in the register where one of
// its kind is kept. A press and a bath are known by the settings, too.
func (c *checker) piecesInUse(body action.Body) {
	for _, p := range action.PiecesUsed(body) {
		k, ok := c.b.Piece(p)
		switch {
		case ok && k.Out != nil:
			c.unusualThing(pieceOutCode, pieceKey(pieceOutCode, p), "%s was taken out of use on %s: %s", k.Piece(), dayText(k.Out.At), k.Reason)
		case !ok && p.Item != action.Press && p.Item != action.Bath && len(c.b.PiecesOf(p.Item)) > 0:
			c.unusualThing(PieceUnknownCode, pieceKey(PieceUnknownCode, p), "%s is not in the register", p)
		}
	}
}

// clampHolds refuses a clamp that is rated below what the flask was closed with.
func (c *checker) clampHolds(f *Flask, name string) error {
	k, ok := c.b.Piece(action.Piece{Item: action.ClampItem, Name: name})
	if !ok || k.Out != nil || k.RatedPSI == 0 || f.MetalPSI <= k.RatedPSI {
		return nil
	}
	show := func(v float64) string { return units.FormatPressure(v, c.b.House.Units.Pressure) }
	return fmt.Errorf("%s has a rated load of %s and the flask was closed at %s: take another clamp; if it was so, say it in a note and have clamp and flask looked at", k.Piece(), show(k.RatedPSI), show(f.MetalPSI))
}

func (c *checker) equipIn(a action.EquipIn) (action.EquipIn, error) {
	p := action.Piece{Item: a.Item, Name: a.Name}
	k, ok := c.b.Piece(p)
	if ok {
		a.Product, a.On, a.Spring = cmp.Or(a.Product, k.Product), cmp.Or(a.On, k.On), a.Spring || k.Spring
		orFloat(&a.RatedPSI, k.RatedPSI)
		orFloat(&a.ScalePSI, k.ScalePSI)
		orFloat(&a.ClassPct, k.ClassPct)
		orFloat(&a.Litres, k.Litres)
		orInt(&a.EveryDays, k.EveryDays)
	}
	orInt(&a.EveryDays, everyDays[a.Item])
	held, _ := c.b.Pieces()
	switch {
	case (!ok || k.Out != nil) && len(held) >= piecesHeld:
		return a, fmt.Errorf("there are %d pieces in the register, as many as it holds: take those out that are not used any more", len(held))
	case ok && k.Out != nil && k.Reason != "under repair" && k.Reason != "lost":
		c.unusualThing(pieceOutCode, pieceKey(pieceOutCode, p), "%s was taken out of use on %s: %s", k.Piece(), dayText(k.Out.At), k.Reason)
	}
	c.beyondSettings(a)
	if p.Item != action.Press && p.Item != action.Bath && c.isCase(a.Name) {
		c.unusual(pieceCaseCode, "%s is a case number at the bench: a %s of that name is found by neither alone", a.Name, a.Item)
	}
	return a, nil
}

// isCase tells whether a name is the number of a case on the list or at work.
func (c *checker) isCase(name string) bool {
	for f := range c.b.AtWork() {
		if strings.EqualFold(f.Case, name) {
			return true
		}
	}
	return slices.ContainsFunc(c.b.cases, func(k Case) bool { return strings.EqualFold(k.Case, name) })
}

// inUse finds a piece in use for a record of it.
func (c *checker) inUse(p action.Piece) (KnownPiece, error) {
	k, ok := c.b.Piece(p)
	switch {
	case !ok:
		return k, fmt.Errorf("there is no %s in the register: take it in first%s", p, c.pieceList(p.Item))
	case k.Out != nil:
		return k, fmt.Errorf("%s was taken out of use on %s (%s): take it in again first", k.Piece(), dayText(k.Out.At), k.Reason)
	}
	return k, nil
}

func (c *checker) pieceList(item action.PieceKind) string {
	var names []string
	for _, k := range c.b.PiecesOf(item) {
		names = append(names, k.Name)
	}
	if len(names) > 9 {
		names = append(names[:9], "…")
	}
	if len(names) == 0 {
		return ""
	}
	return fmt.Sprintf(" (%ss there: %s)", item, strings.Join(names, ", "))
}

func (c *checker) equipCheck(a action.EquipCheck) (action.EquipCheck, error) {
	k, err := c.inUse(action.Piece{Item: a.Item, Name: a.Name})
	if err != nil {
		return a, err
	}
	if a.BoilC != nil && a.AirHPa == 0 {
		a.AirHPa = math.Round(float64(c.b.House.Place.Air())*10) / 10
	}
	today := lot.DateOf(c.at.At)
	if a.Due == "" {
		a.Due = lot.DateOf(c.at.At.AddDate(0, 0, cmp.Or(k.EveryDays, everyDays[a.Item]))).String()
	}
	if err := c.comparable(a); err != nil {
		return a, err
	}
	var due lot.Date
	_ = due.UnmarshalText([]byte(a.Due)) // held to be a date
	if due.After(lot.DateOf(c.at.At.AddDate(0, 0, farAheadDay))) {
		c.unusual(checkDueCode, "the next check of %s would be due by %s", k.Piece(), words.Day(due.String()))
	}
	if today.After(due) {
		return a, fmt.Errorf("the next check would be due by %s, before this one of %s: check the date", words.Day(due.String()), words.Day(today.String()))
	}
	return a, nil
}

// comparable refuses boiling water where the air pressure is not known, and asks about a
// comparison that looks like a slip of the key or of the unit.
func (c *checker) comparable(a action.EquipCheck) error {
	if a.BoilC != nil && a.AirHPa == 0 {
		return errors.New("where water boils is not known here: give the air pressure as a barometer in the room shows it, or set the height of the place in the settings, or check in ice")
	}
	t := action.Teller{Units: c.b.House.Units}
	for _, p := range a.Points() {
		far := farK
		if a.Item == action.Gauge {
			far = int(farOfGauge * p.True)
		}
		if math.Abs(p.Off) > float64(far) {
			c.unusual(checkFarCode, "%s is %s: look at the number and its unit", action.Piece{Item: a.Item, Name: a.Name}, t.Point(a.Item, p))
		}
	}
	return nil
}

func (c *checker) equipWater(a action.EquipWater) (action.EquipWater, error) {
	_, err := c.inUse(action.Piece(a))
	return a, err
}

func (c *checker) equipOut(a action.EquipOut) (action.EquipOut, error) {
	_, err := c.inUse(action.Piece{Item: a.Item, Name: a.Name})
	return a, err
}
