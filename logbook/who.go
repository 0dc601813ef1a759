package logbook

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"flaskside/logbook/disk"
)

// who says which program has a book open; it lies beside the book as NAME.who.
type who struct {
	PID   int       `json:"pid"`
	Host  string    `json:"host"`
	What  string    `json:"what"`
	Since time.Time `json:"since"`
}

func whoPath(path string) string { return path + ".who" }

// Announce tells others, beside the book, which program has it; the returned
// function takes the note away again. It is a courtesy: the lock decides.
func (b *Book) Announce(what string) (done func()) {
	host, err := os.Hostname()
	if err != nil {
		host = "?"
	}
	v, err := json.Marshal(who{os.Getpid(), host, what, b.clock.Read().Wall})
	if err != nil {
		return func() {}
	}
	f, err := disk.CreateOwn(whoPath(b.path))
	if err != nil {
		return func() {}
	}
	_, err = f.Write(v)
	if errors.Join(err, f.Close()) != nil {
		return func() {}
	}
	return func() { _ = os.Remove(whoPath(b.path)) } // a stale note harms nobody
}

// holder words the note, for the one who was locked out.
func holder(path string) string {
	var w who
	f, err := disk.OpenSource(whoPath(path)) // not waited for, and a note at most
	if err != nil {
		return " (another program has it open)"
	}
	defer func() { _ = f.Close() }() // only read from
	if json.NewDecoder(io.LimitReader(f, 4<<10)).Decode(&w) != nil {
		return " (another program has it open)"
	}
	return fmt.Sprintf(" (process %d on %s, %s, since %s)", w.PID, w.Host, w.What, w.Since.Format("02 Jan 15:04"))
}
