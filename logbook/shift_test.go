package logbook

import (
	"path/filepath"
	"testing"
	"time"

	"flaskside/logbook/demo"
	"flaskside/logbook/record"
	"flaskside/timers/simclock"
)

// shift records the invented shift in a new book.
func shift(t testing.TB) *Book {
	t.Helper()
	ck := simclock.At(start, "boot-1")
	b, err := Open(filepath.Join(t.TempDir(), "bench.db"), ck)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	open := start.Add(15 * time.Hour)
	for i, s := range demo.Shift() {
		a := s.Action(i, open)
		if d := a.At.Sub(ck.Read().Wall); d > 0 {
			ck.Run(d)
		}
		if _, err := b.Append(a); err != nil {
			t.Fatalf("step %d, %s: %v", i, a.Kind(), err)
		}
	}
	return b
}

func records(t testing.TB, b *Book) []record.Record {
	t.Helper()
	var out []record.Record
	err := b.Each(1, func(r record.Record) (bool, error) { out = append(out, r); return true, nil })
	if err != nil {
		t.Fatal(err)
	}
	return out
}
