package check

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"

	"flaskside/logbook/disk"
	"flaskside/logbook/layout"
)

// Before reads the two meta pages the plain way, before anything is mapped
// into memory: a file cut short would kill the process otherwise.
func Before(path string) error {
	f, err := disk.OpenSource(path)
	if err != nil {
		return asForeign(err)
	}
	defer func() { _ = f.Close() }() // only read from
	size := func() (int64, error) {
		fi, err := f.Stat()
		switch {
		case err != nil:
			return 0, fmt.Errorf("open logbook: %w", err)
		case !fi.Mode().IsRegular():
			return 0, fmt.Errorf("%w: %s is not a file", layout.ErrForeign, path)
		}
		return fi.Size(), nil
	}
	foreign := func(why string) error { return fmt.Errorf("%w: %s: %s", layout.ErrForeign, path, why) }
	n, err := size()
	if err != nil {
		return err
	}
	if n == 0 {
		return foreign("the file is empty")
	}
	return checkMetas(f, size, foreign)
}

// asForeign calls what is no plain file no logbook; other errors of opening say nothing of it.
func asForeign(err error) error {
	if errors.As(err, new(*fs.PathError)) {
		return fmt.Errorf("open logbook: %w", err)
	}
	return fmt.Errorf("%w: %w", layout.ErrForeign, err)
}

// checkMetas finds the meta page that the store would use and holds the size of
// the file against it.
func checkMetas(f io.ReaderAt, sizeOf func() (int64, error), foreign func(string) error) error {
	metas, seen := metasOf(f)
	switch {
	case len(metas) == 0 && !seen:
		return foreign("it is a file of another kind")
	case len(metas) == 0:
		return fmt.Errorf("%w: both of its first pages are spoilt", layout.ErrDamaged)
	}
	use := latest(metas)
	if !use.sane() {
		return fmt.Errorf("%w: its first page makes no sense", layout.ErrDamaged)
	}
	// The size is asked after the pages were read: a book that grows meanwhile must
	// not look cut short.
	size, err := sizeOf()
	if err != nil {
		return err
	}
	if want := int64(use.high) * use.pageSize; want > size {
		return fmt.Errorf("%w: it has %d bytes and should have at least %d: it was cut short", layout.ErrDamaged, size, want)
	}
	if err := (&pageFile{f: f, size: size, meta: use}).freeList(); err != nil {
		if now, _ := metasOf(f); len(now) > 0 && latest(now).txid != use.txid {
			return nil // somebody has it and writes: the lock will tell
		}
		return fmt.Errorf("%w: %w", layout.ErrDamaged, err)
	}
	return nil
}

// wholeLook is the size of a file up to which every page is looked at before the
// store is let near it: some four years of a bench, 10 ms for each.
const wholeLook = 64 << 20

// Inside looks at the pages of a book before the store does, which a page that
// leads back to itself would keep for ever. Of a large file only the branches are
// looked at. The file must be locked.
func Inside(path string) error {
	f, err := disk.OpenSource(path)
	if err != nil {
		return asForeign(err)
	}
	defer func() { _ = f.Close() }() // only read from
	fi, err := f.Stat()
	if err != nil {
		return fmt.Errorf("open logbook: %w", err)
	}
	return lookThrough(f, fi.Size(), fi.Size() <= wholeLook)
}

func lookThrough(f io.ReaderAt, size int64, leaves bool) error {
	p, err := openPages(f, size, func(string, ...any) {})
	if err != nil {
		return fmt.Errorf("%w: %w", layout.ErrDamaged, err)
	}
	w := p.walker(func(page uint64, what string) {
		if err == nil {
			err = fmt.Errorf("%w: %s: flaskside verify tells more, flaskside salvage brings back what is left", layout.ErrDamaged, pageText(page, what))
		}
	})
	trees := w.buckets()
	w.keepNothing()
	for _, t := range trees {
		if t.root != 0 && !leaves {
			if height := w.height(t.root); height > 0 {
				w.branches(t.root, 0, height)
				continue
			}
		}
		w.walk(t, func(entry) bool { return err == nil })
	}
	return err
}

// height is how many branches lie above the leaves of a tree, by the way to its first leaf
// and to its last.
func (w *walker) height(root uint64) int {
	way := func(pick func([]kid) kid) int {
		id := root
		for n := range maxDepth {
			b, err := w.load(id)
			if err != nil {
				w.fault(id, err.Error())
				return n
			}
			if binary.LittleEndian.Uint16(b[8:]) == leafPage {
				return n
			}
			kids := w.kids(id, b)
			if len(kids) == 0 {
				return n
			}
			id = pick(kids).page
		}
		return maxDepth
	}
	first := way(func(k []kid) kid { return k[0] })
	last := way(func(k []kid) kid { return k[len(k)-1] })
	if first != last {
		w.fault(root, "has its leaves at different depths")
	}
	return max(first, last)
}

// branches looks at a branch of a tree and at those below it, not at the leaves below
// height of them.
func (w *walker) branches(id uint64, depth, height int) {
	if !w.seen.add(id) {
		w.fault(id, "is reached twice")
		return
	}
	if depth == height {
		return
	}
	b, err := w.loadAt(depth, id)
	if err != nil {
		w.fault(id, err.Error())
		return
	}
	if binary.LittleEndian.Uint16(b[8:]) == leafPage {
		w.fault(id, "is a leaf among branches")
		return
	}
	w.eachKid(id, b, func(k kid) { w.branches(k.page, depth+1, height) })
}
