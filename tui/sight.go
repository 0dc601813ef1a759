package tui

import (
	"flaskside/logbook"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/logbook/mirror"
	"flaskside/timers"
)

// sight is what the screen looks upon, as it stands now: the bench with its windows and
// alarms, the selected place, what was worked out beside the screen. It puts things into
// words and draws them, and can neither record nor ask.
type sight struct {
	w, h      int
	book      string // the file of the logbook as a command has to name it; "" for the usual one
	st        logbook.Snapshot
	now       timers.Now
	sel       int    // selected place, 1 to 9
	caseSel   string // the case chosen on their page, by its name
	off       int    // the selected flask where it stands on no place; 0 where a place is selected
	windows   []bench.Window
	byKey     map[string]int // where a window is among them
	day       dayLine
	standings []timers.Standing
	alarms    []timers.Alarm
	floodN    int // alarms of the last ten minutes
	floodOn   bool
	pressDesk
	plans  planDesk
	thick  thickDesk
	cures  cureDesk // what goes on in the flasks in the baths
	mirror mirror.Health
}

func (m *sight) bench() *bench.Bench { return m.st.Bench }

// look works out the timers and alarms of the bench as they stand now.
func (m *sight) look() {
	m.lookAt(m.bench().Windows())
	plainWs := make([]timers.Window, len(m.windows))
	for i, w := range m.windows {
		plainWs[i] = w.Window
	}
	m.standings = timers.StandAll(plainWs, m.now)
	m.alarms = m.bench().Alarms(m.now)
}

func (m *sight) house() house.House { return m.st.Bench.House }

// selected is the flask that is selected: on the selected place, or on none. It is nil where
// the place is empty.
func (m *sight) selected() *bench.Flask {
	if f := m.bench().Flasks[m.off]; f.AtWork() && m.bench().SpotOf(f).Place == 0 {
		return f
	}
	return m.bench().OnPlace(m.sel)
}

// lookAt takes the windows that run.
func (m *sight) lookAt(windows []bench.Window) {
	m.windows, m.byKey = windows, make(map[string]int, len(windows))
	for i, w := range windows {
		if _, ok := m.byKey[w.Key]; !ok {
			m.byKey[w.Key] = i
		}
	}
}

func (m *sight) windowByKey(key string) (bench.Window, bool) {
	if i, ok := m.byKey[key]; ok {
		return m.windows[i], true
	}
	return bench.Window{}, false
}
