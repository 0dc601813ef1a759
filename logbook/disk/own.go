package disk

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// errNotPlain: something that is no plain file, or not ours, stands where one should be.
var errNotPlain = errors.New("not a plain file of this user")

// OpenSource opens a file that somebody names for reading: a plain one, not a pipe, which
// would be waited for, nor a device, nor a file of little but holes, which would be read
// for hours. A link is followed: whoever named it meant the file behind it.
func OpenSource(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|noWait, 0)
	if err != nil {
		return nil, err
	}
	fi, err := f.Stat()
	switch {
	case err != nil:
	case !fi.Mode().IsRegular():
		err = fmt.Errorf("%s is not a file", path)
	case fi.Size() > vast && room(fi) < fi.Size()/16:
		err = fmt.Errorf("%s is not a logbook: of %s all but %s are holes", path, Size(fi.Size()), Size(room(fi)))
	default:
		return f, nil
	}
	_ = f.Close() // nothing was read
	return nil, err
}

// vast is the size from which on holes are asked for, bytes.
const vast = 1 << 30

// OpenOwn opens one of the program's own files as flag says (os.O_RDONLY, os.O_RDWR,
// os.O_APPEND, os.O_CREATE): a plain one of this user, never what a link leads to, and
// nobody is waited for. The error is [errNotPlain] where another thing stands there.
func OpenOwn(path string, flag int) (*os.File, error) {
	other := func(what string) error {
		return fmt.Errorf("%w: %s is %s: see who put it there and move it away", errNotPlain, path, what)
	}
	if fi, err := os.Lstat(path); err == nil && !fi.Mode().IsRegular() {
		return nil, other(kindOfFile(fi.Mode()))
	}
	f, err := os.OpenFile(path, flag&^os.O_TRUNC|noWait|noFollow, 0o600)
	if err != nil {
		return nil, err
	}
	fi, err := f.Stat()
	switch {
	case err != nil:
	case !fi.Mode().IsRegular():
		err = other(kindOfFile(fi.Mode()))
	case !Ours(fi):
		err = other("a file of another user")
	default:
		return f, nil
	}
	_ = f.Close() // nothing was read or written
	return nil, err
}

// CreateOwn makes a new file of this user alone. What an earlier run left under its name is
// taken away first, a link or a pipe too, but never what a link leads to.
func CreateOwn(path string) (*os.File, error) {
	if fi, err := os.Lstat(path); err == nil && !fi.IsDir() {
		if err := os.Remove(path); err != nil {
			return nil, err
		}
	}
	return os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL|noFollow, 0o600)
}

func kindOfFile(m fs.FileMode) string {
	switch {
	case m.IsDir():
		return "a folder"
	case m&fs.ModeSymlink != 0:
		return "a link"
	case m&fs.ModeNamedPipe != 0:
		return "a pipe"
	case m&fs.ModeSocket != 0:
		return "a socket"
	}
	return "a device"
}

// Private refuses a folder in which other users may write, for whoever may can put what he
// likes in the place of the file at path. Where a folder is sticky, as /tmp is, nobody may
// in the place of a file of ours.
func Private(path string) error {
	if real, err := filepath.EvalSymlinks(path); err == nil && real != filepath.Clean(path) {
		if err := Private(real); err != nil { // where the file is, and where its link is
			return err
		}
	}
	dir := filepath.Dir(path)
	fi, missing := os.Stat(dir) // that there is none is told by whoever opens the file
	if missing != nil || !othersWrite(fi) {
		return nil //nolint:nilerr // as said above
	}
	if file, err := os.Lstat(path); fi.Mode()&fs.ModeSticky != 0 && (errors.Is(err, fs.ErrNotExist) || err == nil && Ours(file)) {
		return nil
	}
	return fmt.Errorf("other users may write in the folder %s and could put another file in the place of the logbook: take that right away (chmod go-w), or keep the logbook elsewhere with --book FILE", dir)
}

// MakeFolder makes a folder and those above it that are missing, open to us alone. unmake takes away those
// that it made, as far as nothing lies in them.
func MakeFolder(dir string) (unmake func(), err error) {
	var made []string // the innermost first
	for up := dir; ; up = filepath.Dir(up) {
		if _, err := os.Lstat(up); !errors.Is(err, fs.ErrNotExist) {
			break
		}
		made = append(made, up)
	}
	unmake = func() {
		for _, d := range made {
			_ = os.Remove(d) // of a folder the call takes an empty one alone
		}
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		unmake()
		return nil, err
	}
	return unmake, nil
}

// newPart is what the name of a file has in it that was not finished, before the number of
// the process that makes it.
const newPart = ".new-"

// NewName is the name under which this process writes a file before it is whole.
func NewName(path string) string { return path + newPart + strconv.Itoa(os.Getpid()) }

// Unfinished lists the files that runs of this program left beside path when they were
// killed, by name: plain files of ours whose process has ended.
func Unfinished(path string) []string {
	return slices.DeleteFunc(UnfinishedIn(filepath.Dir(path), filepath.Base(path)), func(name string) bool {
		return !strings.HasPrefix(filepath.Base(name), filepath.Base(path)+newPart)
	})
}

// UnfinishedIn lists those of all files in a folder whose names begin with start.
func UnfinishedIn(dir, start string) []string {
	all, err := os.ReadDir(dir)
	if err != nil {
		return nil
	}
	var out []string
	for _, e := range all {
		i := strings.LastIndex(e.Name(), newPart)
		if i < 1 || !strings.HasPrefix(e.Name(), start) {
			continue
		}
		tail := e.Name()[i+len(newPart):]
		pid, err := strconv.Atoi(tail)
		if err != nil || pid < 1 || strconv.Itoa(pid) != tail || pid == os.Getpid() || !e.Type().IsRegular() || alive(pid) {
			continue
		}
		if fi, err := e.Info(); err == nil && Ours(fi) {
			out = append(out, filepath.Join(dir, e.Name()))
		}
	}
	slices.Sort(out)
	return out
}

// Sweep takes away what [Unfinished] finds; what cannot be is left for the doctor to name.
func Sweep(path string) {
	for _, name := range Unfinished(path) {
		_ = os.Remove(name)
	}
}
