package tui

import (
	"fmt"

	"flaskside/logbook/bench"
	"flaskside/timers"
)

// drawFar is the bench for eyes across the room: nine tiles in three rows, each with
// the number of its place and its time in large digits, the stage and the verdict in
// words. Nothing else.
func (m *Model) drawFar(f *frame) {
	top, bottom := 1, f.h-1
	w, h := f.w/3, (bottom-top)/3
	for p := 1; p <= 9; p++ {
		m.drawTile(f, area{(p - 1) % 3 * w, top + (p-1)/3*h, w - 1, h}, p)
	}
	f.put(1, bottom, f.w-2, dim, "any key goes back to the bench")
}

func (m *Model) drawTile(f *frame, a area, p int) {
	f.rule(a.x, a.y, a.w)
	fl := m.bench().OnPlace(p)
	if fl == nil {
		f.text(a.x+1, a.y+1, dim, fmt.Sprint(p))
		return
	}
	t, tr := m.flaskTime(fl)
	words, wr := m.farWords(fl)
	y := a.y + 1
	big3 := func(x int, r role, s string) int {
		rows := big(s)
		for i, row := range rows {
			f.put(x, y+i, a.x+a.w-x, r, row)
		}
		return x + len([]rune(rows[0]))
	}
	x := big3(a.x+1, strong, fmt.Sprint(p))
	if tr == plain {
		tr = strong
	}
	big3(x+3, tr, t)
	lines := []lineOf{{wr, words}, {strong, fl.Case + " " + fl.Base}}
	for i, l := range lines {
		if y+3+i < a.y+a.h {
			f.put(a.x+1, y+3+i, a.w-1, l.r, fit(l.s, a.w-1))
		}
	}
}

// farWords are the stage and the verdict in a few words, in capitals where a hand is
// wanted now.
func (m *Model) farWords(fl *bench.Flask) (string, role) {
	for _, st := range m.standings {
		w, ok := m.windowByKey(st.Key)
		if !ok {
			continue
		}
		for _, n := range w.Flasks {
			if n != fl.No {
				continue
			}
			switch {
			case st.Phase == timers.Over:
				return windowWords(w, st), alarm
			case w.What == bench.Hold || w.What == bench.Cure || w.What == bench.BenchSet || w.What == bench.BenchCool || w.What == bench.WaterCool:
				r := plain
				if st.Last != nil {
					r = good
				}
				return windowWords(w, st), r
			}
		}
	}
	return m.stageWords(fl)
}
