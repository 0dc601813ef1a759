// Package bench is the bench as it stands: a pure fold of the logbook's records,
// and the rules of what may be done next. It touches no disk and asks no clock.
//
// [Fold] makes a Bench from records; it is never changed afterwards, so that it
// can be handed about freely. [Bench.Check] holds an action against the bench and
// the house rules before it becomes a record. [Bench.Windows] gives every running
// window, [Bench.Next] the one step that comes next for a flask.
package bench

import (
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/dough"
)

// Stage of a flask on its route.
type Stage string

// The stages in order of the route.
const (
	Opened   Stage = "separator to paint"
	Drying   Stage = "separator drying"
	InPress  Stage = "in the press"
	Holding  Stage = "at pressure"
	Judging  Stage = "open, flash to judge"
	Trimmed  Stage = "trim and new sheet"
	Sheetout Stage = "sheet out"
	Metal    Stage = "metal to metal"
	Set      Stage = "bench set"
	InBath   Stage = "in the bath"
	Cooling  Stage = "cooling on the bench"
	InWater  Stage = "cooling in water"
	Open     Stage = "deflasked"
	Checked  Stage = "remounted"
	Finished Stage = "finished"
)

// Stages lists the route in order.
var Stages = []Stage{Opened, Drying, InPress, Holding, Judging, Trimmed, Sheetout, Metal, Set, InBath, Cooling, InWater, Open, Checked, Finished}

// rank is the place of a stage on the route.
func rank(s Stage) int {
	for i, t := range Stages {
		if s == t {
			return i
		}
	}
	return -1
}

// Half is the separator on one mould half.
type Half struct {
	N      int // which coat, from 1
	Coated timers.Stamp
	MinS   int
	MaxS   int
	Lot    string
}

// Trial is one trial closure.
type Trial struct {
	N         int
	Press     int
	In        timers.Stamp
	At        *timers.Stamp // pressure reached
	Out       *timers.Stamp // opened
	Judged    *timers.Stamp
	PSI       float64
	HoldAimS  int
	HeldS     int // from pressure reached to open, whole seconds
	Grade     string
	Grams     float64
	Where     []string
	Added     bool // dough was added before it
	Corrected bool
	InID      string // ids of the records it is made of
	AtID      string
	JudgeID   string
}

// Flask is one flask with all that was done to it.
type Flask struct {
	No    int
	Place int // 0 when off the bench
	Case  string
	Base  string
	Size  string
	Tag   string
	Stage Stage

	StoneLot   string
	SheetLot   string
	Opened     timers.Stamp
	Halves     map[string]*Half // by "cast" and "teeth"
	Mix        int              // 0 before one was made for it
	Trials     []Trial
	AddedSince bool // dough was added after the last trial
	Inspected  bool // somebody looked and the mould is full
	SheetOut   *timers.Stamp
	Metal      *timers.Stamp
	MetalPSI   float64
	Clamped    *timers.Stamp
	BackedOff  float64
	BenchMinS  int
	BenchMaxS  int
	Load       int
	InBath     *timers.Stamp
	OutBath    *timers.Stamp
	CoolS      int
	InWater    *timers.Stamp
	WaterS     int
	Deflasked  *timers.Stamp
	PinMM      *float64
	Outcome    string
	Ended      *timers.Stamp
	Defects    []string
	Notes      []Said
	Oddities   []Oddity        // what was out of the ordinary, with the reason given
	excused    map[string]bool // codes a reason was given for
	known      bool            // its opening is among the records given
	Last       timers.Stamp    // of its latest record
	LastID     string
}

// Said is a note.
type Said struct {
	At   timers.Stamp
	By   string
	Text string
}

// Oddity is an unusual step and the reason given for it.
type Oddity struct {
	At   timers.Stamp
	By   string
	What string // code
	Why  string
}

// Mix is one batch of dough.
type Mix struct {
	No        int
	Flasks    []int
	Resin     string
	PowderG   float64
	LiquidG   float64
	PowderLot string
	LiquidLot string
	RoomC     float64
	JarC      float64
	DoughS    int
	WorkS     int
	Made      timers.Stamp
	Window    dough.Window  // estimated, pulled by the marks
	Dough     *timers.Stamp // marked reached
	Stiff     *timers.Stamp // marked too stiff
	Notes     []Said
	Last      timers.Stamp
}

// Letter is the mix's name for people: A to Z, then A again.
func (m Mix) Letter() string { return MixLetter(m.No) }

// MixLetter gives the letter of a mix number.
func MixLetter(no int) string {
	if no < 1 {
		return "?"
	}
	return string(rune('A' + (no-1)%26))
}

// Load is the flasks put in a bath together.
type Load struct {
	No        int
	Bath      int
	Flasks    []int
	Programme string
	Stages    []house.Stage
	BathC     float64
	MaxS      int
	Sections  map[int]action.Section
	In        timers.Stamp
	Last      timers.Stamp
	Notes     []Said
}

// Timer is one of the user's own.
type Timer struct {
	No      int
	Label   string
	Count   string
	MinS    int
	AimS    int
	MaxS    int
	Start   timers.Stamp
	Stopped *timers.Stamp
}

// Reading is a bath temperature.
type Reading struct {
	Bath   int
	At     timers.Stamp
	TempC  float64
	Source string
}

// Item is one record as it counts now: with its corrections, or taken back.
type Item struct {
	record.Record
	Body        action.Body // as corrected
	Stamp       timers.Stamp
	Corrections []record.Record // in order
	TakenBack   *record.Record
}

// Corrected tells whether the item counts with other values than were first
// written.
func (it Item) Corrected() bool { return len(it.Corrections) > 0 }

// Bench is everything at work, and everything the records given to Fold spoke of.
type Bench struct {
	House    house.House
	Crew     string // initials of who is at the bench, "" when nobody said
	CrewAt   timers.Stamp
	TookOver bool // they read the handover
	Flasks   map[int]*Flask
	Places   [10]int // flask number by place 1..9; 0 free
	Mixes    map[int]*Mix
	Loads    map[int]*Load
	Timers   map[int]*Timer
	Readings []Reading
	Answers  []timers.Answer
	Cautions map[string]timers.Stamp // hazard and initials: last shown
	Items    []Item                  // in order of the book
	Top      Counters                // highest numbers used
	Seen     timers.Stamp            // when what fell due was last read

	register []KnownLot // of all materials, in order of the latest change

	byID map[string]int // index into Items
	memo *memo

	pruned int // how many records were left when it was last pruned
}

// Counters are the highest numbers used in a book, and its last record.
type Counters struct {
	Flask, Mix, Load, Timer int
	Seq                     uint64
}

// OnPlace gives the flask on a place, or nil.
func (b *Bench) OnPlace(place int) *Flask {
	if place < 1 || place > 9 || b.Places[place] == 0 {
		return nil
	}
	return b.Flasks[b.Places[place]]
}

// FreePlace gives the lowest free place, or 0.
func (b *Bench) FreePlace() int {
	for p := 1; p <= 9; p++ {
		if b.Places[p] == 0 {
			return p
		}
	}
	return 0
}

// Item finds a record by its id.
func (b *Bench) Item(id string) (Item, bool) {
	i, ok := b.byID[id]
	if !ok {
		return Item{}, false
	}
	return b.Items[i], true
}

// MixOf gives the mix of a flask, or nil.
func (b *Bench) MixOf(f *Flask) *Mix { return b.Mixes[f.Mix] }

// LoadOf gives the load of a flask, or nil.
func (b *Bench) LoadOf(f *Flask) *Load { return b.Loads[f.Load] }

// Trial gives the latest trial closure, or nil.
func (f *Flask) Trial() *Trial {
	if len(f.Trials) == 0 {
		return nil
	}
	return &f.Trials[len(f.Trials)-1]
}

// Judged lists the closures that were judged.
func (f *Flask) Judged() []Trial {
	out := make([]Trial, 0, len(f.Trials))
	for _, t := range f.Trials {
		if t.Grade != "" {
			out = append(out, t)
		}
	}
	return out
}

// ClosedForGood tells whether the final closure is made.
func (f *Flask) ClosedForGood() bool { return f.Metal != nil }

// seconds between two stamps, exact within one boot.
func between(from, to timers.Stamp) time.Duration {
	if from.BootID != "" && from.BootID == to.BootID {
		return to.Boot - from.Boot
	}
	return to.At.Sub(from.At)
}
