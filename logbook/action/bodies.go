package action

import (
	"encoding/json"

	"flaskside/logbook/flash"
	"flaskside/logbook/house"
	"flaskside/logbook/route"
)

// Places is how many numbered places a bench has.
const Places = 9

// Words with a fixed choice.
var (
	Bases    = []string{"upper", "lower", "partial", "reline"}
	Sizes    = flash.Sizes()
	Halves   = []Half{Cast, Teeth, Both}
	Grades   = []Grade{NoFlash, SlightFlash, HeavyFlash}
	Wheres   = []string{"posterior", "left buccal", "right buccal", "labial", "lingual"}
	Outcomes = []string{Finished, "adjusted", "remake"}
	Defects  = []string{"porosity", "open bite", "movement of teeth", "crazing", "fracture", "short mould"}
	counts   = []string{"window", "down", "up"}
	Hazards  = route.Cautions

	// Materials are what comes in lots; Withdrawals are why a lot is withdrawn.
	Materials   = []Material{Powder, Liquid, Separator, Sheet, Stone}
	Withdrawals = []string{"used up", "recalled", "expired", "spoilt"}
)

// Size of a base.
type Size = flash.Size

// Half of a mould, or both of them.
type Half string

// The halves.
const (
	Cast  Half = "cast"
	Teeth Half = "teeth"
	Both  Half = "both"
)

// EachHalf lists the halves of a mould that dry by themselves, in the order of the forms.
var EachHalf = []Half{Cast, Teeth}

// Covers tells whether what was done to h was done to one half.
func (h Half) Covers(one Half) bool { return h == one || h == Both }

// Grade of the flash at a trial closure, as the bench calls it; package flash counts with it.
type Grade string

// The grades, least flash first.
const (
	NoFlash     Grade = "none"
	SlightFlash Grade = "slight"
	HeavyFlash  Grade = "heavy"
)

// Material is what comes in lots.
type Material string

// The materials of a flask.
const (
	Powder    Material = "powder"
	Liquid    Material = "liquid"
	Separator Material = "separator"
	Sheet     Material = "sheet"
	Stone     Material = "stone"
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
	Size  Size   `json:"size" jsonschema:"enum=small,enum=medium,enum=large"`
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
	Half    Half   `json:"half" jsonschema:"enum=cast,enum=teeth,enum=both"`
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
	Doubts      []Doubt `json:"doubts,omitempty" jsonschema_description:"ignored: what speaks against the gauge of the press the bench finds out for itself"`
}

// PressOpen is the press let down and the flask opened.
type PressOpen struct {
	Flask int `json:"flask"`
}

// Flash is the flash judged at a trial closure, then trimmed and a new sheet laid.
type Flash struct {
	Flask int      `json:"flask"`
	Grade Grade    `json:"grade" jsonschema:"enum=none,enum=slight,enum=heavy"`
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
	Doubts      []Doubt `json:"doubts,omitempty" jsonschema_description:"ignored: what speaks against the gauge of the press the bench finds out for itself"`
}

// Clamp is the flask clamped and out of the press; the bench set begins.
type Clamp struct {
	Flask         int     `json:"flask"`
	BackedOffTurn float64 `json:"backed_off_turn,omitempty" jsonschema_description:"how far the clamp was backed off, turns"`
	BenchMinS     int     `json:"bench_min_s,omitempty"`
	BenchMaxS     int     `json:"bench_max_s,omitempty"`
	Clamp         string  `json:"clamp,omitempty" jsonschema_description:"which clamp, by its number or name"`
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
	OffPlace  bool          `json:"off_place,omitempty" jsonschema_description:"the flasks leave their places, which others may have until they come out"`
	Doubts    []Doubt       `json:"doubts,omitempty" jsonschema_description:"ignored: what speaks against the thermometers of the bath the bench finds out for itself"`
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
	Places []int `json:"places,omitempty" jsonschema_description:"for each flask the place it comes back to, 0 for none; left out: its own where that is free, or the lowest that is"`
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
	Of      string `json:"of" jsonschema_description:"id of the record taken back"`
	NoPlace []int  `json:"no_place,omitempty" jsonschema_description:"flasks that stand without a place by it, since another stands on theirs; filled in by the bench"`
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

// IsAmendment tells whether a body corrects or takes back another action.
func IsAmendment(b Body) bool {
	_, ok := Amends(b)
	return ok
}

// Root looks through corrections and takings back to what t is about in the end: body is
// the body of a T, find gives what is recorded under an id. ok is false where something on
// the way is not known; root is then the last that is.
func Root[T any](t T, body func(T) Body, find func(id string) (T, bool)) (root T, ok bool) {
	for range 16 { // a taking back of a taking back …, but no book has a ring
		of, amends := Amends(body(t))
		if !amends {
			return t, true
		}
		next, known := find(of)
		if !known {
			return t, false
		}
		t = next
	}
	return t, false
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
	Hazard string `json:"hazard" jsonschema:"enum=monomer,enum=press,enum=bath,enum=deflask,enum=scald,enum=dust,enum=pot,enum=soak"`
}

// ClockEvent records what happened to the clocks.
type ClockEvent struct {
	What   string `json:"what"`
	ByS    int    `json:"by_s"`
	Detail string `json:"detail,omitempty"`
}

// Seen records that what fell due while the program was away was read.
type Seen struct {
	Since string `json:"since,omitempty"`
}

// Restored says that a backup, or what a salvage brought together, was put in the place of the
// logbook, and records that it lacks were given up. Heads are written as they are printed, number and short hash.
type Restored struct {
	From   string `json:"from" jsonschema_description:"the last record of the backup, from which the logbook goes on"`
	GaveUp string `json:"gave_up" jsonschema_description:"the last of the records that were given up"`
	Kept   string `json:"kept,omitempty" jsonschema_description:"the file in which they still stand, beside the logbook"`
	// Salvaged is set where the logbook was brought together from what was left, and what was given up did not
	// fit: another history of it, or a record that was changed.
	Salvaged bool `json:"salvaged,omitempty" jsonschema_description:"the logbook was brought together by salvage; given up is what did not fit: another history, or a record that was changed"`
}

// LotIn is a lot taken into the house, checked in by whoever records it.
type LotIn struct {
	Material Material `json:"material" jsonschema:"enum=powder,enum=liquid,enum=separator,enum=sheet,enum=stone"`
	Lot      string   `json:"lot" jsonschema_description:"the code of the jar as scanned, or the lot as typed"`
	Product  string   `json:"product,omitempty" jsonschema_description:"the lab's own words for the product"`
	Expiry   string   `json:"expiry,omitempty" jsonschema:"format=date" jsonschema_description:"last day of use; left out: as the code says"`
}

// LotOut is a lot withdrawn from use.
type LotOut struct {
	Material Material `json:"material" jsonschema:"enum=powder,enum=liquid,enum=separator,enum=sheet,enum=stone"`
	Lot      string   `json:"lot" jsonschema_description:"the code of the jar as scanned, or the lot as typed"`
	Reason   string   `json:"reason" jsonschema:"enum=used up,enum=recalled,enum=expired,enum=spoilt"`
}

// LotUse is a lot that an action says went into a flask; "" where it names none.
type LotUse struct {
	Material Material
	Lot      string
}

// LotsUsed lists the lots that a body has room for; none for a body without.
func LotsUsed(body Body) []LotUse {
	switch a := body.(type) {
	case Coat:
		return []LotUse{{Separator, a.Lot}}
	case MixMake:
		return []LotUse{{Powder, a.PowderLot}, {Liquid, a.LiquidLot}}
	case FlaskLots:
		return []LotUse{{Stone, a.StoneLot}, {Sheet, a.SheetLot}}
	case CaseStep:
		var out []LotUse
		for _, v := range a.Values {
			if of, ok := route.LotOf(v.Of); ok {
				out = append(out, LotUse{Material(of), v.Text})
			}
		}
		return out
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
	func() Body { return &ClockEvent{} }, func() Body { return &Restored{} }, func() Body { return &SignOff{} }, func() Body { return &Seen{} }, func() Body { return &Screen{} },
	func() Body { return &LotIn{} }, func() Body { return &LotOut{} },
	func() Body { return &EquipIn{} }, func() Body { return &EquipCheck{} }, func() Body { return &EquipWater{} }, func() Body { return &EquipOut{} },
	func() Body { return &CaseIn{} }, func() Body { return &CaseOff{} }, func() Body { return &CaseDelivered{} }, func() Body { return &DayPlan{} }, func() Body { return &CaseStep{} },
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
func (ClockEvent) Kind() Kind   { return "clock" }
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
func (ClockEvent) Subjects() []Subject   { return nil }
func (Seen) Subjects() []Subject         { return nil }
func (LotIn) Subjects() []Subject        { return nil }
func (LotOut) Subjects() []Subject       { return nil }
