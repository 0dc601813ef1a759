package doctor

import (
	"bytes"
	"encoding/json"
	"flag"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/disk"
	"flaskside/logbook/words"
	"flaskside/timers/sysclock"
)

var update = flag.Bool("update", false, "write the golden files anew")

// at is the moment of all facts here, in a zone of its own.
var at = time.Date(2026, 11, 25, 18, 30, 0, 0, time.FixedZone("Europe/Berlin", 3600))

// sound are the facts of a machine with which all is well.
func sound() Facts {
	took := make([]time.Duration, 50)
	for i := range took {
		took[i] = time.Duration(300+10*i) * time.Microsecond
	}
	return Facts{
		At:      at,
		Book:    BookFacts{Path: "/home/kt/bench.db", State: Free, Bytes: 41 << 20, Records: 100_000, First: at.AddDate(-1, 0, 0), Last: at.Add(-time.Hour)},
		Commits: commitTimes{Took: took},
		Volume:  volume{Volume: disk.Volume{Kind: disk.Local, Type: "ext4", Free: 80e9, Total: 250e9, ID: "1"}},
		Files: []FileFacts{
			{Name: "/home/kt", Perm: 0o700, Folder: true},
			{Name: "bench.db", Bytes: 41 << 20, Perm: 0o600},
			{Name: "bench.journal-2026-11.jsonl", Bytes: 3_000_000, Perm: 0o600, Journal: true},
			{Name: "bench.reserve", Bytes: 32 << 20, Perm: 0o600},
		},
		Owned:    true,
		Backup:   BackupFacts{Keep: 7, Folder: "/mnt/second", Count: 7, Bytes: 7 * 40 << 20, File: "/mnt/second/bench-2026-11-24.db", At: at.Add(-25 * time.Hour), Records: 99_700, LackSince: at.Add(-9 * time.Hour)},
		Clock:    ClockFacts{Source: "CLOCK_BOOTTIME (tsc)", BootID: "0123456789abcdef", Boot: 10 * time.Hour, Keeping: sysclock.Keeping{Known: true, Synced: true, Within: 12 * time.Millisecond}},
		Zone:     zoneData{Name: "Europe/Berlin", From: "/usr/share/zoneinfo", Release: "2026a"},
		Terminal: TerminalFacts{Is: true, Cols: 120, Rows: 40, Colours: "TrueColor", Type: "xterm-256color", Locale: "de_DE.UTF-8"},
	}
}

// ill are the facts of a machine with which much is not.
func ill() Facts {
	f := sound()
	f.Book.State, f.Book.Why = NoLocks, "the file system of the logbook cannot lock files (no locks available): keep it on a disk of this computer"
	f.Volume.Kind, f.Volume.Type, f.Volume.Free = disk.Network, "nfs4", 20e6
	f.Commits.Took = []time.Duration{80 * time.Millisecond, 2 * time.Second, 90 * time.Millisecond}
	f.Files[1].Perm = 0o666
	f.Backup.Faults = 3
	f.Clock.Keeping.Synced = false
	f.Zone.Release = "2019c"
	f.Terminal = TerminalFacts{Is: true, Cols: 60, Rows: 20, Colours: "ANSI", Type: "tmux", Locale: "C", SSH: true, Inside: "tmux"}
	return f
}

func TestGolden(t *testing.T) {
	for name, f := range map[string]Facts{"sound": sound(), "ill": ill()} {
		all := Examine(f)
		for ext, write := range map[string]func(io.Writer) error{
			".txt":  func(w io.Writer) error { return Text(w, all) },
			".json": func(w io.Writer) error { return JSON(w, f, all) },
		} {
			var got bytes.Buffer
			if err := write(&got); err != nil {
				t.Fatal(err)
			}
			path := filepath.Join("..", "..", "testdata", "doctor", name+ext)
			if *update {
				if err := os.WriteFile(path, got.Bytes(), 0o600); err != nil {
					t.Fatal(err)
				}
				continue
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if want = bytes.ReplaceAll(want, []byte("\r\n"), []byte("\n")); !bytes.Equal(got.Bytes(), want) {
				t.Errorf("%s%s: got\n%s", name, ext, &got)
			}
			if ext == ".json" && !json.Valid(got.Bytes()) {
				t.Errorf("%s is not a JSON", name)
			}
		}
	}
}

// With a sound machine no problems found; one thing at a time that is not well is
// told at its level, in its part, with something to do, and takes nothing else along.
func TestExamine(t *testing.T) {
	if n, losing := Count(Examine(sound())); n != 0 || losing != 0 {
		t.Fatalf("a sound machine: %d, %d", n, losing)
	}
	for _, c := range []struct {
		name  string
		ill   func(*Facts)
		level Severity
		part  string
		says  string
	}{
		{"no book", func(f *Facts) { f.Book = BookFacts{State: NoBook} }, Fine, "logbook", "none yet"},
		{"a bench runs", func(f *Facts) { f.Book.State, f.Book.Why = Running, "process 17" }, Fine, "logbook", "answers (process 17)"},
		{"held", func(f *Facts) { f.Book.State, f.Book.Why = Held, ": by the bench" }, Warn, "logbook", "does not answer: by the bench"},
		{"no locks", func(f *Facts) { f.Book.State, f.Book.Why = NoLocks, "no locks" }, Lose, "logbook", "two programs"},
		{"damaged", func(f *Facts) { f.Book.State, f.Book.Why = Bad, "cut short" }, Lose, "logbook", "cut short"},
		{"a record ahead", func(f *Facts) { f.Book.Last = at.Add(3 * time.Hour) }, Warn, "last record", "3 h 0 min from now"},
		{"network", func(f *Facts) { f.Volume.Kind, f.Volume.Type = disk.Network, "nfs4" }, Lose, "file system", "nfs4, network"},
		{"in memory", func(f *Facts) { f.Volume.Kind, f.Volume.Type = disk.Memory, "tmpfs" }, Lose, "file system", "in memory only"},
		{"in memory, as fast as that", func(f *Facts) { f.Volume.Kind, f.Commits.Took = disk.Memory, []time.Duration{20e3} }, Lose, "file system", "in memory only"},
		{"unknown", func(f *Facts) { f.Volume.Kind, f.Volume.Type = disk.Unknown, "fuse.x" }, Warn, "file system", "not known"},
		{"not told", func(f *Facts) { f.Volume = volume{Err: "no such call"} }, Note, "file system", "no such call"},
		{"read-only", func(f *Facts) { f.Volume.ReadOnly = true }, Lose, "file system", "only be read"},
		{"no commit", func(f *Facts) { f.Commits = commitTimes{Err: "permission denied"} }, Lose, "commit", "permission denied"},
		{"broken off", func(f *Facts) { f.Commits = commitTimes{} }, Note, "commit", "not measured"},
		{"slow", func(f *Facts) { f.Commits.Took = []time.Duration{60e6, 51e6, 2e6} }, Warn, "commit", "median 51.0 ms, worst 60.0 ms of 3"},
		{"now and then", func(f *Facts) { f.Commits.Took = []time.Duration{1e6, 1e6, 1100e6} }, Warn, "commit", "worst 1100 ms"},
		{"too fast", func(f *Facts) { f.Commits.Took = []time.Duration{20e3, 21e3, 22e3} }, Warn, "commit", "faster than a disk"},
		{"little room", func(f *Facts) { f.Volume.Free = 499e6 }, Warn, "disk space", "499 MB free"},
		{"no room", func(f *Facts) { f.Volume.Free = 31e6 }, Lose, "disk space", "31 MB free"},
		{"a fast book", func(f *Facts) {
			f.Book.First, f.Volume.Free = at.AddDate(0, 0, -5), 600e6
		}, Warn, "disk space", "lasts 65 days"},
		{"others write", func(f *Facts) { f.Files[1].Perm = 0o620 }, Warn, "permissions", "bench.db (0620)"},
		{"others read", func(f *Facts) { f.Files[1].Perm = 0o644 }, Note, "permissions", "bench.db (0644)"},
		{"a folder for all", func(f *Facts) { f.Files[0].Perm = 0o777 }, Warn, "permissions", "/home/kt (0777)"},
		{"a folder as /tmp", func(f *Facts) { f.Files[0].Perm = 0o1777 }, Fine, "permissions", "yours alone"},
		{"another user's", func(f *Facts) { f.Files[1].Others = true }, Warn, "permissions", "bench.db"},
		{"without owners", func(f *Facts) { f.Owned = false }, Note, "permissions", "access lists"},
		{"no backups set", func(f *Facts) { f.Backup = BackupFacts{} }, Warn, "backup", "none, as set"},
		{"none since long", func(f *Facts) { f.Backup = BackupFacts{Keep: 7, Folder: "backups", LackSince: at.Add(-30 * time.Hour)} }, Warn, "backup", "none in backups"},
		{"none yet", func(f *Facts) { f.Backup = BackupFacts{Keep: 7, LackSince: at.Add(-time.Hour)} }, Note, "backup", "none yet"},
		{"an old backup", func(f *Facts) { f.Backup.LackSince = at.Add(-25 * time.Hour) }, Warn, "backup", "lacks the records since"},
		{"all of an old book", func(f *Facts) { f.Backup.LackSince = time.Time{} }, Fine, "backup", "no fault"},
		{"a spoilt backup", func(f *Facts) { f.Backup.Faults = 2 }, Warn, "backup", "faults: 2"},
		{"a backup unread", func(f *Facts) { f.Backup.Err = "cut short" }, Warn, "backup", "cut short"},
		{"a folder unread", func(f *Facts) { f.Backup = BackupFacts{Keep: 7, Folder: "backups", Err: "permission denied"} }, Warn, "backup", "backups: permission denied"},
		{"from the future", func(f *Facts) { f.Backup.At = at.Add(time.Hour) }, Warn, "backup", "from the future"},
		{"left by a kill", func(f *Facts) { f.Left = []string{"/lab/bench.db.new-4711"} }, Note, "unfinished", "/lab/bench.db.new-4711"},
		{"the same disk", func(f *Facts) { f.Backup.Same = true }, Fine, "backup", "on the same disk"},
		{"no boot clock", func(f *Facts) { f.Clock.BootID, f.Clock.Source = "", "none" }, Warn, "boot clock", "estimates by the wall clock"},
		{"not kept", func(f *Facts) { f.Clock.Keeping.Synced = false }, Warn, "wall clock", "wrong time"},
		{"not told", func(f *Facts) { f.Clock.Keeping = sysclock.Keeping{} }, Note, "wall clock", "does not say whether"},
		{"old rules", func(f *Facts) { f.Zone.Release = "2019c" }, Note, "time zone", "2019c: old"},
		{"an odd release", func(f *Facts) { f.Zone.Release = "x" }, Fine, "time zone", "release x"},
		{"no release", func(f *Facts) { f.Zone.From, f.Zone.Release = "the program", "" }, Fine, "time zone", "from the program"},
		{"no zone name", func(f *Facts) { f.Zone.Name = "Local" }, Note, "time zone", "without a name, UTC+01:00"},
		{"no terminal", func(f *Facts) { f.Terminal = TerminalFacts{} }, Note, "terminal", "cannot be checked"},
		{"small", func(f *Facts) { f.Terminal.Rows = 23 }, Warn, "terminal", "below 80 x 24"},
		{"dumb", func(f *Facts) { f.Terminal.Type = "dumb" }, Warn, "terminal", "moves no cursor"},
		{"no colours", func(f *Facts) { f.Terminal.NoColor = true }, Fine, "terminal", "no colours (NO_COLOR)"},
		{"no locale", func(f *Facts) { f.Terminal.Locale = "" }, Warn, "characters", "unnamed, not UTF-8"},
		{"a console", func(f *Facts) { f.Terminal.Locale, f.Terminal.Type, f.Terminal.Console = "", "", true }, Fine, "terminal", "fits"},
		{"in tmux", func(f *Facts) { f.Terminal.Inside = "tmux" }, Fine, "alarms", "inside tmux"},
		{"far", func(f *Facts) { f.Terminal.SSH = true }, Note, "connection", "over SSH"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := sound()
			c.ill(&f)
			all := Examine(f)
			i := slices.IndexFunc(all, func(x Finding) bool {
				return x.Part == c.part && strings.Contains(x.Found+" | "+x.Means, c.says)
			})
			if i < 0 {
				t.Fatalf("%s, %q is not told: %+v", c.part, c.says, all)
			}
			if all[i].Level != c.level {
				t.Errorf("level %s, want %s: %+v", all[i].Level, c.level, all[i])
			}
			attention := 0
			for _, x := range all {
				if x.Part == "" || x.Found == "" || x.Means == "" || strings.ContainsAny(x.Found+x.Means+x.Do, "\n\t\x1b") {
					t.Errorf("%+v is not a line", x)
				}
				if x.Level == Warn || x.Level == Lose {
					attention++
					if x.Do == "" {
						t.Errorf("nothing to do: %+v", x)
					}
				}
			}
			want := 0
			if c.level == Warn || c.level == Lose {
				want = 1
			}
			if attention != want {
				t.Errorf("%d want attention, not %d: %+v", attention, want, all)
			}
		})
	}
}

// By hand: 41 MiB in 365 days and 3 MB of journal (the same file in all that time, here)
// are 43.0 MB and 3 MB a year; seven backups on the same disk grow by 7 x 43.0 MB in it,
// and are 7 MiB short of seven of the book as it is: (80000 - 7.3) / 347 = 230 years.
// On a disk of their own: 80000 / 46 = 1739 years. With 1 GB free and 0.1 of the time:
// (1000 - 7.3) / 3470 a year = 104 days.
func TestLasts(t *testing.T) {
	f := sound()
	f.Book.Last = at
	for _, c := range []struct {
		same bool
		free int64
		age  time.Duration
		want float64
	}{
		{true, 80e9, 365 * 24 * time.Hour, 230.6 * 365},
		{false, 80e9, 365 * 24 * time.Hour, 1739.7 * 365},
		{true, 1e9, 365 * 24 * time.Hour / 10, 104.4},
	} {
		f.Backup.Same, f.Volume.Free, f.Book.First = c.same, c.free, at.Add(-c.age)
		if got, ok := lasts(f); !ok || got < 0.99*c.want || got > 1.01*c.want {
			t.Errorf("%+v: %.1f days, %v", c, got, ok)
		}
	}
	f.Book.First = at.Add(-time.Hour)
	if _, ok := lasts(f); ok {
		t.Error("a book of an hour has no rate")
	}
	f.Book.First = time.Time{}
	if _, ok := lasts(f); ok {
		t.Error("a book without records has no rate")
	}
}

func TestWords(t *testing.T) {
	for d, want := range map[time.Duration]string{20 * time.Second: "20 s", 61 * time.Minute: "1 h 1 min", 7 * time.Minute: "7 min", 49 * time.Hour: "2 days 1 h"} {
		if got := words.Rough(d); got != want {
			t.Errorf("%v is %q, want %q", d, got, want)
		}
	}
	for path, want := range map[string]string{"/a/b.db": "b.db", `C:\a\b.db`: "b.db", "b.db": "b.db"} {
		if got := base(path); got != want {
			t.Errorf("%s: %q", path, got)
		}
	}
}
