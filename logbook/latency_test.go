package logbook

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"flaskside/logbook/check"
	"flaskside/timers"
	"flaskside/timers/sysclock"
)

// stopping is a clock that ends a context at a look.
type stopping struct {
	timers.Clock
	looks int
	stop  func()
}

func (s *stopping) Read() timers.Reading {
	if s.looks--; s.looks == 0 {
		s.stop()
	}
	return s.Clock.Read()
}

// The scratch file is gone after the measuring, also when that was broken off or failed.
func TestCommitTimes(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "bench.db")
	took, err := CommitTimes(context.Background(), path, 5, sysclock.New())
	if err != nil || len(took) != 5 {
		t.Fatalf("%v, %v", took, err)
	}
	for _, d := range took {
		if d <= 0 {
			t.Errorf("a commit took %v", d)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	took, err = CommitTimes(ctx, path, 1000, &stopping{sysclock.New(), 20, cancel})
	if !errors.Is(err, context.Canceled) || len(took) == 0 || len(took) > 20 {
		t.Errorf("broken off: %d commits, %v", len(took), err)
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
	if _, err := CommitTimes(context.Background(), filepath.Join(dir, "none", "bench.db"), 5, sysclock.New()); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no folder: %v", err)
	}
}

// A record read past the store is the one that the store gives, also while the book is
// open for writing.
func TestPeekRecord(t *testing.T) {
	path := seedBook(t, 40)
	recs := wholeBook(t, path)
	b, err := Open(path, sysclock.New())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = b.Close() }()
	for _, want := range recs {
		if got, ok, err := check.PeekRecord(path, want.Seq); err != nil || !ok || got.Hash() != want.Hash() {
			t.Errorf("record %d: %v, %v", want.Seq, ok, err)
		}
	}
	if _, ok, err := check.PeekRecord(path, uint64(len(recs)+1)); ok || err != nil {
		t.Errorf("a record that is not there: %v, %v", ok, err)
	}
	if _, _, err := check.PeekRecord(writeFile(t, []byte("Dear colleague")), 1); !errors.Is(err, ErrForeign) {
		t.Errorf("a letter: %v", err)
	}
}
