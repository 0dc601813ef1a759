package check

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// JournalHead is the first line of a journal.
type JournalHead struct {
	Journal int    `json:"journal"` // version of the format
	Book    string `json:"book"`    // identity
}

const (
	journalPart  = ".journal-"
	JournalEnd   = ".jsonl"
	JournalMonth = "2006-01"
)

// JournalStart is what the names of a book's journals begin with.
func JournalStart(bookPath string) string {
	return strings.TrimSuffix(bookPath, ".db") + journalPart
}

// Journals lists the journals beside a book, by name.
func Journals(bookPath string) ([]string, error) {
	start := JournalStart(bookPath)
	dir := filepath.Dir(start)
	all, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("look for journals: %w", err)
	}
	var out []string
	for _, e := range all {
		month, ok := strings.CutPrefix(e.Name(), filepath.Base(start))
		if month, end := strings.CutSuffix(month, JournalEnd); ok && end && len(month) == len(JournalMonth) {
			out = append(out, filepath.Join(dir, e.Name()))
		}
	}
	slices.Sort(out)
	return out, nil
}

// LastJournaled gives the last record that the journals beside a book hold, nil where
// there is none.
func LastJournaled(bookPath string) (*layout.Head, error) {
	files, err := Journals(bookPath)
	if err != nil {
		return nil, err
	}
	var last *layout.Head
	for _, name := range files {
		h, err := lastLine(name)
		if err != nil {
			return nil, err
		}
		if h != nil && (last == nil || h.Seq >= last.Seq) {
			last = h
		}
	}
	return last, nil
}

// lastLine gives the last whole record of a journal.
func lastLine(name string) (*layout.Head, error) {
	f, err := os.Open(name)
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
