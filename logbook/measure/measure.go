// Package measure looks at the place of a logbook and at its machine; what is found is judged by
// package doctor.
package measure

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"flaskside/logbook"
	"flaskside/logbook/check"
	"flaskside/logbook/disk"
	"flaskside/logbook/doctor"
	"flaskside/logbook/door"
	"flaskside/logbook/house"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/sysclock"
)

// commitsMeasured is enough for a median, and over in half a second on a slow disk.
const commitsMeasured = 50

// All looks at everything that the doctor judges but the terminal; whole goes through the logbook
// and the journals beside it, look through a backup. What cannot be measured is left
// out, or says why; nothing stops it but ctx.
func All(ctx context.Context, path string, clock timers.Clock, whole func() (check.Report, error), look logbook.Check) doctor.Facts {
	now := clock.Read()
	f := doctor.Facts{At: now.Wall, Owned: runtime.GOOS != "windows", Clock: doctor.ClockFacts{Source: sysclock.Source(), BootID: now.BootID, Boot: now.Boot, Keeping: sysclock.WallKeeping()}}
	f.Zone.Name = now.Wall.Location().String()
	f.Zone.From, f.Zone.Release = sysclock.ZoneData()
	if v, err := disk.Of(path); err != nil {
		f.Volume.Err = words.Clean(err.Error())
	} else {
		f.Volume.Volume = v
	}
	settings := lookAtBook(&f.Book, path, clock)
	lookThrough(&f.Book, whole)
	f.Files = lookBeside(path)
	f.Left = disk.UnfinishedIn(filepath.Dir(path), strings.TrimSuffix(filepath.Base(path), ".db"))
	if folder := logbook.BackupFolder(path, settings.Backup.Folder); folder != filepath.Dir(path) {
		f.Left = append(f.Left, disk.UnfinishedIn(folder, strings.TrimSuffix(filepath.Base(path), ".db"))...)
	}
	f.Backup = lookAtBackups(f, path, settings, look)
	f.Mirror = lookAtMirror(ctx, f, path, settings)
	dir := filepath.Dir(path)
	if f.Commits.Err = couldMake(dir); f.Commits.Err != "" {
		return f
	}
	dir = above(dir)
	took, err := logbook.CommitTimes(ctx, filepath.Join(dir, filepath.Base(path)), commitsMeasured, clock)
	if f.Commits.Took = took; err != nil && ctx.Err() == nil {
		f.Commits.Err = words.Clean(err.Error())
	}
	return f
}

// above gives the nearest folder above a path that is there.
func above(dir string) string {
	for {
		if _, err := os.Stat(dir); err == nil || filepath.Dir(dir) == dir {
			return dir
		}
		dir = filepath.Dir(dir)
	}
}

// couldMake says why a folder could not be made, "" where it could.
func couldMake(dir string) string {
	if fi, err := os.Stat(above(dir)); err == nil && !fi.IsDir() {
		return fmt.Sprintf("the folder %s cannot be made: %s is a file", dir, above(dir))
	}
	return ""
}

// lookAtBook looks at a logbook from outside and gives the house settings in it.
func lookAtBook(b *doctor.BookFacts, path string, clock timers.Clock) house.House {
	settings := house.Default()
	b.Path, b.State = path, doctor.Free
	if fi, err := os.Stat(path); err == nil {
		b.Bytes = fi.Size()
	} else if errors.Is(err, fs.ErrNotExist) || couldMake(filepath.Dir(path)) != "" {
		b.State = doctor.NoBook
		return settings
	}
	if client, err := door.Dial(path); err == nil {
		b.State = doctor.Running
		if who, err := client.Who(); err == nil {
			b.Why = fmt.Sprintf("process %d, since %s", who.PID, who.Since.Format("2 Jan 15:04"))
		}
		if st, err := client.State(); err == nil {
			settings = st.Bench.House
		}
	} else {
		book, err := logbook.OpenReading(path, clock)
		switch {
		case err == nil:
			settings = book.State().Bench.House
			_ = book.Close() // only read from
		case errors.Is(err, logbook.ErrHeld):
			b.State, b.Why = doctor.Held, strings.TrimPrefix(words.Clean(err.Error()), fmt.Sprintf("%v: %s", logbook.ErrHeld, path))
		case errors.Is(err, logbook.ErrNoLocks):
			b.State, b.Why = doctor.NoLocks, words.Clean(err.Error())
		default:
			b.State, b.Why = doctor.Bad, words.Clean(err.Error())
		}
	}
	if _, head, err := check.Peek(path); err == nil {
		b.Records, b.Gone = head.Seq, check.JournalsGone(path)
		if first, ok, err := check.PeekRecord(path, 1); ok && err == nil {
			b.First = first.Written
		}
		if last, ok, err := check.PeekRecord(path, head.Seq); ok && err == nil {
			b.Last = last.Written.In(clock.Read().Wall.Location())
		}
	}
	return settings
}

// lookThrough looks through all of a logbook that can be read, and the journals beside it.
func lookThrough(b *doctor.BookFacts, whole func() (check.Report, error)) {
	if b.State != doctor.Free && b.State != doctor.Running {
		return
	}
	rep, err := whole()
	if err != nil {
		return // what is wrong with it is told by what else was looked at
	}
	b.Looked = true
	for _, f := range rep.Faults {
		switch {
		case f.Kind != check.FaultJournal && f.Kind != check.FaultFork:
			b.Faults = append(b.Faults, f.String())
		case !b.Gone || f.Branch != nil: // that all are gone is told
			b.Beside = append(b.Beside, f.String())
		}
	}
}

// lookBeside lists the folder of a logbook and what lies there by its name.
func lookBeside(path string) []doctor.FileFacts {
	dir := filepath.Dir(path)
	var out []doctor.FileFacts
	add := func(name string, fi fs.FileInfo) {
		perm := uint32(fi.Mode().Perm())
		if fi.Mode()&fs.ModeSticky != 0 {
			perm |= 0o1000
		}
		out = append(out, doctor.FileFacts{Name: name, Bytes: fi.Size(), Perm: perm, Others: !disk.Ours(fi)})
	}
	fi, err := os.Stat(dir)
	if err != nil || !fi.IsDir() {
		return nil
	}
	add(dir, fi)
	out[0].Folder, out[0].Bytes = true, 0
	all, _ := os.ReadDir(dir) // as much as can be read
	start := strings.TrimSuffix(filepath.Base(path), ".db") + "."
	for _, e := range all {
		if fi, err := e.Info(); err == nil && strings.HasPrefix(e.Name(), start) && (fi.Mode().IsRegular() || fi.Mode().Type() == fs.ModeSocket) {
			add(e.Name(), fi)
		}
	}
	journals, _ := check.Journals(path)
	for i := range out {
		out[i].Journal = slices.Contains(journals, filepath.Join(dir, out[i].Name))
	}
	return out
}

// lookAtBackups finds the newest backup of the days and looks through it.
func lookAtBackups(f doctor.Facts, path string, settings house.House, look logbook.Check) doctor.BackupFacts {
	b := doctor.BackupFacts{Keep: settings.Backup.Keep, Folder: logbook.BackupFolder(path, settings.Backup.Folder)}
	b.Beside = !filepath.IsAbs(settings.Backup.Folder)
	if _, err := os.Stat(b.Folder); errors.Is(err, fs.ErrNotExist) {
		_, above := os.Stat(filepath.Dir(b.Folder))
		b.Missing = above == nil
	}
	if v, err := disk.Of(b.Folder); err == nil {
		b.Same = v.ID == f.Volume.ID
	}
	lacks := uint64(1)
	days, err := logbook.DailyBackups(path, settings.Backup.Folder)
	switch {
	case err != nil && !errors.Is(err, fs.ErrNotExist) && couldMake(b.Folder) == "":
		b.Err = words.Clean(err.Error())
	case len(days) > 0:
		b.Count, b.File = len(days), days[len(days)-1]
		for _, name := range days {
			if fi, err := os.Stat(name); err == nil {
				b.Bytes, b.At = b.Bytes+fi.Size(), fi.ModTime()
			}
		}
		rep, err := look(b.File)
		if err != nil {
			b.Err = words.Clean(err.Error())
		}
		b.Faults, b.Records = len(rep.Faults), rep.Head.Seq
		lacks = b.Records + 1
	}
	if r, ok, err := check.PeekRecord(path, lacks); ok && err == nil {
		b.LackSince = r.Written.In(f.At.Location())
	}
	return b
}
