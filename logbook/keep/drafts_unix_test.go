//go:build unix

package keep

import (
	"crypto/rand"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"flaskside/logbook/action"
)

// TestDraftFileOfNobody: where something else than a plain file of ours stands in the place of the
// drafts, it is left as it is, and nothing is offered; the bench goes on.
func TestDraftFileOfNobody(t *testing.T) {
	for name, put := range map[string]func(path, aside string) error{
		"link":   func(path, aside string) error { return os.Symlink(aside, path) },
		"pipe":   func(path, _ string) error { return syscall.Mkfifo(path, 0o600) },
		"folder": func(path, _ string) error { return os.Mkdir(path, 0o700) },
	} {
		t.Run(name, func(t *testing.T) {
			d := newDesktop(t)
			aside := filepath.Join(t.TempDir(), "aside")
			whole := fmt.Sprintf(`{"drafts":1,"book":%q,"people":{"KT":{"at":%q,"seq":0,"typed":{"a":{"b":"c"}}}}}`, d.book.ID(), start.Format(time.RFC3339))
			if err := os.WriteFile(aside, []byte(whole), 0o600); err != nil {
				t.Fatal(err)
			}
			path := d.path + draftsName
			if err := put(path, aside); err != nil {
				t.Fatal(err)
			}
			before, err := os.Lstat(path)
			if err != nil {
				t.Fatal(err)
			}
			d.hub = New(d.book, d.ck, rand.Text)
			s := d.join(Person{By: "KT"})
			if got := s.Drafts(); len(got) > 0 {
				t.Errorf("it offers %v", got)
			}
			s.Typing(Drafts{"a": {"b": "d"}})
			d.hub.typed.write()
			if after, err := os.Lstat(path); err != nil || !os.SameFile(before, after) {
				t.Errorf("it was taken away: %v", err)
			}
			if b, err := os.ReadFile(aside); err != nil || string(b) != whole {
				t.Errorf("what a link leads to is %q, %v", b, err)
			}
			d.do(s, action.Seen{})
		})
	}
}
