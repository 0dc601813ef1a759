package tui

import (
	"cmp"
	"fmt"
	"io"
	"strings"

	"flaskside/logbook/action"
	"flaskside/timers"

	tea "charm.land/bubbletea/v2"
)

// Plain is the bench for screen readers and for terminals that draw nothing: it
// writes what changes, a line at a time, in ASCII, and takes the same keys.
type Plain struct {
	inner tea.Model
	m     *Model
	out   io.Writer
	last  map[string]string
	page  string // the page being read out
}

// newPlain wraps the screen; what changes is written to out.
func newPlain(m *Model, report func(trace string) string, out io.Writer) *Plain {
	m.aloud = true
	m.raw = func(s string) tea.Cmd { // without a renderer nothing raw is sent
		return func() tea.Msg {
			_, _ = io.WriteString(out, s) // nowhere to tell a closed terminal
			return nil
		}
	}
	return &Plain{inner: Guarded(m, report), m: m, out: out, last: map[string]string{}}
}

// Init is a first full reading; then the clock runs.
func (p *Plain) Init() tea.Cmd {
	p.tell()
	return p.m.tick() // the terminal is asked nothing: its answers would be read as keys
}

// Update of the screen, telling what changed.
func (p *Plain) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	_, cmd := p.inner.Update(msg)
	p.tell()
	return p, cmd
}

// View draws nothing: the lines are the screen.
func (p *Plain) View() tea.View { return tea.NewView("") }

// tell writes the lines that are not as they were. Times that only run down are not
// told: their ends are, as alarms.
func (p *Plain) tell() {
	page := ""
	for _, l := range p.m.spoken() {
		slot, text, _ := strings.Cut(l, "\x00")
		if strings.HasPrefix(slot, "page") {
			page = slot
		}
		old, told := p.last[slot]
		if text = ascii(text); old == text || told && slot == p.page {
			continue // a page is read out once, though its times run on
		}
		p.last[slot] = text
		if text != "" {
			_, _ = fmt.Fprint(p.out, text, "\r\n") // nowhere to tell a closed terminal
		}
	}
	if page != p.page {
		delete(p.last, p.page) // opened again it is read out again
	}
	p.page = page
}

// spoken lists what there is to be told, each line behind the name of its slot.
func (m *Model) spoken() []string {
	var out []string
	say := func(slot, text string) { out = append(out, slot+"\x00"+text) }
	alarms := ""
	for _, al := range m.alarms {
		if al.State == timers.Unacknowledged || al.State == timers.Returned {
			alarms = fmt.Sprintf("ALARM %d: %s", al.Priority, m.alarmWords(al))
			break
		}
	}
	say("alarm", alarms)
	for p := 1; p <= action.Places; p++ {
		fl := m.bench().OnPlace(p)
		if fl == nil {
			say(fmt.Sprint("place", p), "")
			continue
		}
		words, _ := m.stageWords(fl)
		say(fmt.Sprint("place", p), fmt.Sprintf("place %d: case %s %s %s, %s", p, fl.Case, fl.Base, fl.Size, strings.Join(strings.Fields(words), " ")))
	}
	for _, g := range m.groups() { // what is in the baths, and what has no place
		for _, fl := range g.flasks {
			words, _ := m.stageWords(fl)
			say(fmt.Sprint("flask", fl.No), fmt.Sprintf("%s: case %s %s %s, %s", m.bench().WhereWords(fl), fl.Case, fl.Base, fl.Size, strings.Join(strings.Fields(words), " ")))
		}
	}
	if fl := m.selected(); fl != nil && judged(fl) {
		say("verdict", fmt.Sprintf("%s: %s", m.bench().CallWords(fl), m.verdictWords(m.bench().Verdict(fl, m.now))))
	}
	say("message", cmp.Or(m.toast, m.trouble))
	say("mirror", m.mirror.Short(m.now.Wall))
	if o := m.over(); o != nil {
		m.lay()
		return append(out, o.spoken()...)
	}
	say("typed", "")
	say("ask", "")
	say("note", "")
	a := area{0, 0, 100, 60}
	f := newFrame(a.w, a.h)
	m.page.draw(f, a) // before it tells its keys
	if keys := m.keysHere(); len(keys) > 0 {
		say("keys", m.spokenKeys(keys))
	}
	part := 0
	switch p := m.page.(type) {
	case readOut:
		part = p.at()
	case *awayPage:
	default:
		if !m.saving { // what comes next is told when it is on the disk
			say("next", m.selectedWords()+" selected. "+m.stepLine())
		}
		return out
	}
	say(fmt.Sprintf("page %T %d %d %d %d", m.page, m.sel, m.off, part, len(m.bench().Items)), strings.Join(f.spoken(), "\r\n"))
	return out
}

// spokenKeys are the keys that work here, as they are read out.
func (m *Model) spokenKeys(keys []hint) string {
	words := []string{}
	if m.atHome() {
		words = append(words, "1-9 place", "ENTER next step")
	}
	for _, k := range keys {
		if !k.off {
			words = append(words, k.key+" "+k.words)
		}
	}
	return "keys: " + strings.Join(words, ", ")
}

// spoken are the lines of a page that say something read aloud.
func (f *frame) spoken() []string {
	var lines []string
	for _, l := range strings.Split(f.plainText(), "\n") {
		if strings.ContainsFunc(l, func(r rune) bool { return r >= 0x2800 && r <= 0x28ff }) {
			continue // a row of a chart
		}
		if l = strings.TrimSpace(ascii(l)); l != "" && strings.ContainsAny(l, "abcdefghijklmnopqrstuvwxyz") {
			lines = append(lines, l)
		}
	}
	return lines
}

// spoken is a form as it is read out.
func (f *form) spoken() []string {
	var out []string
	say := func(slot, text string) { out = append(out, slot+"\x00"+text) }
	fd := f.fields[f.at]
	q := f.title + ". " + strings.Join(f.lines, " ") + " "
	if f.live != nil {
		q += strings.Join(f.live(), "; ") + " "
	}
	q += fd.ask
	from, to, more := f.visible()
	for i := from; i < to; i++ {
		mark := ""
		if fd.kind == pickMany && fd.picked[i] {
			mark = " (on)"
		}
		q += fmt.Sprintf("; %d %s%s", i-from+1, fd.options[i], mark)
	}
	if more {
		q += "; 9 more"
	}
	if fd.kind == pickOne && fd.choice > 0 {
		q += fmt.Sprintf(" (ENTER takes %d)", fd.choice)
	}
	typed := ""
	if fd.kind == number || fd.kind == lineText {
		q += ":"
		if fd.preset != "" {
			q += " (ENTER takes " + fd.preset + ")"
		}
		if fd.typed != "" {
			typed = fd.ask + ": " + fd.typed
		}
	}
	if f.sent {
		return out // answered: what comes of it is told when it is on the disk
	}
	say("ask", strings.Replace(strings.Join(strings.Fields(q), " "), ". ; ", ": ", 1))
	say("typed", typed)
	say("note", f.note)
	return out
}

// ascii writes the signs of the screen in the seven bits that every terminal and
// every reader has.
func ascii(s string) string {
	s = strings.NewReplacer("·", "-", "…", "...", "→", "->", "≤", "at most", "≈", "about ", "▲", "!", "▸", ">", "°", " degrees ", "³", "3", "–", "-", "—", "-", "●", "*", "◆", "#", "○", "o", "┊", "|", "▏", "").Replace(s)
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\r' || r == '\n':
			return r
		case r < 0x20 || r == 0x7f:
			return -1
		case r > 0x7f:
			return ' '
		}
		return r
	}, s)
}
