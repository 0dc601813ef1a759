package action

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"flaskside/logbook/house"
	"flaskside/logbook/units"
)

// Places is how many numbered places a bench has.
const Places = 9

// Words with a fixed choice.
var (
	Bases    = []string{"upper", "lower", "partial", "reline"}
	Sizes    = house.Sizes
	Halves   = []string{"cast", "teeth", "both"}
	Grades   = []string{"none", "slight", "heavy"}
	Wheres   = []string{"posterior", "left buccal", "right buccal", "labial", "lingual"}
	Outcomes = []string{Finished, "adjusted", "remake"}
	Defects  = []string{"porosity", "open bite", "movement of teeth", "crazing", "fracture", "short mould"}
	Counts   = []string{"window", "down", "up"}
	Hazards  = []string{"monomer", "press", "bath", "deflask"}

	// Materials are what comes in lots; Withdrawals are why a lot is withdrawn.
	Materials   = []string{"powder", "liquid", "separator", "sheet", "stone"}
	Withdrawals = []string{"used up", "recalled", "expired", "spoilt"}
)

// Finished is the outcome of a flask that goes on from this bench; released is the word
// that older programs wrote for it, a formal one in device records that nothing here means.
const (
	Finished = "finished here"
	released = "released"
)

// Came is an outcome in the words of today.
func Came(outcome string) string {
	if outcome == released {
		return Finished
	}
	return outcome
}

// FlaskOpen puts a new flask on a place of the bench.
type FlaskOpen struct {
	Flask int    `json:"flask,omitempty" jsonschema_description:"number of the flask in this book, higher than all before; left out: the next one"`
	Place int    `json:"place" jsonschema_description:"place on the bench, 1 to 9"`
	Case  string `json:"case" jsonschema_description:"case number, never a person's name"`
	Base  string `json:"base" jsonschema:"enum=upper,enum=lower,enum=partial,enum=reline"`
	Size  string `json:"size" jsonschema:"enum=small,enum=medium,enum=large"`
	Tag   string `json:"tag,omitempty" jsonschema_description:"what is painted on the metal"`
}

// FlaskMove puts a flask on another place.
type FlaskMove struct {
	Flask int `json:"flask"`
	Place int `json:"place"`
}

// Coat is separator painted on one mould half, or both; each half dries by
// itself.
type Coat struct {
	Flask   int    `json:"flask"`
	Half    string `json:"half" jsonschema:"enum=cast,enum=teeth,enum=both"`
	DryMinS int    `json:"dry_min_s,omitempty" jsonschema_description:"drying floor worked under, seconds"`
	DryMaxS int    `json:"dry_max_s,omitempty" jsonschema_description:"drying limit worked under, seconds; 0 for none"`
	Lot     string `json:"lot,omitempty"`
}

// MixMake is a batch of powder and liquid stirred together at the time of the
// action.
type MixMake struct {
	Mix       int      `json:"mix,omitempty" jsonschema_description:"number of the mix in this book, higher than all before; left out: the next one"`
	Flasks    []int    `json:"flasks" jsonschema_description:"the flasks it is for"`
	Resin     string   `json:"resin,omitempty" jsonschema_description:"the lab's own name of the resin"`
	PowderG   float64  `json:"powder_g,omitempty"`
	LiquidG   float64  `json:"liquid_g,omitempty"`
	PowderLot string   `json:"powder_lot,omitempty"`
	LiquidLot string   `json:"liquid_lot,omitempty"`
	RoomC     float64  `json:"room_c,omitempty"`
	JarC      *float64 `json:"jar_c,omitempty" jsonschema_description:"temperature of the parts where they came from the refrigerator, °C; left out: the room's"`
	DoughS    int      `json:"dough_s,omitempty" jsonschema_description:"dough expected from, seconds after mixing (estimate)"`
	WorkS     int      `json:"work_s,omitempty" jsonschema_description:"workable until, seconds after mixing (estimate)"`
}

// MixServe gives a mix to further flasks.
type MixServe struct {
	Mix    int   `json:"mix"`
	Flasks []int `json:"flasks"`
}

// MixDough marks the dough reached.
type MixDough struct {
	Mix int `json:"mix"`
}

// MixStiff marks a mix too stiff to pack.
type MixStiff struct {
	Mix int `json:"mix"`
}

// PressIn is a packed flask laid in the press with a sheet between the halves.
type PressIn struct {
	Flask int  `json:"flask"`
	Press int  `json:"press,omitempty" jsonschema_description:"which press, from 1"`
	Added bool `json:"added,omitempty" jsonschema_description:"dough was added before this closure"`
}

// PressAt is the pressure reached: the hold begins.
type PressAt struct {
	Flask       int     `json:"flask"`
	PressurePSI float64 `json:"pressure_psi,omitempty"`
	Gauge       string  `json:"gauge,omitempty" jsonschema_description:"the pressure as it was read off, with its unit, as in 207 bar"`
	HoldS       int     `json:"hold_s,omitempty" jsonschema_description:"hold aimed at, seconds"`
}

// PressOpen is the press let down and the flask opened.
type PressOpen struct {
	Flask int `json:"flask"`
}

// Flash is the flash judged at a trial closure, then trimmed and a new sheet laid.
type Flash struct {
	Flask int      `json:"flask"`
	Grade string   `json:"grade" jsonschema:"enum=none,enum=slight,enum=heavy"`
	Grams float64  `json:"grams,omitempty" jsonschema_description:"flash trimmed, where weighed"`
	Where []string `json:"where,omitempty"`
}

// FlashMore adds to the last judged closure what was learned while trimming.
type FlashMore struct {
	Flask int      `json:"flask"`
	Grams float64  `json:"grams,omitempty"`
	Where []string `json:"where,omitempty"`
}

// DoughAdd is dough added to a mould after a closure.
type DoughAdd struct {
	Flask int `json:"flask"`
}

// Inspect records that somebody looked and the mould is full.
type Inspect struct {
	Flask int `json:"flask"`
}

// FlaskLots names the lots of what else went into a flask: the stone of its mould and
// the plastic sheet of its trial closures.
type FlaskLots struct {
	Flask    int    `json:"flask"`
	StoneLot string `json:"stone_lot,omitempty"`
	SheetLot string `json:"sheet_lot,omitempty"`
}

// SheetOut begins the final closure: the sheet is out.
type SheetOut struct {
	Flask int `json:"flask"`
}

// MetalToMetal is the final closure reached: halves metal to metal.
type MetalToMetal struct {
	Flask       int     `json:"flask"`
	Press       int     `json:"press,omitempty"`
	PressurePSI float64 `json:"pressure_psi,omitempty"`
	Gauge       string  `json:"gauge,omitempty" jsonschema_description:"the pressure as it was read off, with its unit, as in 207 bar"`
}

// Clamp is the flask clamped and out of the press; the bench set begins.
type Clamp struct {
	Flask         int     `json:"flask"`
	BackedOffTurn float64 `json:"backed_off_turn,omitempty" jsonschema_description:"how far the clamp was backed off, turns"`
	BenchMinS     int     `json:"bench_min_s,omitempty"`
	BenchMaxS     int     `json:"bench_max_s,omitempty"`
}

// Section is the thinnest and thickest resin of a flask.
type Section struct {
	Flask   int     `json:"flask"`
	ThinMM  float64 `json:"thin_mm"`
	ThickMM float64 `json:"thick_mm"`
}

// BathLoad is a set of flasks put in a bath together on a programme.
type BathLoad struct {
	Load      int           `json:"load,omitempty" jsonschema_description:"number of the load in this book, higher than all before; left out: the next one"`
	Bath      int           `json:"bath,omitempty" jsonschema_description:"which bath, from 1"`
	Flasks    []int         `json:"flasks"`
	Programme string        `json:"programme" jsonschema_description:"the lab's own name of the programme"`
	Stages    []house.Stage `json:"stages,omitempty"`
	BathC     float64       `json:"bath_c,omitempty" jsonschema_description:"bath temperature when the flasks went in"`
	MaxS      int           `json:"max_s,omitempty" jsonschema_description:"longest stay worked under, seconds; 0 for none"`
	Sections  []Section     `json:"sections,omitempty"`
}

// BathReading is a bath temperature read off, typed or probed.
type BathReading struct {
	Bath   int     `json:"bath,omitempty"`
	TempC  float64 `json:"temp_c"`
	Source string  `json:"source,omitempty" jsonschema_description:"typed, or the name of the probe"`
}

// BathUnload is flasks taken out of the bath; bench cooling begins.
type BathUnload struct {
	Flasks []int `json:"flasks"`
	BenchS int   `json:"bench_s,omitempty" jsonschema_description:"bench cooling worked under, seconds"`
}

// CoolWater is flasks put in tap water to finish cooling.
type CoolWater struct {
	Flasks []int `json:"flasks"`
	WaterS int   `json:"water_s,omitempty" jsonschema_description:"cooling in water worked under, seconds"`
}

// Deflask is flasks opened.
type Deflask struct {
	Flasks []int `json:"flasks"`
}

// Remount is the check back on the articulator.
type Remount struct {
	Flask int     `json:"flask"`
	PinMM float64 `json:"pin_mm" jsonschema_description:"opening at the incisal pin, mm"`
}

// Outcome ends the work on a flask and frees its place.
type Outcome struct {
	Flask   int      `json:"flask"`
	Outcome string   `json:"outcome" jsonschema:"enum=finished here,enum=adjusted,enum=remake,enum=released" jsonschema_description:"released is what older programs wrote for finished here"`
	Defects []string `json:"defects,omitempty"`
}

// Note is words about a flask, a mix or a load.
type Note struct {
	Flask int    `json:"flask,omitempty"`
	Mix   int    `json:"mix,omitempty"`
	Load  int    `json:"load,omitempty"`
	Text  string `json:"text"`
}

// TimerStart starts a timer of the user's own.
type TimerStart struct {
	Timer int    `json:"timer,omitempty" jsonschema_description:"number of the timer in this book, higher than all before; left out: the next one"`
	Label string `json:"label"`
	Count string `json:"count" jsonschema:"enum=window,enum=down,enum=up"`
	MinS  int    `json:"min_s,omitempty" jsonschema_description:"not before, seconds (window)"`
	AimS  int    `json:"aim_s,omitempty" jsonschema_description:"aim (window) or length (down), seconds"`
	MaxS  int    `json:"max_s,omitempty" jsonschema_description:"not after, seconds (window)"`
}

// TimerStop ends a timer of the user's own.
type TimerStop struct {
	Timer int `json:"timer"`
}

// AlarmHeard acknowledges an alarm.
type AlarmHeard struct {
	Alarm string `json:"alarm"`
}

// AlarmShelve puts an alarm snoozed for a while.
type AlarmShelve struct {
	Alarm string `json:"alarm"`
	ForS  int    `json:"for_s"`
}

// Correct gives fields of an earlier record other values; the earlier record
// stays.
type Correct struct {
	Of  string          `json:"of" jsonschema_description:"id of the record corrected"`
	Set json.RawMessage `json:"set" jsonschema:"type=object" jsonschema_description:"the fields of its body that change (and at, where the time was wrong)"`
}

// TakeBack makes an earlier record count for nothing; it stays in the book.
type TakeBack struct {
	Of string `json:"of" jsonschema_description:"id of the record taken back"`
}

// Amends gives the id of the record that a correction or a taking back is about; ok is
// false for every other body.
func Amends(b Body) (id string, ok bool) {
	switch a := b.(type) {
	case Correct:
		return a.Of, true
	case TakeBack:
		return a.Of, true
	}
	return "", false
}

// Settings are the house settings from now on.
type Settings struct {
	House house.House `json:"house"`
	From  string      `json:"from,omitempty" jsonschema_description:"where they came from: typed, a file, calibration"`

	Changed []string `json:"changed,omitempty" jsonschema_description:"ignored: the bench finds out for itself what is another than before, old → new"`
}

// Crew says who is at the bench now.
type Crew struct {
	Initials string `json:"initials"`
	Handover bool   `json:"handover,omitempty" jsonschema_description:"they took over, having read what is running, what fell due and what must not be forgotten"`
}

// Caution records that the caution of a kind was shown and read.
type Caution struct {
	Hazard string `json:"hazard" jsonschema:"enum=monomer,enum=press,enum=bath,enum=deflask"`
}

// Clock records what happened to the clocks.
type Clock struct {
	What   string `json:"what"`
	ByS    int    `json:"by_s"`
	Detail string `json:"detail,omitempty"`
}

// Seen records that what fell due while the program was away was read.
type Seen struct {
	Since string `json:"since,omitempty"`
}

// Restored says that a backup was put in the place of the logbook, and records that it
// lacks were given up. Heads are written as they are printed, number and short hash.
type Restored struct {
	From   string `json:"from" jsonschema_description:"the last record of the backup, from which the logbook goes on"`
	GaveUp string `json:"gave_up" jsonschema_description:"the last of the records that were given up"`
	Kept   string `json:"kept,omitempty" jsonschema_description:"the file in which they still stand, beside the logbook"`
}

// LotIn is a lot taken into the house, checked in by whoever records it.
type LotIn struct {
	Material string `json:"material" jsonschema:"enum=powder,enum=liquid,enum=separator,enum=sheet,enum=stone"`
	Lot      string `json:"lot" jsonschema_description:"the code of the jar as scanned, or the lot as typed"`
	Product  string `json:"product,omitempty" jsonschema_description:"the lab's own words for the product"`
	Expiry   string `json:"expiry,omitempty" jsonschema:"format=date" jsonschema_description:"last day of use; left out: as the code says"`
}

// LotOut is a lot withdrawn from use.
type LotOut struct {
	Material string `json:"material" jsonschema:"enum=powder,enum=liquid,enum=separator,enum=sheet,enum=stone"`
	Lot      string `json:"lot" jsonschema_description:"the code of the jar as scanned, or the lot as typed"`
	Reason   string `json:"reason" jsonschema:"enum=used up,enum=recalled,enum=expired,enum=spoilt"`
}

// LotUse is a lot that an action says went into a flask; "" where it names none.
type LotUse struct{ Material, Lot string }

// LotsUsed lists the lots that a body has room for; none for a body without.
func LotsUsed(body Body) []LotUse {
	switch a := body.(type) {
	case Coat:
		return []LotUse{{"separator", a.Lot}}
	case MixMake:
		return []LotUse{{"powder", a.PowderLot}, {"liquid", a.LiquidLot}}
	case FlaskLots:
		return []LotUse{{"stone", a.StoneLot}, {"sheet", a.SheetLot}}
	}
	return nil
}

var makers = []func() Body{
	func() Body { return &FlaskOpen{} }, func() Body { return &FlaskMove{} }, func() Body { return &Coat{} },
	func() Body { return &MixMake{} }, func() Body { return &MixServe{} }, func() Body { return &MixDough{} }, func() Body { return &MixStiff{} },
	func() Body { return &PressIn{} }, func() Body { return &PressAt{} }, func() Body { return &PressOpen{} },
	func() Body { return &Flash{} }, func() Body { return &FlashMore{} }, func() Body { return &DoughAdd{} }, func() Body { return &Inspect{} }, func() Body { return &FlaskLots{} },
	func() Body { return &SheetOut{} }, func() Body { return &MetalToMetal{} }, func() Body { return &Clamp{} },
	func() Body { return &BathLoad{} }, func() Body { return &BathReading{} }, func() Body { return &BathUnload{} }, func() Body { return &CoolWater{} },
	func() Body { return &Deflask{} }, func() Body { return &Remount{} }, func() Body { return &Outcome{} },
	func() Body { return &Note{} }, func() Body { return &TimerStart{} }, func() Body { return &TimerStop{} },
	func() Body { return &AlarmHeard{} }, func() Body { return &AlarmShelve{} },
	func() Body { return &Correct{} }, func() Body { return &TakeBack{} },
	func() Body { return &Settings{} }, func() Body { return &Crew{} }, func() Body { return &Caution{} },
	func() Body { return &Clock{} }, func() Body { return &Restored{} }, func() Body { return &Seen{} },
	func() Body { return &LotIn{} }, func() Body { return &LotOut{} },
}

var byKind = func() map[Kind]func() Body {
	m := map[Kind]func() Body{}
	for _, mk := range makers {
		m[mk().Kind()] = mk
	}
	return m
}()

// Kinds lists every act, in the order of the day.
func Kinds() []Kind {
	ks := make([]Kind, len(makers))
	for i, mk := range makers {
		ks[i] = mk().Kind()
	}
	return ks
}

// The kinds by name.
func (FlaskOpen) Kind() Kind    { return "flask-open" }
func (FlaskMove) Kind() Kind    { return "flask-move" }
func (Coat) Kind() Kind         { return "coat" }
func (MixMake) Kind() Kind      { return "mix" }
func (MixServe) Kind() Kind     { return "mix-serve" }
func (MixDough) Kind() Kind     { return "mix-dough" }
func (MixStiff) Kind() Kind     { return "mix-stiff" }
func (PressIn) Kind() Kind      { return "press-in" }
func (PressAt) Kind() Kind      { return "press-at" }
func (PressOpen) Kind() Kind    { return "press-open" }
func (Flash) Kind() Kind        { return "flash" }
func (FlashMore) Kind() Kind    { return "flash-more" }
func (DoughAdd) Kind() Kind     { return "dough-add" }
func (Inspect) Kind() Kind      { return "inspect" }
func (FlaskLots) Kind() Kind    { return "flask-lots" }
func (SheetOut) Kind() Kind     { return "sheet-out" }
func (MetalToMetal) Kind() Kind { return "metal-to-metal" }
func (Clamp) Kind() Kind        { return "clamp" }
func (BathLoad) Kind() Kind     { return "bath-load" }
func (BathReading) Kind() Kind  { return "bath-reading" }
func (BathUnload) Kind() Kind   { return "bath-unload" }
func (CoolWater) Kind() Kind    { return "cool-water" }
func (Deflask) Kind() Kind      { return "deflask" }
func (Remount) Kind() Kind      { return "remount" }
func (Outcome) Kind() Kind      { return "outcome" }
func (Note) Kind() Kind         { return "note" }
func (TimerStart) Kind() Kind   { return "timer-start" }
func (TimerStop) Kind() Kind    { return "timer-stop" }
func (AlarmHeard) Kind() Kind   { return "alarm-heard" }
func (AlarmShelve) Kind() Kind  { return "alarm-shelve" }
func (Correct) Kind() Kind      { return "correct" }
func (TakeBack) Kind() Kind     { return "take-back" }
func (Settings) Kind() Kind     { return "settings" }
func (Crew) Kind() Kind         { return "crew" }
func (Caution) Kind() Kind      { return "caution" }
func (Clock) Kind() Kind        { return "clock" }
func (Restored) Kind() Kind     { return "restored" }
func (Seen) Kind() Kind         { return "seen" }
func (LotIn) Kind() Kind        { return "lot-in" }
func (LotOut) Kind() Kind       { return "lot-out" }

func f(n int) []Subject { return []Subject{{'f', n}} }
func fs(ns []int) []Subject {
	out := make([]Subject, len(ns))
	for i, n := range ns {
		out[i] = Subject{'f', n}
	}
	return out
}

// Subjects of each kind.
func (b FlaskOpen) Subjects() []Subject    { return f(b.Flask) }
func (b FlaskMove) Subjects() []Subject    { return f(b.Flask) }
func (b Coat) Subjects() []Subject         { return f(b.Flask) }
func (b MixMake) Subjects() []Subject      { return append(fs(b.Flasks), Subject{'m', b.Mix}) }
func (b MixServe) Subjects() []Subject     { return append(fs(b.Flasks), Subject{'m', b.Mix}) }
func (b MixDough) Subjects() []Subject     { return []Subject{{'m', b.Mix}} }
func (b MixStiff) Subjects() []Subject     { return []Subject{{'m', b.Mix}} }
func (b PressIn) Subjects() []Subject      { return f(b.Flask) }
func (b PressAt) Subjects() []Subject      { return f(b.Flask) }
func (b PressOpen) Subjects() []Subject    { return f(b.Flask) }
func (b Flash) Subjects() []Subject        { return f(b.Flask) }
func (b FlashMore) Subjects() []Subject    { return f(b.Flask) }
func (b DoughAdd) Subjects() []Subject     { return f(b.Flask) }
func (b Inspect) Subjects() []Subject      { return f(b.Flask) }
func (b FlaskLots) Subjects() []Subject    { return f(b.Flask) }
func (b SheetOut) Subjects() []Subject     { return f(b.Flask) }
func (b MetalToMetal) Subjects() []Subject { return f(b.Flask) }
func (b Clamp) Subjects() []Subject        { return f(b.Flask) }
func (b BathLoad) Subjects() []Subject     { return append(fs(b.Flasks), Subject{'l', b.Load}) }
func (b BathReading) Subjects() []Subject  { return nil }
func (b BathUnload) Subjects() []Subject   { return fs(b.Flasks) }
func (b CoolWater) Subjects() []Subject    { return fs(b.Flasks) }
func (b Deflask) Subjects() []Subject      { return fs(b.Flasks) }
func (b Remount) Subjects() []Subject      { return f(b.Flask) }
func (b Outcome) Subjects() []Subject      { return f(b.Flask) }
func (b Note) Subjects() []Subject {
	switch {
	case b.Flask > 0:
		return f(b.Flask)
	case b.Mix > 0:
		return []Subject{{'m', b.Mix}}
	case b.Load > 0:
		return []Subject{{'l', b.Load}}
	}
	return nil
}
func (b TimerStart) Subjects() []Subject { return []Subject{{'t', b.Timer}} }
func (b TimerStop) Subjects() []Subject  { return []Subject{{'t', b.Timer}} }
func (AlarmHeard) Subjects() []Subject   { return nil }
func (AlarmShelve) Subjects() []Subject  { return nil }
func (Correct) Subjects() []Subject      { return nil }
func (TakeBack) Subjects() []Subject     { return nil }
func (Settings) Subjects() []Subject     { return nil }
func (Crew) Subjects() []Subject         { return nil }
func (Restored) Subjects() []Subject     { return nil }
func (Caution) Subjects() []Subject      { return nil }
func (Clock) Subjects() []Subject        { return nil }
func (Seen) Subjects() []Subject         { return nil }
func (LotIn) Subjects() []Subject        { return nil }
func (LotOut) Subjects() []Subject       { return nil }

// Longest times and largest amounts; beyond them is a slip of the key.
const (
	maxSeconds     = 14 * 24 * 3600
	maxGrams       = 5000.0
	maxPressurePSI = 20000.0
	maxScan        = 160 // a whole label read by a scanner; what is kept is shorter
)

func first(errs ...error) error {
	for _, e := range errs {
		if e != nil {
			return e
		}
	}
	return nil
}
func no(name string, n int) error {
	if n < 1 || n > 1e9 {
		return fmt.Errorf("%s must be a number from 1 on, not %d", name, n)
	}
	return nil
}

// orNew takes 0 for "the book may choose".
func orNew(name string, n int) error {
	if n == 0 {
		return nil
	}
	return no(name, n)
}

// orHouse takes 0 for "as the house settings say".
func orHouse(name string, v, lo, hi float64, unit string) error {
	if v == 0 {
		return nil
	}
	return between(name, v, lo, hi, unit)
}

// stages may be left out: the programme of that name is meant.
func stages(s []house.Stage) error {
	if len(s) == 0 {
		return nil
	}
	return house.ValidStages(s)
}
func flasks(ns []int) error {
	if len(ns) < 1 || len(ns) > 9 {
		return fmt.Errorf("flasks lists %d: give 1 to 9", len(ns))
	}
	seen := map[int]bool{}
	for _, n := range ns {
		if err := no("flasks", n); err != nil {
			return err
		}
		if seen[n] {
			return fmt.Errorf("flasks names %d twice", n)
		}
		seen[n] = true
	}
	return nil
}
func place(n int) error {
	if n < 1 || n > 9 {
		return fmt.Errorf("place must be 1 to 9, not %d", n)
	}
	return nil
}
func oneOf(name, s string, words []string) error {
	for _, w := range words {
		if s == w {
			return nil
		}
	}
	return fmt.Errorf("%s must be one of %s, not %q", name, strings.Join(words, ", "), clip(s))
}
func between(name string, v, lo, hi float64, unit string) error {
	if math.IsNaN(v) || v < lo || v > hi {
		return fmt.Errorf("%s must be %g to %g %s, not %g", name, lo, hi, unit, v)
	}
	return nil
}
func seconds(name string, s int) error {
	if s < 0 || s > maxSeconds {
		return fmt.Errorf("%s must be 0 to %d seconds, not %d", name, maxSeconds, s)
	}
	return nil
}
func line(name, s string, most int) error {
	if strings.TrimSpace(s) == "" {
		return fmt.Errorf("%s is missing", name)
	}
	return text(name, s, most)
}
func fromList(name string, ss, allowed []string) error {
	seen := map[string]bool{}
	for _, s := range ss {
		if err := oneOf(name, s, allowed); err != nil {
			return err
		}
		if seen[s] {
			return fmt.Errorf("%s names %s twice", name, s)
		}
		seen[s] = true
	}
	return nil
}

// Valid of each kind.
func (b FlaskOpen) Valid() error {
	return first(orNew("flask", b.Flask), place(b.Place), line("case", b.Case, 24), oneOf("base", b.Base, Bases), oneOf("size", b.Size, Sizes), text("tag", b.Tag, 24))
}
func (b FlaskMove) Valid() error { return first(no("flask", b.Flask), place(b.Place)) }
func (b Coat) Valid() error {
	return first(no("flask", b.Flask), oneOf("half", b.Half, Halves), seconds("dry_min_s", b.DryMinS), seconds("dry_max_s", b.DryMaxS), upTo("dry_max_s", b.DryMaxS, b.DryMinS), text("lot", b.Lot, maxScan))
}
func (b MixMake) Valid() error {
	return first(orNew("mix", b.Mix), flasks(b.Flasks), text("resin", b.Resin, 40), orHouse("powder_g", b.PowderG, 0.1, maxGrams, "g"),
		orHouse("liquid_g", b.LiquidG, 0.1, maxGrams, "g"), text("powder_lot", b.PowderLot, maxScan), text("liquid_lot", b.LiquidLot, maxScan),
		orHouse("room_c", b.RoomC, 5, 45, "°C"), jar(b.JarC), seconds("dough_s", b.DoughS), seconds("work_s", b.WorkS), upTo("work_s", b.WorkS, b.DoughS))
}

// jar takes the temperature of parts from the refrigerator; 0 °C is one like any other.
func jar(c *float64) error {
	if c == nil {
		return nil
	}
	return between("jar_c", *c, -30, 45, "°C")
}

func (b MixServe) Valid() error { return first(no("mix", b.Mix), flasks(b.Flasks)) }
func (b MixDough) Valid() error { return no("mix", b.Mix) }
func (b MixStiff) Valid() error { return no("mix", b.Mix) }
func (b PressIn) Valid() error  { return first(no("flask", b.Flask), orNew("press", b.Press)) }
func (b PressAt) Valid() error {
	return first(no("flask", b.Flask), orHouse("pressure_psi", b.PressurePSI, 1, maxPressurePSI, "psi"), gauge(b.Gauge, b.PressurePSI), seconds("hold_s", b.HoldS))
}

// gauge wants the text of a gauge to say what the pressure says, where both are given, to
// within the three digits that are shown of it.
func gauge(text string, psi float64) error {
	if text == "" {
		return nil
	}
	if n := utf8.RuneCountInString(text); n > 24 {
		return fmt.Errorf("gauge has at most 24 characters, this has %d", n)
	}
	v, err := units.ParsePressure(text, "")
	if err != nil || v <= 0 {
		return fmt.Errorf("gauge must be a pressure with its unit, as in 207 bar, not %q", clip(text))
	}
	if psi != 0 && math.Abs(v-psi) > 0.006*psi {
		return fmt.Errorf("gauge says %q, pressure_psi %g: give one of them", clip(text), psi)
	}
	return nil
}
func (b PressOpen) Valid() error { return no("flask", b.Flask) }
func grams(g float64) error {
	if g == 0 {
		return nil
	}
	return between("grams", g, 0.01, 1000, "g")
}
func (b Flash) Valid() error {
	return first(no("flask", b.Flask), oneOf("grade", b.Grade, Grades), grams(b.Grams), fromList("where", b.Where, Wheres))
}
func (b FlashMore) Valid() error {
	if b.Grams == 0 && len(b.Where) == 0 {
		return errors.New("give grams, or where the flash was")
	}
	return first(no("flask", b.Flask), grams(b.Grams), fromList("where", b.Where, Wheres))
}
func (b DoughAdd) Valid() error { return no("flask", b.Flask) }
func (b Inspect) Valid() error  { return no("flask", b.Flask) }
func (b FlaskLots) Valid() error {
	if b.StoneLot == "" && b.SheetLot == "" {
		return errors.New("give stone_lot, sheet_lot or both")
	}
	return first(no("flask", b.Flask), text("stone_lot", b.StoneLot, maxScan), text("sheet_lot", b.SheetLot, maxScan))
}
func (b SheetOut) Valid() error { return no("flask", b.Flask) }
func (b MetalToMetal) Valid() error {
	return first(no("flask", b.Flask), orNew("press", b.Press), orHouse("pressure_psi", b.PressurePSI, 1, maxPressurePSI, "psi"), gauge(b.Gauge, b.PressurePSI))
}
func (b Clamp) Valid() error {
	return first(no("flask", b.Flask), between("backed_off_turn", b.BackedOffTurn, 0, 4, "turns"), seconds("bench_min_s", b.BenchMinS), seconds("bench_max_s", b.BenchMaxS), upTo("bench_max_s", b.BenchMaxS, b.BenchMinS))
}
func (b BathLoad) Valid() error {
	if err := first(orNew("load", b.Load), orNew("bath", b.Bath), flasks(b.Flasks), line("programme", b.Programme, 60), stages(b.Stages), orHouse("bath_c", b.BathC, 1, 105, "°C"), seconds("max_s", b.MaxS)); err != nil {
		return err
	}
	if err := upTo("max_s", b.MaxS, house.LengthS(b.Stages)); err != nil {
		return err
	}
	in := map[int]bool{}
	for _, n := range b.Flasks {
		in[n] = true
	}
	for _, s := range b.Sections {
		if !in[s.Flask] {
			return fmt.Errorf("sections name flask %d, which is not in the load", s.Flask)
		}
		in[s.Flask] = false
		if err := first(between("thin_mm", s.ThinMM, 0.5, 30, "mm"), between("thick_mm", s.ThickMM, s.ThinMM, 30, "mm")); err != nil {
			return err
		}
	}
	return nil
}
func (b BathReading) Valid() error {
	return first(no("bath", b.Bath), between("temp_c", b.TempC, 0, 130, "°C"), text("source", b.Source, 60))
}
func (b BathUnload) Valid() error {
	return first(flasks(b.Flasks), seconds("bench_s", b.BenchS))
}
func (b CoolWater) Valid() error {
	return first(flasks(b.Flasks), seconds("water_s", b.WaterS))
}
func (b Deflask) Valid() error { return flasks(b.Flasks) }
func (b Remount) Valid() error {
	return first(no("flask", b.Flask), between("pin_mm", b.PinMM, 0, 20, "mm"))
}
func (b Outcome) Valid() error {
	return first(no("flask", b.Flask), oneOf("outcome", Came(b.Outcome), Outcomes), fromList("defects", b.Defects, Defects))
}
func (b Note) Valid() error {
	if len(b.Subjects()) == 0 {
		return errors.New("a note belongs to a flask, a mix or a load: name one")
	}
	return line("text", b.Text, 400)
}
func (b TimerStart) Valid() error {
	if err := first(orNew("timer", b.Timer), line("label", b.Label, 40), oneOf("count", b.Count, Counts), seconds("min_s", b.MinS), seconds("aim_s", b.AimS), seconds("max_s", b.MaxS)); err != nil {
		return err
	}
	switch b.Count {
	case "up":
		if b.MinS+b.AimS+b.MaxS != 0 {
			return errors.New("a count-up has no ends: leave min_s, aim_s and max_s out")
		}
	case "down":
		if b.AimS == 0 || b.MinS+b.MaxS != 0 {
			return errors.New("a count-down has one length: give aim_s alone")
		}
	default:
		if b.MinS+b.AimS+b.MaxS == 0 {
			return errors.New("a window needs an end: give min_s, aim_s or max_s")
		}
		return first(upTo("aim_s", b.AimS, b.MinS), upTo("max_s", b.MaxS, max(b.MinS, b.AimS)))
	}
	return nil
}

// upTo wants a later end, where there is one, after an earlier.
func upTo(name string, later, earlier int) error {
	if later != 0 && later < earlier {
		return fmt.Errorf("%s is %d, which is before %d, the end ahead of it", name, later, earlier)
	}
	return nil
}
func (b TimerStop) Valid() error  { return no("timer", b.Timer) }
func (b AlarmHeard) Valid() error { return line("alarm", b.Alarm, 80) }
func (b AlarmShelve) Valid() error {
	if err := line("alarm", b.Alarm, 80); err != nil {
		return err
	}
	if b.ForS < 10 || b.ForS > 24*3600 {
		return fmt.Errorf("for_s must be 10 seconds to a day, not %d: shelving has an end", b.ForS)
	}
	return nil
}
func (b Correct) Valid() error {
	if err := line("of", b.Of, 64); err != nil {
		return err
	}
	var m map[string]json.RawMessage
	if err := json.Unmarshal(b.Set, &m); err != nil || len(m) == 0 {
		return errors.New(`"set" must be an object with the fields that change, as in {"grade":"slight"}`)
	}
	return nil
}
func (b TakeBack) Valid() error { return line("of", b.Of, 64) }
func (b Settings) Valid() error {
	if err := first(b.House.Valid(), text("from", b.From, 120)); err != nil {
		return err
	}
	if len(b.Changed) > 100 {
		return errors.New("changed has at most 100 entries")
	}
	for _, s := range b.Changed {
		if err := text("changed", s, 200); err != nil {
			return err
		}
	}
	return nil
}
func (b Crew) Valid() error {
	if strings.TrimSpace(b.Initials) == "" {
		return errors.New("initials are missing")
	}
	return initials(b.Initials)
}
func (b Caution) Valid() error { return oneOf("hazard", b.Hazard, Hazards) }
func (b Clock) Valid() error {
	return first(line("what", b.What, 40), text("detail", b.Detail, 120))
}
func (b Seen) Valid() error { return text("since", b.Since, 40) }
func (b Restored) Valid() error {
	return first(line("from", b.From, 90), line("gave_up", b.GaveUp, 90), text("kept", b.Kept, 255))
}
func (b LotIn) Valid() error {
	return first(oneOf("material", b.Material, Materials), line("lot", b.Lot, maxScan), text("product", b.Product, 60), date("expiry", b.Expiry))
}
func (b LotOut) Valid() error {
	return first(oneOf("material", b.Material, Materials), line("lot", b.Lot, maxScan), oneOf("reason", b.Reason, Withdrawals))
}

// date takes a day of the calendar, or none.
func date(name, s string) error {
	if s == "" {
		return nil
	}
	if t, err := time.Parse(time.DateOnly, s); err != nil || t.Year() < 1990 || t.Year() > 2200 {
		return fmt.Errorf("%s must be a day from 1990 to 2200, written 2027-05-31, not %q", name, clip(s))
	}
	return nil
}
