package tui

import (
	"fmt"
	"slices"
	"strings"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/each"
)

// cautions are shown where the act is, once a shift for each kind.
var cautions = map[string][]string{
	"monomer": {"Monomer vapour irritates and burns: work under extraction (fume hood), away from flames, lids on. No skin contact: it soaks through ordinary gloves within minutes and can cause allergy.",
		"The resin maker's instructions and local rules come first."},
	"press": {"Press: never above the rated load of press and flask. Close slowly. Hands clear of the plates.",
		"The makers' instructions and local rules come first."},
	"bath": {"Hot bath: water at curing temperature scalds at once. Use tongs. Cover face and arms. Flasks clamped, lid on.",
		"The resin maker's cycle and local rules come first."},
	"scald": {"Boil-out: boiling water and steam scald at once. Use tongs. Cover face and arms. Lift flasks out away from you, let them drain before you open them.",
		"Local rules come first."},
	"dust": {"Trimming and polishing: dust and splinters. Work under extraction, guard down, eye protection on. Hair and sleeves tied back. Dust of resin is not swept or blown.",
		"Local rules come first."},
	"pot": {"Pressure pot: let the pressure off completely before you open it, and see that the gauge stands at zero. Never above its rated pressure. Water in it is hot.",
		"The maker's instructions and local rules come first."},
	"soak": {"Warm water after the cure: at 55 °C it scalds within half a minute. Use tongs. Keep the water under extraction: monomer comes off.",
		"The resin maker's instructions and local rules come first."},
	"deflask": {"Trapped heat: a flask that is cool outside may be hot inside. Loosen the clamp slowly. Wear eye protection. Cut away from your hand.",
		"Local rules come first."},
}

// warned runs next, after the caution of a hazard where it was not read this shift.
func (m *Model) warned(hazard string, next func() tea.Cmd) tea.Cmd {
	if hazard == "" || m.bench().CautionRead(hazard, m.by(), m.now) {
		return next()
	}
	f := &form{title: "caution", lines: cautions[hazard], fields: []*field{choose("read", "", "read")}}
	f.done = func(f *form) tea.Cmd {
		return m.answer(f, action.Caution{Hazard: hazard}, "", func(logbook.Saved) tea.Cmd { return next() })
	}
	m.open(f)
	return nil
}

// take begins a step of a flask: at once where nothing need be asked.
func (m *Model) take(f *bench.Flask, s bench.Step) tea.Cmd {
	return m.warned(s.Hazard(), func() tea.Cmd { return m.takeWarned(f, s) })
}

func (m *Model) takeWarned(f *bench.Flask, s bench.Step) tea.Cmd {
	h := m.house()
	head := m.head(f) + " · "
	sure := func(title, yes string, body action.Body, lines ...string) tea.Cmd {
		fm := &form{title: head + title, lines: lines, fields: []*field{choose("sure", "", yes)}}
		fm.done = func(fm *form) tea.Cmd { return m.answer(fm, body, "", nil) }
		m.open(fm)
		return nil
	}
	switch s {
	case bench.DoCoat:
		return m.coat(f)
	case bench.DoMix:
		return m.mixFor(f)
	case bench.DoDough:
		return m.append(action.MixDough{Mix: f.Mix}, "", nil)
	case bench.DoPress:
		return m.append(action.PressIn{Flask: f.No, Press: m.bench().FreePress()}, "", nil)
	case bench.DoReach:
		return m.append(action.PressAt{Flask: f.No}, "", nil)
	case bench.DoOpen:
		return m.append(action.PressOpen{Flask: f.No}, "", func(logbook.Saved) tea.Cmd { return m.judge(f.No) })
	case bench.DoJudge:
		return m.judge(f.No)
	case bench.DoFinal:
		return m.append(action.SheetOut{Flask: f.No}, "", nil) // a sheet can be put back
	case bench.DoMetal:
		return sure("final closure", "halves metal to metal at "+m.psi(h.Press.Final()), action.MetalToMetal{Flask: f.No, Press: m.bench().FreePress()})
	case bench.DoClamp:
		return m.clamp(f)
	case bench.DoLoad:
		return m.loadBath(f)
	case bench.DoUnload:
		l := m.bench().LoadOf(f)
		return m.together(head+"out of the bath", "which come out?", f, bench.InBath, func(o *bench.Flask) bool { return l != nil && o.Load == l.No },
			func(ns []int) action.Body { return action.BathUnload{Flasks: ns} })
	case bench.DoWater:
		if m.alone(f, bench.Cooling) { // it can be undone, and asks nothing
			return m.append(action.CoolWater{Flasks: []int{f.No}}, "", nil)
		}
		return m.together(head+"into tap water", "which go into the water?", f, bench.Cooling, m.cooledWith(f), func(ns []int) action.Body { return action.CoolWater{Flasks: ns} })
	case bench.DoDeflask:
		return m.together(head+"deflask", "which are opened?", f, bench.InWater, m.cooledWith(f), func(ns []int) action.Body { return action.Deflask{Flasks: ns} })
	case bench.DoRemount:
		fm := &form{title: head + "remount check", fields: []*field{digits("pin", "opening at the incisal pin", "mm", "", plainNumber(0, 20))}}
		fm.done = func(fm *form) tea.Cmd {
			return m.answer(fm, action.Remount{Flask: f.No, PinMM: fm.num("pin")}, "", nil)
		}
		m.open(fm)
		return nil
	}
	return m.outcome(f.No)
}

func (m *Model) coat(f *bench.Flask) tea.Cmd {
	cast, teeth := f.Halves[action.Cast], f.Halves[action.Teeth]
	switch {
	case cast != nil && teeth == nil:
		return m.append(action.Coat{Flask: f.No, Half: action.Teeth}, "", nil)
	case cast == nil && teeth != nil:
		return m.append(action.Coat{Flask: f.No, Half: action.Cast}, "", nil)
	}
	return m.paint(f, m.head(f)+" · separator", "painted on")
}

// paint asks which half was painted, and for the lot of the separator where it is to be
// named: one key more, for a jar is opened once a week.
func (m *Model) paint(f *bench.Flask, title, ask string) tea.Cmd {
	const naming = 4
	fm := &form{title: title, fields: []*field{
		choose("half", ask, words.Half(action.Both), words.Half(action.Cast), words.Half(action.Teeth), "both, and name the lot"),
		line("lot", "separator lot, scanned or typed", m.lastSeparator(), false).only(func(fm *form) bool { return fm.choice("half") == naming }),
	}}
	fm.done = func(fm *form) tea.Cmd {
		c := action.Coat{Flask: f.No, Half: []action.Half{action.Both, action.Cast, action.Teeth, action.Both}[fm.choice("half")-1]}
		if fm.choice("half") == naming {
			c.Lot = strings.TrimSpace(fm.text("lot"))
		}
		return m.answer(fm, c, "", nil)
	}
	m.open(fm)
	return nil
}

// lastSeparator is the lot of separator named last, or the last one taken in.
func (m *sight) lastSeparator() string {
	for _, it := range slices.Backward(m.bench().Items) {
		if c, ok := it.Body.(action.Coat); ok && it.TakenBack == nil && c.Lot != "" {
			return c.Lot
		}
	}
	if held, _ := m.bench().Lots(action.Separator); len(held) > 0 {
		return held[len(held)-1].Lot
	}
	return ""
}

// judge asks for the flash: one digit.
func (m *Model) judge(no int) tea.Cmd {
	f := m.bench().Flasks[no]
	if f == nil {
		return nil
	}
	t := f.Trial()
	lines := []string(nil)
	if t != nil {
		lines = []string{fmt.Sprintf("trial closure %d: %s, held %d s of %d s", t.N, t.Gauge, t.HeldS, t.HoldAimS)}
	}
	fm := &form{title: m.head(f) + " · the flash", lines: lines, fields: []*field{choose("grade", "flash?", action.Grades...)}}
	fm.done = func(fm *form) tea.Cmd {
		return m.answer(fm, action.Flash{Flask: no, Grade: action.Grades[fm.choice("grade")-1]}, "", func(logbook.Saved) tea.Cmd {
			m.hintAfterFlash(no)
			return nil
		})
	}
	m.open(fm)
	return nil
}

// hintAfterFlash says what a first closure without flash means, and where the
// grams go.
func (m *Model) hintAfterFlash(no int) {
	f := m.bench().Flasks[no]
	if f == nil {
		return
	}
	if js := f.Judged(); len(js) == 1 && js[0].Grade == action.NoFlash && !f.Inspected {
		m.say(warn, "no flash at the first closure: mould may be underfilled. - add dough and close again, or check it and record it as full")
		return
	}
	m.say(good, fmt.Sprintf("saved: trial %d %s · grams, where, dough added: -", len(f.Trials), f.Trial().Grade))
}

// alone tells whether no other flask stands at a stage.
func (m *sight) alone(f *bench.Flask, at bench.FlaskStage) bool {
	for o := range m.bench().AtWork() {
		if o.No != f.No && o.Stage == at {
			return false
		}
	}
	return true
}

// together asks which flasks at the same stage take a step at once; the one
// selected and those of its group are switched on.
func (m *Model) together(title, ask string, f *bench.Flask, at bench.FlaskStage, group func(*bench.Flask) bool, body func([]int) action.Body) tea.Cmd {
	var ns []int
	var names []string
	var on []bool
	for o := range m.bench().AtWork() {
		if o.Stage != at && o.No != f.No {
			continue
		}
		ns = append(ns, o.No)
		names = append(names, m.nameOf(o))
		on = append(on, o.No == f.No || group == nil || group(o))
	}
	m.atMost(ns, on, f)
	var all []int
	for i, no := range ns {
		if on[i] {
			all = append(all, no)
		}
	}
	const some = 2
	sure := choose("sure", ask, m.whereWords(all, 0), "others …")
	switch {
	case len(ns) == 1:
		sure = choose("sure", "", "yes")
	case len(all) == len(ns):
		sure.options[0] = "all: " + m.whereWords(all, 0)
	}
	fm := &form{title: title, fields: []*field{sure,
		several("which", ask, 1, names, func(i int) bool { return on[i] }).only(func(fm *form) bool { return fm.choice("sure") == some }),
		choose("these", "", "yes").only(func(fm *form) bool { return fm.choice("sure") == some })}}
	fm.done = func(fm *form) tea.Cmd {
		var pick []int
		for i, no := range ns {
			if fm.choice("sure") != some && on[i] || fm.choice("sure") == some && fm.get("which").picked[i] {
				pick = append(pick, no)
			}
		}
		return m.answer(fm, body(pick), "", m.backToPlaces)
	}
	m.open(fm)
	return nil
}

// atMost leaves the load of the selected flask alone where all that are switched on are more
// than one record takes.
func (m *sight) atMost(ns []int, on []bool, f *bench.Flask) {
	n := each.Count(on, func(is bool) bool { return is })
	for i, no := range ns {
		on[i] = on[i] && (n <= action.Places || no == f.No || m.bench().Flasks[no].Load == f.Load)
	}
}

// cooledWith tells of flasks whether they go on with one that is selected: those of its load,
// and those whose time is up.
func (m *sight) cooledWith(f *bench.Flask) func(*bench.Flask) bool {
	return func(o *bench.Flask) bool {
		if o.Load == f.Load {
			return true
		}
		st, ok := m.flaskStanding(o)
		return ok && st.Phase != timers.Early
	}
}

// offLines list what was short or off on a flask before its outcome is told.
func (m *sight) offLines(f *bench.Flask) []string {
	var out []string
	for _, code := range m.bench().UnusualOf(f) {
		if w := words.Unusual(code); !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	if len(out) == 0 {
		return nil
	}
	return []string{"not as set on this flask: " + strings.Join(out, ", ")}
}

// outcome asks for the outcome. The digit and ENTER are two different keys. Then the next
// flask that stands as this one did is selected.
func (m *Model) outcome(no int) tea.Cmd {
	f := m.bench().Flasks[no]
	if f == nil {
		return nil
	}
	at := f.Stage
	fm := &form{title: m.head(f) + " · outcome: the flask leaves the bench", lines: m.offLines(f), fields: []*field{
		choose("outcome", "outcome", append([]string{action.Finished + ", no defects seen", action.Finished + ", defects seen"}, action.Outcomes[1:]...)...),
		several("defects", "defects seen (ENTER for none)", 0, words.Defects(action.Defects), nil).only(func(fm *form) bool { return fm.choice("outcome") > 1 }).
			reached(func(fm *form) tea.Cmd { // who has seen defects says which
				if fd := fm.get("defects"); fm.choice("outcome") == 2 {
					fd.ask, fd.least = "which defects?", 1
				} else {
					fd.ask, fd.least = "defects seen (ENTER for none)", 0
				}
				return nil
			}),
	}}
	fm.done = func(fm *form) tea.Cmd {
		out := action.Finished
		if i := fm.choice("outcome"); i > 1 {
			out = action.Outcomes[i-2]
		}
		var ds []string
		if fm.choice("outcome") > 1 {
			ds = picked(fm, "defects", action.Defects)
		}
		return m.answer(fm, action.Outcome{Flask: f.No, Outcome: out, Defects: ds}, "", func(logbook.Saved) tea.Cmd {
			m.selectNext(at)
			return nil
		})
	}
	m.open(fm)
	return nil
}

// selectNext selects the next place whose flask stands at a stage or just before the same
// question, where the selected one has become empty.
func (m *Model) selectNext(at bench.FlaskStage) {
	if m.selected() != nil {
		return
	}
	for i := 1; i < 9; i++ {
		p := (m.sel-1+i)%9 + 1
		if o := m.bench().OnPlace(p); o != nil && (o.Stage == at || at == bench.Checked && o.Stage == bench.Open) {
			m.sel, m.off = p, 0
			return
		}
	}
}

// casesOffered is how many of the cases that wait a new flask offers; the rest is on their
// page.
const casesOffered = 7

// newFlask asks for a flask: digits and choices only. Where cases wait, it is one digit.
func (m *Model) newFlask(place int) tea.Cmd {
	if m.bench().OnPlace(place) != nil {
		place = m.bench().FreePlace()
	}
	if place == 0 {
		m.say(warn, "all nine places are taken: one is free again when its flask goes into the bath, or has its outcome")
		return nil
	}
	waiting := m.bench().CasesForFlask()
	waiting = waiting[:min(len(waiting), casesOffered)]
	names := make([]string, len(waiting))
	for i, k := range waiting {
		names[i] = m.caseWords(k)
	}
	of := caseFields()
	fields := []*field{of[0], m.caseAsked("case"), of[1], choose("size", "size", action.Sizes...)}
	if len(waiting) > 0 {
		for _, fd := range fields {
			fd.and(func(f *form) bool { return f.choice("which") > len(waiting) })
		}
		bare := make([]string, len(waiting))
		for i, k := range waiting {
			bare[i] = k.Name()
		}
		fields = append([]*field{scannable(choose("which", "which case?", append(names, "another: type its number")...), bare)}, fields...)
	}
	metal, tag := m.whichPiece("metal", "which flask? by the tag on it", "one without a tag", action.FlaskMetal)
	if metal != nil {
		fields = append(fields, metal)
	}
	fm := &form{title: fmt.Sprintf("new flask on place %d", place), fields: fields}
	fm.done = func(fm *form) tea.Cmd {
		open, why := action.FlaskOpen{Place: place, Tag: tag(fm)}, ""
		if i := fm.choice("which"); i > 0 && i <= len(waiting) {
			open.Case, open.Base, open.Size = waiting[i-1].Case, waiting[i-1].Base, waiting[i-1].Size
		} else {
			open.Case, open.Base, open.Size = strings.TrimSpace(fm.text("case")), action.Bases[fm.choice("base")-1], action.Sizes[fm.choice("size")-1]
			// A second flask for a case on the list is another question, asked when it is recorded.
			if k, listed := m.bench().CaseOnList(open.Case, open.Base); m.caseOdd(fm, "case") != "" && (!listed || k.Waits()) {
				why = fmt.Sprint(fm.choice("case" + whyAsked))
			}
		}
		return m.answer(fm, open, why, func(logbook.Saved) tea.Cmd { m.sel, m.off = place, 0; return nil })
	}
	m.open(fm)
	return nil
}

// whyAsked ends the name of the question for the reason of what a field holds.
const whyAsked = ", why"

// caseOdd says why what a field holds does not look like a case number, "" where it does.
func (m *sight) caseOdd(f *form, name string) string {
	if s := strings.TrimSpace(f.text(name)); s != "" {
		return m.house().CaseOdd(s)
	}
	return ""
}

// caseAsked follows the field of a case number and asks at once about one that does not
// look like it, before anything else is typed.
func (m *sight) caseAsked(name string) *field {
	odd := func(f *form) bool { return m.caseOdd(f, name) != "" }
	return choose(name+whyAsked, "go on anyway? your reason is recorded", words.Reasons[1:]...).only(odd).reached(func(f *form) tea.Cmd {
		f.get(name + whyAsked).above = []string{"· " + m.caseOdd(f, name)}
		return nil
	})
}

// mixFor asks whether a flask takes a mix that stands, or a new one.
func (m *Model) mixFor(f *bench.Flask) tea.Cmd {
	var standing []*bench.Mix
	var opts []string
	for _, no := range bench.Sorted(m.bench().Mixes) {
		x := m.bench().Mixes[no]
		if left, _ := x.DoughLeft(m.now); left > 0 && x.Stiff == nil && f.Mix != no {
			standing = append(standing, x)
			opts = append(opts, fmt.Sprintf("take mix %s (%s of working time left, estimate)", x.Letter(), lengthLeft(left)))
		}
	}
	if len(standing) == 0 {
		return m.newMix(f)
	}
	fm := &form{title: m.head(f) + " · dough", fields: []*field{choose("which", "from which mix?", append(opts, "a new mix")...)}}
	fm.done = func(fm *form) tea.Cmd {
		if i := fm.choice("which") - 1; i < len(standing) {
			return m.answer(fm, action.MixServe{Mix: standing[i].No, Flasks: []int{f.No}}, "", nil)
		}
		m.shut()
		return m.newMix(f)
	}
	m.open(fm)
	return nil
}

// pushReason asks for the reason of an unusual step: one digit, and never again
// for the same thing.
func (m *Model) pushReason(a action.Action, odd *bench.NeedsReason, then func(logbook.Saved) tea.Cmd) {
	if f := m.form(); f != nil {
		f.sent = false
	}
	lines := each.Of(odd.Odd, func(o bench.Odd) string { return "· " + o.Text })
	below := m.form()
	f := &form{title: "unusual", lines: lines, fields: []*field{choose("why", "go on anyway? your reason is recorded", words.Reasons[1:]...)}}
	f.done = func(f *form) tea.Cmd {
		a.Why = fmt.Sprint(f.choice("why"))
		f.sent = true
		if below != nil {
			below.sent = true
		}
		return m.send(a, then)
	}
	m.open(f)
}
