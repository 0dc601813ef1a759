//go:build unix

package door

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flaskside/logbook"
	"flaskside/timers/simclock"
)

// A folder that is not ours in the place of the side folder does not stop the bench: it
// takes another name, and whoever dials finds it there.
func TestSideFolderOfAnother(t *testing.T) {
	tmp := t.TempDir()
	t.Setenv("TMPDIR", tmp)
	first := sideFolder()
	if err := errors.Join(os.Mkdir(first, 0o700), os.Chmod(first, 0o777), os.Symlink(tmp, first+"-2")); err != nil {
		t.Fatal(err)
	}
	if got := sideFolder(); got != first+"-3" {
		t.Errorf("the side folder is %s, want %s-3", got, first)
	}
	path := filepath.Join(tmp, strings.Repeat("long", 30), "bench.db")
	clock := simclock.At(start, "boot-1")
	book, err := logbook.Open(path, clock)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = book.Close() }() // nothing was written
	stop, err := Serve(t.Context(), hubOf(book, clock))
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	c, err := Dial(path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.Who(); err != nil {
		t.Error(err)
	}
	if all, err := os.ReadDir(first); err != nil || len(all) > 0 {
		t.Errorf("something was put into the folder of another: %v %v", all, err)
	}
}
