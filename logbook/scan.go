package logbook

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"regexp"
	"slices"

	"flaskside/logbook/record"
	"flaskside/timers"
)

// maxRaw is the longest record looked for in a damaged file, in bytes; settings, the
// longest, have some 5,000.
const maxRaw = 4 << 20

// piece is a record found somewhere in a damaged book or in a journal.
type piece struct {
	prev, hash record.Hash
	off        int64 // in its source
	size       int32
	source     int16 // index into scan.sources
	file       bool  // found in the book's file
	journal    bool  // found in a journal
	placed     bool  // what stands around it fits its number
}

// scan is everything found in a damaged book and in the journals beside it. Records
// are found by their beginning and by their hashes, wherever they stand, so that it
// does not matter which pages are spoilt.
type scan struct {
	sources []*os.File
	pieces  map[uint64][]piece
	ids     []string // identities of the book, likeliest first
	created string
	format  string
	kept    *Head // the head that the book kept of itself, where it can still be reached
	beat    []byte
	q       *quick
}

func (s *scan) close() {
	for _, f := range s.sources {
		_ = f.Close() // only read from
	}
}

var (
	recordStart  = []byte(`{"v":1,"seq":`)
	journalBegin = []byte(`{"journal":1,`)
	// In a page the entries of the part "meta" stand one behind the other: the name
	// "book", the identity (crypto/rand.Text, 26 characters of base32), and the next name.
	bookEntry = regexp.MustCompile(`book([A-Z2-7]{26})created`)
)

// scanAll looks through a book's file, where it is there, and through journals.
func scanAll(file string, journals []string) (*scan, error) {
	s := &scan{pieces: map[uint64][]piece{}, q: newQuick()}
	for i, name := range append([]string{file}, journals...) {
		f, err := os.Open(name)
		if err != nil {
			if i == 0 && os.IsNotExist(err) && len(journals) > 0 {
				s.sources = append(s.sources, nil)
				continue
			}
			s.close()
			return nil, fmt.Errorf("salvage: %w", err)
		}
		s.sources = append(s.sources, f)
		fi, err := f.Stat()
		if err == nil && !fi.Mode().IsRegular() {
			err = fmt.Errorf("%s is not a file", name)
		}
		if err == nil && i == 0 {
			s.self(f, fi.Size())
		}
		if err == nil {
			err = s.read(i, fi.Size())
		}
		if err != nil {
			s.close()
			return nil, fmt.Errorf("salvage: %w", err)
		}
	}
	s.mendKept()
	return s, nil
}

// mendKept puts the number of the kept head right where its hash is that of another
// record: the hash binds the number.
func (s *scan) mendKept() {
	if s.kept == nil {
		return
	}
	for seq, ps := range s.pieces {
		if slices.ContainsFunc(ps, func(p piece) bool { return p.hash == s.kept.Hash }) {
			s.kept.Seq = seq
			return
		}
	}
}

// self reads what the book says of itself, as far as its pages can be followed.
func (s *scan) self(f io.ReaderAt, size int64) {
	p, err := openPages(f, size, func(string, ...any) {})
	if err != nil {
		return
	}
	parts := p.walker(func(uint64, string) {}).buckets()
	meta := parts[string(bMeta)]
	if id, ok := p.find(meta, []byte("book")); ok {
		s.ids = append(s.ids, string(id))
	}
	if created, ok := p.find(meta, []byte("created")); ok {
		s.created = string(created)
	}
	if format, ok := p.find(meta, []byte("format")); ok {
		s.format = string(format)
	}
	if b, ok := p.find(meta, kHead); ok && len(b) == 8+len(record.Hash{}) {
		s.kept = &Head{binary.BigEndian.Uint64(b), record.Hash(b[8:])}
	}
	var beat timers.Beat
	if b, ok := p.find(parts[string(bBeat)], kLast); ok && json.Unmarshal(b, &beat) == nil {
		s.beat = b
	}
}

// window is how much is looked at at once.
const window = 16 << 20

// read looks for records in a source, from its beginning to its end.
func (s *scan) read(source int, size int64) error {
	buf := make([]byte, min(window, size+1))
	before := uint64(0) // number of the record ahead, in a journal
	for base := int64(0); ; {
		n, err := s.sources[source].ReadAt(buf, base)
		if err != nil && err != io.EOF {
			return err
		}
		end := err == io.EOF || len(buf) < window // what is added meanwhile is left alone
		b := buf[:n]
		s.identity(b)
		done := 0
		for at := bytes.Index(b, recordStart); at >= 0; {
			next := bytes.Index(b[at+1:], recordStart)
			if next >= 0 {
				next += at + 1
			} else if !end && n-at < maxRaw {
				break // its end may lie behind the window
			}
			upTo := n
			if next >= 0 {
				upTo = next
			}
			s.take(source, base, b, at, min(upTo, at+maxRaw), &before)
			done, at = at+1, next
		}
		if end {
			return nil
		}
		base += int64(max(done, n-maxRaw-len(recordStart))) - 8
	}
}

// identity looks for what the book is called.
func (s *scan) identity(b []byte) {
	add := func(id string) {
		if id != "" && !slices.Contains(s.ids, id) {
			s.ids = append(s.ids, id)
		}
	}
	for _, m := range bookEntry.FindAllSubmatch(b, 100) {
		add(string(m[1]))
	}
	if bytes.HasPrefix(b, journalBegin) {
		line, _, _ := bytes.Cut(b, []byte("\n"))
		var h journalHead
		if json.Unmarshal(line, &h) == nil {
			add(h.Book)
		}
	}
}

// take keeps a record that begins at a place of the window and ends before another.
func (s *scan) take(source int, base int64, b []byte, at, upTo int, before *uint64) {
	c := cut{rest: b[at:upTo]}
	raw := c.object()
	if c.bad {
		return
	}
	r, err := s.q.decode(raw)
	if err != nil {
		return
	}
	p := piece{prev: r.Prev, hash: record.HashOf(raw), off: base + int64(at), size: int32(len(raw)), source: int16(source)}
	if source == 0 {
		p.file = true
		p.placed = at >= 8 && binary.BigEndian.Uint64(b[at-8:]) == r.Seq // in a page the number stands before its record
	} else {
		p.journal = true
		p.placed = r.Seq == *before+1
		*before = r.Seq
	}
	for i := range s.pieces[r.Seq] {
		if old := &s.pieces[r.Seq][i]; old.hash == p.hash {
			old.file, old.journal, old.placed = old.file || p.file, old.journal || p.journal, old.placed || p.placed
			return
		}
	}
	s.pieces[r.Seq] = append(s.pieces[r.Seq], p)
}

// bytes reads a piece again.
func (s *scan) bytes(p piece) ([]byte, error) {
	b := make([]byte, p.size)
	if _, err := s.sources[p.source].ReadAt(b, p.off); err != nil {
		return nil, fmt.Errorf("salvage: %w", err)
	}
	if record.HashOf(b) != p.hash {
		return nil, fmt.Errorf("salvage: %s changed meanwhile", s.sources[p.source].Name())
	}
	return b, nil
}
