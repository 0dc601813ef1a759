package logbook

import (
	"errors"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
)

// TestDoughMarkedTooEarly asks before a slip of the key moves the working time: a
// mark seconds after mixing is no dough.
func TestDoughMarkedTooEarly(t *testing.T) {
	h := newHands(t)
	h.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	h.do(0, action.MixMake{Flasks: []int{1}})
	_, err := h.try(7*time.Second, action.MixDough{Mix: 1})
	var odd *bench.NeedsReason
	if !errors.As(err, &odd) || odd.Odd[0].Code != "dough-early" {
		t.Fatalf("a mark after 7 s: %v, want to be asked about dough-early", err)
	}
	h.do(7*minute, action.MixDough{Mix: 1})
}
