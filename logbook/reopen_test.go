package logbook

import (
	"errors"
	"sync"
	"testing"
)

// TestReadersWhileReopening reads on while the file is closed and opened again; it
// is for the race detector.
func TestReadersWhileReopening(t *testing.T) {
	h := newHands(t)
	quit := make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		for {
			select {
			case <-quit:
				return
			default:
				_, _, _ = h.b.ByID("x")
			}
		}
	})
	for range 5 {
		_ = h.b.Close()
		if err := h.b.Reopen(); err != nil {
			t.Error(err)
		}
	}
	close(quit)
	wg.Wait()
}

// TestReadersAfterFailedReopen: a book that cannot be opened again is not called
// damaged.
func TestReadersAfterFailedReopen(t *testing.T) {
	h := newHands(t)
	_ = h.b.Close()
	other, err := Open(h.b.path, h.ck)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = other.Close() }()
	if err := h.b.Reopen(); !errors.Is(err, ErrHeld) {
		t.Errorf("reopening a book that another has: %v, want ErrHeld", err)
	}
	if _, _, err := h.b.ByID("x"); errors.Is(err, ErrDamaged) {
		t.Errorf("a sound book is called damaged: %v", err)
	}
}
