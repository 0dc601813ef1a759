package check

import (
	"errors"
	"fmt"
	"io"
	"io/fs"

	"flaskside/logbook/disk"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// Peek reads what a book says of itself, without opening it: identity and head. The
// error is [layout.ErrForeign] for a file that is no book.
func Peek(path string) (book string, head layout.Head, err error) {
	c, err := OpenContents(path)
	if err != nil {
		return "", layout.Head{}, err
	}
	defer c.Close()
	id, ok := c.Find(layout.Meta, layout.KeyBook)
	if !ok {
		return "", layout.Head{}, fmt.Errorf("%w: %s", layout.ErrForeign, path)
	}
	kept, _ := c.Find(layout.Meta, layout.KeyHead)
	if head, ok = layout.ParseHead(kept); !ok {
		head = layout.Head{Hash: record.Genesis(string(id))}
	}
	return string(id), head, nil
}

// PeekRecord reads one record of a book as [Peek] reads its head: without its lock, also
// while a bench writes. ok is false where the book has none of that number.
func PeekRecord(path string, seq uint64) (r record.Record, ok bool, err error) {
	for range 3 { // a page read while it is written makes no sense, and soon it does
		if r, ok, err = peekRecord(path, seq); ok {
			break
		}
	}
	return r, ok, err
}

func peekRecord(path string, seq uint64) (record.Record, bool, error) {
	c, err := OpenContents(path)
	if err != nil {
		return record.Record{}, false, err
	}
	defer c.Close()
	raw, ok := c.Find(layout.Log, layout.SeqKey(seq))
	if !ok {
		return record.Record{}, false, nil
	}
	r, err := record.Decode(raw)
	if err != nil {
		return record.Record{}, false, fmt.Errorf("%w: record %d: %w", layout.ErrDamaged, seq, err)
	}
	return r, r.Seq == seq, nil
}

// Contents looks single things up in a file that the store wrote, without the store.
type Contents struct {
	p     *pageFile
	parts map[string]tree
	close func() error
}

// OpenContents opens the file at path. The error is [layout.ErrForeign] where it is none
// of the store.
func OpenContents(path string) (*Contents, error) {
	f, err := disk.OpenSource(path)
	if err != nil {
		if errors.As(err, new(*fs.PathError)) {
			return nil, err
		}
		return nil, asForeign(err)
	}
	fi, err := f.Stat()
	if err == nil {
		var c *Contents
		if c, err = ContentsOf(f, fi.Size()); err == nil {
			c.close = f.Close
			return c, nil
		}
		err = fmt.Errorf("%w: %s: %w", layout.ErrForeign, path, err)
	}
	_ = f.Close() // only read from
	return nil, err
}

// ContentsOf reads a file of a size that is open, or held in memory.
func ContentsOf(f io.ReaderAt, size int64) (*Contents, error) {
	p, err := openPages(f, size, func(string, ...any) {})
	if err != nil {
		return nil, err
	}
	return &Contents{p, p.walker(func(uint64, string) {}).buckets(), func() error { return nil }}, nil
}

// Close lets go of the file.
func (c *Contents) Close() { _ = c.close() } // only read from

// Used is how many bytes of the file hold something; what follows is room.
func (c *Contents) Used() int64 { return int64(c.p.meta.high) * c.p.meta.pageSize }

// Find looks up what stands under a key of a part.
func (c *Contents) Find(part, key []byte) ([]byte, bool) { return c.p.find(c.parts[string(part)], key) }

// Has tells whether a head, and so all before it, is in the book.
func (c *Contents) Has(h layout.Head) bool {
	raw, ok := c.Find(layout.Log, layout.SeqKey(h.Seq))
	return h.Seq == 0 || ok && record.HashOf(raw) == h.Hash
}
