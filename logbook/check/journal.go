package check

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"flaskside/logbook/disk"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// JournalHead is the first line of a journal. One that stands further down says whose
// the lines after it are.
type JournalHead struct {
	Journal int    `json:"journal"` // version of the format
	Book    string `json:"book"`    // identity
}

const (
	journalPart  = ".journal-"
	journalEnd   = ".jsonl"
	journalMonth = "2006-01"
	journalID    = 8 // of an identity, in a name
)

func journalStart(bookPath string) string {
	return strings.TrimSuffix(bookPath, ".db") + journalPart
}

// JournalName is the journal of a month, YYYY-MM, beside a book. Where another book has
// that name already, in the same folder, it is the name with its own identity in it.
func JournalName(bookPath, month, id string, own bool) string {
	if own && id != "" {
		month += "-" + id[:min(len(id), journalID)]
	}
	return journalStart(bookPath) + month + journalEnd
}

// Journals lists the journals beside a book, by name; those of another book of the same
// name may be among them (see [Owner]). What is no plain file is none.
func Journals(bookPath string) ([]string, error) {
	start := journalStart(bookPath)
	dir := filepath.Dir(start)
	all, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("look for journals: %w", err)
	}
	var out []string
	for _, e := range all {
		month, ok := strings.CutPrefix(e.Name(), filepath.Base(start))
		month, end := strings.CutSuffix(month, journalEnd)
		if ok && end && (len(month) == len(journalMonth) || len(month) == len(journalMonth)+1+journalID && month[len(journalMonth)] == '-') {
			out = append(out, filepath.Join(dir, e.Name()))
		}
	}
	slices.Sort(out)
	return out, nil
}

// JournalFile is a journal and how much of it counts: what is written to it later is left
// alone.
type JournalFile struct {
	Name string `json:"name"`
	Size int64  `json:"size"`
}

// JournalFiles lists the journals beside a book as long as they are now.
func JournalFiles(bookPath string) ([]JournalFile, error) {
	names, err := Journals(bookPath)
	if err != nil {
		return nil, err
	}
	out := make([]JournalFile, 0, len(names))
	for _, name := range names {
		fi, err := os.Lstat(name)
		if err != nil {
			return nil, fmt.Errorf("look for journals: %w", err)
		}
		size := fi.Size()
		if !fi.Mode().IsRegular() {
			size = 0 // to open a pipe would wait for whoever writes to it
		}
		out = append(out, JournalFile{name, size})
	}
	return out, nil
}

// Owner gives the identity of the book that a journal names in its first line, "" where
// that cannot be read: then its records say whose it is.
func Owner(name string) (string, error) {
	f, err := disk.OpenOwn(name, os.O_RDONLY)
	if err != nil {
		return "", err
	}
	defer func() { _ = f.Close() }() // only read from
	b := make([]byte, 4<<10)
	n, err := f.ReadAt(b, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return "", err
	}
	line, _, _ := bytes.Cut(b[:n], []byte("\n"))
	id, _ := headLine(line)
	return id, nil
}

// headLine reads a line that says whose journal it is.
func headLine(line []byte) (id string, ok bool) {
	var h JournalHead
	if !bytes.HasPrefix(line, journalBegin) || json.Unmarshal(line, &h) != nil {
		return "", false
	}
	return h.Book, h.Book != ""
}

// JournalsOf lists the journals beside a book that do not name another one than id.
func JournalsOf(bookPath, id string) ([]string, error) {
	all, err := Journals(bookPath)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(all, func(name string) bool {
		fi, err := os.Lstat(name)
		if err != nil || !fi.Mode().IsRegular() {
			return false // whoever opens it will tell
		}
		owner, err := Owner(name)
		return err == nil && owner != "" && owner != id
	}), nil
}

// LastJournaled gives the last record that the journals of a book hold, beside its file,
// nil where there is none. Those that name another book are passed over; others lists
// them. With id "" those of all books count.
func LastJournaled(bookPath, id string) (last *layout.Head, others []string, err error) {
	files, err := JournalFiles(bookPath)
	if err != nil {
		return nil, nil, err
	}
	for _, f := range files {
		if f.Size == 0 {
			continue
		}
		owner, err := Owner(f.Name)
		if err != nil {
			return nil, others, fmt.Errorf("read journal: %w", err)
		}
		if id != "" && owner != "" && owner != id {
			others = append(others, f.Name)
			continue
		}
		h, err := lastLine(f.Name)
		if err != nil {
			return nil, others, err
		}
		if h != nil && (last == nil || h.Seq >= last.Seq) {
			last = h
		}
	}
	return last, others, nil
}

// lastLine gives the last whole record of a journal.
func lastLine(name string) (*layout.Head, error) {
	f, err := disk.OpenOwn(name, os.O_RDONLY)
	if err != nil {
		return nil, fmt.Errorf("read journal: %w", err)
	}
	defer func() { _ = f.Close() }() // only read from
	fi, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("read journal: %w", err)
	}
	for _, n := range []int64{8 << 10, 2 * maxRaw} {
		from := max(0, fi.Size()-n)
		b := make([]byte, fi.Size()-from)
		if _, err := f.ReadAt(b, from); err != nil && err != io.EOF {
			return nil, fmt.Errorf("read journal: %w", err)
		}
		lines := bytes.Split(b, []byte("\n"))
		if from > 0 {
			lines = lines[1:] // cut
		}
		for _, line := range slices.Backward(lines) { // a last one without its end counts when it is whole
			if r, err := record.Decode(line); err == nil {
				return &layout.Head{Seq: r.Seq, Hash: r.Hash()}, nil
			}
		}
		if from == 0 {
			break
		}
	}
	return nil, nil
}

// journalLine is a line of a journal that is no head; the bytes are good until the next.
type journalLine struct {
	owner string // the book that the head before it names, "" where none does
	no    int    // of the line, from 1
	raw   []byte
	last  bool // it ends with the file and not with a line
}

// eachLine reads a journal up to its size.
func (j JournalFile) eachLine(each func(l journalLine)) error {
	if j.Size == 0 {
		return nil
	}
	f, err := disk.OpenSource(j.Name)
	if err != nil {
		return fmt.Errorf("read journal: %w", err)
	}
	defer func() { _ = f.Close() }() // only read from
	return linesOf(io.LimitReader(f, j.Size), each)
}

func linesOf(r io.Reader, each func(l journalLine)) error {
	in := bufio.NewReaderSize(r, 1<<20)
	l := journalLine{}
	var long []byte
	for {
		part, err := in.ReadSlice('\n')
		if errors.Is(err, bufio.ErrBufferFull) {
			if len(long) <= maxRaw { // what is longer is no record, wherever it ends
				long = append(long, part...)
			}
			continue
		}
		if err != nil && err != io.EOF {
			return fmt.Errorf("read journal: %w", err)
		}
		raw := part
		if len(long) > 0 {
			raw = append(long, part...)
		}
		l.no++
		line, ended := bytes.CutSuffix(raw, []byte("\n"))
		if id, ok := headLine(line); ok {
			l.owner = id
		} else if len(line) > 0 {
			l.raw, l.last = line, !ended
			each(l)
		}
		long = long[:0]
		if err == io.EOF {
			return nil
		}
	}
}
