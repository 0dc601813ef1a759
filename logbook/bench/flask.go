package bench

import (
	"errors"
	"fmt"

	"flaskside/logbook/action"
	"flaskside/logbook/flash"
	"flaskside/timers"
)

// The flask itself: opened on a place, moved.
var flaskItself = subject{
	rules: []rule{
		on(checkFlaskOpen, applyFlaskOpen, mends("case", "base", "size", "tag"), alive(caseAlive[action.FlaskOpen]),
			makes(func(a action.FlaskOpen) action.Subject { return action.Subject{Class: 'f', No: a.Flask} }),
			corrected(func(c *checker, was, is action.FlaskOpen) error {
				if was.Case != is.Case {
					c.caseNumber(is.Case)
				}
				if c.b.Flasks[is.Flask] != nil && was.Place != is.Place {
					return errors.New("a flask is moved, not corrected, to another place")
				}
				return nil
			})),
		on(checkFlaskMove, func(b *Bench, a action.FlaskMove, it *Item) { b.flask(a.Flask, it).Place = a.Place }, quiet),
	},
	lives: map[byte]func(*living, int) bool{'f': (*living).flask},
}

// FlaskStage of a flask on its route.
type FlaskStage string

// The stages in order of the route.
const (
	Opened   FlaskStage = "separator to paint"
	Drying   FlaskStage = "separator drying"
	InPress  FlaskStage = "in the press"
	Holding  FlaskStage = "at pressure"
	Judging  FlaskStage = "open, flash to judge"
	Trimmed  FlaskStage = "trim and new sheet"
	Sheetout FlaskStage = "sheet out"
	Metal    FlaskStage = "metal to metal"
	Set      FlaskStage = "bench set"
	InBath   FlaskStage = "in the bath"
	Cooling  FlaskStage = "cooling on the bench"
	InWater  FlaskStage = "cooling in water"
	Open     FlaskStage = "deflasked"
	Checked  FlaskStage = "remounted"
	Finished FlaskStage = "finished"
)

// Stages lists the route in order.
var Stages = []FlaskStage{Opened, Drying, InPress, Holding, Judging, Trimmed, Sheetout, Metal, Set, InBath, Cooling, InWater, Open, Checked, Finished}

// rank is the place of a stage on the route.
func rank(s FlaskStage) int {
	for i, t := range Stages {
		if s == t {
			return i
		}
	}
	return -1
}

// Flask is one flask with all that was done to it.
type Flask struct {
	No    int
	Place int // 0 when off the bench, in a bath that it left its place for, or without one
	Home  int // the place it left last, 0 where it never did
	Case  string
	Base  string
	Size  action.Size
	Tag   string
	Stage FlaskStage

	StoneLot   string
	SheetLot   string
	Opened     timers.Stamp
	Halves     map[action.Half]*half
	Mix        int // 0 before one was made for it
	Trials     []Trial
	Press      int  // the one it is in, or was in last; see [Bench.InPress]
	AddedSince bool // dough was added after the last trial
	Inspected  bool // somebody looked and the mould is full
	SheetOut   *timers.Stamp
	Metal      *timers.Stamp
	MetalPSI   float64
	MetalGauge string         // as it was read off, with its unit
	MetalDoubt []action.Doubt // what spoke against the gauge then
	Clamped    *timers.Stamp
	BackedOff  float64
	Clamp      string // which clamp, by its number or name
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
	Oddities   []Oddity        // what was out of the ordinary, with the reason given
	excused    map[string]bool // codes a reason was given for
	known      bool            // its opening is among the records given
	openSeq    uint64          // the record of that
	endSeq     uint64          // the record of its outcome
	Last       timers.Stamp    // of its latest record
	LastID     string

	// What its alarms are never older than: see since.go.
	set, given, trend, back timers.Stamp
}

// Oddity is an unusual step and the reason given for it.
type Oddity struct {
	At   timers.Stamp
	By   string
	What string // code
	Why  string
}

// ClosedForGood tells whether the final closure is made.
func (f *Flask) ClosedForGood() bool { return f.Metal != nil }

// flask finds the flask a record is about, and notes that it was touched.
func (b *Bench) flask(no int, it *Item) *Flask {
	f := own(b, b.Flasks, no, (*Flask).apart)
	if f == nil {
		f = &Flask{No: no, Case: "?", Size: flash.Medium, Stage: Opened, Halves: map[action.Half]*half{}, excused: map[string]bool{}, Opened: it.Stamp}
		b.Flasks[no] = f
		b.made(f)
	}
	f.Last, f.LastID = it.Stamp, it.Action.ID
	if it.Corrected() && !rules[it.Body.Kind()].quiet {
		f.trend = timers.Latest(f.trend, it.set())
	}
	for _, u := range it.Action.Unusual {
		code, of := oddOf(u)
		if of != 0 && of != no {
			continue
		}
		f.Oddities = append(f.Oddities, Oddity{it.Stamp, it.Action.By, code, it.Action.Why})
		f.excused[code] = true
		for _, u := range action.LotsUsed(it.Body) { // the reason was for this lot, not for any
			f.excused[lotKey(code, u.Material, u.Lot)] = true
		}
		for _, p := range action.PiecesUsed(it.Body) {
			f.excused[pieceKey(code, p)] = true
		}
	}
	return f
}

func checkFlaskOpen(c *checker, a action.FlaskOpen) (action.FlaskOpen, error) {
	if err := number("flask", &a.Flask, c.b.Top.Flask); err != nil {
		return a, err
	}
	c.caseNumber(a.Case)
	c.caseDouble(a)
	c.flaskForCase(a)
	return a, c.free(a.Place)
}

// caseNumber asks about a case number that does not look like one of the house: a name may
// have been typed.
func (c *checker) caseNumber(s string) {
	if odd := c.b.House.CaseOdd(s); odd != "" {
		c.unusual(CaseCode, "%s", odd)
	}
}

func applyFlaskOpen(b *Bench, a action.FlaskOpen, it *Item) {
	f := b.flask(a.Flask, it)
	f.Place, f.Case, f.Base, f.Size, f.Tag, f.Opened, f.known = a.Place, a.Case, a.Base, a.Size, a.Tag, it.Stamp, true
	f.openSeq = it.Seq
	for _, number := range otherNumbers(it) {
		b.returnedTo(number, it, it.set())
	}
	b.caseTaken(f)
}

func checkFlaskMove(c *checker, a action.FlaskMove) (action.FlaskMove, error) {
	f, err := c.flask(a.Flask)
	if err != nil {
		return a, err
	}
	if s := c.b.SpotOf(f); s.Bath > 0 {
		return a, fmt.Errorf("flask %d is in %s: it gets a place when it comes out", a.Flask, c.b.WhereWords(f))
	}
	if f.Place == a.Place {
		return a, fmt.Errorf("flask %d stands on place %d already", a.Flask, a.Place)
	}
	return a, c.free(a.Place)
}

func (c *checker) free(place int) error {
	if f := c.b.OnPlace(place); f != nil {
		return fmt.Errorf("place %d is taken by flask %d (case %s)", place, f.No, f.Case)
	}
	return nil
}

func (l *living) flask(n int) bool { f := l.b.Flasks[n]; return f != nil && f.Stage != Finished }

func (l *living) anyFlask(ns []int) bool {
	for _, n := range ns {
		if l.flask(n) {
			return true
		}
	}
	return false
}
