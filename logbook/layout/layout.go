// Package layout says how a logbook lies in its file: the parts of it, the keys of each,
// and by what a record is found. Who writes the file and who looks at it from outside
// share it. It touches no disk. The parts are told of at the head of package logbook.
package layout

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/lot"
	"flaskside/logbook/record"
)

// Names of the parts, and of what stands in them once.
var (
	Meta  = []byte("meta")
	Log   = []byte("log")
	Index = []byte("index")
	Live  = []byte("live")
	Beat  = []byte("beat")

	KeyLast = []byte("last") // in Beat
	KeyHead = []byte("head") // in Meta, beside "format" and "created", as are:

	KeyBook    = []byte("book")
	KeyJournal = []byte("journal") // what journals lay beside the book
	KeyIndexed = []byte("indexed") // number of the record that index and live list end with; without it, the last
)

// MostBehind is how many records the index may at most be behind, and one less.
const MostBehind = 64

// Parts lists the parts that every book has.
func Parts() [][]byte { return [][]byte{Meta, Log, Index, Live, Beat} }

// Format is the version of the file that this program makes; see also [FormatNow]. Formats
// are compared as texts while they have one digit.
const Format = "1"

// Format2 is the format of a book from its first record on that a program of format 1
// does not know: a lot taken in or withdrawn, a handover that was read, an hour for the
// backup, what changed in the settings, limits of the house, the air of its place, a gauge in
// another unit than psi, a backup put in its place, a case taken in, a day signed off. Such a
// program would call the book damaged, and must refuse it as newer instead.
// All else is as in format 1, so that nothing is laid out anew, and a book without them
// stays readable for older programs. A copy of the book as it was is kept.
const Format2 = "2"

// FormatNow is the same for what a program of format 2 does not know: a screen that joined or
// left, a day plan that was taken, people with their roles or a mirror in the settings, flasks
// that leave their places for the bath, equipment and what a step says of it, a
// step of a case on its route, routes of the house.
const FormatNow = "3"

// What may be wrong with a file; each is wrapped in a line for the person.
var (
	// ErrForeign: the file is not a logbook of this program.
	ErrForeign = errors.New("this is not a flaskside logbook")
	// ErrDamaged: the file is a logbook that cannot be read.
	ErrDamaged = errors.New("the logbook is damaged")
	// ErrNewer: the file is of a later format.
	ErrNewer = errors.New("the logbook was written by a newer flaskside")
)

// Readable says whether this program reads books of a format. There is none before
// the first; one that follows will bring the step to it.
func Readable(format string) error {
	if format == Format || format == Format2 || format == FormatNow {
		return nil
	}
	ours, err := strconv.Atoi(FormatNow)
	if n, nerr := strconv.Atoi(format); err == nil && nerr == nil && n > ours {
		return fmt.Errorf("%w: format %d, this one reads up to %s: use a newer program", ErrNewer, n, FormatNow)
	}
	return fmt.Errorf("%w: format %q", ErrForeign, format)
}

// Head is the end of the chain.
type Head struct {
	Seq  uint64      `json:"seq"`
	Hash record.Hash `json:"hash"`
}

// String gives the head as it is printed, number and short hash.
func (h Head) String() string { return fmt.Sprintf("%d:%s", h.Seq, h.Hash.Short()) }

// Bytes is the head as the book keeps it.
func (h Head) Bytes() []byte { return append(SeqKey(h.Seq), h.Hash[:]...) }

// ParseHead reads the head that a book keeps; ok is false where it is none.
func ParseHead(b []byte) (h Head, ok bool) {
	if len(b) != 8+len(h.Hash) {
		return h, false
	}
	return Head{binary.BigEndian.Uint64(b), record.Hash(b[8:])}, true
}

// SeqKey is the key of a record in the log.
func SeqKey(seq uint64) []byte { return binary.BigEndian.AppendUint64(nil, seq) }

// Number reads the number that a record stands under, 0 where that is none.
func Number(key []byte) uint64 {
	if len(key) != 8 {
		return 0
	}
	return binary.BigEndian.Uint64(key)
}

// IDKey is what a record is found by its id with.
func IDKey(id string) []byte { return append([]byte{'i'}, id...) }

// DayKey is what a record is found by the instant of its act with.
func DayKey(at time.Time, seq uint64) []byte { return appendDayKey(nil, at, seq) }

func appendDayKey(b []byte, at time.Time, seq uint64) []byte {
	ns := at.UnixNano()
	switch { // what nanoseconds cannot count lies before or after everything
	case at.Year() < 1700:
		ns = math.MinInt64
	case at.Year() > 2250:
		ns = math.MaxInt64
	}
	k := binary.BigEndian.AppendUint64(append(b, 'd'), uint64(ns)^(1<<63)) // instants before 1970 sort first
	return binary.BigEndian.AppendUint64(k, seq)
}

// AmendKey is what a correction or a taking back is found by the record it is about with.
func AmendKey(of, seq uint64) []byte { return appendAmendKey(nil, of, seq) }

func appendAmendKey(b []byte, of, seq uint64) []byte {
	return binary.BigEndian.AppendUint64(binary.BigEndian.AppendUint64(append(b, 'c'), of), seq)
}

// SubjectPrefix begins the keys of the records about a subject.
func SubjectPrefix(s action.Subject) []byte {
	return binary.BigEndian.AppendUint32([]byte{s.Class}, uint32(s.No))
}

// SubjectKey is what a record is found by its subject with.
func SubjectKey(s action.Subject, seq uint64) []byte { return appendSubjectKey(nil, s, seq) }

func appendSubjectKey(b []byte, s action.Subject, seq uint64) []byte {
	return binary.BigEndian.AppendUint64(binary.BigEndian.AppendUint32(append(b, s.Class), uint32(s.No)), seq)
}

// Subjects of the index that are no things on the bench.
var (
	SubjectSettings = action.Subject{Class: 's', No: 1}
	SubjectCrew     = action.Subject{Class: 's', No: 2}
)

// SubjectSignOff is a day, by the sign-offs of it.
func SubjectSignOff(s action.SignOff) action.Subject { return action.Subject{Class: 'g', No: s.No()} }

// SubjectRegister is the register of the lots of a material.
func SubjectRegister(material action.Material) action.Subject {
	return action.Subject{Class: 'k', No: slices.Index(action.Materials, material) + 1}
}

// SubjectLot is one lot, by a number made of its name. Two lots may share one: then a
// little too much is read.
func SubjectLot(u action.LotUse, year int) action.Subject {
	name := strings.TrimSpace(u.Lot)
	if l, err := lot.Parse(u.Lot, year); err == nil {
		name = l.Name()
	}
	h := fnv.New32a()
	_, _ = h.Write([]byte(string(u.Material) + "\x00" + name)) // a hash takes everything
	return action.Subject{Class: 'j', No: int(h.Sum32() >> 1)}
}

// SubjectEquipment is the whole register of equipment.
var SubjectEquipment = action.Subject{Class: 'k', No: 64}

// SubjectPiece is one piece of equipment, by a number made of its kind and name, as
// [SubjectLot] is one of a lot.
func SubjectPiece(p action.Piece) action.Subject {
	h := fnv.New32a()
	_, _ = h.Write([]byte("equipment\x00" + p.Key())) // a hash takes everything
	return action.Subject{Class: 'j', No: int(h.Sum32() >> 1)}
}

// RegisterSubjects gives what a record of the register of lots, or of that of equipment, is
// found by: first the register, then the thing. What is fitted to something is found by that,
// too.
func RegisterSubjects(body action.Body, year int) []action.Subject {
	if p, ok := action.PieceOf(body); ok {
		out := []action.Subject{SubjectEquipment, SubjectPiece(p)}
		if in, is := body.(action.EquipIn); is {
			if on, fitted := in.FittedTo(); fitted {
				out = append(out, SubjectPiece(on))
			}
		}
		return out
	}
	var u action.LotUse
	switch a := body.(type) {
	case action.LotIn:
		u = action.LotUse{Material: a.Material, Lot: a.Lot}
	case action.LotOut:
		u = action.LotUse{Material: a.Material, Lot: a.Lot}
	default:
		return nil
	}
	return []action.Subject{SubjectRegister(u.Material), SubjectLot(u, year)}
}

// SubjectCase is a case that was taken in, by a number made of its own. Two may share one:
// then a little too much is read. Flasks are not found by it: books had them before there
// was a list of cases.
func SubjectCase(number string) action.Subject {
	h := fnv.New32a()
	_, _ = h.Write([]byte(number)) // a hash takes everything
	return action.Subject{Class: 'n', No: int(h.Sum32() >> 1)}
}

// IndexKeys gives the index entries of a record; of finds a record by its id. The
// value of the first, its id, is its number; the others have none.
func IndexKeys(r record.Record, of func(id string) (record.Record, bool)) [][]byte {
	var keys [][]byte
	EachIndexKey(&r, of, make([]byte, 0, keyRoom), func(key []byte) { keys = append(keys, bytes.Clone(key)) })
	return keys
}

// keyRoom is room for most keys.
const keyRoom = 64

// EachIndexKey hands the keys that [IndexKeys] gives to each, one after the other in the same bytes, for
// which room is used.
func EachIndexKey(r *record.Record, of func(id string) (record.Record, bool), room []byte, each func(key []byte)) {
	each(append(append(room[:0], 'i'), r.Action.ID...))
	each(appendDayKey(room[:0], r.Stamp.At, r.Seq))
	seq, at, body := r.Seq, r.Stamp.At, r.Action.Body
	if action.IsAmendment(body) {
		root := RootOf(*r, of)
		seq, at, body = root.Seq, root.Stamp.At, root.Action.Body
	}
	for _, s := range subjectsOf(body, at) {
		each(appendSubjectKey(room[:0], s, r.Seq))
	}
	if seq != r.Seq {
		each(appendAmendKey(room[:0], seq, r.Seq))
	}
}

// subjectsOf gives what a record is found by that is in no other one's words, with its body and time.
func subjectsOf(body action.Body, at time.Time) (subjects []action.Subject) {
	switch a := body.(type) {
	case action.Correct, action.TakeBack: // of something that is not in the book
	case action.Settings:
		subjects = []action.Subject{SubjectSettings}
	case action.Crew:
		subjects = []action.Subject{SubjectCrew}
	case action.BathReading:
		subjects = []action.Subject{{Class: 'b', No: a.Bath}}
	case action.LotIn, action.LotOut, action.EquipIn, action.EquipCheck, action.EquipWater, action.EquipOut:
		subjects = RegisterSubjects(a, at.Year())
	case action.SignOff:
		subjects = []action.Subject{SubjectSignOff(a)}
	case action.CaseIn, action.CaseOff, action.CaseDelivered, action.CaseStep:
		number, _, _ := action.CaseOf(a)
		subjects = []action.Subject{SubjectCase(number)}
	default:
		subjects = bench.Subjects(a, nil)
	}
	return subjects
}

// RootOf looks through corrections and takings back to the record they are about in the
// end, as far as that is in the book.
func RootOf(r record.Record, of func(id string) (record.Record, bool)) record.Record {
	root, _ := action.Root(r, func(r record.Record) action.Body { return r.Action.Body }, of)
	return root
}
