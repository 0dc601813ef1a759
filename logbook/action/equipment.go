package action

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"flaskside/logbook/house"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers/cure"
)

// Equipment: what stands in the house and is used again and again. A press and a bath have
// the number that the bench knows them by; a flask has the tag painted on it.

// PieceKind is a kind of equipment.
type PieceKind string

// The kinds of equipment.
const (
	Press       PieceKind = "press"
	Bath        PieceKind = "bath"
	Pot         PieceKind = "pot"
	Oven        PieceKind = "oven"
	FlaskMetal  PieceKind = "flask"
	ClampItem   PieceKind = "clamp"
	Gauge       PieceKind = "gauge"
	Thermometer PieceKind = "thermometer"
)

// Equipment lists the kinds in the order of lists and forms.
var Equipment = []PieceKind{Press, Bath, Pot, Oven, FlaskMetal, ClampItem, Gauge, Thermometer}

// EquipmentOut are why a piece of equipment is taken out of use.
var EquipmentOut = []string{"worn", "broken", "recalled", "under repair", "lost", "not ours any more"}

// Loaded tells whether a kind has a rated load, Filled whether it holds water, and Checked
// whether it is held against something known: its readings are what others rest on.
func (k PieceKind) Loaded() bool  { return k == Press || k == FlaskMetal || k == ClampItem }
func (k PieceKind) Filled() bool  { return k == Bath || k == Pot }
func (k PieceKind) Checked() bool { return k == Gauge || k == Thermometer }

// numbered tells whether the bench knows a kind by a number.
func (k PieceKind) numbered() bool { return k == Press || k == Bath }

// Piece names one piece of equipment.
type Piece struct {
	Item PieceKind
	Name string
}

// String is the piece as people say it: "thermometer T1", "bath 2".
func (p Piece) String() string { return strings.TrimSpace(string(p.Item) + " " + p.Name) }

// Key is the same for names that differ in capitals alone: t1 is T1.
func (p Piece) Key() string { return string(p.Item) + " " + strings.ToLower(p.Name) }

// ParsePiece reads what [Piece.String] wrote. Its error says what would be right.
func ParsePiece(s string) (Piece, error) {
	item, name, _ := strings.Cut(strings.TrimSpace(s), " ")
	p := Piece{PieceKind(item), strings.TrimSpace(name)}
	if err := p.valid(); err != nil {
		return Piece{}, fmt.Errorf("%q names no equipment: write its kind and its name, as in bath 1 or clamp 12: %w", clip(s), err)
	}
	return p, nil
}

func (p Piece) valid() error {
	if p.Name != strings.TrimSpace(p.Name) {
		return errors.New("name begins or ends with a blank: leave it out")
	}
	if err := first(oneOf("item", p.Item, Equipment), line("name", p.Name, 24)); err != nil {
		return err
	}
	if p.Item.numbered() && (len(p.Name) != 1 || p.Name[0] < '1' || p.Name[0] > '9') {
		return fmt.Errorf("a %s is named by its number at the bench, 1 to 9, not %q", p.Item, clip(p.Name))
	}
	return nil
}

// EquipIn takes a piece of equipment into the register, or gives what is known of it anew.
type EquipIn struct {
	Item      PieceKind `json:"item" jsonschema:"enum=press,enum=bath,enum=pot,enum=oven,enum=flask,enum=clamp,enum=gauge,enum=thermometer"`
	Name      string    `json:"name" jsonschema_description:"what is painted or engraved on it; of a press and a bath its number at the bench"`
	Product   string    `json:"product,omitempty" jsonschema_description:"the lab's own words for it"`
	On        string    `json:"on,omitempty" jsonschema_description:"of a gauge or a thermometer: what it is fitted to, as in press 1 or bath 2"`
	RatedPSI  float64   `json:"rated_psi,omitempty" jsonschema_description:"rated load of a press, a flask or a clamp, as the gauge of the press shows it, by its maker"`
	ScalePSI  float64   `json:"scale_psi,omitempty" jsonschema_description:"of a gauge: the end of its scale"`
	ClassPct  float64   `json:"class_pct,omitempty" jsonschema_description:"of a gauge: its class, per cent of the scale"`
	Litres    float64   `json:"litres,omitempty" jsonschema_description:"water in a pot; that of a bath stands in the settings"`
	Spring    bool      `json:"spring,omitempty" jsonschema_description:"a clamp with springs"`
	EveryDays int       `json:"every_days,omitempty" jsonschema_description:"days from one check, or change of water, to the next; left out: as the house does it"`
}

// EquipCheck is a thermometer or a gauge held against what is known. A temperature of 0 °C
// is a reading like any other, so that what was not read is left out.
type EquipCheck struct {
	Item       PieceKind `json:"item" jsonschema:"enum=gauge,enum=thermometer"`
	Name       string    `json:"name"`
	IceC       *float64  `json:"ice_c,omitempty" jsonschema_description:"what the thermometer read in melting ice"`
	BoilC      *float64  `json:"boil_c,omitempty" jsonschema_description:"what it read in boiling water"`
	AirHPa     float64   `json:"air_hpa,omitempty" jsonschema_description:"air pressure then, by which boiling water is reckoned; left out: as the settings have it"`
	ReadC      *float64  `json:"read_c,omitempty" jsonschema_description:"what it read beside another thermometer"`
	AgainstC   *float64  `json:"against_c,omitempty" jsonschema_description:"what the other one read"`
	ReadPSI    *float64  `json:"read_psi,omitempty" jsonschema_description:"what the gauge read beside another gauge"`
	AgainstPSI *float64  `json:"against_psi,omitempty" jsonschema_description:"what the other one read"`
	Due        string    `json:"due,omitempty" jsonschema:"format=date" jsonschema_description:"last day on which the next check is in time; left out: by the days between checks"`
}

// EquipWater is the water of a bath or a pot changed.
type EquipWater struct {
	Item PieceKind `json:"item" jsonschema:"enum=bath,enum=pot"`
	Name string    `json:"name"`
}

// EquipOut takes a piece of equipment out of use.
type EquipOut struct {
	Item   PieceKind `json:"item" jsonschema:"enum=press,enum=bath,enum=pot,enum=oven,enum=flask,enum=clamp,enum=gauge,enum=thermometer"`
	Name   string    `json:"name"`
	Reason string    `json:"reason" jsonschema:"enum=worn,enum=broken,enum=recalled,enum=under repair,enum=lost,enum=not ours any more"`
}

// Doubt is what spoke against a gauge or a thermometer when something was done by it.
type Doubt struct {
	Item string  `json:"item" jsonschema_description:"which gauge or thermometer, or what lacks one"`
	What string  `json:"what" jsonschema:"enum=none,enum=unchecked,enum=overdue,enum=off"`
	Due  string  `json:"due,omitempty" jsonschema:"format=date" jsonschema_description:"the last day on which its check would have been in time"`
	Off  float64 `json:"off,omitempty" jsonschema_description:"by how much it read too high, K or psi"`
}

// What speaks against an instrument.
const (
	NoInstrument = "none"
	Unchecked    = "unchecked"
	Overdue      = "overdue"
	OffByMuch    = "off"
)

// Instrument is the gauge or the thermometer of a doubt.
func (d Doubt) Instrument() PieceKind {
	item, _, _ := strings.Cut(d.Item, " ")
	switch PieceKind(item) {
	case Press, Gauge:
		return Gauge
	}
	return Thermometer
}

// Words says a doubt, in the units of the house.
func (d Doubt) Words(u house.Units) string {
	day := d.Due
	switch d.What {
	case NoInstrument:
		return fmt.Sprintf("%s has no %s in the register", d.Item, d.Instrument())
	case Unchecked:
		return d.Item + " has no check recorded"
	case Overdue:
		return d.Item + ": check was due by " + words.Day(day)
	}
	by := units.FormatTempSpan(max(d.Off, -d.Off), u.Temperature)
	if d.Instrument() == Gauge {
		by = units.FormatPressure(max(d.Off, -d.Off), u.Pressure)
	}
	return fmt.Sprintf("%s reads %s too %s by its last check", d.Item, by, highLow(d.Off))
}

func highLow(off float64) string {
	if off < 0 {
		return "low"
	}
	return "high"
}

// PieceOf gives the piece of equipment that a body of the register is about.
func PieceOf(body Body) (p Piece, ok bool) {
	switch a := body.(type) {
	case EquipIn:
		return Piece{a.Item, a.Name}, true
	case EquipCheck:
		return Piece{a.Item, a.Name}, true
	case EquipWater:
		return Piece(a), true
	case EquipOut:
		return Piece{a.Item, a.Name}, true
	}
	return Piece{}, false
}

// FittedTo gives what a gauge or a thermometer is fitted to.
func (b EquipIn) FittedTo() (p Piece, ok bool) {
	p, err := ParsePiece(b.On)
	return p, err == nil
}

// PiecesUsed lists the equipment that a step names.
func PiecesUsed(body Body) []Piece {
	numbered := func(item PieceKind, n int) []Piece {
		if n < 1 {
			return nil
		}
		return []Piece{{item, fmt.Sprint(n)}}
	}
	switch a := body.(type) {
	case FlaskOpen:
		if a.Tag != "" {
			return []Piece{{FlaskMetal, a.Tag}}
		}
	case PressIn:
		return numbered(Press, a.Press)
	case MetalToMetal:
		return numbered(Press, a.Press)
	case Clamp:
		if a.Clamp != "" {
			return []Piece{{ClampItem, a.Clamp}}
		}
	case BathLoad:
		return numbered(Bath, a.Bath)
	}
	return nil
}

// CheckPoint is one comparison of a check. True is in °C or psi, as is Off, how far the reading is
// above it.
type CheckPoint struct {
	What string // in ice, in boiling water, beside another
	True float64
	Off  float64
}

// iceC is the temperature of melting ice, air-saturated: 0.0 °C (MSL Technical Guide 1, the
// ice point).
const iceC = 0.0

// Points reckons what a check compared. Boiling water is at the temperature that the air
// pressure of the record gives ([cure.Air.WaterBoilsC], IAPWS-IF97); without one it is left
// out, for it is not known.
func (b EquipCheck) Points() []CheckPoint {
	var out []CheckPoint
	add := func(what string, read *float64, is float64) {
		out = append(out, CheckPoint{what, is, *read - is})
	}
	if b.IceC != nil {
		add("in ice", b.IceC, iceC)
	}
	if b.BoilC != nil && b.AirHPa != 0 {
		add("in boiling water", b.BoilC, cure.Air(b.AirHPa).WaterBoilsC())
	}
	if b.ReadC != nil && b.AgainstC != nil {
		add("beside another", b.ReadC, *b.AgainstC)
	}
	if b.ReadPSI != nil && b.AgainstPSI != nil {
		add("beside another", b.ReadPSI, *b.AgainstPSI)
	}
	return out
}

// Worst is the comparison that is off the most; ok is false where there is none.
func (b EquipCheck) Worst() (worst CheckPoint, ok bool) {
	for _, p := range b.Points() {
		if !ok || max(p.Off, -p.Off) > max(worst.Off, -worst.Off) {
			worst, ok = p, true
		}
	}
	return worst, ok
}

// The kinds by name.
func (EquipIn) Kind() Kind    { return "equip-in" }
func (EquipCheck) Kind() Kind { return "equip-check" }
func (EquipWater) Kind() Kind { return "equip-water" }
func (EquipOut) Kind() Kind   { return "equip-out" }

// Subjects of each kind: the register is no thing on the bench.
func (EquipIn) Subjects() []Subject    { return nil }
func (EquipCheck) Subjects() []Subject { return nil }
func (EquipWater) Subjects() []Subject { return nil }
func (EquipOut) Subjects() []Subject   { return nil }

// Longest time between two checks, in days; beyond it is a slip of the key.
const maxEveryDays = 3660

// Valid of each kind.
func (b EquipIn) Valid() error {
	if err := first(Piece{b.Item, b.Name}.valid(), text("product", b.Product, 60), orHouse("rated_psi", b.RatedPSI, 1, maxPressurePSI, "psi"),
		orHouse("scale_psi", b.ScalePSI, 1, 2*maxPressurePSI, "psi"), orHouse("class_pct", b.ClassPct, 0.05, 10, "%"), orHouse("litres", b.Litres, 0.1, 1000, "L"),
		orHouse("every_days", float64(b.EveryDays), 1, maxEveryDays, "days")); err != nil {
		return err
	}
	k := b.Item
	switch {
	case b.RatedPSI != 0 && !k.Loaded():
		return fmt.Errorf("rated_psi is of a press, a flask or a clamp, not of a %s", k)
	case (b.ScalePSI != 0 || b.ClassPct != 0) && k != Gauge:
		return fmt.Errorf("scale_psi and class_pct are of a gauge, not of a %s", k)
	case b.Litres != 0 && k == Bath:
		return errors.New("the water of a bath stands in the settings (baths, litres): leave litres out")
	case b.Litres != 0 && k != Pot:
		return fmt.Errorf("litres is of a pot, not of a %s", k)
	case b.Spring && k != ClampItem:
		return fmt.Errorf("spring is of a clamp, not of a %s", k)
	case b.EveryDays != 0 && !k.Checked() && !k.Filled():
		return fmt.Errorf("every_days is of what is checked or has its water changed, not of a %s", k)
	case b.On != "" && !k.Checked():
		return fmt.Errorf("on is of a gauge or a thermometer, not of a %s", k)
	}
	if b.On == "" {
		return nil
	}
	on, err := ParsePiece(b.On)
	switch {
	case err != nil:
		return fmt.Errorf("on: %w", err)
	case on.String() != b.On:
		return fmt.Errorf("on must be %q, not %q", on, clip(b.On))
	case k == Gauge && on.Item != Press && on.Item != Pot, k == Thermometer && on.Item != Bath && on.Item != Pot && on.Item != Oven:
		return fmt.Errorf("a %s is not fitted to a %s", k, on.Item)
	}
	return nil
}

// Valid wants a comparison, and both sides of it.
func (b EquipCheck) Valid() error {
	in := func(name string, v *float64, lo, hi float64, unit string) error {
		if v == nil {
			return nil
		}
		return between(name, *v, lo, hi, unit)
	}
	if err := first(Piece{b.Item, b.Name}.valid(), oneOf("item", b.Item, []PieceKind{Gauge, Thermometer}), in("ice_c", b.IceC, -40, 150, "°C"), in("boil_c", b.BoilC, -40, 250, "°C"),
		in("read_c", b.ReadC, -40, 250, "°C"), in("against_c", b.AgainstC, -40, 250, "°C"), in("read_psi", b.ReadPSI, 0, maxPressurePSI, "psi"),
		in("against_psi", b.AgainstPSI, 0, maxPressurePSI, "psi"), cure.Air(b.AirHPa).Valid(), date("due", b.Due)); err != nil {
		return err
	}
	gauge, thermometer := b.ReadPSI != nil || b.AgainstPSI != nil, b.IceC != nil || b.BoilC != nil || b.ReadC != nil || b.AgainstC != nil
	switch {
	case b.Item == Gauge && thermometer:
		return errors.New("a gauge is checked in psi: give read_psi and against_psi")
	case b.Item == Thermometer && gauge:
		return errors.New("a thermometer is checked in °C: give ice_c, boil_c, or read_c and against_c")
	case b.AirHPa != 0 && b.BoilC == nil:
		return errors.New("air_hpa goes with boil_c")
	case !gauge && !thermometer && b.Item == Gauge:
		return errors.New("nothing was compared: give read_psi and against_psi")
	case !gauge && !thermometer:
		return errors.New("nothing was compared: give ice_c, boil_c, or read_c and against_c")
	case (b.ReadC == nil) != (b.AgainstC == nil):
		return errors.New("read_c and against_c belong together: give both")
	case (b.ReadPSI == nil) != (b.AgainstPSI == nil):
		return errors.New("read_psi and against_psi belong together: give both")
	case gauge && *b.AgainstPSI == 0:
		return errors.New("against_psi is 0: without pressure a gauge tells only where its pointer rests. Compare it at a pressure")
	}
	return nil
}

// Valid takes what holds water.
func (b EquipWater) Valid() error {
	return first(Piece(b).valid(), oneOf("item", b.Item, []PieceKind{Bath, Pot}))
}

// Valid takes what [EquipOut] names.
func (b EquipOut) Valid() error {
	return first(Piece{b.Item, b.Name}.valid(), oneOf("reason", b.Reason, EquipmentOut))
}

// doubts holds what the bench writes of the instruments of a step.
func doubts(ds []Doubt) error {
	if len(ds) > 9 {
		return fmt.Errorf("doubts has at most 9 entries, this has %d", len(ds))
	}
	for _, d := range ds {
		if err := first(line("item", d.Item, 40), oneOf("what", d.What, []string{NoInstrument, Unchecked, Overdue, OffByMuch}), date("due", d.Due), between("off", d.Off, -40000, 40000, "K or psi")); err != nil {
			return fmt.Errorf("doubts: %w", err)
		}
	}
	return nil
}

// DoubtsOf gives what spoke against the instruments of a step.
func DoubtsOf(body Body) []Doubt {
	switch a := body.(type) {
	case PressAt:
		return a.Doubts
	case MetalToMetal:
		return a.Doubts
	case BathLoad:
		return a.Doubts
	}
	return nil
}

// doubted adds what spoke against the instruments, as an audit wants it.
func (t Teller) doubted(s string, ds []Doubt) string {
	if !t.Full {
		return s
	}
	for _, d := range ds {
		s += "; " + d.Words(t.Units)
	}
	return s
}

func (b EquipIn) tell(t Teller) string {
	s := Piece{b.Item, b.Name}.String() + " taken in"
	if !t.Full {
		return s
	}
	var more []string
	add := func(is bool, what string) {
		if is {
			more = append(more, what)
		}
	}
	add(b.Spring, "with springs")
	add(b.On != "", "on "+b.On)
	add(b.RatedPSI != 0, "rated load "+t.psi(b.RatedPSI))
	add(b.ScalePSI != 0, "scale to "+t.psi(b.ScalePSI))
	add(b.ClassPct != 0, "class "+plainNumber(b.ClassPct))
	add(b.Litres != 0, plainNumber(b.Litres)+" L")
	add(b.EveryDays != 0 && b.Item.Checked(), fmt.Sprintf("checked every %d days", b.EveryDays))
	add(b.EveryDays != 0 && b.Item.Filled(), fmt.Sprintf("water changed every %d days", b.EveryDays))
	add(b.Product != "", b.Product)
	return strings.Join(slices.Insert(more, 0, s), ", ")
}

func (b EquipCheck) tell(t Teller) string {
	s := Piece{b.Item, b.Name}.String() + " checked"
	for i, p := range b.Points() {
		s += map[bool]string{true: ": ", false: ", "}[i == 0] + t.Point(b.Item, p)
	}
	if t.Full && b.BoilC != nil && b.AirHPa != 0 {
		s += fmt.Sprintf(", boiling water expected at %s for %s hPa", t.exact(cure.Air(b.AirHPa).WaterBoilsC()), plainNumber(b.AirHPa))
	}
	if t.Full && b.Due != "" {
		s += ", next due by " + words.Day(b.Due)
	}
	return s
}

// Point words one comparison of a check: "0.3 °C high in ice".
func (t Teller) Point(item PieceKind, p CheckPoint) string {
	off := max(p.Off, -p.Off)
	by, none := units.FormatTempSpan(off, t.Units.Temperature), off < 0.05
	if item == Gauge {
		by, none = units.FormatPressure(off, t.Units.Pressure), off < 0.5
	}
	where := p.What
	if p.What == "beside another" {
		is := t.temp(p.True)
		if item == Gauge {
			is = t.psi(p.True)
		}
		where = "at " + is
	}
	if none {
		return "no difference " + where
	}
	return fmt.Sprintf("%s %s %s", by, highLow(p.Off), where)
}

// exact writes a temperature to a tenth of a degree in either unit.
func (t Teller) exact(c float64) string {
	return fmt.Sprintf("%.1f °%s", t.Units.Temperature.FromC(c), t.Units.Temperature)
}

func (b EquipWater) tell(Teller) string {
	return "water of " + Piece(b).String() + " changed"
}

func (b EquipOut) tell(Teller) string {
	return Piece{b.Item, b.Name}.String() + " taken out of use: " + b.Reason
}
