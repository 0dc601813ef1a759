// Package doctor judges what was measured of the place where a logbook lies and of the
// machine: what each thing means for the records, and what to do about it. It measures
// nothing itself.
package doctor

import (
	"time"

	"flaskside/logbook/disk"
	"flaskside/timers/sysclock"
)

// Bounds (house defaults where no source is named).
const (
	slowCommit = 50 * time.Millisecond // felt at the key
	longCommit = time.Second           // one that looks like a program that hangs
	fastCommit = 50 * time.Microsecond // two syncs of a disk take longer (measured: 200 µs and more on disks, 20 µs in memory)
	noRoom     = 32 << 20              // bytes; the next weeks' records and a backup may not fit
	shortDays  = 90                    // of room left at the book's own rate
	youngBook  = 2 * 24 * time.Hour    // too short to tell a rate
	backupAge  = 24 * time.Hour        // the house setting is a backup each day
	ahead      = 2 * time.Second       // by which a clock is taken for another one's
	zoneYears  = 2                     // zones change by law a few times a year
	smallCols  = 80                    // the smallest window that holds the bench
	smallRows  = 24
	fewNames   = 6
)

// Facts are what was measured. A field that could not be measured is zero or says why.
type Facts struct {
	At       time.Time     `json:"at"` // wall clock, in the zone in force
	Book     BookFacts     `json:"book"`
	Commits  commitTimes   `json:"commits"`
	Volume   volume        `json:"volume"`
	Files    []FileFacts   `json:"files"`          // beside the book, and the folder itself first
	Left     []string      `json:"left,omitempty"` // files of runs that were killed before they were done
	Owned    bool          `json:"-"`              // modes and owners of files say who may do what, as they do not on Windows
	Backup   BackupFacts   `json:"backup"`
	Mirror   MirrorFacts   `json:"mirror,omitzero"`
	Clock    ClockFacts    `json:"clock"`
	Zone     zoneData      `json:"zone"`
	Terminal TerminalFacts `json:"terminal"`
}

// BookState says who has the book, as far as can be seen from outside.
type BookState string

// States.
const (
	NoBook  BookState = "none"    // the bench makes one
	Free    BookState = "free"    // nobody has it
	Running BookState = "running" // a bench has it and answers
	Held    BookState = "held"    // another program has it and does not answer
	Bad     BookState = "bad"     // it cannot be read
	NoLocks BookState = "nolocks" // files cannot be locked where it lies
)

// BookFacts is the logbook by a look from outside.
type BookFacts struct {
	Path    string    `json:"path"`
	State   BookState `json:"state"`
	Why     string    `json:"why,omitempty"` // who has it, or what is wrong
	Bytes   int64     `json:"bytes"`
	Records uint64    `json:"records"`
	Gone    bool      `json:"journal_gone,omitempty"` // it had journals beside it, and none is left
	Looked  bool      `json:"looked_through"`         // all of it, and the journals beside it, now
	Faults  []string  `json:"faults,omitempty"`       // seen then
	Beside  []string  `json:"journal_faults,omitempty"`
	First   time.Time `json:"first,omitzero"` // when the first record was written
	Last    time.Time `json:"last,omitzero"`
}

// commitTimes are the durable commits of a scratch file beside the book.
type commitTimes struct {
	Took []time.Duration `json:"took_ns"`
	Err  string          `json:"err,omitempty"`
}

// volume is the file system of the book's folder.
type volume struct {
	disk.Volume
	Err string `json:"err,omitempty"`
}

// FileFacts is a file that lies beside the book, or the folder.
type FileFacts struct {
	Name    string `json:"name"`
	Bytes   int64  `json:"bytes"`
	Perm    uint32 `json:"perm"`             // permission bits and, as 01000, the sticky one
	Journal bool   `json:"journal"`          // of the records' plain copies
	Folder  bool   `json:"folder,omitempty"` // the folder of the book
	Others  bool   `json:"others,omitempty"` // it belongs to another user
}

// BackupFacts is the newest backup of a day.
type BackupFacts struct {
	Keep      int       `json:"keep"` // the house setting, 0 for none
	Folder    string    `json:"folder"`
	Beside    bool      `json:"beside,omitempty"`  // no other place was set than one beside the book
	Missing   bool      `json:"missing,omitempty"` // the folder is not there, and what holds it is
	Same      bool      `json:"same_volume"`       // it lies on the file system of the book
	Count     int       `json:"count"`
	Bytes     int64     `json:"bytes"` // of all
	File      string    `json:"file,omitempty"`
	At        time.Time `json:"at,omitzero"`
	Records   uint64    `json:"records"`
	Faults    int       `json:"faults"`              // seen when it was looked through now
	Err       string    `json:"err,omitempty"`       // why it could not be looked through
	LackSince time.Time `json:"lack_since,omitzero"` // when the first record it lacks was written
}

// ClockFacts tells of the clocks of the machine.
type ClockFacts struct {
	Source  string           `json:"source"` // of the boot clock
	BootID  string           `json:"boot_id"`
	Boot    time.Duration    `json:"boot_ns"`
	Keeping sysclock.Keeping `json:"keeping"`
}

// zoneData tells of the time zone.
type zoneData struct {
	Name    string `json:"name"`
	From    string `json:"from"`    // folder of the tz database
	Release string `json:"release"` // of it, "" where not known
}

// TerminalFacts tells what the screen can do.
type TerminalFacts struct {
	Is      bool   `json:"terminal"` // the standard output is one
	Cols    int    `json:"cols"`
	Rows    int    `json:"rows"`
	Colours string `json:"colours"`  // "TrueColor", "ANSI256", "ANSI", "ASCII", "NoTTY"
	NoColor bool   `json:"no_color"` // NO_COLOR is set
	Type    string `json:"term"`     // TERM
	Locale  string `json:"locale"`   // that decides about characters; "" where none is set
	Console bool   `json:"console"`  // of Windows, which takes all characters
	SSH     bool   `json:"ssh"`
	Inside  string `json:"inside,omitempty"` // the multiplexer
}

// Severity says how bad a finding is.
type Severity string

// Levels.
const (
	Fine Severity = "ok"
	Note Severity = "note"
	Warn Severity = "warn"
	Lose Severity = "LOSS" // records could be lost
)

// Finding is one line of the doctor: what was found, what it means, what to do.
type Finding struct {
	Level Severity `json:"level"`
	Part  string   `json:"part"`
	Found string   `json:"found"`
	Means string   `json:"means"`
	Do    string   `json:"do,omitempty"` // "" where nothing need be done
}

// Examine judges the facts, in the order in which they are told.
func Examine(f Facts) []Finding {
	var out []Finding
	for _, look := range []func(Facts) []Finding{book, fileSystem, commits, room, left, permissions, backup, mirrored, clocks, zone, terminal} {
		out = append(out, look(f)...)
	}
	return out
}

// Count gives how many findings want attention, and of these how many could lose
// records.
func Count(all []Finding) (attention, losing int) {
	for _, f := range all {
		switch f.Level {
		case Warn:
			attention++
		case Lose:
			attention++
			losing++
		}
	}
	return attention, losing
}
