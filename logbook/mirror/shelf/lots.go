package shelf

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"maps"
	"os"
	"slices"

	"flaskside/logbook"
	"flaskside/logbook/disk"
	"flaskside/logbook/lot/recall"
	"flaskside/logbook/mirror"
	"flaskside/logbook/record"
)

// lots says beside a book on the shelf which of its records name which lots, so that a recall
// over many benches opens only the books that may have the lot. The file is a line with the hash
// of the head, the head as a line of JSON and the table of texts, then the numbers of the
// records for each text.
type lots struct {
	Shelf int              `json:"shelf"` // version of the format
	Book  string           `json:"book"`
	End   mirror.StreamEnd `json:"end"`
	Head  logbook.Head     `json:"head"`
	Lacks []string         `json:"lacks,omitempty"`
	Table int              `json:"table"` // length of the table, bytes
	texts []lotText
	begin int64 // where the numbers begin
}

// lotText is where the numbers of the records that name a text lie. In the table it is the length
// of the text, the text, the length of the numbers (both as varints) and their sum.
type lotText struct {
	text string
	at   int64
	len  int64
	sum  uint32 // CRC-32, IEEE
}

func (t lotText) append(to []byte) []byte {
	to = append(binary.AppendUvarint(to, uint64(len(t.text))), t.text...)
	return binary.BigEndian.AppendUint32(binary.AppendUvarint(to, uint64(t.len)), t.sum)
}

// readTable reads the texts.
func readTable(b []byte) (out []lotText, err error) {
	for at := int64(0); len(b) > 0; {
		n, k := binary.Uvarint(b)
		if k <= 0 || n > uint64(len(b)-k) {
			return nil, errLots
		}
		t := lotText{text: string(b[k : k+int(n)]), at: at}
		b = b[k+int(n):]
		if n, k = binary.Uvarint(b); k <= 0 || n > 1<<40 || len(b) < k+4 {
			return nil, errLots
		}
		t.len, t.sum, b = int64(n), binary.BigEndian.Uint32(b[k:]), b[k+4:]
		out, at = append(out, t), at+t.len
	}
	return out, nil
}

const lotsVersion = 2

// mostTable is far more than the lots of any bench take.
const mostTable = 64 << 20

func lotsOf(path string) string { return path + ".lots" }

var errLots = errors.New("what was kept of the lots cannot be read")

// openLots reads the head.
func openLots(path string) (*os.File, lots, error) {
	f, err := os.Open(lotsOf(path))
	if err != nil {
		return nil, lots{}, err
	}
	var l lots
	r := bufio.NewReaderSize(f, 1<<14)
	sum, err := r.ReadString('\n')
	head, err2 := r.ReadBytes('\n')
	if err = errors.Join(err, err2); err == nil && (json.Unmarshal(head, &l) != nil || l.Shelf != lotsVersion || l.Table < 0 || l.Table > mostTable) {
		err = errLots
	}
	table := make([]byte, l.Table)
	if err == nil {
		_, err = io.ReadFull(r, table)
	}
	if err == nil && fmt.Sprintf("%x\n", sha256.Sum256(append(slices.Clone(head), table...))) != sum {
		err = errLots
	}
	if err == nil {
		l.texts, err = readTable(table)
	}
	if err != nil {
		_ = f.Close() // only read from
		return nil, lots{}, err
	}
	l.begin = int64(len(sum) + len(head) + len(table))
	return f, l, nil
}

// read reads the numbers of a text.
func (l lots) read(f io.ReaderAt, t lotText) ([]byte, error) {
	b := make([]byte, min(t.len, mostTable))
	if _, err := f.ReadAt(b, l.begin+t.at); err != nil {
		return nil, err
	}
	if crc32.ChecksumIEEE(b) != t.sum {
		return nil, errLots
	}
	return b, nil
}

// numbers are those of the records of which a text is meant.
func (l lots) numbers(f io.ReaderAt, means func(text string) bool) (out []uint64, err error) {
	for _, t := range l.texts {
		if !means(t.text) {
			continue
		}
		b, err := l.read(f, t)
		if err != nil {
			return nil, err
		}
		for at := uint64(0); len(b) > 0; {
			d, n := binary.Uvarint(b)
			if n <= 0 {
				return nil, errLots
			}
			at, b = at+d, b[n:]
			out = append(out, at)
		}
	}
	slices.Sort(out)
	return slices.Compact(out), nil
}

// keepLots makes the file anew for a book as it is, beginning with what was kept where that is a
// beginning of it.
func keepLots(path string, book *logbook.Book, end mirror.StreamEnd, lacks []string) error {
	l := lots{Shelf: lotsVersion, Book: book.ID(), End: end, Head: book.State().Head, Lacks: lacks}
	by, from := map[string]*bytes.Buffer{}, uint64(1)
	if lacks == nil { // else what was kept may be of records that are gone
		by, from = keptLots(path, book)
	}
	last := map[string]uint64{}
	for text, b := range by {
		for rest := b.Bytes(); len(rest) > 0; {
			d, n := binary.Uvarint(rest)
			last[text], rest = last[text]+d, rest[n:]
		}
	}
	err := book.Each(from, func(r record.Record) (bool, error) {
		for _, text := range recall.Texts(r.Action.Body) {
			if by[text] == nil {
				by[text] = &bytes.Buffer{}
			}
			if r.Seq > last[text] {
				by[text].Write(binary.AppendUvarint(nil, r.Seq-last[text]))
				last[text] = r.Seq
			}
		}
		return true, nil
	})
	if err != nil {
		return err
	}
	var all bytes.Buffer
	var table []byte
	for _, text := range slices.Sorted(maps.Keys(by)) {
		b := by[text].Bytes()
		table = lotText{text: text, len: int64(len(b)), sum: crc32.ChecksumIEEE(b)}.append(table)
		all.Write(b)
	}
	l.Table = len(table)
	head, err := json.Marshal(l)
	if err != nil {
		return err
	}
	head = append(append(head, '\n'), table...)
	tmp := disk.NewName(lotsOf(path))
	defer func() { _ = os.Remove(tmp) }() // it has its name, or is not wanted
	if err := os.WriteFile(tmp, slices.Concat(fmt.Appendf(nil, "%x\n", sha256.Sum256(head)), head, all.Bytes()), 0o600); err != nil {
		return err
	}
	return os.Rename(tmp, lotsOf(path))
}

// keptLots reads what was kept, and from which record on it is to be gone on with; nothing where
// it is of another history.
func keptLots(path string, book *logbook.Book) (by map[string]*bytes.Buffer, from uint64) {
	by = map[string]*bytes.Buffer{}
	f, was, err := openLots(path)
	if err != nil {
		return by, 1
	}
	defer func() { _ = f.Close() }() // only read from
	same := false
	_ = book.Each(was.Head.Seq, func(r record.Record) (bool, error) {
		same = r.Seq == was.Head.Seq && r.Hash() == was.Head.Hash
		return false, nil
	})
	if !same || was.Book != book.ID() || was.Lacks != nil {
		return by, 1
	}
	for _, t := range was.texts {
		b, err := was.read(f, t)
		if err != nil {
			return map[string]*bytes.Buffer{}, 1
		}
		by[t.text] = bytes.NewBuffer(b)
	}
	return by, was.Head.Seq + 1
}

// EachNaming reads every bench of the mirror, by name, for a question of lots: at are the numbers
// of all records whose texts may mean the lot. The book of a bench that never names it is not
// opened, and nil without an error.
func (s Shelf) EachNaming(ctx context.Context, means func(text string) bool, f func(k Kept, at []uint64) error) error {
	return s.each(ctx, func(h mirror.Heard) error {
		k, at := s.naming(ctx, h, means)
		if err := ctx.Err(); err != nil {
			return err
		}
		err := f(k, at)
		if k.Book != nil {
			_ = k.Book.Close() // only read from
		}
		return err
	})
}

func (s Shelf) naming(ctx context.Context, h mirror.Heard, means func(text string) bool) (k Kept, at []uint64) {
	if k = (Kept{Heard: h, Err: h.Err}); k.Err != nil {
		return k, nil
	}
	path := s.path(h.Stream)
	kept := func() (end mirror.StreamEnd, err error) {
		g, l, err := openLots(path)
		if err != nil {
			return end, err
		}
		defer func() { _ = g.Close() }() // only read from
		if l.Book != h.Stream.Book {
			return end, errLots
		}
		at, err = l.numbers(g, means)
		k.Lacks = l.Lacks
		return l.End, err
	}
	was, err := kept()
	if fresh := err == nil && h.Header.Last > 0 && was.Seq == h.Header.Last && was.Hash == h.Header.Hash; fresh && len(at) == 0 {
		return k, nil
	}
	var end mirror.StreamEnd
	lacks := k.Lacks
	k.Book, k.Lacks, k.Err = s.openTo(ctx, h.Stream, &end)
	if err == nil && k.Err == nil && same(was, end) && slices.Equal(k.Lacks, lacks) {
		return k, at
	}
	if k.Err == nil {
		k.Err = keepLots(path, k.Book, end, k.Lacks)
	}
	if k.Err == nil {
		_, k.Err = kept()
	}
	if k.Err != nil && k.Book != nil {
		_ = k.Book.Close() // only read from
		k.Book = nil
	}
	return k, at
}
