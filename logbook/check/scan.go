package check

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"regexp"
	"slices"

	"flaskside/logbook/disk"
	"flaskside/logbook/layout"
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
	source     int16 // index into Scan.sources
	owner      int16 // index into Scan.owners of the journal it was found in first
	file       bool  // found in the book's file
	journal    bool  // found in a journal
	placed     bool  // what stands around it fits its number
}

// source is what records are looked for in; f is nil where there is none.
type source struct {
	name string
	f    io.ReaderAt
}

// Scan is everything found in a damaged book and in the journals beside it. Records
// are found by their beginning and by their hashes, wherever they stand, so that it
// does not matter which pages are spoilt.
type Scan struct {
	sources []source
	files   []*os.File // to be closed
	pieces  map[uint64][]piece
	owners  []string        // identities that journals name; the first is none
	tip     *layout.Head    // the record whose history is to be followed, nil for that of the file
	main    int16           // of owners, the book that is looked for
	found   map[int16]int   // by source, how many records a journal holds
	of      map[int16]int16 // by source, the book that a journal names
	ids     []string        // identities of the book, likeliest first
	created string
	format  string
	kept    *layout.Head // the head that the book kept of itself, where it can still be reached
	beat    []byte
	q       *record.Reader
}

// Format is the format that the book says it is of, "" where that is lost.
func (s *Scan) Format() string { return s.format }

// Created is when the book was made, as it says, "" where that is lost.
func (s *Scan) Created() string { return s.created }

// Beat is the sign of life that the book holds, nil where it is lost.
func (s *Scan) Beat() []byte { return s.beat }

// Close lets go of the files.
func (s *Scan) Close() {
	for _, f := range s.files {
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

func newScan() *Scan {
	return &Scan{pieces: map[uint64][]piece{}, owners: []string{""}, found: map[int16]int{}, of: map[int16]int16{}, q: record.NewReader()}
}

// Gather looks through a book's file, where it is there, and through journals.
func Gather(file string, journals []string) (*Scan, error) {
	s := newScan()
	for i, name := range append([]string{file}, journals...) {
		f, err := disk.OpenSource(name)
		if err != nil {
			if i == 0 && os.IsNotExist(err) && len(journals) > 0 {
				s.sources = append(s.sources, source{})
				continue
			}
			s.Close()
			return nil, fmt.Errorf("salvage: %w", err)
		}
		s.files = append(s.files, f)
		fi, err := f.Stat()
		if err == nil && !fi.Mode().IsRegular() {
			err = fmt.Errorf("%s is not a file", name)
		}
		if err == nil {
			err = s.from(name, f, fi.Size())
		}
		if err != nil {
			s.Close()
			return nil, fmt.Errorf("salvage: %w", err)
		}
	}
	s.mendKept()
	s.oneBook()
	return s, nil
}

// from looks through one source more: the first is the book's file, the others are journals.
func (s *Scan) from(name string, f io.ReaderAt, size int64) error {
	s.sources = append(s.sources, source{name, f})
	if len(s.sources) == 1 {
		s.self(f, size)
	}
	return s.read(len(s.sources)-1, size)
}

// mendKept puts the number of the kept head right where its hash is that of another
// record: the hash binds the number.
func (s *Scan) mendKept() {
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
func (s *Scan) self(f io.ReaderAt, size int64) {
	p, err := openPages(f, size, func(string, ...any) {})
	if err != nil {
		return
	}
	parts := p.walker(func(uint64, string) {}).buckets()
	meta := parts[string(layout.Meta)]
	if id, ok := p.find(meta, []byte("book")); ok {
		s.ids = append(s.ids, string(id))
	}
	if created, ok := p.find(meta, []byte("created")); ok {
		s.created = string(created)
	}
	if format, ok := p.find(meta, []byte("format")); ok {
		s.format = string(format)
	}
	if b, ok := p.find(meta, layout.KeyHead); ok {
		if h, ok := layout.ParseHead(b); ok {
			s.kept = &h
		}
	}
	var beat timers.Beat
	if b, ok := p.find(parts[string(layout.Beat)], layout.KeyLast); ok && json.Unmarshal(b, &beat) == nil {
		s.beat = b
	}
}

// window is how much is looked at at once.
const window = 16 << 20

// read looks for records in a source, from its beginning to its end.
func (s *Scan) read(source int, size int64) error {
	buf := make([]byte, min(window, size+1))
	ahead := line{} // in a journal
	if source > 0 {
		ahead.owner = s.ownerOf(source, size)
		s.of[int16(source)] = ahead.owner
	}
	for base := int64(0); ; {
		n, err := s.sources[source].f.ReadAt(buf, base)
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
			s.take(source, base, b, at, min(upTo, at+maxRaw), &ahead)
			done, at = at+1, next
		}
		if end {
			return nil
		}
		base += int64(max(done, n-maxRaw-len(recordStart))) - 8
	}
}

// line is where a journal is being read.
type line struct {
	seq   uint64 // of the last record
	lines uint64 // that have ended since
	end   int64  // up to where they were counted
	owner int16
}

// upTo is where the counting goes on in a window that begins at base.
func (l line) upTo(base int64) int { return int(max(0, l.end-base)) }

// ownerOf finds out which book a journal names.
func (s *Scan) ownerOf(source int, size int64) int16 {
	b := make([]byte, min(size, 4<<10))
	n, _ := s.sources[source].f.ReadAt(b, 0)
	first, _, _ := bytes.Cut(b[:n], []byte("\n"))
	id, _ := headLine(first)
	if i := slices.Index(s.owners, id); i >= 0 {
		return int16(i)
	}
	s.owners = append(s.owners, id)
	return int16(len(s.owners) - 1)
}

// oneBook leaves out what is found only in the journals of other books. The book is that
// whose journal has records of the file; where no journal has any, the one that the file
// says it is, or, without a file, the one whose journal comes last.
func (s *Scan) oneBook() {
	if len(s.owners) < 2 {
		return
	}
	both, inFile := make([]int, len(s.owners)), 0
	for _, ps := range s.pieces {
		for _, p := range ps {
			if p.file && p.journal {
				both[p.owner]++
			}
			if p.file {
				inFile++
			}
		}
	}
	both[0] = 0
	switch most := slices.Max(both); {
	case most > 0:
		s.main = int16(slices.Index(both, most))
	case len(s.ids) > 0 && slices.Contains(s.owners, s.ids[0]):
		s.main = int16(slices.Index(s.owners, s.ids[0]))
	case inFile == 0:
		s.main = int16(len(s.owners) - 1)
	}
	for seq, ps := range s.pieces {
		s.pieces[seq] = slices.DeleteFunc(ps, func(p piece) bool {
			return p.journal && !p.file && p.owner != 0 && p.owner != s.main
		})
		if len(s.pieces[seq]) == 0 {
			delete(s.pieces, seq)
		}
	}
	if s.main != 0 { // what the journal says that proved to be of the book comes first
		s.ids = append([]string{s.owners[s.main]}, s.ids...)
	}
}

// identity looks for what the book is called.
func (s *Scan) identity(b []byte) {
	add := func(id string) {
		if id != "" && !slices.Contains(s.ids, id) {
			s.ids = append(s.ids, id)
		}
	}
	for _, m := range bookEntry.FindAllSubmatch(b, 100) {
		add(string(m[1]))
	}
	if line, _, _ := bytes.Cut(b, []byte("\n")); bytes.HasPrefix(b, journalBegin) {
		if id, ok := headLine(line); ok {
			add(id)
		}
	}
}

// take keeps a record that begins at a place of the window and ends before another.
func (s *Scan) take(source int, base int64, b []byte, at, upTo int, ahead *line) {
	ahead.lines += uint64(bytes.Count(b[min(ahead.upTo(base), at):at], []byte("\n")))
	ahead.end = base + int64(at)
	raw, ok := record.Object(b[at:upTo])
	if !ok {
		return
	}
	r, err := s.q.Decode(raw)
	if err != nil {
		return
	}
	p := piece{prev: r.Prev, hash: record.HashOf(raw), off: base + int64(at), size: int32(len(raw)), source: int16(source)}
	if source == 0 {
		p.file = true
		p.placed = at >= 8 && binary.BigEndian.Uint64(b[at-8:]) == r.Seq // in a page the number stands before its record
	} else {
		p.journal = true
		// Each line between two records that cannot be read may have been one.
		p.owner = ahead.owner
		s.found[int16(source)]++
		p.placed = r.Seq > ahead.seq && r.Seq-ahead.seq <= max(1, ahead.lines)
		ahead.seq, ahead.lines = r.Seq, 0
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
func (s *Scan) bytes(p piece) ([]byte, error) {
	b := make([]byte, p.size)
	if _, err := s.sources[p.source].f.ReadAt(b, p.off); err != nil {
		return nil, fmt.Errorf("salvage: %w", err)
	}
	if record.HashOf(b) != p.hash {
		return nil, fmt.Errorf("salvage: %s changed meanwhile", s.sources[p.source].name)
	}
	return b, nil
}
