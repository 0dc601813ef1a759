// Package mirror keeps a copy of every record elsewhere, proven the same by its hash: on a
// share, a second disk, a synced folder, or with servers that others run. The book at its
// bench stays the truth; a mirror is only ever added to. What it holds is read from its
// records, never from what it says of itself.
//
// A mirror holds books by their identity, and of each one or more generations: a second one
// is begun by a person where the first holds another history than the book, as after an old
// copy was restored and gone on with. Nothing in the first is touched then.
//
// An adapter for each kind of place stands in a package of its own beside this one, and is
// held to the same tests (mirrortest).
package mirror

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// Stream is one generation of one book in a mirror.
type Stream struct {
	Book       string
	Generation int // from 1
}

// IsBook tells whether a text can be the identity of a logbook and nothing else: no path, no
// pattern. It becomes part of names.
func IsBook(name string) bool {
	return name != "" && len(name) <= 64 && strings.Trim(name, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_") == ""
}

var errNoBook = errors.New("the identity of this logbook is not one that flaskside gives: see flaskside verify")

// StreamEnd is where a stream ends: its last record. Seq 0 is a stream without any.
type StreamEnd struct {
	Seq   uint64
	Hash  record.Hash
	Token uint64 // the place's own number for it, where it has one
}

// Remote is where mirrors are kept. The only way to write to it is to add a run behind an end
// that was expected; nothing is ever overwritten or taken away.
type Remote interface {
	// Streams lists what is there, by book and generation.
	Streams(ctx context.Context) ([]Stream, error)
	// Last gives the end of a stream as its last run shows it. The error is [Spoilt] where that
	// cannot be read. What it answers has outlasted a power cut there as far as the place
	// can say.
	Last(ctx context.Context, s Stream) (StreamEnd, error)
	// Append adds a run behind an end. The error is [ErrMoved] where the stream does not end
	// there. Without an error the run is synced there.
	Append(ctx context.Context, s Stream, expect StreamEnd, r Run) error
	// Read gives, in the order of the place, all that lies in a stream and may hold records
	// from a number on, also what is spoilt: to be judged by whoever reads.
	Read(ctx context.Context, s Stream, from uint64, f func(Object) error) error
	// About tells what can be said of the place.
	About(ctx context.Context) (About, error)
	// Close lets go of it.
	Close() error
}

// Object is one thing that lies in a stream.
type Object struct {
	Name string
	Raw  []byte
	Err  error // why it cannot be read
}

// About is what a place says of how it keeps things.
type About struct {
	Kind      string        // "folder", "NATS JetStream"
	Replicas  int           // copies on machines of their own; 0 where not known
	MayDelete bool          // single parts of what is there may be taken away
	Others    bool          // others than this account may write there
	ReadOnly  bool          // nothing can be written there
	Left      time.Duration // how long what opens it is still good for; 0 where not known, or without end
	Risks     []Risk        // by what can something there be lost
	Unknown   []Risk        // of what that cannot be seen from here
}

// Risk is a way in which something in a mirror can be lost.
type Risk struct {
	What string `json:"what"`
	Do   string `json:"do,omitempty"` // what mends it, or where to look whether it is so
}

var (
	// ErrMoved: the stream ends elsewhere than was expected.
	ErrMoved = errors.New("the mirror goes on elsewhere than was expected")
	// ErrNoMirror: there is no mirror at the place.
	ErrNoMirror = errors.New("no mirror is there")
)

// Spoilt is a part of a mirror that cannot be read.
type Spoilt struct {
	Name string
	Err  error
}

func (e *Spoilt) Error() string {
	return fmt.Sprintf("%s in the mirror is spoilt: %v", e.Name, e.Err)
}

// Unwrap gives the reason.
func (e *Spoilt) Unwrap() error { return e.Err }

// Fork says that a mirror holds another history than the book.
type Fork struct {
	Stream Stream
	Mirror StreamEnd   // where the mirror's ends
	Book   layout.Head // where the book's ends
	Common uint64      // the last record that both have
}

func (e *Fork) Error() string {
	return fmt.Sprintf("the mirror holds another history of this logbook: both are alike up to record %d, then the mirror goes on to %d (%s) and this logbook to %d (%s). Was an old copy put in its place and gone on with? Nothing was written and nothing is lost: flaskside mirror --new-generation keeps this history beside the other one",
		e.Common, e.Mirror.Seq, e.Mirror.Hash.Short(), e.Book.Seq, e.Book.Hash.Short())
}

// Older says that a mirror holds all of the book and more: the book is an old copy that has
// not gone on.
type Older struct {
	Stream Stream
	Mirror StreamEnd
	Book   layout.Head
}

func (e *Older) Error() string {
	return fmt.Sprintf("the mirror is ahead: it holds this logbook up to its last record %d and goes on to %d. This is an older copy: flaskside restore --from brings the newer records back; do not go on with this one", e.Book.Seq, e.Mirror.Seq)
}

// Mendable tells the errors of a mirror that is not the same as its logbook, or spoilt: only a
// person can mend it.
func Mendable(err error) bool {
	var fork *Fork
	var older *Older
	var spoilt *Spoilt
	return errors.As(err, &fork) || errors.As(err, &older) || errors.As(err, &spoilt)
}
