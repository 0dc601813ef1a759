package tui

import (
	"testing"
	"time"
)

// TestSpokenWithoutRoom: a screen reader has no size, and every flask of the shift is told.
func TestSpokenWithoutRoom(t *testing.T) {
	for _, size := range [][2]int{{0, 0}, {1, 1}, {30, 6}} {
		d := demoDesk(t, 100, 30, 40*time.Minute)
		d.m.w, d.m.h = size[0], size[1]
		for d.m.sel = 1; d.m.sel <= 9; d.m.sel++ {
			if len(d.m.spoken()) == 0 {
				t.Errorf("nothing is told of place %d", d.m.sel)
			}
		}
	}
}
