package logbook

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/disk"
	"flaskside/logbook/words"
)

// Check looks through a book as [Verify] does, best in a process of its own.
type Check func(path string) (check.Report, error)

// sound is a check that allows no fault.
func (c Check) sound(path, what string) (check.Report, error) {
	rep, err := c(path)
	switch n := len(rep.Faults); {
	case err != nil:
	case n == 1:
		err = faultyFile{fmt.Sprintf("%s has a fault: %s", what, rep.Faults[0])}
	case n > 1:
		err = faultyFile{fmt.Sprintf("%s has %d faults, the first: %s", what, n, rep.Faults[0])}
	}
	return rep, err
}

// faultyFile is [ErrDamaged] of a file that is not the logbook itself, and must not be taken
// for it.
type faultyFile struct{ what string }

func (e faultyFile) Error() string        { return e.what }
func (e faultyFile) Is(target error) bool { return target == ErrDamaged }

// Backup writes a copy of the book at path of to the file to: beside its place first,
// synced, checked, and only then given its name. What stood there before, which must be
// a copy of the same book and hold nothing that the new one lacks, stays until then.
// snapshot is that of the book or of its bench's door.
func Backup(of, to string, snapshot func(io.Writer) error, look Check) (check.Report, error) {
	if same, err := sameFile(of, to); err == nil && same {
		return check.Report{}, fmt.Errorf("backup: %s is the logbook itself: give another name", to)
	}
	was, head, err := check.Peek(to)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return check.Report{}, fmt.Errorf("backup: something else is in its place: %w", err)
	}
	disk.Sweep(to)
	tmp := disk.NewName(to)
	defer func() { _ = os.Remove(tmp) }() // gone already when all went well
	if err := writeSynced(tmp, snapshot); err != nil {
		return check.Report{}, fmt.Errorf("backup: %w", err)
	}
	rep, err := look.sound(tmp, "the copy")
	if err != nil {
		return rep, fmt.Errorf("backup: %w", err)
	}
	if was != "" && was != rep.Book {
		return rep, fmt.Errorf("backup: %s is a copy of another book: give another name", to)
	}
	if was != "" {
		c, err := check.OpenContents(tmp)
		if err != nil {
			return rep, fmt.Errorf("backup: %w", err)
		}
		ahead := !c.Has(head)
		c.Close()
		if ahead {
			return rep, fmt.Errorf("backup: %s %w, up to record %d: give another name", to, errAhead, head.Seq)
		}
	}
	if err := os.Rename(tmp, to); err != nil {
		return rep, fmt.Errorf("backup: %w", err)
	}
	return rep, syncDir(filepath.Dir(to))
}

// errAhead: the book was put back to an older state since the copy was made.
var errAhead = errors.New("holds what the logbook lacks")

// writeSynced writes a new file of its owner alone and syncs it.
func writeSynced(path string, write func(io.Writer) error) error {
	f, err := disk.CreateOwn(path)
	if err != nil {
		return err
	}
	return disk.Finish(f, write)
}

const backupDay = "2006-01-02"

// BackupDaily makes the backup of a day, in a folder of the house (beside the book
// where it is no whole path), and removes all but the last keep of those it made
// there. A second one of the same day takes the place of the first, where anything was
// recorded since. It gives the file made, "" where keep is 0. A folder of the house's own that
// had to be made is told to those who listen ([Book.OnTrouble]): it may be in the place of a
// disk that is not plugged in.
func BackupDaily(b *Book, folder string, keep int, now time.Time, look Check) (string, error) {
	ownPlace := filepath.IsAbs(folder)
	if keep < 1 {
		return "", nil
	}
	folder = BackupFolder(b.path, folder)
	if newly, err := makeLast(folder); err != nil {
		return "", fmt.Errorf("backup: %w", err)
	} else if newly && ownPlace {
		b.mu.Lock()
		b.journal.say(fmt.Errorf("the folder for backups %s was not there and is new: if it should lie on another disk, see whether that is plugged in (backup.folder in the settings)", folder))
		b.mu.Unlock()
	}
	made := filepath.Join(folder, backupStart(b.path)+now.Format(backupDay)+".db")
	if fi, err := os.Lstat(made); err == nil && !fi.Mode().IsRegular() {
		return "", fmt.Errorf("backup: %s is not a plain file: see who put it there and move it away", made)
	}
	if id, head, err := check.Peek(made); err == nil && id == b.id && head == b.State().Head {
		return made, nil
	}
	_, err := Backup(b.path, made, b.Snapshot, look)
	if errors.Is(err, errAhead) { // nobody is asked here: it stays under another name
		if err = os.Rename(made, freeName(made, now)); err == nil {
			_, err = Backup(b.path, made, b.Snapshot, look)
		}
	}
	if err != nil {
		return "", err
	}
	days, err := DailyBackups(b.path, folder)
	if err != nil {
		return made, fmt.Errorf("backup: %w", err)
	}
	// Those of another book, that had this name before, are not ours to remove.
	days = slices.DeleteFunc(days, func(name string) bool {
		id, _, err := check.Peek(name)
		return err == nil && id != b.id
	})
	for _, name := range days[:max(0, len(days)-keep)] {
		if name == made {
			continue // made under a clock that stands before the others
		}
		if err := os.Remove(name); err != nil {
			return made, fmt.Errorf("backup: remove an old one: %w", err)
		}
	}
	return made, nil
}

// makeLast makes the last element of a folder's path where it is missing. What should lie
// above it is a disk that is not there, and its name on this disk is not that disk.
func makeLast(folder string) (newly bool, err error) {
	err = os.Mkdir(folder, 0o700)
	switch {
	case err == nil:
		return true, nil
	case errors.Is(err, fs.ErrExist):
		return false, nil
	case errors.Is(err, fs.ErrNotExist):
		return false, fmt.Errorf("%s is not there: is the disk of the backups plugged in? Nothing was made in its place (backup.folder in the settings)", filepath.Dir(folder))
	}
	return false, err
}

// BackupFolder is where the backups of the days are made: a folder of the house, beside
// the book where it is no whole path.
func BackupFolder(bookPath, folder string) string {
	if filepath.IsAbs(folder) {
		return folder
	}
	return filepath.Join(filepath.Dir(bookPath), folder)
}

// backupStart is what the names of a book's backups begin with; the day follows.
func backupStart(bookPath string) string {
	return strings.TrimSuffix(filepath.Base(bookPath), ".db") + "-"
}

// DailyBackups lists the backups that [BackupDaily] made of a book, by day. Each was
// looked through before it got its name.
func DailyBackups(bookPath, folder string) ([]string, error) {
	folder = BackupFolder(bookPath, folder)
	all, err := os.ReadDir(folder)
	if err != nil {
		return nil, err
	}
	var days []string
	for _, e := range all {
		day, ok := strings.CutPrefix(e.Name(), backupStart(bookPath))
		day, end := strings.CutSuffix(day, ".db")
		if _, err := time.Parse(backupDay, day); ok && end && err == nil && e.Type().IsRegular() {
			days = append(days, filepath.Join(folder, e.Name()))
		}
	}
	slices.Sort(days)
	return days, nil
}

// Restored says what a restore did.
type Restored struct {
	Report check.Report // of the book as it is now
	Kept   string       // where the book that was replaced is, "" where there was none
	Aside  []string     // where its journals are, which hold what was given up, of other histories too
}

// Text says what became of each file, with the new head last.
func (r Restored) Text(w io.Writer) error {
	if r.Kept != "" {
		fmt.Fprintf(w, "the logbook replaced is kept as %s\n", filepath.Base(r.Kept))
	}
	for _, name := range r.Aside {
		fmt.Fprintf(w, "its journal, with all that was given up, is kept as %s\n", filepath.Base(name))
	}
	_, err := fmt.Fprintf(w, "restored: %s, head %s\n", words.Count(int(r.Report.Records), "record", "records"), r.Report.Head)
	return err
}

// Newer says that a book holds records that a backup lacks.
type Newer struct {
	What string
}

// Error says what would be lost.
func (e *Newer) Error() string { return "the logbook holds what the backup lacks: " + e.What }

// Restore puts a backup in the place of the book at path. The backup is checked first;
// the book replaced is kept beside it under another name. The error is [Newer] where
// the book, or the journal beside it, holds records that the backup lacks and discard
// is false; where they are given up, the book has a record of that, by whom, and [ErrHeld] while another program has the book.
func Restore(backup, path string, now time.Time, discard bool, by string, look Check) (Restored, error) {
	out := Restored{}
	rep, err := look.sound(backup, "the backup")
	if err != nil {
		return out, fmt.Errorf("restore: %w", err)
	}
	if same, err := sameFile(backup, path); err != nil {
		return out, fmt.Errorf("restore: %w", err)
	} else if same {
		return out, fmt.Errorf("restore: %s is the logbook itself", backup)
	}
	unlock, err := lockWriting(path)
	if err != nil {
		return out, err
	}
	defer unlock()
	what, gaveUp, err := lacks(path, backup, rep)
	if err != nil {
		return out, fmt.Errorf("restore: %w", err)
	}
	if what != "" && !discard {
		return out, &Newer{what}
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return out, fmt.Errorf("restore: %w", err)
	}
	disk.Sweep(path)
	tmp := disk.NewName(path)
	defer func() { _ = os.Remove(tmp) }() // gone already when all went well
	err = writeSynced(tmp, func(w io.Writer) error {
		f, err := disk.OpenSource(backup)
		if err != nil {
			return err
		}
		defer func() { _ = f.Close() }() // only read from
		_, err = io.Copy(w, f)
		return err
	})
	aside := freeName(path, now)
	if err == nil && gaveUp.Seq > 0 {
		_, err = noteRestored(tmp, action.Restored{GaveUp: gaveUp.String(), Kept: action.FileName(filepath.Base(aside))}, by, now)
	}
	if err == nil {
		out.Report, err = look.sound(tmp, "the copy")
	}
	if err != nil {
		return out, fmt.Errorf("restore: %w", err)
	}
	if runtime.GOOS == "windows" {
		unlock() // a file in use cannot be renamed there
	}
	if out.Kept, err = setAside(path, aside); err != nil {
		return out, fmt.Errorf("restore: %w", err)
	}
	if err := os.Rename(tmp, path); err != nil {
		return out, fmt.Errorf("restore: %w", err)
	}
	if discard && what != "" {
		if out.Aside, err = setJournalsAside(path, rep.Book, strings.TrimPrefix(aside, path)); err != nil {
			return out, fmt.Errorf("restore: %w", err)
		}
	}
	return out, syncDir(filepath.Dir(path))
}

// freeName is a name for what is replaced, that nothing has yet.
func freeName(path string, now time.Time) string {
	name := path + ".replaced-" + now.Format("20060102-150405")
	for n, first := 2, name; there(name); n++ {
		name = fmt.Sprintf("%s-%d", first, n)
	}
	return name
}

func there(path string) bool {
	_, err := os.Lstat(path)
	return !errors.Is(err, fs.ErrNotExist)
}

// setAside gives a file a second name, so that at no moment there is none; kept is ""
// where there is no file.
func setAside(path, to string) (kept string, err error) {
	if !there(path) {
		return "", nil
	}
	if err := os.Link(path, to); err == nil {
		return to, nil
	}
	return to, os.Rename(path, to) // a file system without links
}

// setJournalsAside renames the journals of records that were given up, which would
// contradict those to come.
func setJournalsAside(path, id, stamp string) (aside []string, err error) {
	files, err := check.JournalsOf(path, id)
	if err != nil {
		return nil, err
	}
	for _, name := range files {
		if err := os.Rename(name, name+stamp); err != nil {
			return aside, err
		}
		aside = append(aside, name+stamp)
	}
	return aside, nil
}

func sameFile(a, b string) (bool, error) {
	x, err := os.Stat(a)
	if err != nil {
		return false, err
	}
	y, err := os.Stat(b)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	return err == nil && os.SameFile(x, y), err
}

// lockWriting keeps other programs from the book. One that the store cannot open, or
// that is not there, no program works on.
func lockWriting(path string) (unlock func(), err error) {
	db, _, err := openStore(path, false)
	switch {
	case err == nil:
		return func() { _ = guard(db.Close) }, nil // nothing was written
	case spoiltFile(err), errors.Is(err, fs.ErrNotExist):
		return func() {}, nil
	}
	return nil, err
}

// lacks says which records of the book at path, or of the journals beside it, a sound
// backup lacks, "" for none, and the last of them.
func lacks(path, backup string, rep check.Report) (what string, upTo Head, err error) {
	c, err := check.OpenContents(backup)
	if err != nil {
		return "", Head{}, err
	}
	defer c.Close()
	text := func(h Head) string {
		if h.Seq > rep.Head.Seq {
			return fmt.Sprintf("records up to %d, the backup ends with %d", h.Seq, rep.Head.Seq)
		}
		return fmt.Sprintf("another record %d", h.Seq)
	}
	journals, err := check.JournalsOf(path, rep.Book)
	if err != nil {
		return "", Head{}, err
	}
	id, head, err := check.Peek(path)
	if errors.Is(err, fs.ErrNotExist) {
		if len(journals) == 0 {
			return "", Head{}, nil
		}
	} else if err == nil && check.Inside(path) == nil {
		// The hash of its last record stands for all before it.
		last, _, err := check.LastJournaled(path, id)
		switch {
		case err != nil:
			return "", Head{}, err
		case id != rep.Book && head.Seq > 0:
			return "it is another book", head, nil
		case !c.Has(head) && last != nil && last.Hash != head.Hash && !c.Has(*last):
			return text(head) + "; its journal another history, " + text(*last), head, nil
		case !c.Has(head):
			return text(head), head, nil
		case last != nil && !c.Has(*last):
			return text(*last) + ", in its journal", *last, nil
		}
		return "", Head{}, nil
	}
	s, err := check.Gather(path, journals)
	if err != nil {
		return "", Head{}, err
	}
	defer s.Close()
	for _, p := range slices.Backward(s.Choose()) {
		if h := p.Head(); !c.Has(h) {
			return text(h) + "; it is damaged, and flaskside salvage would bring back what is left", h, nil
		}
	}
	return "", Head{}, nil
}
