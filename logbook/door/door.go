// Package door is the way to a book that a running bench holds. The lock of the
// store shuts out even readers, so the bench answers on a Unix socket beside the
// book, for its owner only. It speaks HTTP:
//
//	GET  /who       which program answers
//	GET  /head      the end of the chain
//	GET  /state     a first line with head, sign of life and counters, then the
//	                records that the bench rests on, one a line
//	GET  /snapshot  a consistent copy of the whole file
//	POST /actions   actions as JSON Lines; all are recorded or none, with
//	                ?keep-going each good one. One answer a line
//	GET  /screens   who is on which screen, since when
//	GET  /news      for as long as one listens: joins the bench as a screen; a first line
//	                for what the screen is called, then what is new, a line each
//	POST /append    one action of the person at a screen
//	POST /reopen, POST /here, POST /typing, POST /typed, GET /press, /record, /of, /records, /whole
//	                what else a screen asks
//
// Actions go through [logbook.Book.AppendAll], the same door as keys. A bench calls
// [Serve], everybody else [Dial], or [Join] to be a screen; [Lines] reads actions from a text.
package door

import (
	"cmp"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/bench"
	"flaskside/logbook/disk"
	"flaskside/timers"
)

// version of what is spoken at the door. An older bench may still be running when
// a newer program knocks.
const version = 2

// ErrNobody says that no bench has the book open, or none that answers.
var ErrNobody = errors.New("no bench is running on this logbook")

// Who says which program answers.
type Who struct {
	Door    int       `json:"door"` // [version]
	PID     int       `json:"pid"`
	Version string    `json:"version"` // of the program
	Since   time.Time `json:"since"`
}

// maxSocketName is the longest name of a socket in bytes: sun_path holds 104 bytes
// in the BSDs and macOS (unix(4)), 108 in Linux (unix(7)) and Windows, one of them
// for the NUL at the end.
const maxSocketName = 103

// socketPath is where a bench on this book answers: beside the book, or under the
// folder for temporary files where that name is too long for a socket. All ways of
// naming the same book give the same socket.
func socketPath(bookPath string) (string, error) {
	path, err := filepath.Abs(bookPath)
	if err != nil {
		return "", fmt.Errorf("find the socket of %s: %w", bookPath, err)
	}
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	sock := path + ".sock"
	if len(sock) > maxSocketName {
		sum := sha256.Sum256([]byte(path))
		sock = filepath.Join(sideFolder(), fmt.Sprintf("%x.sock", sum[:12]))
	}
	if len(sock) > maxSocketName {
		return "", fmt.Errorf("no place for a socket: %s and the folder for temporary files %s are both too long: set TMPDIR to a shorter one", path, os.TempDir())
	}
	return sock, nil
}

// sideFolders is how many names are tried for the side folder.
const sideFolders = 100

// sideFolder holds the sockets that have no room beside their book. Where something that is
// not ours stands in its place it has another name, the same one for all programs of this
// user: the first that is ours, else the first that is free.
func sideFolder() string {
	first := firstSideFolder()
	name, free := first, ""
	for n := 2; n < sideFolders; n++ {
		fi, err := os.Lstat(name)
		switch {
		case err == nil && privateFolder(fi):
			return name
		case errors.Is(err, fs.ErrNotExist) && free == "":
			free = name
		}
		name = fmt.Sprintf("%s-%d", first, n)
	}
	return cmp.Or(free, first)
}

func firstSideFolder() string {
	return filepath.Join(os.TempDir(), fmt.Sprintf("flaskside-%d", max(os.Geteuid(), 0)))
}

// aside tells whether a socket lies in the side folder. Of most its name says no: nothing is looked for then.
func aside(sock string) bool {
	dir := filepath.Dir(sock)
	return strings.HasPrefix(dir, firstSideFolder()) && dir == sideFolder()
}

// privateFolder tells whether something is a folder of this user alone.
func privateFolder(fi fs.FileInfo) bool {
	return fi.IsDir() && disk.Ours(fi) && (fi.Mode().Perm()&0o077 == 0 || !modesMean)
}

// checkPlace refuses a socket, or a side folder, that another user could have put
// there: that would be to read our records, or to tell us wrong ones. Beside the
// book no more is asked of the folder, for who writes there can replace the book.
func checkPlace(sock string) error {
	if dir := filepath.Dir(sock); aside(sock) {
		fi, err := os.Lstat(dir)
		if err != nil {
			return fmt.Errorf("the folder of the socket: %w", err)
		}
		if !privateFolder(fi) {
			return fmt.Errorf("%s is not a folder of this user alone: remove it", dir)
		}
	}
	fi, err := os.Lstat(sock)
	switch {
	case err != nil:
		return fmt.Errorf("the socket of the logbook: %w", err)
	case fi.Mode().Type() != fs.ModeSocket:
		return fmt.Errorf("%s is not a socket: move it away", sock)
	case !disk.Ours(fi):
		return fmt.Errorf("the socket %s belongs to another user", sock)
	}
	return nil
}

// replyLine is one line of the reply to actions. One without a line number speaks of
// the whole request.
type replyLine struct {
	Line    int             `json:"line,omitempty"` // from 1
	Record  json.RawMessage `json:"record,omitempty"`
	Already bool            `json:"already,omitempty"`
	Failed  *failure        `json:"failed,omitempty"`
}

// stateHead is the first line of a state.
type stateHead struct {
	Head logbook.Head   `json:"head"`
	Beat timers.Beat    `json:"beat"`
	Top  bench.Counters `json:"top"`
}

// failure is an error on its way through the door.
type failure struct {
	Text string      `json:"text"`
	Kind string      `json:"kind,omitempty"`
	Odd  []bench.Odd `json:"odd,omitempty"`
}

const needsReason = "needs-reason"

// kinds are the errors that are the same errors on the other side.
var kinds = [...]struct {
	name string
	err  error
}{{"unknown", logbook.ErrUnknown}, {"not-saved", logbook.ErrNotSaved}, {"damaged", logbook.ErrDamaged}}

func failed(err error) *failure {
	f := &failure{Text: err.Error()}
	var needs *bench.NeedsReason
	if errors.As(err, &needs) {
		f.Kind, f.Odd = needsReason, needs.Odd
		return f
	}
	for _, k := range kinds {
		if errors.Is(err, k.err) {
			f.Kind = k.name
			break
		}
	}
	return f
}

func (f *failure) err() error {
	if f.Kind == needsReason {
		return &bench.NeedsReason{Odd: f.Odd}
	}
	for _, k := range kinds {
		if f.Kind == k.name {
			return &toldError{f.Text, k.err}
		}
	}
	return errors.New(f.Text)
}

// toldError has the words of the other side and is one of our errors.
type toldError struct {
	text string
	is   error
}

func (e *toldError) Error() string { return e.text }
func (e *toldError) Unwrap() error { return e.is }
