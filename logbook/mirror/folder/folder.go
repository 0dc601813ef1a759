// Package folder keeps a mirror in a folder: a share, a second disk, or one that another
// program keeps the same on several machines.
//
//	PLACE/flaskside-mirror.json                     says that a mirror is here
//	PLACE/<book>/g0001/00000000/000000000501.jsonl  the run that begins with record 501
//
// A file is written whole under another name, synced, and then given its name, which fails
// where something has it already: so of two who write behind the same end one loses, and
// nothing is ever overwritten. What a sync tool makes of names does not matter, for all that
// lies in a generation's folder is judged by what it holds.
package folder

import (
	"bytes"
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"

	"flaskside/logbook/disk"
	"flaskside/logbook/mirror"
)

const (
	marker     = "flaskside-mirror.json"
	markerText = "{\"mirror\":1,\"note\":\"copies of flaskside logbooks; nothing here is ever changed or removed by the program\"}\n"
	runEnd     = ".jsonl"
	perFolder  = 10000   // record numbers in one folder, so that a folder can be listed at once
	maxFile    = 8 << 20 // bytes of a run; nothing longer is one
)

// Folder is a mirror in a folder.
type Folder struct{ path string }

// Open opens the mirror in a folder. The error is [mirror.ErrNoMirror] where none was begun
// there: the folder may be in the place of a disk that is not plugged in.
func Open(path string) (*Folder, error) {
	if !filepath.IsAbs(path) {
		return nil, fmt.Errorf("the place of a mirror is a whole path, not %q", path)
	}
	fi, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%w: the folder %s is not there: is its disk plugged in, is the share connected?", mirror.ErrNoMirror, path)
	case err != nil:
		return nil, fmt.Errorf("the mirror cannot be reached: %w", err)
	case !fi.IsDir():
		return nil, fmt.Errorf("%s is a file: the place of a mirror is a folder", path)
	}
	if _, err := os.Stat(filepath.Join(path, marker)); errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%w: nothing in %s says so: is its disk plugged in? flaskside mirror --to begins one there", mirror.ErrNoMirror, path)
	} else if err != nil {
		return nil, fmt.Errorf("the mirror cannot be reached: %w", err)
	}
	return &Folder{path}, nil
}

// Begin makes a mirror in a folder where there is none; made tells whether it did. The folder
// itself is made where only its last part is missing.
func Begin(path string) (f *Folder, made bool, err error) {
	f, err = Open(path)
	if !errors.Is(err, mirror.ErrNoMirror) {
		return f, false, err
	}
	if err := os.Mkdir(path, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, false, fmt.Errorf("the folder %s is not there: is its disk plugged in, is the share connected? Nothing was made in its place", filepath.Dir(path))
		}
		return nil, false, err
	}
	f = &Folder{path}
	err = f.put(filepath.Join(path, marker), []byte(markerText))
	if err != nil && !errors.Is(err, fs.ErrExist) {
		return nil, false, err
	}
	return f, true, syncFolder(filepath.Dir(path))
}

// Close lets go of it.
func (f *Folder) Close() error { return nil }

// Streams lists the generations of all books that have a folder here.
func (f *Folder) Streams(ctx context.Context) ([]mirror.Stream, error) {
	books, err := os.ReadDir(f.path)
	if err != nil {
		return nil, fmt.Errorf("the mirror cannot be reached: %w", err)
	}
	var out []mirror.Stream
	for _, b := range books {
		if !b.IsDir() || !mirror.IsBook(b.Name()) {
			continue
		}
		gens, err := os.ReadDir(filepath.Join(f.path, b.Name()))
		if err != nil {
			return nil, fmt.Errorf("the mirror cannot be read: %w", err)
		}
		for _, g := range gens {
			if n, ok := generation(g.Name()); ok && g.IsDir() {
				out = append(out, mirror.Stream{Book: b.Name(), Generation: n})
			}
		}
	}
	return out, ctx.Err()
}

func generation(name string) (int, bool) {
	n, err := strconv.Atoi(strings.TrimPrefix(name, "g"))
	return n, err == nil && n > 0 && name == generationName(n)
}

func generationName(n int) string { return fmt.Sprintf("g%04d", n) }

func (f *Folder) dir(s mirror.Stream) string {
	return filepath.Join(f.path, s.Book, generationName(s.Generation))
}

// file is where the run that begins with a record lies.
func (f *Folder) file(s mirror.Stream, first uint64) string {
	return filepath.Join(f.dir(s), fmt.Sprintf("%08d", first/perFolder), runName(first))
}

func runName(first uint64) string { return fmt.Sprintf("%012d%s", first, runEnd) }

// found is a file that may be a run.
type found struct {
	path  string
	first uint64 // as its name says
}

// runs lists what lies in a stream, by the numbers in their names. Names that a sync tool has
// changed ("000000000501 (1).jsonl") count by the number that they begin with; those without
// one come last, and nothing is left out.
func (f *Folder) runs(s mirror.Stream) ([]found, error) {
	var out []found
	root := f.dir(s)
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return nil // none yet, or taken away while it was looked at
		case err != nil:
			return err
		case d.IsDir() || unfinished(d.Name()):
			return nil
		}
		out = append(out, found{path, firstOf(d.Name())})
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("the mirror cannot be read: %w", err)
	}
	slices.SortStableFunc(out, func(a, b found) int {
		return cmp.Or(cmp.Compare(a.first, b.first), strings.Compare(a.path, b.path))
	})
	return out, nil
}

// newPart marks a file that is not whole yet.
const newPart = ".new-"

// unfinished tells whether a file was not whole when its writer was ended, or is one of those
// that file managers leave.
func unfinished(name string) bool {
	return strings.Contains(name, newPart) || strings.HasPrefix(name, ".")
}

const nameless = ^uint64(0)

func firstOf(name string) uint64 {
	n := 0
	for n < len(name) && name[n] >= '0' && name[n] <= '9' {
		n++
	}
	first, err := strconv.ParseUint(name[:n], 10, 64)
	if err != nil {
		return nameless
	}
	return first
}

// Last gives the end of a stream by its last run, having seen to it that this is on the disk.
func (f *Folder) Last(ctx context.Context, s mirror.Stream) (end mirror.StreamEnd, err error) {
	parts, err := os.ReadDir(f.dir(s))
	if errors.Is(err, fs.ErrNotExist) {
		return end, nil
	}
	for _, part := range slices.Backward(parts) { // by name, and so by number
		if !part.IsDir() || firstOf(part.Name()) == nameless {
			continue
		}
		var names []fs.DirEntry
		if names, err = os.ReadDir(filepath.Join(f.dir(s), part.Name())); err != nil {
			break
		}
		for _, same := range byNumber(names) {
			end, err := f.endOf(s, filepath.Join(f.dir(s), part.Name()), same)
			if err != nil || end.Seq > 0 {
				return end, err
			}
		}
	}
	if err != nil {
		return end, fmt.Errorf("the mirror cannot be read: %w", err)
	}
	return end, ctx.Err()
}

// byNumber sorts the names of runs by the number they begin with, the highest first; those of
// one number, a run and copies of it that a sync tool made, together.
func byNumber(names []fs.DirEntry) (out [][]string) {
	for _, n := range slices.Backward(names) {
		first := firstOf(n.Name())
		if n.IsDir() || unfinished(n.Name()) || first == nameless || !strings.HasSuffix(n.Name(), runEnd) {
			continue
		}
		if k := len(out); k > 0 && firstOf(out[k-1][0]) == first {
			out[k-1] = append(out[k-1], n.Name())
			continue
		}
		out = append(out, []string{n.Name()})
	}
	slices.SortStableFunc(out, func(a, b []string) int { return cmp.Compare(firstOf(b[0]), firstOf(a[0])) })
	return out
}

// endOf gives the end of the run that files of one number hold; none where their name is not
// that of what they hold.
func (f *Folder) endOf(s mirror.Stream, dir string, names []string) (end mirror.StreamEnd, err error) {
	var spoilt error
	for _, name := range names {
		path := filepath.Join(dir, name)
		raw, err := read(path)
		run := mirror.Run{}
		if err == nil {
			run, err = mirror.ParseRun(raw)
		}
		switch {
		case err == nil && run.Header.First == firstOf(name) && name == runName(run.Header.First) && (run.Header.Book != s.Book || run.Header.Generation != s.Generation):
			// It has the very name of a part of this one, so that nothing else can ever have it.
			spoilt = &mirror.Spoilt{Name: f.short(path), Err: errors.New("what it holds is of another logbook or generation")}
			continue
		case err == nil && (run.Header.First != firstOf(name) || run.Header.Book != s.Book || run.Header.Generation != s.Generation):
			continue // a copy of something else
		case err != nil:
			spoilt = &mirror.Spoilt{Name: f.short(path), Err: err}
			continue
		case end.Seq > 0 && run.Header.Hash != end.Hash:
			return mirror.StreamEnd{}, &mirror.Spoilt{Name: f.short(path), Err: errors.New("two histories begin there with the same number: flaskside mirror check tells more")}
		}
		if err := settle(path); err != nil {
			return mirror.StreamEnd{}, err
		}
		end = run.End()
	}
	if end.Seq == 0 {
		return end, spoilt
	}
	return end, nil
}

// Append writes a run behind an end: whole under another name, synced, then named, then the
// folders synced.
func (f *Folder) Append(ctx context.Context, s mirror.Stream, expect mirror.StreamEnd, r mirror.Run) error {
	end, err := f.Last(ctx, s)
	if err != nil {
		return err
	}
	if end.Seq != expect.Seq || end.Hash != expect.Hash || r.Header.First != expect.Seq+1 {
		return mirror.ErrMoved
	}
	b, err := r.Bytes()
	if err != nil {
		return err
	}
	name := f.file(s, r.Header.First)
	if err := f.folders(filepath.Dir(name)); err != nil {
		return writing(err)
	}
	err = f.put(name, b)
	if errors.Is(err, fs.ErrExist) {
		return mirror.ErrMoved // somebody was quicker; what is there is looked at
	}
	return writing(err)
}

func writing(err error) error {
	if err == nil {
		return nil
	}
	if disk.Full(err) {
		return fmt.Errorf("the mirror's disk is full: %w", err)
	}
	return fmt.Errorf("the mirror cannot be written: %w", err)
}

// folders makes the folders of a stream, each synced with the one above it. They and the files
// in them are open to those to whom the place itself is.
func (f *Folder) folders(dir string) error {
	if dir == f.path {
		return nil
	}
	if _, err := os.Stat(dir); err == nil {
		return nil
	}
	up := filepath.Dir(dir)
	if err := f.folders(up); err != nil {
		return err
	}
	if err := os.Mkdir(dir, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	if fi, err := os.Stat(f.path); err == nil {
		_ = os.Chmod(dir, fi.Mode().Perm()) // some file systems have no such rights
	}
	return syncFolder(up)
}

// put makes a file whole under a name that nothing has; the error is [fs.ErrExist] where
// something does.
func (f *Folder) put(name string, b []byte) error {
	// Several machines write here, so that the number of a process says nothing; and what one
	// of them left when it was ended stays.
	tmp := filepath.Join(filepath.Dir(name), "."+filepath.Base(name)+newPart+rand.Text()[:12])
	w, err := os.OpenFile(tmp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(tmp) }() // it has its name, or is not wanted
	if fi, err := os.Stat(f.path); err == nil {
		_ = w.Chmod(fi.Mode().Perm() & 0o666) // as above
	}
	if err = disk.Finish(w, disk.Bytes(b)); err != nil {
		return err
	}
	if err := nameNew(tmp, name); err != nil {
		return err
	}
	if err := syncFolder(filepath.Dir(name)); err != nil {
		return err
	}
	got, err := read(name)
	if err == nil && !bytes.Equal(got, b) {
		err = fmt.Errorf("%s holds something else than was written: the place does not keep what it is given", f.short(name))
	}
	return err
}

// nameNew gives a file its name where nothing has it. A file system without second names and
// without such a renaming is looked at first; two programs at the very same moment would not
// see each other there, and what stands there afterwards is read again.
func nameNew(tmp, name string) error {
	err := os.Link(tmp, name)
	if err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	if err = renameNew(tmp, name); err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	if _, err := os.Lstat(name); err == nil {
		return fs.ErrExist
	}
	return os.Rename(tmp, name)
}

// Read gives all files that may hold records from a number on.
func (f *Folder) Read(ctx context.Context, s mirror.Stream, from uint64, each func(mirror.Object) error) error {
	all, err := f.runs(s)
	if err != nil {
		return err
	}
	begin := 0
	for i, r := range all {
		if r.first <= from {
			begin = i
		}
	}
	if begin > 0 { // the run before may be longer where some lie over each other
		first := all[begin].first
		for begin > 0 && all[begin-1].first+mirror.RunRecords > min(first, from) {
			begin--
		}
	}
	for _, r := range all[begin:] {
		if err := ctx.Err(); err != nil {
			return err
		}
		raw, err := read(r.path)
		if errors.Is(err, fs.ErrNotExist) {
			continue // a sync tool gave it another name
		}
		if err := each(mirror.Object{Name: f.short(r.path), Raw: raw, Err: err}); err != nil {
			return err
		}
	}
	return nil
}

func (f *Folder) short(path string) string {
	if rel, err := filepath.Rel(f.path, path); err == nil {
		return filepath.ToSlash(rel)
	}
	return path
}

// read reads a run; nobody is waited for, and no link is followed.
func read(path string) ([]byte, error) {
	if fi, err := os.Lstat(path); err != nil {
		return nil, err
	} else if !fi.Mode().IsRegular() {
		return nil, errors.New("it is not a plain file")
	}
	r, err := disk.OpenSource(path)
	if err != nil {
		return nil, err
	}
	defer func() { _ = r.Close() }() // only read from
	b, err := io.ReadAll(io.LimitReader(r, maxFile+1))
	if err == nil && len(b) > maxFile {
		err = fmt.Errorf("it is longer than %s", disk.Size(maxFile))
	}
	return b, err
}

// settle sees to it that a file which was found is on the disk: whoever named it may have been
// ended before that. Where nothing can be written nothing waits to be.
func settle(path string) error {
	r, err := os.OpenFile(path, os.O_RDWR, 0)
	if errors.Is(err, fs.ErrPermission) || errors.Is(err, syscall.EROFS) {
		return nil // it can only be read
	}
	if err != nil {
		return fmt.Errorf("the mirror cannot be synced: %w", err)
	}
	if err := errors.Join(r.Sync(), r.Close()); err != nil {
		return fmt.Errorf("the mirror cannot be synced: %w", err)
	}
	return syncFolder(filepath.Dir(path))
}

func syncFolder(dir string) error {
	if runtime.GOOS == "windows" { // it has no such call
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("sync the folder %s: %w", dir, err)
	}
	err = d.Sync()
	if errors.Is(err, errors.ErrUnsupported) || notForFolders(err) {
		err = nil // some network file systems sync names with their files
	}
	if err := errors.Join(err, d.Close()); err != nil {
		return fmt.Errorf("sync the folder %s: %w", dir, err)
	}
	return nil
}

// About tells of the folder.
func (f *Folder) About(context.Context) (mirror.About, error) {
	a := mirror.About{Kind: "folder", MayDelete: true}
	v, err := disk.Of(f.path)
	if err != nil {
		return a, fmt.Errorf("the mirror cannot be reached: %w", err)
	}
	a.ReadOnly = v.ReadOnly
	if fi, err := os.Stat(f.path); err == nil && runtime.GOOS != "windows" { // there access lists decide
		a.Others = fi.Mode().Perm()&0o022 != 0
	}
	switch v.Kind {
	case disk.Memory:
		a.Risks = []mirror.Risk{{What: "it lies in memory: all of it is gone when that computer restarts", Do: "a disk or a share"}}
	case disk.Network, disk.Unknown:
		a.Unknown = []mirror.Risk{{What: "whether the computer behind it keeps what it acknowledges through a power cut cannot be seen from here", Do: "ask whoever runs it whether the share syncs (export option sync, strict sync)"}}
	}
	return a, nil
}

var _ mirror.Remote = (*Folder)(nil)
