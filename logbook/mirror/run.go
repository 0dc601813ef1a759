package mirror

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// Bounds of a run: what a server takes as one message, and what is sent again after a fault.
const (
	RunRecords = 500
	RunBytes   = 512 << 10
	maxRun     = 8 << 20 // of one that is read; a longer one is none of ours
)

// Header is the first line of a run.
type Header struct {
	Mirror     int         `json:"mirror"` // version of the format
	Book       string      `json:"book"`   // identity
	Generation int         `json:"generation"`
	Bench      string      `json:"bench"` // what the house calls it
	First      uint64      `json:"first"` // number of the first record, from 1
	Last       uint64      `json:"last"`
	Prev       record.Hash `json:"prev"` // of the record before the first
	Hash       record.Hash `json:"hash"` // of the last record
	Head       uint64      `json:"head"` // number of the last record that the book had when this was made
	At         time.Time   `json:"at"`   // when, by the bench's clock
}

// withheld stands in the place of a record that the house keeps to itself: its hash keeps
// the chain whole, its words stay in the house.
type withheld struct {
	Withheld uint64      `json:"withheld"` // number of the record
	Prev     record.Hash `json:"prev"`
	Hash     record.Hash `json:"hash"`
}

var beginsWithheld = []byte(`{"withheld":`)

// RunRecord is one record in a run.
type RunRecord struct {
	Seq        uint64
	Prev, Hash record.Hash
	Raw        []byte // the record's own bytes; nil where it is withheld
}

// Run is some records of a book in a row, each on the one before: at most [RunRecords], and
// at most [RunBytes] unless one record alone is longer. It is written as JSON Lines, the
// header first, then the records' own bytes.
type Run struct {
	Header  Header
	Entries []RunRecord
	Name    string // what the place calls it, where it was read
}

// End is where the run ends.
func (r Run) End() StreamEnd { return StreamEnd{Seq: r.Header.Last, Hash: r.Header.Hash} }

// ID names the run by the hash of its last record: a number would hide a fork, for two
// histories count alike.
func (r Run) ID() string { return r.Header.Hash.String() }

// Bytes writes the run as it is stored.
func (r Run) Bytes() ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(r.Header); err != nil {
		return nil, fmt.Errorf("write a run: %w", err)
	}
	for _, e := range r.Entries {
		if e.Raw != nil {
			b.Write(e.Raw)
			b.WriteByte('\n')
			continue
		}
		if err := enc.Encode(withheld{e.Seq, e.Prev, e.Hash}); err != nil {
			return nil, fmt.Errorf("write a run: %w", err)
		}
	}
	return b.Bytes(), nil
}

// errForeign: what was read is no run of a mirror.
var errForeign = errors.New("this is no part of a mirror")

// ParseRun reads a run and holds every line to the header: each record follows on the one
// before, and the last is the one that the header names. One that was cut off or changed is
// refused, whatever its header counts.
func ParseRun(b []byte) (Run, error) {
	line, rest, ok := bytes.Cut(b, []byte("\n"))
	var h Header
	if !ok || len(b) > maxRun || !bytes.HasPrefix(line, []byte(`{"mirror":`)) || json.Unmarshal(line, &h) != nil {
		return Run{}, errForeign
	}
	if h.Mirror != 1 {
		return Run{}, fmt.Errorf("part of a mirror in format %d: use a newer program", h.Mirror)
	}
	if h.Book == "" || h.First == 0 || h.Last < h.First || h.Last-h.First >= maxRun {
		return Run{}, errForeign
	}
	r := Run{Header: h}
	at, seq := h.Prev, h.First
	for len(rest) > 0 {
		if line, rest, ok = bytes.Cut(rest, []byte("\n")); !ok {
			return Run{}, fmt.Errorf("it breaks off within record %d of %d to %d", seq, h.First, h.Last)
		}
		e, err := entryOf(line)
		if err != nil {
			return Run{}, fmt.Errorf("its line for record %d cannot be read", seq)
		}
		if e.Seq != seq || e.Prev != at {
			return Run{}, fmt.Errorf("record %d does not follow on the one before it", seq)
		}
		r.Entries = append(r.Entries, e)
		at, seq = e.Hash, seq+1
	}
	switch {
	case seq != h.Last+1:
		return Run{}, fmt.Errorf("it breaks off after record %d of %d to %d", seq-1, h.First, h.Last)
	case at != h.Hash:
		return Run{}, fmt.Errorf("its last record %d is not the one it was made with", h.Last)
	}
	return r, nil
}

// wholeLines gives the head and the lines that can be read of a run that is spoilt.
func wholeLines(b []byte) (r Run) {
	line, rest, _ := bytes.Cut(b, []byte("\n"))
	if len(b) > maxRun || json.Unmarshal(line, &r.Header) != nil {
		return Run{}
	}
	for ok := true; ok; {
		if line, rest, ok = bytes.Cut(rest, []byte("\n")); !ok {
			break
		}
		if e, err := entryOf(line); err == nil && json.Valid(line) && e.Seq >= r.Header.First && e.Seq <= r.Header.Last {
			r.Entries = append(r.Entries, e)
		}
	}
	return r
}

// entryOf reads one line.
func entryOf(line []byte) (RunRecord, error) {
	if bytes.HasPrefix(line, beginsWithheld) {
		var w withheld
		if err := json.Unmarshal(line, &w); err != nil {
			return RunRecord{}, err
		}
		return RunRecord{Seq: w.Withheld, Prev: w.Prev, Hash: w.Hash}, nil
	}
	seq, prev, ok := record.Begins(line)
	if !ok {
		r, err := record.Decode(line)
		if err != nil {
			return RunRecord{}, err
		}
		seq, prev = r.Seq, r.Prev
	}
	return RunRecord{Seq: seq, Prev: prev, Hash: record.HashOf(line), Raw: line}, nil
}

// cutter makes runs of records that are handed to it in order.
type cutter struct {
	header  Header
	private func(record.Record) bool // the house keeps it to itself; nil for none
	entries []RunRecord
	bytes   int
}

// take adds a record, full where it has no room in this run.
func (c *cutter) take(r record.Record) (full bool) {
	e := RunRecord{Seq: r.Seq, Prev: r.Prev, Hash: r.Hash(), Raw: r.Raw}
	if c.private != nil && c.private(r) {
		e.Raw = nil
	}
	size := len(e.Raw) + 1
	if e.Raw == nil {
		size = 200
	}
	if len(c.entries) == RunRecords || len(c.entries) > 0 && c.bytes+size > RunBytes {
		return true
	}
	c.entries, c.bytes = append(c.entries, e), c.bytes+size
	return false
}

func (c *cutter) run() Run {
	h, first, last := c.header, c.entries[0], c.entries[len(c.entries)-1]
	h.Mirror, h.First, h.Prev, h.Last, h.Hash = 1, first.Seq, first.Prev, last.Seq, last.Hash
	return Run{Header: h, Entries: c.entries}
}

// head is an end as a book tells it.
func (e StreamEnd) head() layout.Head { return layout.Head{Seq: e.Seq, Hash: e.Hash} }

func (e StreamEnd) String() string { return e.head().String() }

// private tells whether a record holds words that a house may keep to itself: notes, remarks,
// reasons in words of one's own, and what corrects them. Other records stay as they are.
func private(r record.Record) bool {
	var a struct {
		Act  action.Kind     `json:"act"`
		Body json.RawMessage `json:"body"`
		Why  string          `json:"why"`
	}
	return json.Unmarshal(r.Raw, &a) != nil || action.OwnWords(a.Act, a.Body, a.Why)
}
