package bench

import "flaskside/timers"

// Signals are what can sound at a moment, whatever was answered.
func (b *Bench) Signals(now timers.Now) []timers.Signal { return b.signals(now) }

// OddOf takes a code of the unusual apart: what it is, and the flask it names, 0 for none.
func OddOf(code string) (string, int) { return oddOf(code) }

// For tests from outside the package.
const (
	Ahead          = ahead
	CaseDoubleCode = caseDoubleCode
	CaseMadeCode   = caseMadeCode
	CaseOpenCode   = caseOpenCode
	DuePastCode    = duePastCode
	LostCode       = lostCode
	NoFlaskCode    = noFlaskCode
	PairLoadCode   = pairLoadCode
	PairLotCode    = pairLotCode
	PieceOutCode   = pieceOutCode
	PlaceCode      = placeCode
	ResinCode      = resinCode
	StepOffCode    = stepOffCode
	StepShortCode  = stepShortCode
)

var (
	ErrNoNotes = errNoNotes
	OddCode    = oddCode
)

// CaseDone is a step of a case that was done, for tests from outside the package.
type CaseDone = caseDone
