package logbook

import (
	"os"
	"path/filepath"
	"testing"
)

// verified gives the faults of a book.
func verified(t testing.TB, path string, ask Verifying) Report {
	t.Helper()
	rep, err := Verify(path, ask)
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

func TestVerifySound(t *testing.T) {
	b := shift(t)
	head := b.State().Head
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	rep := verified(t, b.Path(), Verifying{})
	if len(rep.Faults) != 0 {
		t.Errorf("faults of a sound book: %v", rep.Faults)
	}
	if rep.Head != head || rep.Records != head.Seq || rep.Format != Format || rep.First == "" || rep.Last < rep.First {
		t.Errorf("report %+v, want the head %v", rep, head)
	}
	empty := filepath.Join(t.TempDir(), "empty.db")
	e, err := Open(empty, b.clock)
	if err != nil {
		t.Fatal(err)
	}
	if err := e.Close(); err != nil {
		t.Fatal(err)
	}
	if rep := verified(t, empty, Verifying{}); len(rep.Faults) != 0 || rep.Records != 0 {
		t.Errorf("of a book without records: %+v", rep)
	}
	if _, err := Verify(filepath.Join(t.TempDir(), "none.db"), Verifying{}); !os.IsNotExist(unwrapAll(err)) {
		t.Errorf("a file that is not there: %v", err)
	}
}

func unwrapAll(err error) error {
	for {
		u, ok := err.(interface{ Unwrap() error })
		if !ok {
			return err
		}
		err = u.Unwrap()
	}
}
