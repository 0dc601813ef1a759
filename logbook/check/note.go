package check

import (
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"flaskside/logbook/disk"
	"flaskside/logbook/layout"
)

// JournalNote is what a book says of the journals that lay beside it. It holds for the file
// that said so, under the name it had then: a copy of a book has no journals of its own.
type JournalNote struct {
	Name string `json:"name"` // of the book, without its ending
	File uint64 `json:"file"` // number of the file, 0 where files have none
	From uint64 `json:"from"` // first record that the journals hold
	To   uint64 `json:"to"`   // last of those that were synced
}

// NoteFor is the note of the book at path, without its records.
func NoteFor(path string, fi fs.FileInfo) JournalNote {
	return JournalNote{Name: strings.TrimSuffix(filepath.Base(path), ".db"), File: disk.Number(fi)}
}

// ReadNote reads a note as it stands in the book. ok tells whether it holds for the file at
// path, and whether journals must lie beside it.
func ReadNote(raw []byte, path string) (n JournalNote, ok bool) {
	fi, err := os.Stat(path)
	if err != nil || json.Unmarshal(raw, &n) != nil {
		return JournalNote{}, false
	}
	own := NoteFor(path, fi)
	return n, n.Name == own.Name && n.File == own.File && n.From > 0 && n.To >= n.From
}

// peekNote reads the note of the book at path without opening it.
func peekNote(path string) (n JournalNote, ok bool) {
	c, err := OpenContents(path)
	if err != nil {
		return JournalNote{}, false
	}
	defer c.Close()
	raw, _ := c.Find(layout.Meta, layout.KeyJournal)
	return ReadNote(raw, path)
}

// JournalsGone tells whether the book at path had journals beside it of which none is left.
func JournalsGone(path string) bool {
	n, ok := peekNote(path)
	if !ok || n.Name == "" {
		return false
	}
	id, _, err := Peek(path)
	if err != nil {
		return false
	}
	last, _, err := LastJournaled(path, id)
	return err == nil && last == nil
}
