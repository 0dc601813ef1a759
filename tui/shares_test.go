package tui

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
)

// The form of a mix says what it means for its flasks to share it, for those picked, and asks for nothing.
func TestTheMixFormTellsHowManyFlasksShareAMix(t *testing.T) {
	d := newDesk(t, 80, 24)
	for i, size := range []int{2, 2, 3, 1} { // by the digits of the form: small, medium, large
		d.openFlask(i+1, fmt.Sprint(4417+i), 1, size)
	}
	d.do(action.Caution{Hazard: "monomer"})
	for no := 1; no <= 3; no++ {
		d.do(action.Coat{Flask: no, Half: "both"})
	}
	d.wait(11 * time.Minute)
	d.press("1 enter")
	// The house's resin can be worked from 8 to 45 min. With it 37 min: timers/plan against its reference.
	d.sees("for which flasks?", "closed in time: two medium and a large 38 %, with a small as fourth", "estimate; dough for 37 min, press free")
	d.press("3")
	d.sees("closed in time: two medium 98 %, with a small as third 85 %")
	d.press("4")
	d.sees("closed in time: a small and two medium 85 %, with a large as fourth 2 %")
	d.press("4 2")
	d.sees("closed in time: one medium >99 %, with a small as second 99 %")
	d.press("1")
	if s := d.screen(); strings.Contains(s, "closed in time") {
		t.Errorf("told of no flask:\n%s", s)
	}
}
