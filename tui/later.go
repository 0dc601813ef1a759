package tui

import "flaskside/logbook/bench"
import tea "charm.land/bubbletea/v2"

func (m *Model) pressLines(w int) []string                      { return nil }
func (m *Model) verdictLines(fl *bench.Flask, w int) []lineOf   { return nil }
func (m *Model) drawChart(f *frame, a area, fl *bench.Flask)    {}

type Script struct{}

func (s *Script) play(m *Model) tea.Cmd { return nil }
func (s *Script) hold(m *Model)         {}
