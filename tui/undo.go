package tui

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/words"
)

// keyBack shows what would be undone: one's own last record, never that of another unless a
// lead asks for it. Nothing is before Enter is pressed on it, and a reason given.
func (m *Model) keyBack(string) tea.Cmd {
	if m.barred("take-back") {
		return nil
	}
	it, other, ok := m.undoable()
	if !ok {
		if _, any := m.bench().LastWork(); any {
			m.say(dim, "there is nothing of yours to undo")
		} else {
			m.say(dim, "there is nothing to undo")
		}
		return nil
	}
	m.overs = append(m.overs, &undo{m: m, it: it, other: other, since: m.cfg.Hands.Read().Mono})
	return nil
}

// undoable is what 0 offers: the last record of one's own, and for a lead the last of all
// where that is another's.
func (m *Model) undoable() (it bench.Item, other *bench.Item, ok bool) {
	me := m.cfg.Keeper.Me()
	last, any := m.bench().LastWork()
	mine, own := m.bench().LastWorkBy(me.By)
	switch lead := me.Role == action.RoleLead; {
	case !any:
		return it, nil, false
	case own && mine.Seq == last.Seq:
		return mine, nil, true
	case own && lead:
		return mine, &last, true
	case own:
		return mine, nil, true
	default:
		return last, nil, lead
	}
}

// barred says why the person at the screen cannot record something of a kind, and tells
// whether that is so.
func (m *Model) barred(k action.Kind) bool {
	err := m.cfg.Keeper.Me().May(k)
	if err != nil {
		m.say(warn, err.Error())
	}
	return err != nil
}

// undo is the question whether the last record is undone: whose it is, what, of which
// flask, how long ago.
type undo struct {
	m     *Model
	it    bench.Item
	other *bench.Item   // that of another, for a lead who asks
	since time.Duration // it has been on the screen
	rows  [][]piece
}

// unread is how long the question takes no ENTER: one that comes sooner was pressed before
// anybody could have read it, while a record was being saved, or by a scanner.
const unread = 250 * time.Millisecond

// lines are the words of the question.
func (u *undo) lines() []string {
	m, st := u.m, u.it.Stamp
	by := u.it.Action.By
	by = cmp.Or(by, "no initials")
	ask := "undo the last record?"
	switch last, _ := m.bench().LastWork(); {
	case u.it.Action.By != m.by() && u.it.Action.By != "":
		ask = "undo the last record of " + u.it.Action.By + "?"
	case last.Seq != u.it.Seq:
		ask = "undo your last record?"
	}
	out := []string{
		ask,
		m.recordWords(u.it.Body) + m.itemFlask(u.it),
		fmt.Sprintf("by %s, %s ago, at %s", by, length(m.now.Since(st).For.Round(time.Second)), m.instant(st.At)),
		"ENTER goes on and asks why. It stays in the book, and counts no more.",
		"Any other key closes this and does its own work.",
	}
	if u.other != nil {
		out = append(out, "- shows the last record of all, by "+cmp.Or(u.other.Action.By, "nobody named")+".")
	}
	return out
}

func (u *undo) lay(w, h int, _ bool) (rows int, whole bool) {
	u.rows = nil
	roles := []role{accent, strong, plain, plain, dim, dim}
	for i, l := range u.lines() {
		u.rows = append(u.rows, rowsOf(1, roles[i], l, w-2)...)
	}
	return len(u.rows), len(u.rows) <= h && fits(u.rows, w)
}

func (u *undo) draw(f *frame, a area) {
	for y, row := range u.rows {
		for _, p := range row {
			f.put(a.x+p.x, a.y+y, a.w-p.x, p.r, p.s)
		}
	}
}

func (u *undo) step() string { return "ENTER  undo this record" }

func (u *undo) keys() []hint {
	out := []hint{{key: "ENTER", words: "undo, and why"}, {key: "0", words: "back"}}
	if u.other != nil {
		out = append(out, hint{key: "-", words: "by " + cmp.Or(u.other.Action.By, "nobody named")})
	}
	return out
}

func (u *undo) into() *field { return nil }

func (u *undo) spoken() []string {
	return []string{"ask\x00" + strings.Join(u.lines(), ". "), "typed\x00", "note\x00"}
}

func (u *undo) key(key, _ string) (tea.Cmd, fate) {
	switch key {
	case "0", "esc", "backspace":
		return nil, left
	case "-", "o":
		if u.other == nil {
			return nil, passed
		}
		u.it, u.other, u.since = *u.other, nil, u.m.cfg.Hands.Read().Mono
		return nil, stays
	case "enter":
		if u.m.cfg.Hands.Read().Mono-u.since < unread {
			return nil, stays
		}
		u.m.shut()
		u.m.why(u.it)
		return nil, stays
	}
	return nil, passed
}

// why asks for the reason, and undoes the record that was shown.
func (m *Model) why(it bench.Item) {
	f := &form{title: "undo: " + m.recordWords(it.Body) + m.itemFlask(it),
		fields: []*field{choose("why", "why is it undone?", words.ReasonsOf(undoing)...)}}
	f.done = func(f *form) tea.Cmd {
		return m.answer(f, action.TakeBack{Of: it.Action.ID}, undoing[f.choice("why")-1], m.withoutPlace)
	}
	m.open(f)
}

// itemFlask names the case that a record is about, also of a flask that left the bench.
func (m *Model) itemFlask(it bench.Item) string {
	for _, s := range it.Body.Subjects() {
		if s.Class != 'f' {
			continue
		}
		f := m.bench().Flasks[s.No]
		if f == nil || f.Base == "" { // the bench has let go of how it began; the book has not
			recs, err := m.cfg.Keeper.Of(s)
			if err != nil {
				continue
			}
			f = bench.Fold(recs, bench.Counters{}).Flasks[s.No]
		}
		if f != nil && f.Base != "" {
			return fmt.Sprintf(" · case %s %s", f.Case, f.Base)
		}
	}
	return ""
}
