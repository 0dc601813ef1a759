package logbook

import (
	"errors"
	"testing"

	"flaskside/logbook/action"
)

// TestReopenAfterFailedProof: where the commit that was to prove the file failed too,
// the book is lost with its handle open; opening it again must not be kept out by
// that.
func TestReopenAfterFailedProof(t *testing.T) {
	h := newHands(t)
	h.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	h.b.mu.Lock()
	h.b.lost = errors.New("input/output error, then input/output error") // as recover leaves it
	h.b.mu.Unlock()
	if err := h.b.Reopen(); err != nil {
		t.Fatalf("the disk is well again: %v", err)
	}
	h.do(minute, action.Coat{Flask: 1, Half: "both"})
}
