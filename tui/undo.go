package tui

import (
	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
)

// keyBack takes back the last record, after asking once.
func (m *Model) keyBack(string) tea.Cmd {
	it, ok := m.lastWork()
	if !ok {
		m.say(dim, "there is nothing to take back")
		return nil
	}
	f := &form{title: "take back: " + m.recordWords(it.Body) + " · " + it.Stamp.At.In(m.now.Wall.Location()).Format("15:04") + m.itemFlask(it),
		lines:  []string{"The record stays in the book and counts no more."},
		fields: []*field{choose("why", "why?", "wrong key", "misread", "trial or training", "other")}}
	f.done = func(f *form) tea.Cmd {
		return m.answer(f, action.TakeBack{Of: it.Action.ID}, []string{"6", "7", "8", "9"}[f.choice("why")-1], nil)
	}
	m.open(f)
	return nil
}

func (m *sight) itemFlask(it bench.Item) string {
	for _, s := range it.Body.Subjects() {
		if f := m.bench().Flasks[s.No]; s.Class == 'f' && f != nil {
			return " · case " + f.Case
		}
	}
	return ""
}

// lastWork finds the latest record that can be taken back.
func (m *sight) lastWork() (bench.Item, bool) {
	items := m.bench().Items
	for i := len(items) - 1; i >= 0; i-- {
		if items[i].TakenBack != nil || bench.Probed(items[i].Body) {
			continue
		}
		switch items[i].Body.(type) {
		case action.Clock, action.Seen, action.Crew, action.Caution, action.AlarmHeard, action.AlarmShelve, action.TakeBack, action.Settings:
			continue
		}
		return items[i], true
	}
	return bench.Item{}, false
}
