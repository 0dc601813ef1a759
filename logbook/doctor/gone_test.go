package doctor

import (
	"strings"
	"testing"
)

// A journal that is gone, and a folder for backups that is not there, are told of.
func TestWhatIsMissingIsToldOf(t *testing.T) {
	var f Facts
	f.Book = BookFacts{Path: "bench.db", State: Free, Records: 7}
	f.Backup = BackupFacts{Keep: 7, Folder: "/media/stick/flaskside"}
	said := func() string {
		var all []string
		for _, x := range Examine(f) {
			all = append(all, string(x.Level)+" "+x.Part+": "+x.Found+"; "+x.Do)
		}
		return strings.Join(all, "\n")
	}
	if s := said(); strings.Contains(s, "gone") || strings.Contains(s, "no folder") {
		t.Errorf("nothing is missing:\n%s", s)
	}
	f.Book.Gone, f.Backup.Missing = true, true
	if s := said(); !strings.Contains(s, string(Warn)+" journal: gone: the logbook had one beside it") || !strings.Contains(s, "no folder /media/stick/flaskside; if it should lie on another disk") {
		t.Errorf("missing:\n%s", s)
	}
	f.Backup.Beside = true
	if s := said(); strings.Contains(s, "no folder") {
		t.Errorf("a folder beside the book is made when it is needed:\n%s", s)
	}
	if s := said(); strings.Contains(s, "no fault") {
		t.Errorf("nobody looked through it:\n%s", s)
	}
	f.Book.Looked = true
	if s := said(); !strings.Contains(s, "warn journal: gone") || strings.Contains(s, "lose records") {
		t.Errorf("looked through:\n%s", s)
	}
	f.Book.Faults, f.Book.Beside = []string{"record 3: changed", "record 4: changed"}, []string{"another history"}
	if s := said(); !strings.Contains(s, string(Lose)+" records: record 3: changed; and 1 more; ") || !strings.Contains(s, string(Warn)+" journal: another history; ") {
		t.Errorf("with faults:\n%s", s)
	}
	for _, x := range Examine(f) {
		if strings.Contains(x.Means, "no fault") && x.Part == "logbook" {
			t.Errorf("with faults it says %q", x.Means)
		}
	}
}
