// Package record is the format of one line of the logbook.
//
// A record is one JSON object on one line. What is stored is what is hashed: the
// exact bytes, never a second writing of them.
//
//	{"v":1,"seq":12,"prev":"<64 hex>","written":"2026-11-25T13:07:32.1Z",
//	 "zone":"Europe/Berlin","boot":"…","boot_ns":12345,
//	 "id":"…","at":"2026-11-25T14:07:32+01:00","by":"KT","act":"flash",
//	 "body":{"flask":3,"grade":"heavy"}}
//
// seq counts from 1 without gaps. prev is the hash of the record before,
//
//	hash(i) = SHA-256("flaskside record v1\n" || bytes(i))
//	hash(0) = SHA-256("flaskside book v1\n" || book id)
//
// so that one number, the last hash, pins the whole past. written is the wall
// clock when the record was written; at is when the thing was done, as the person
// says, with boot and boot_ns its place on the boot clock (see package timers).
// The fields from id on are the action (see package action).
package record

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// version of the format.
const version = 1

// Hash of a record, or of the beginning of a book.
type Hash [sha256.Size]byte

// String gives the hash in hexadecimal.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// Short is the beginning of the hash, for people.
func (h Hash) Short() string { return hex.EncodeToString(h[:8]) }

// MarshalText writes hexadecimal.
func (h Hash) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

// UnmarshalText reads hexadecimal.
func (h *Hash) UnmarshalText(b []byte) error {
	var got Hash
	if len(b) != hex.EncodedLen(len(got)) { // hex.Decode has no bound of its own
		return errors.New("a hash is 64 hexadecimal digits")
	}
	if _, err := hex.Decode(got[:], b); err != nil {
		return errors.New("a hash is 64 hexadecimal digits")
	}
	*h = got
	return nil
}

// Genesis is the hash a book begins with.
func Genesis(bookID string) Hash { return sha256.Sum256([]byte("flaskside book v1\n" + bookID)) }

// HashOf gives the hash of a record's bytes.
func HashOf(raw []byte) Hash {
	h := sha256.New()
	h.Write([]byte("flaskside record v1\n"))
	h.Write(raw)
	var out Hash
	h.Sum(out[:0])
	return out
}

// Record is one line of the logbook, taken apart.
type Record struct {
	Seq     uint64
	Prev    Hash
	Written time.Time
	Zone    string
	Stamp   timers.Stamp // when the thing was done
	Action  action.Action
	Raw     []byte // the exact bytes
}

type wire struct {
	V       int             `json:"v"`
	Seq     uint64          `json:"seq"`
	Prev    Hash            `json:"prev"`
	Written time.Time       `json:"written"`
	Zone    string          `json:"zone,omitempty"`
	Boot    string          `json:"boot,omitempty"`
	BootNs  time.Duration   `json:"boot_ns,omitempty"`
	ID      string          `json:"id"`
	At      time.Time       `json:"at"`
	By      string          `json:"by,omitempty"`
	Act     action.Kind     `json:"act"`
	Body    json.RawMessage `json:"body"`
	Unusual []string        `json:"unusual,omitempty"`
	Why     string          `json:"why,omitempty"`
}

// Write makes the record that follows prev.
func Write(seq uint64, prev Hash, now timers.Reading, stamp timers.Stamp, a action.Action) (Record, error) {
	body, err := action.Encode(a.Body)
	if err != nil {
		return Record{}, fmt.Errorf("write record %d: %w", seq, err)
	}
	w := wire{
		V: version, Seq: seq, Prev: prev, Written: now.Wall.UTC(), Zone: now.Wall.Location().String(),
		Boot: stamp.BootID, BootNs: stamp.Boot, ID: a.ID, At: a.At.Round(0), By: a.By, Act: a.Kind(), Body: body, Unusual: a.Unusual, Why: a.Why,
	}
	raw, err := w.encode()
	if err != nil {
		return Record{}, fmt.Errorf("write record %d: %w", seq, err)
	}
	stamp.At = w.At
	return Record{Seq: seq, Prev: prev, Written: w.Written, Zone: w.Zone, Stamp: stamp, Action: a, Raw: raw}, nil
}

// Hash of the record.
func (r Record) Hash() Hash { return HashOf(r.Raw) }

// Decode takes the bytes of a record apart. They are kept, not copied.
func Decode(raw []byte) (Record, error) {
	var w wire
	if err := json.Unmarshal(raw, &w); err != nil {
		return Record{}, fmt.Errorf("not a record: %w", err)
	}
	if w.V != version {
		return Record{}, fmt.Errorf("record format %d, this program reads %d", w.V, version)
	}
	if w.Seq == 0 {
		return Record{}, errors.New("not a record: it has no number")
	}
	body, err := action.DecodeBody(w.Act, w.Body)
	if err != nil {
		return Record{}, fmt.Errorf("record %d: %w", w.Seq, err)
	}
	return Record{
		Seq: w.Seq, Prev: w.Prev, Written: w.Written, Zone: w.Zone, Raw: raw,
		Stamp:  timers.Stamp{At: w.At, BootID: w.Boot, Boot: w.BootNs},
		Action: action.Action{ID: w.ID, At: w.At, By: w.By, Body: body, Unusual: w.Unusual, Why: w.Why},
	}, nil
}

// Next checks that r follows a record with number seq and hash h.
func (r Record) Next(seq uint64, h Hash) error {
	switch {
	case r.Seq != seq+1:
		return fmt.Errorf("record %d stands where %d should", r.Seq, seq+1)
	case r.Prev != h:
		return fmt.Errorf("record %d does not follow on record %d: the chain is broken", r.Seq, seq)
	}
	return nil
}
