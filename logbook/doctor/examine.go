package doctor

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/disk"
	"flaskside/logbook/words"
)

const otherDisk = "keep the logbook on a disk of this computer: --book FILE"

func book(f Facts) []Finding {
	b := f.Book
	x := Finding{Level: Fine, Part: "logbook", Found: words.Count(int(b.Records), "record", "records") + ", " + disk.Size(b.Bytes)}
	if !b.Last.IsZero() {
		x.Found += ", the last of " + clock(b.Last)
	}
	looked := "; flaskside verify looks through every record"
	if b.Looked && len(b.Faults) == 0 {
		looked = "; looked through now, no fault"
	}
	switch b.State {
	case NoBook:
		x.Found, x.Means = "none yet", "the bench makes one when it is first opened"
	case Free:
		x.Means = "no program has it open" + looked
	case Running:
		x.Means = "a bench has it open and answers (" + b.Why + ")" + looked
	case Held:
		x.Level, x.Means = Warn, "another program has it open and does not answer"+b.Why
		x.Do = "end that program, or wait until it has done"
	case NoLocks:
		x.Level, x.Found, x.Means, x.Do = Lose, b.Why, "two programs could write at once and spoil it", otherDisk
	default:
		x.Level, x.Found, x.Means = Lose, b.Why, "it cannot be used"
		x.Do = "flaskside verify tells more, flaskside salvage brings together what is left"
	}
	out := []Finding{x}
	if b.Gone {
		out = append(out, Finding{Warn, "journal", "gone: the logbook had one beside it", "were the logbook damaged, salvage would have nothing else to read", "put it back; else a new one begins with the next record"})
	}
	if len(b.Faults) > 0 {
		out = append(out, Finding{Lose, "records", firstOf(b.Faults), "the logbook is not as it was written", "flaskside verify tells all, flaskside salvage brings together what is left"})
	}
	if len(b.Beside) > 0 {
		out = append(out, Finding{Warn, "journal", firstOf(b.Beside), "the logbook and what was written beside it do not agree", "flaskside verify tells all"})
	}
	if by := b.Last.Sub(f.At); by > ahead {
		out = append(out, Finding{Warn, "last record", "written " + words.Rough(by) + " from now, " + clock(b.Last), "the clock was ahead then, or is behind now", "set the clock before the next record"})
	}
	return out
}

// firstOf tells the first fault, and how many more there are.
func firstOf(faults []string) string {
	if n := len(faults) - 1; n > 0 {
		return faults[0] + "; and " + strconv.Itoa(n) + " more"
	}
	return faults[0]
}

func fileSystem(f Facts) []Finding {
	v := f.Volume
	x := Finding{Level: Fine, Part: "file system", Found: v.Type + ", " + string(v.Kind)}
	if v.Type == "" {
		x.Found = string(v.Kind)
	}
	switch {
	case v.Err != "":
		x.Level, x.Found, x.Means, x.Do = Note, "not known: "+v.Err, "whether its locks hold is not known", "do not keep the logbook on a network share"
	case v.ReadOnly:
		x.Level, x.Means, x.Do = Lose, "it can only be read: no record can be made", otherDisk
	case v.Kind == disk.Memory:
		x.Level, x.Means, x.Do = Lose, "in memory only: gone when the computer restarts", otherDisk
	case v.Kind == disk.Network:
		x.Level, x.Means, x.Do = Lose, "locks and memory map cannot be trusted there; the bench does not open it", otherDisk
	case v.Kind == disk.Unknown:
		x.Level, x.Means, x.Do = Warn, "what is behind it is not known; on another computer locks could not be trusted", otherDisk
	default:
		x.Means = "locks and memory map can be trusted"
	}
	return []Finding{x}
}

func commits(f Facts) []Finding {
	c := f.Commits
	x := Finding{Level: Fine, Part: "commit", Means: "each key press waits this long to be saved"}
	if c.Err != "" {
		return []Finding{{Lose, "commit", c.Err, "no record can be made there", "free some disk space, or see who may write in the folder; or " + otherDisk}}
	}
	if len(c.Took) == 0 {
		return []Finding{{Note, "commit", "not measured", "it was broken off", ""}}
	}
	took := slices.Sorted(slices.Values(c.Took))
	median, worst := took[len(took)/2], took[len(took)-1]
	x.Found = fmt.Sprintf("median %s, worst %s of %d", ms(median), ms(worst), len(took))
	switch {
	case median > slowCommit:
		x.Level, x.Means, x.Do = Warn, "slow: every key waits that long", "see what else is using this disk (a virus scanner, a copy to elsewhere), or take another"
	case worst > longCommit:
		x.Level, x.Means, x.Do = Warn, "now and then a key waits very long", "see what else is using this disk, or take another"
	case median < fastCommit && f.Volume.Kind != disk.Memory:
		x.Level, x.Means, x.Do = Warn, "faster than a disk: a record may be called saved and not outlast a power cut", "unless its writes are secured by a battery, set the disk or virtual machine to honour syncs, or take another"
	case median < fastCommit:
		x.Means = "memory is as fast as that"
	}
	return []Finding{x}
}

// room is the space left, against what the book takes and how fast it grows.
func room(f Facts) []Finding {
	v := f.Volume
	if v.Err != "" || v.Total == 0 { // that is told with the file system, or it has no bounds
		return nil
	}
	x := Finding{Level: Fine, Part: "disk space", Found: fmt.Sprintf("%s free of %s", disk.Size(v.Free), disk.Size(v.Total))}
	var takes []string
	if f.Book.State != NoBook {
		takes = append(takes, "logbook "+disk.Size(f.Book.Bytes))
	} else {
		takes = append(takes, "no logbook yet")
	}
	if j := journals(f); j > 0 {
		takes = append(takes, "journal "+disk.Size(j))
	}
	if f.Backup.Count > 0 {
		takes = append(takes, words.Count(f.Backup.Count, "backup", "backups")+" "+disk.Size(f.Backup.Bytes))
	}
	var others int64
	var names []string
	for _, a := range f.Files {
		if !a.Folder && !a.Journal && a.Name != base(f.Book.Path) {
			others += a.Bytes
			names = append(names, fmt.Sprintf("%s %s", a.Name, disk.Size(a.Bytes)))
		}
	}
	x.Means = strings.Join(takes, ", ")
	days, known := lasts(f)
	switch {
	case known && days > 100*365:
		x.Means += "; at its own rate that lasts a hundred years and more (estimate)"
	case known:
		x.Means += fmt.Sprintf("; at its own rate that lasts %.0f days (estimate)", days)
	case f.Book.Records > 0:
		x.Means += "; too young to tell its rate"
	}
	switch {
	case v.Free < noRoom:
		x.Level, x.Do = Lose, "free some disk space now: the next record may not be saved"
	case v.Free < disk.LowFree, known && days < shortDays:
		x.Level, x.Do = Warn, "free some disk space, or have fewer backups kept (backup in the settings)"
	}
	out := []Finding{x}
	if len(names) > 0 {
		text := strings.Join(names[:min(fewNames, len(names))], ", ")
		if more := len(names) - fewNames; more > 0 {
			text += fmt.Sprintf(" and %d more", more)
		}
		out = append(out, Finding{Fine, "beside it", text, disk.Size(others) + " in all: of the logbook, or left by it", ""})
	}
	return out
}

// left names what runs that were killed left behind.
func left(f Facts) []Finding {
	if len(f.Left) == 0 {
		return nil
	}
	text := strings.Join(f.Left[:min(fewNames, len(f.Left))], ", ")
	if more := len(f.Left) - fewNames; more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return []Finding{{Note, "unfinished", text, "left by a command that was ended before it was done; nothing rests on it", "the same command takes it away when it runs again, or remove it"}}
}

func journals(f Facts) (n int64) {
	for _, a := range f.Files {
		if a.Journal {
			n += a.Bytes
		}
	}
	return n
}

// lasts gives the days for which the room is enough, where the book goes on growing as
// it did: by itself, with its journal, and, on the same file system, in each backup that
// is kept, once there are as many.
func lasts(f Facts) (days float64, known bool) {
	age := f.Book.Last.Sub(f.Book.First)
	if f.Book.First.IsZero() || age < youngBook {
		return 0, false
	}
	book, perDay := float64(f.Book.Bytes), 24/age.Hours()
	grows := book * perDay
	used := float64(journals(f)) * perDay
	now := 0.0
	if f.Backup.Same {
		keep := float64(f.Backup.Keep)
		now = max(0, keep*book-float64(f.Backup.Bytes)) // backups to come of the book as it is
		used += keep * grows
	}
	if grows+used <= 0 {
		return 0, false
	}
	return max(0, (float64(f.Volume.Free)-now)/(grows+used)), true
}

const (
	othersWrite = 0o022
	othersRead  = 0o044
	sticky      = 0o1000
)

func permissions(f Facts) []Finding {
	x := Finding{Level: Fine, Part: "permissions"}
	if !f.Owned {
		x.Level, x.Found, x.Means = Note, "not checked", "access lists decide here; the folders of a user are his own by them"
		return []Finding{x}
	}
	if len(f.Files) == 0 {
		return nil // no folder yet
	}
	var write, read, others []string
	for _, a := range f.Files {
		switch {
		case a.Others:
			others = append(others, a.Name)
		case a.Perm&othersWrite != 0 && (!a.Folder || a.Perm&sticky == 0):
			write = append(write, fmt.Sprintf("%s (%04o)", a.Name, a.Perm))
		case a.Perm&othersRead != 0 && !a.Folder:
			read = append(read, fmt.Sprintf("%s (%04o)", a.Name, a.Perm))
		}
	}
	switch {
	case len(write) > 0:
		return []Finding{{Warn, x.Part, "others may write: " + strings.Join(write, ", "), "whoever can write there can change or replace the logbook", "chmod go-w"}}
	case len(others) > 0:
		return []Finding{{Warn, x.Part, "another user's: " + strings.Join(others, ", "), "who owns a file can change it", "have one user work at this bench, or chown"}}
	case len(read) > 0:
		return []Finding{{Note, x.Part, "others may read: " + strings.Join(read, ", "), "case numbers and initials are open to them", "chmod go-r, if that is not meant"}}
	}
	x.Found, x.Means = "yours alone to write", "no other user of this computer can change the logbook"
	return []Finding{x}
}

func backup(f Facts) []Finding {
	b := f.Backup
	x := Finding{Level: Fine, Part: "backup"}
	late := !b.LackSince.IsZero() && f.At.Sub(b.LackSince) > backupAge
	const leave = "flaskside backup FILE makes one now, so does leaving the bench"
	switch {
	case b.Keep == 0 && b.File == "":
		return []Finding{{Warn, x.Part, "none, as set", "a lost disk is a lost logbook", "set backup.keep, or make copies with flaskside backup FILE"}}
	case b.File == "" && b.Err != "":
		return []Finding{{Warn, x.Part, b.Folder + ": " + b.Err, "no backup can be seen", "check the folder, or set another (backup.folder)"}}
	case b.File == "" && b.Missing && !b.Beside:
		return []Finding{{Warn, x.Part, "none, and no folder " + b.Folder, "it is made with the next backup, on the disk that holds its place now", "if it should lie on another disk, see that this is plugged in (backup.folder)"}}
	case b.File == "" && late:
		return []Finding{{Warn, x.Part, "none in " + b.Folder, "there are records since " + clock(b.LackSince), leave}}
	case b.File == "":
		x.Level, x.Found, x.Means = Note, "none yet", "one is made each day when the bench is left"
		return []Finding{x}
	}
	x.Found = fmt.Sprintf("%s of %s, %s", base(b.File), clock(b.At), words.Count(int(b.Records), "record", "records"))
	switch {
	case b.Err != "":
		x.Level, x.Means, x.Do = Warn, "it could not be checked: "+b.Err, leave
	case b.Faults > 0:
		x.Level, x.Means, x.Do = Warn, fmt.Sprintf("checked now, with faults: %d", b.Faults), leave
	case late:
		x.Level, x.Means, x.Do = Warn, "checked now, no fault; it lacks the records since "+clock(b.LackSince), leave
	case b.At.Sub(f.At) > ahead:
		x.Level, x.Means, x.Do = Warn, "checked now, no fault; it is from the future", "check the clock"
	default:
		x.Means = "checked now, no fault"
	}
	if b.Same && x.Do == "" {
		x.Means += "; on the same disk as the logbook"
		x.Do = "a copy on another disk, too, outlasts this one (backup.folder, or flaskside backup FILE)"
	}
	return []Finding{x}
}

func clocks(f Facts) []Finding {
	boot := Finding{Fine, "boot clock", fmt.Sprintf("%s since boot %s, by %s", words.Rough(f.Clock.Boot), short(f.Clock.BootID), f.Clock.Source), "timers stay exact through sleep and a changed clock", ""}
	if f.Clock.BootID == "" {
		boot = Finding{Warn, boot.Part, "none", "after each start of the program all times are estimates by the wall clock", "make sure that the wall clock is right"}
	}
	k := f.Clock.Keeping
	wall := Finding{Level: Fine, Part: "wall clock", Found: clock(f.At)}
	switch {
	case !k.Known:
		wall.Level, wall.Means, wall.Do = Note, "this system does not say whether anything keeps it right", "compare it with a clock you trust"
	case !k.Synced:
		wall.Level, wall.Means, wall.Do = Warn, "nothing keeps it right: records may carry a wrong time", "have the computer set its clock (NTP), or compare it now and then"
	default:
		wall.Means = "kept right within " + ms(k.Within) + ", says the system"
	}
	return []Finding{boot, wall}
}

func zone(f Facts) []Finding {
	z := f.Zone
	x := Finding{Level: Fine, Part: "time zone", Found: fmt.Sprintf("%s, UTC%s", z.Name, f.At.Format("-07:00"))}
	x.Means = "its rules from " + z.From
	if z.Release != "" {
		x.Means += ", release " + z.Release
	}
	if z.Name == "" || z.Name == "Local" {
		x.Level, x.Found = Note, "without a name, UTC"+f.At.Format("-07:00")
		x.Do = "set the zone by its name, so that records carry it"
	}
	if year, err := strconv.Atoi(z.Release[:min(4, len(z.Release))]); err == nil && f.At.Year()-year > zoneYears {
		x.Level, x.Means, x.Do = Note, x.Means+": old, a change of law since may be missing", "update the system's tz database; timers are exact anyway"
	}
	return []Finding{x}
}

func terminal(f Facts) []Finding {
	t := f.Terminal
	if !t.Is {
		return []Finding{{Note, "terminal", "the standard output is none", "the screen cannot be checked", "run flaskside doctor where the bench will run"}}
	}
	x := Finding{Level: Fine, Part: "terminal", Found: fmt.Sprintf("%d x %d, %s, %s", t.Cols, t.Rows, colours(t), named(t.Type))}
	switch {
	case t.Cols < smallCols || t.Rows < smallRows:
		x.Level, x.Means, x.Do = Warn, fmt.Sprintf("too small: only alarms are shown below %d x %d", smallCols, smallRows), "make the window larger, or its letters smaller"
	case !t.Console && (t.Type == "" || t.Type == "dumb"):
		x.Level, x.Means, x.Do = Warn, "it moves no cursor", "flaskside --plain"
	default:
		x.Means = "the bench fits; words and shapes tell all that colours do"
	}
	out := []Finding{x}
	switch {
	case t.Console:
	case isUTF8(t.Locale):
		out = append(out, Finding{Fine, "characters", t.Locale, "lines and arrows are drawn", ""})
	default:
		out = append(out, Finding{Warn, "characters", named(t.Locale) + ", not UTF-8", "lines and arrows may come out as letters", "set LANG to a UTF-8 locale, or flaskside --plain"})
	}
	note := Finding{Fine, "alarms", "the bell, a notification, progress in the task bar", "each where the terminal has it; the bell is the one to rely on", ""}
	if t.Inside != "" {
		note.Found, note.Means, note.Do = "the bell; inside "+t.Inside, "notifications and progress seldom get through it", "set it to pass the bell on"
	}
	out = append(out, note)
	if t.SSH {
		out = append(out, Finding{Note, "connection", "over SSH", "the bell sounds at the far end; a lost connection ends the screen, every timer runs on", "a multiplexer keeps the screen when the connection is lost"})
	}
	return out
}

func colours(t TerminalFacts) string {
	switch {
	case t.NoColor:
		return "no colours (NO_COLOR)"
	case t.Colours == "TrueColor":
		return "all colours"
	case t.Colours == "ANSI256":
		return "256 colours"
	case t.Colours == "ANSI":
		return "16 colours"
	}
	return "no colours"
}

// isUTF8 tells by the name of a locale, "language_territory.codeset" (POSIX, 8.2).
func isUTF8(locale string) bool {
	l := strings.ToLower(locale)
	return strings.Contains(l, "utf-8") || strings.Contains(l, "utf8")
}

func named(s string) string {
	return cmp.Or(s, "unnamed")
}

// base is the last part of a path of any system.
func base(path string) string { return path[strings.LastIndexAny(path, `/\`)+1:] }

func clock(t time.Time) string { return t.Format("Mon 2 Jan 2006 15:04:05") }

func short(id string) string { return id[:min(8, len(id))] }

func ms(d time.Duration) string {
	v := float64(d) / float64(time.Millisecond)
	switch {
	case v < 1:
		return fmt.Sprintf("%.2f ms", v)
	case v < 100:
		return fmt.Sprintf("%.1f ms", v)
	}
	return fmt.Sprintf("%.0f ms", v)
}
