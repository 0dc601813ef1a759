package tui

import "flaskside/logbook/bench"

func (m *Model) pressLines(w int) []string                    { return nil }
func (m *Model) verdictLines(fl *bench.Flask, w int) []lineOf { return nil }
func (m *Model) drawChart(f *frame, a area, fl *bench.Flask)  {}
