package tui

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers/each"
)

// What a correction and an undoing give as their reasons.
var (
	mending = []string{words.WrongKey, words.Misread, words.EnteredLate, words.AnotherReason}
	undoing = []string{words.WrongKey, words.Misread, words.Training, words.AnotherReason}
)

// menu asks one numbered choice and goes on with it.
func (m *Model) menu(title string, lines []string, names []string, pick func(i int) tea.Cmd) tea.Cmd {
	f := &form{title: title, lines: lines, fields: []*field{choose("pick", "", names...)}}
	f.done = func(f *form) tea.Cmd {
		m.shut()
		return pick(f.choice("pick") - 1)
	}
	m.open(f)
	return nil
}

// doing is one line of a menu.
type doing struct {
	name string
	do   func() tea.Cmd
}

// offer asks which of the entries is to be done.
func (m *Model) offer(title string, entries ...doing) tea.Cmd {
	names := each.Of(entries, func(e doing) string { return e.name })
	return m.menu(title, nil, names, func(i int) tea.Cmd { return entries[i].do() })
}

// plainly is what a line of a menu does where nothing is to be waited for.
func plainly(do func()) func() tea.Cmd { return func() tea.Cmd { do(); return nil } }

// byKey is what a line of a menu does where a key does the same.
func byKey(do func(key string) tea.Cmd) func() tea.Cmd {
	return func() tea.Cmd { return do("") }
}

// keyNew is the menu of new things.
func (m *Model) keyNew(string) tea.Cmd {
	return m.offer("new",
		doing{"flask", func() tea.Cmd { return m.newFlask(m.sel) }},
		doing{"mix", func() tea.Cmd {
			return m.warned("monomer", func() tea.Cmd { return m.newMix(m.selected()) })
		}},
		doing{"timer", m.timers},
		doing{"bath load", func() tea.Cmd { return m.warned("bath", func() tea.Cmd { return m.loadBath(m.selected()) }) }},
		doing{"bath temperature read", m.readBath},
		doing{"handover, who is at the bench", func() tea.Cmd {
			return m.offer("handover",
				doing{"who is at the bench", func() tea.Cmd { return m.who("who is at the bench?", false) }},
				doing{"what is running, what falls due", byKey(m.keyHandover)})
		}},
		doing{"snooze the alarm", byKey(m.keyShelve)},
		doing{"cases, plan, settings, help", m.otherPages},
		doing{"leave", byKey(m.keyQuit)})
}

// otherPages is the menu of the pages that have no key of their own on the pad.
func (m *Model) otherPages() tea.Cmd {
	return m.offer("other pages",
		doing{"help", byKey(m.keyHelp)},
		doing{"settings", m.settings},
		doing{"which flasks had a lot", m.askLot},
		doing{"lots in the house", byKey(m.keyLots)},
		doing{"a month in figures", m.askReview},
		doing{"cases and when they are due", byKey(m.keyCases)},
		doing{"the day planned", byKey(m.keyPlan)},
		doing{"equipment: checks, water, clamps", byKey(m.keyEquipment)})
}

// readBath asks for a bath temperature.
func (m *Model) readBath() tea.Cmd {
	h := m.house()
	var fields []*field
	if len(h.Baths) > 1 {
		fields = append(fields, choose("bath", "which bath?", m.bathNames()...))
	}
	temp, which := m.quantity("temp", "the bath reads", "bath-reading.temp_c")
	fields = append(fields, temp, which)
	f := &form{title: "bath temperature", fields: fields}
	f.done = func(f *form) tea.Cmd {
		return m.answer(f, action.BathReading{Bath: max(1, f.choice("bath")), TempC: f.num("temp"), Source: "typed"}, "", nil)
	}
	m.open(f)
	return nil
}

// typeInitials stands behind the initials that are known; no initials are as long.
const typeInitials = "type initials"

// askInitials asks for initials: those of the house and of the latest records by a
// digit, others typed. Where none are known, they are typed at once.
func (m *Model) askInitials() []*field {
	if me := m.cfg.Keeper.Me(); me.Fixed {
		return []*field{choose("who", "", me.By), line("initials", "initials", "", false).only(func(*form) bool { return false })}
	}
	names := slices.Clone(m.house().Crew)
	add := func(by string) {
		if by != "" && len(names) < 8 && !slices.Contains(names, by) {
			names = append(names, by)
		}
	}
	add(m.by())
	for i := len(m.bench().Items) - 1; i >= 0; i-- {
		add(m.bench().Items[i].Action.By)
	}
	names = append(names, typeInitials)
	who := choose("who", "", names...)
	if len(names) == 1 {
		who.choice = 1
		who.only(func(*form) bool { return false })
	}
	return []*field{who, line("initials", "initials", "", false).upTo(8).only(func(f *form) bool { return f.choice("who") == len(names) })}
}

// initialsOf gives the answer to [Model.askInitials].
func initialsOf(f *form) string {
	if known := f.get("who").options[f.choice("who")-1]; known != typeInitials {
		return known
	}
	return strings.TrimSpace(f.text("initials"))
}

// who asks whose hands these are, and whether they take over what the handover tells.
func (m *Model) who(title string, handover bool) tea.Cmd {
	f := &form{title: title, fields: m.askInitials()}
	f.done = func(f *form) tea.Cmd {
		who := initialsOf(f)
		return m.answer(f, action.Crew{Initials: who, Handover: handover}, "", func(logbook.Saved) tea.Cmd {
			if !handover && len(m.bench().Windows()) == 0 && m.bench().Empty() {
				m.home() // there is nothing to hand over
				return nil
			}
			return m.keyHandover("") // whoever takes over is told what is running
		})
	}
	m.open(f)
	return nil
}

// timers starts a timer of the user's own, or stops one.
func (m *Model) timers() tea.Cmd {
	var running []int
	var names []string
	for _, no := range bench.Sorted(m.bench().Timers) {
		if t := m.bench().Timers[no]; t.Stopped == nil {
			running = append(running, no)
			names = append(names, fmt.Sprintf("stop %s", t.Label))
		}
	}
	if len(running) == 0 {
		return m.newTimer()
	}
	return m.menu("timers", nil, append([]string{"a new timer"}, names...), func(i int) tea.Cmd {
		if i == 0 {
			return m.newTimer()
		}
		return m.append(action.TimerStop{Timer: running[i-1]}, "", nil)
	})
}

// timerLabels can be chosen by digit; words of one's own need a keyboard.
var timerLabels = []string{"stone", "soak", "boil-out", "polish", "repair", "break", "call back", "own words"}

func (m *Model) newTimer() tea.Cmd {
	minutes := func(s string) (float64, error) {
		d, err := units.ParseDuration(s, time.Minute)
		if err == nil && (d < time.Second || d > 14*24*time.Hour) {
			err = fmt.Errorf("give minutes, up to two weeks")
		}
		return d.Seconds(), err
	}
	count := func(kinds ...int) func(*form) bool {
		return func(f *form) bool {
			for _, k := range kinds {
				if f.choice("count") == k {
					return true
				}
			}
			return false
		}
	}
	f := &form{title: "new timer, from now", fields: []*field{
		choose("label", "what for?", timerLabels...),
		line("words", "label", "", false).upTo(40).only(func(f *form) bool { return f.choice("label") == len(timerLabels) }),
		choose("count", "which way?", "count down", "from … to …", "count up"),
		digits("aim", "how long", "min", "", minutes).only(count(1)),
		digits("min", "not before", "min", "", minutes).optional().only(count(2)),
		digits("max", "not after", "min", "", minutes).optional().only(count(2)),
	}}
	f.done = func(f *form) tea.Cmd {
		t := action.TimerStart{Label: timerLabels[f.choice("label")-1], Count: []string{"down", "window", "up"}[f.choice("count")-1]}
		if f.choice("label") == len(timerLabels) {
			t.Label = strings.TrimSpace(f.text("words"))
		}
		switch t.Count {
		case "down":
			t.AimS = int(f.num("aim"))
		case "window":
			t.MinS, t.MaxS = int(f.num("min")), int(f.num("max"))
		}
		return m.answer(f, t, "", nil)
	}
	m.open(f)
	return nil
}

// keyOther is the menu of other steps for the selected flask; what fits its stage
// comes first.
func (m *Model) keyOther(string) tea.Cmd {
	f := m.selected()
	if f == nil {
		return m.keyCases("")
	}
	var os []doing
	add := func(name string, do func() tea.Cmd) { os = append(os, doing{name, do}) }
	mix := m.bench().MixOf(f)
	if f.Stage == bench.Trimmed || f.Stage == bench.Judging {
		add("grams trimmed", func() tea.Cmd { return m.grams(f) })
		add("where the flash was", func() tea.Cmd { return m.where(f) })
		if f.Stage == bench.Trimmed {
			add("dough added", func() tea.Cmd { return m.append(action.DoughAdd{Flask: f.No}, "", nil) })
		}
		add("opened and checked: mould is full", func() tea.Cmd { return m.append(action.Inspect{Flask: f.No}, "", nil) })
		next := m.bench().Next(f, m.now)
		if next != bench.DoFinal {
			add("final closure anyway", func() tea.Cmd { return m.take(f, bench.DoFinal) })
		} else {
			add("one more trial closure", func() tea.Cmd { return m.take(f, bench.DoPress) })
		}
	}
	if f.Stage == bench.InPress {
		add("pressure differs: type it", func() tea.Cmd { return m.otherPressure(f) })
	}
	if f.Stage == bench.Sheetout {
		add("metal to metal, pressure differs: type it", func() tea.Cmd { return m.metalPressure(f) })
	}
	if mix != nil && !f.ClosedForGood() {
		if mix.Dough == nil {
			add("dough of mix "+mix.Letter()+" reached", func() tea.Cmd { return m.append(action.MixDough{Mix: mix.No}, "", nil) })
		}
		add("mix "+mix.Letter()+" too stiff to pack", func() tea.Cmd { return m.append(action.MixStiff{Mix: mix.No}, "", nil) })
	}
	if f.Stage == bench.Drying {
		add("separator once more", func() tea.Cmd { return m.coatAgain(f) })
	}
	if !f.ClosedForGood() {
		add("another mix", func() tea.Cmd { return m.warned("monomer", func() tea.Cmd { return m.mixFor(f) }) })
	}
	add("correct a record", func() tea.Cmd { return m.correct(f) })
	add("lots of stone and sheet", func() tea.Cmd { return m.flaskLots(f) })
	if !m.house().NoNotes {
		add("note", func() tea.Cmd { return m.note(f) })
	}
	if m.bench().SpotOf(f).Bath == 0 {
		add("to another place", func() tea.Cmd { return m.move(f) })
	}
	for _, s := range []bench.Step{bench.DoCoat, bench.DoPress, bench.DoReach, bench.DoOpen, bench.DoJudge, bench.DoFinal, bench.DoMetal, bench.DoClamp, bench.DoLoad, bench.DoUnload, bench.DoWater, bench.DoDeflask, bench.DoRemount, bench.DoOutcome} {
		if s != m.bench().Next(f, m.now) {
			add("out of order: "+words.Step(s), func() tea.Cmd { return m.take(f, s) })
		}
	}
	return m.offer(m.head(f)+" · other steps", os...)
}

func (m *Model) grams(f *bench.Flask) tea.Cmd {
	fm := &form{title: "flash trimmed", about: m.head(f), fields: []*field{digits("g", "grams", "g", "", plainNumber(0.01, 1000))}}
	fm.done = func(fm *form) tea.Cmd {
		return m.answer(fm, action.FlashMore{Flask: f.No, Grams: fm.num("g")}, "", nil)
	}
	m.open(fm)
	return nil
}

func (m *Model) where(f *bench.Flask) tea.Cmd {
	fm := &form{title: "where the flash was", fields: []*field{several("where", "", 1, action.Wheres, nil)}}
	fm.done = func(fm *form) tea.Cmd {
		ws := picked(fm, "where", action.Wheres)
		return m.answer(fm, action.FlashMore{Flask: f.No, Where: ws}, "", nil)
	}
	m.open(fm)
	return nil
}

func (m *Model) otherPressure(f *bench.Flask) tea.Cmd {
	return m.askPressure(f, "pressure reached", "press-at", func(psi float64, gauge string) action.Body {
		return action.PressAt{Flask: f.No, PressurePSI: psi, Gauge: gauge}
	})
}

// metalPressure asks for the pressure of a final closure that is not the house's.
func (m *Model) metalPressure(f *bench.Flask) tea.Cmd {
	return m.askPressure(f, "final closure: halves metal to metal", "metal-to-metal", func(psi float64, gauge string) action.Body {
		return action.MetalToMetal{Flask: f.No, Press: m.bench().FreePress(), PressurePSI: psi, Gauge: gauge}
	})
}

// askPressure asks what the gauge shows at an act of that kind.
func (m *Model) askPressure(f *bench.Flask, title, kind string, body func(psi float64, gauge string) action.Body) tea.Cmd {
	fd, which := m.quantity("p", "on the gauge", kind+".pressure_psi")
	fm := &form{title: title, about: m.head(f), fields: []*field{fd, which}}
	fm.done = func(fm *form) tea.Cmd { return m.answer(fm, body(fm.num("p"), m.gaugeText(fm, "p")), "", nil) }
	m.open(fm)
	return nil
}

func (m *Model) coatAgain(f *bench.Flask) tea.Cmd {
	return m.paint(f, "separator once more", "on")
}

func (m *Model) flaskLots(f *bench.Flask) tea.Cmd {
	fm := &form{title: "lots, scanned or typed · case " + f.Case, fields: []*field{line("stone", "stone lot", f.StoneLot, true), line("sheet", "sheet lot", f.SheetLot, true)}}
	fm.done = func(fm *form) tea.Cmd {
		return m.answer(fm, action.FlaskLots{Flask: f.No, StoneLot: strings.TrimSpace(fm.text("stone")), SheetLot: strings.TrimSpace(fm.text("sheet"))}, "", nil)
	}
	m.open(fm)
	return nil
}

func (m *Model) note(f *bench.Flask) tea.Cmd {
	fm := &form{title: "note on case " + f.Case, fields: []*field{line("text", "note", "", false).upTo(400)}}
	fm.done = func(fm *form) tea.Cmd { return m.answer(fm, action.Note{Flask: f.No, Text: fm.text("text")}, "", nil) }
	m.open(fm)
	return nil
}

func (m *Model) move(f *bench.Flask) tea.Cmd {
	var free []int
	var names []string
	for p := 1; p <= action.Places; p++ {
		if m.bench().OnPlace(p) == nil {
			free = append(free, p)
			names = append(names, fmt.Sprintf("place %d", p))
		}
	}
	if len(free) == 0 {
		m.say(warn, "all nine places are taken: one is free again when its flask goes into the bath, or has its outcome")
		return nil
	}
	return m.menu("case "+f.Case+" to another place", nil, names, func(i int) tea.Cmd {
		m.sel, m.off = free[i], 0
		return m.append(action.FlaskMove{Flask: f.No, Place: free[i]}, "", nil)
	})
}

// correct asks which record of a flask, which of its values, the right one, and
// why.
func (m *Model) correct(f *bench.Flask) tea.Cmd {
	items := m.bench().Mendable(f)
	names := each.Of(items, func(it bench.Item) string { return m.instant(it.Stamp.At) + " " + m.recordWords(it.Body) })
	if len(items) == 0 {
		m.say(dim, "this flask has no record to correct")
		return nil
	}
	return m.menu("correct which record? The old value stays in the book", nil, names, func(i int) tea.Cmd { return m.correctItem(items[i]) })
}

// correctable is a value of a record that can be set right.
type correctable struct {
	name string // JSON field
	ask  string
	make func(name string) *field
	read func(f *form, fd *field) any
}

func byWord[T ~string](name, ask string, options []T) correctable {
	return correctable{name, ask, func(n string) *field { return choose(n, ask, options...) }, func(f *form, fd *field) any { return options[fd.choice-1] }}
}
func byNumber(name, ask, unit string, value func(string) (float64, error)) correctable {
	return correctable{name, ask, func(n string) *field { return digits(n, ask, unit, "", value) }, func(f *form, fd *field) any { return fd.number }}
}
func byText(name, ask string, most int) correctable {
	return correctable{name, ask, func(n string) *field { return line(n, ask, "", true).upTo(most) }, func(f *form, fd *field) any { return strings.TrimSpace(fd.typed) }}
}

// correctables gives, by the field of a record, how its right value is asked for.
func correctables(m *Model, it bench.Item) map[string]correctable {
	u := m.house().Units
	psi := func(s string) (float64, error) { return units.ParsePressure(s, u.Pressure) }
	temp := func(s string) (float64, error) { return units.ParseTemp(s, u.Temperature) }
	out := map[string]correctable{}
	for _, c := range []correctable{
		byText("case", "case number", 24), byWord("base", "base", action.Bases), byWord("size", "size", action.Sizes), byText("tag", "tag", 24),
		byText("stone_lot", "stone lot", maxTyped), byText("sheet_lot", "sheet lot", maxTyped),
		byWord("half", "half", action.Halves), byText("lot", "separator lot", maxTyped),
		byNumber("powder_g", "powder", "g", plainNumber(0.1, 5000)), byNumber("liquid_g", "liquid", "g", plainNumber(0.1, 5000)),
		byText("powder_lot", "powder lot", maxTyped), byText("liquid_lot", "liquid lot", maxTyped), byNumber("room_c", "room temperature", "°"+string(u.Temperature), temp),
		byNumber("pressure_psi", "pressure", string(u.Pressure), psi),
		byWord("grade", "flash", action.Grades), byNumber("grams", "grams", "g", plainNumber(0, 1000)), wheres,
		byNumber("backed_off_turn", "backed off", "turn", plainNumber(0, 4)),
		byNumber("bath_c", "bath temperature", "°"+string(u.Temperature), temp),
		byNumber("pin_mm", "pin opening", "mm", plainNumber(0, 20)), byWord("outcome", "outcome", action.Outcomes),
		earlier(it.Stamp.At),
	} {
		out[c.name] = c
	}
	return out
}

var wheres = correctable{"where", "where", func(n string) *field { return several(n, "where", 0, action.Wheres, nil) }, func(f *form, fd *field) any {
	return append([]string{}, picked(f, fd.name, action.Wheres)...) // none is said as an empty list
}}

// earlier sets the time of a record right.
func earlier(at time.Time) correctable {
	return correctable{"at", "the time: done earlier", func(n string) *field {
		return digits(n, "how much earlier was it done", "min", "", func(s string) (float64, error) {
			d, err := units.ParseDuration(s, time.Minute)
			return d.Seconds(), err
		})
	}, func(f *form, fd *field) any {
		return at.Add(-time.Duration(fd.number * float64(time.Second))).Format(time.RFC3339Nano)
	}}
}

func (m *Model) correctItem(it bench.Item) tea.Cmd {
	ask := correctables(m, it)
	cs := each.Of(bench.Mends(it.Body.Kind()), func(name string) correctable { return ask[name] })
	names := each.Of(cs, func(c correctable) string { return c.ask })
	return m.menu(m.recordWords(it.Body), nil, names, func(i int) tea.Cmd {
		c := cs[i]
		fd := c.make("value")
		f := &form{title: "correct: " + m.recordWords(it.Body), fields: []*field{fd, choose("why", "why?", words.ReasonsOf(mending)...).reached(func(f *form) tea.Cmd {
			if f.lines = nil; c.name == "case" && m.caseOdd(f, "value") != "" {
				f.lines = []string{m.caseOdd(f, "value")}
			}
			return nil
		})}}
		f.done = func(f *form) tea.Cmd {
			set, err := json.Marshal(map[string]any{c.name: c.read(f, fd)})
			if err != nil {
				f.note = err.Error()
				return nil
			}
			return m.answer(f, action.Correct{Of: it.Action.ID, Set: set}, mending[f.choice("why")-1], nil)
		}
		m.open(f)
		return nil
	})
}
