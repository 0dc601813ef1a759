package day

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
)

// page gathers the lines of a sheet.
type page struct{ bytes.Buffer }

// A line of the sheet keeps to width where words allow; what hangs over is indented by hang.
const width, hang = 80, 4

// line writes one line, breaking it between words; what hangs over is indented.
func (p *page) line(indent int, format string, a ...any) {
	for _, row := range words.Lines(fmt.Sprintf(format, a...), width-indent, hang) {
		p.WriteString(strings.TrimRight(strings.Repeat(" ", indent)+row, " ") + "\n")
	}
}

// section begins a part of the sheet.
func (p *page) section(name string) { p.WriteString("\n" + name + "\n") }

// Text writes the day sheet for people.
func (s Sheet) Text(w io.Writer) error {
	p := &page{}
	s.top(p)
	for _, f := range s.flasks() {
		s.flask(p, f)
	}
	if len(s.flasks()) == 0 && s.Case != "" {
		p.WriteString("\nNo flask was opened for this case.\n")
	} else if len(s.flasks()) == 0 {
		p.WriteString("\nNo flask stood on the bench.\n")
	}
	s.mixing(p)
	s.bathing(p)
	s.rest(p)
	if s.Case == "" {
		s.alarmed(p)
	}
	s.history(p)
	if slices.ContainsFunc(s.Bench.Items, bench.Item.Corrected) {
		p.WriteString("\n* corrected: see CORRECTIONS, or an earlier sheet\n")
	}
	p.WriteString("\n")
	for _, c := range cautions() {
		p.line(0, "%s", c)
	}
	if s.Case == "" {
		p.WriteString(signatures)
	}
	p.WriteString("\n" + noNames + "\nLogbook head when this sheet was made: " + s.Head + "\n")
	if _, err := w.Write(p.Bytes()); err != nil {
		return fmt.Errorf("write day sheet: %w", err)
	}
	return nil
}

// cautions stand on every form of the sheet that is read by people.
func cautions() []string {
	return []string{"Dough and working times, trend, core of the flask and what follows from them: " + bench.YouDecide + ".",
		"This sheet shows what was entered in the logbook. It is no release test and no proof of conformity: the makers' instructions, local rules and licensed practice come first."}
}

// signatures are the lines to sign a text sheet on.
const signatures = `
Technician ______________________________   date, time ________________________

Supervisor ______________________________   date, time ________________________
`

// noNames stands on every form of the sheet.
const noNames = "Case numbers and initials only: no person's name belongs in case numbers or notes."

func (s Sheet) top(p *page) {
	p.line(0, "%s   %s   %s", strings.ToUpper(s.kind()), s.heading(), s.zone())
	for _, l := range s.ofCase() {
		p.line(0, "%s", l)
	}
	for _, l := range s.provisos() {
		p.line(0, "%s", l)
	}
	if s.Bench.House.Lab != "" {
		p.line(0, "%s", s.Bench.House.Lab)
	}
	if crew := s.crew(); crew != "" {
		p.line(0, "At the bench: %s", crew)
	}
	for _, l := range s.signedOff() {
		p.line(0, "%s", l)
	}
}

func (s Sheet) date() string { return s.From.Format("Monday 2 January 2006") }

// zone names the zone of the sheet.
func (s Sheet) zone() string {
	if zone := s.From.Location().String(); zone != "Local" {
		return zone
	}
	return s.From.Format("UTC-07:00") // the machine has not told its name
}

// spoiltLines is how many records that are not as they were written stand at the head.
const spoiltLines = 8

// provisos are what is to be known of the sheet before it is read.
func (s Sheet) provisos() []string {
	var out []string
	if len(s.Spoilt) > 0 {
		out = append(out, "NOT AS IT WAS WRITTEN. This sheet rests on records that were changed, or that nothing shows to be as written:")
		out = append(out, s.Spoilt[:min(len(s.Spoilt), spoiltLines)]...)
		if more := len(s.Spoilt) - spoiltLines; more > 0 {
			out = append(out, fmt.Sprintf("and %d more; flaskside verify tells all.", more))
		}
	}
	if s.changed() {
		out = append(out, fmt.Sprintf("The clocks were changed: this day has %s (UTC%s to UTC%s).", units.FormatDuration(s.Until.Sub(s.From)), s.From.Format("-07:00"), s.Until.Add(-1).Format("-07:00")))
	}
	if !s.Known.IsZero() {
		out = append(out, fmt.Sprintf("As of %s.", s.moment(s.Known)))
	}
	return out
}

// moment writes an instant with its date and offset.
func (s Sheet) moment(t time.Time) string {
	return t.In(s.From.Location()).Format("Mon 2 Jan 2006 15:04:05 -07:00")
}

// crew words who was at the bench, from when.
func (s Sheet) crew() string {
	crew := ""
	for _, it := range s.Bench.Items {
		if c, ok := it.Body.(action.Crew); ok && it.Stamp.At.Before(s.Until) {
			if s.has(it.Stamp.At) && crew != "" {
				crew += ", "
			} else {
				crew = ""
			}
			crew += c.Initials
			if s.has(it.Stamp.At) {
				crew += " from " + s.clock(it.Stamp.At)
			}
			if c.Handover {
				crew += " (handover read)"
			}
		}
	}
	return crew
}

// clock writes the time of day; another date, and the offset on a day on which the
// clocks were changed, are added.
func (s Sheet) clock(t time.Time) string { return s.clockAs(t, "15:04") }

func (s Sheet) clockAs(t time.Time, layout string) string {
	t = t.In(s.From.Location())
	date := "2 Jan "
	if s.From.Year() != s.Until.Add(-1).Year() || t.Year() != s.From.Year() {
		date = "2 Jan 2006 " // one of several years
	}
	switch {
	case s.Case != "":
		layout = date + layout
	case !s.has(t):
		layout = "Mon " + date + layout
	}
	if s.changed() {
		layout += " MST"
	}
	return t.Format(layout)
}

// changed tells whether the clocks were changed on the day.
// changed tells whether the clocks of the house were changed on this day: by the offset, for a
// sheet of a day that is not over is shorter, too.
func (s Sheet) changed() bool {
	_, from := s.From.Zone()
	_, until := s.Until.Add(-1).Zone()
	return from != until
}

func (s Sheet) flask(p *page, f *bench.Flask) {
	opened := func(name string) string { return s.mark(f, "flask-open", name) }
	head := fmt.Sprintf("CASE %s%s   %s%s, %s%s   flask %d", f.Case, opened("case"), f.Base, opened("base"), f.Size, opened("size"), f.No)
	if f.Tag != "" {
		head += "   tag " + f.Tag + opened("tag")
	}
	p.section(head)
	p.line(2, "opened %s%s; %s", s.did(flaskNo(f), &f.Opened, "flask-open"), opened("at"), s.standing(f))
	if words := s.pin(f); words != "" {
		p.line(2, "%s", words)
	}
	for _, l := range s.flaskLots(f) {
		p.line(2, "%s", l)
	}
	s.closures(p, f)
	for i, sp := range s.spells(f) {
		if i == 0 {
			p.line(2, "times")
		}
		verdict, words := s.went(sp)
		p.line(4, "%-7s  %s: %s", verdict, sp.what+sp.mark, words)
	}
	if words := s.cureWords(f); words != "" {
		p.line(2, "%s", words)
	}
	first := true
	for _, o := range f.Oddities {
		if !s.has(o.At.At) {
			continue
		}
		if first {
			p.line(2, "unusual")
		}
		first = false
		p.line(4, "%s", s.odd(o))
	}
	s.notes(p, 2, 'f', f.No)
}

// standing words how far a flask has come, or what came of it.
func (s Sheet) standing(f *bench.Flask) string {
	switch spot := s.Bench.SpotOf(f); {
	case f.Outcome != "":
	case spot.Place > 0:
		return fmt.Sprintf("stands on place %d: %s", spot.Place, f.Stage)
	case spot.Bath > 0:
		return string(f.Stage) + ": " + s.Bench.WhereWords(f)
	default:
		return "stands on no place: " + string(f.Stage)
	}
	state := fmt.Sprintf("%s%s %s%s", f.Outcome, s.mark(f, "outcome", "outcome"), s.did(flaskNo(f), f.Ended, "outcome"), s.mark(f, "outcome", "at"))
	if len(f.Defects) > 0 {
		state += ": " + strings.Join(words.Defects(f.Defects), ", ") + s.mark(f, "outcome", "defects")
	}
	return state
}

// odd words an unusual step and why it was taken.
func (s Sheet) odd(o bench.Oddity) string {
	return fmt.Sprintf("%s  %s%s: %s", s.clock(o.At.At), by(o.By), words.Unusual(o.What), oddWhy(o))
}

// oddWhy words why an unusual step was taken.
func oddWhy(o bench.Oddity) string {
	if why := words.Reason(o.Why); why != "" {
		return why
	}
	return "no reason asked"
}

// by writes initials before something, where they are known.
func by(initials string) string {
	if initials == "" {
		return ""
	}
	return initials + "  "
}

func (s Sheet) notes(p *page, indent int, class byte, no int) {
	for _, n := range s.said(class, no) {
		p.line(indent, "%s", n)
	}
}

// said lists the notes of the day about a thing.
func (s Sheet) said(class byte, no int) []string {
	var out []string
	for _, n := range s.Bench.NotesOn(action.Subject{Class: class, No: no}) {
		if s.has(n.At.At) {
			out = append(out, fmt.Sprintf("note %s  %s%s", s.clock(n.At.At), by(n.By), n.Text))
		}
	}
	return out
}

func (s Sheet) closures(p *page, f *bench.Flask) {
	title, under := false, s.Bench.UnderPressure()
	for _, t := range f.Trials {
		if !s.hasAny(&t.In, t.At, t.Out, t.Judged) {
			continue
		}
		if !title {
			p.line(2, "trial closures")
			title = true
		}
		words := []string{fmt.Sprintf("%d%s  %s%s", t.N, star(t.Corrected), s.clock(t.In.At), s.lateTrial(f, t))}
		if t.Added {
			words = append(words, "dough added")
		}
		if t.At != nil {
			words = append(words, t.Gauge)
		}
		if under[t.AtID] {
			words = append(words, "below the house pressure")
		}
		switch {
		case t.Out != nil && t.At != nil:
			words = append(words, fmt.Sprintf("held %s of %s", units.FormatDuration(sec(t.HeldS)), units.FormatDuration(sec(t.HoldAimS))))
		case t.At != nil:
			words = append(words, "at pressure since "+s.clock(t.At.At))
		}
		if t.Judged != nil {
			words = append(words, "flash "+string(t.Grade))
			if !s.has(t.Judged.At) {
				words = append(words, "judged "+s.clock(t.Judged.At))
			}
		} else {
			words = append(words, "flash not judged by the end of the day")
		}
		if t.Grams > 0 {
			words = append(words, plain(t.Grams)+" g")
		}
		if len(t.Where) > 0 {
			words = append(words, strings.Join(t.Where, ", "))
		}
		if by := s.hands(f, t); by != "" {
			words = append(words, "by "+by)
		}
		p.line(4, "%s", strings.Join(words, "   "))
	}
	if f.Inspected {
		p.line(2, "mould checked: full%s", s.mark(f, "inspect"))
	}
	if words := s.final(f); len(words) > 0 {
		p.line(2, "final closure: %s", strings.Join(words, "; "))
	}
}

// final words the steps of the final closure, none where it was not begun.
func (s Sheet) final(f *bench.Flask) []string {
	if f.SheetOut == nil && f.Metal == nil {
		return nil
	}
	about := flaskNo(f)
	var words []string
	if f.SheetOut != nil {
		words = append(words, fmt.Sprintf("sheet out %s%s", s.did(about, f.SheetOut, "sheet-out"), s.mark(f, "sheet-out")))
	}
	if f.Metal != nil {
		at := "metal to metal " + s.did(about, f.Metal, "metal-to-metal")
		if f.MetalPSI > 0 {
			at += " at " + f.MetalGauge
		}
		if it, ok := s.step(about, f.Metal, "metal-to-metal"); ok && s.Bench.UnderPressure()[it.Action.ID] {
			at += " (below the house pressure)"
		}
		words = append(words, at+s.mark(f, "metal-to-metal"))
	}
	if f.Clamped != nil {
		words = append(words, fmt.Sprintf("clamped %s%s, backed off %s%s", s.did(about, f.Clamped, "clamp"), clampName(f), action.Turns(f.BackedOff), s.mark(f, "clamp")))
	}
	return words
}

// pin words the remount check.
func (s Sheet) pin(f *bench.Flask) string {
	if f.PinMM == nil {
		return ""
	}
	words := "pin opening " + units.FormatLength(*f.PinMM)
	for _, it := range slices.Backward(s.Bench.Items) {
		if a, ok := it.Body.(action.Remount); ok && it.TakenBack == nil && a.Flask == f.No {
			words += ", " + s.did(flaskNo(f), &it.Stamp, "remount")
			break
		}
	}
	return words + s.mark(f, "remount", "pin_mm")
}

// flaskLots lists the lots of a flask that no mix tells: separator, stone, sheet.
func (s Sheet) flaskLots(f *bench.Flask) []string {
	var out []string
	for _, l := range []struct{ of, lot, mark string }{{"separator", separators(f), ""}, {"stone", f.StoneLot, s.mark(f, "flask-lots", "stone_lot")}, {"sheet", f.SheetLot, s.mark(f, "flask-lots", "sheet_lot")}} {
		if l.lot != "" {
			out = append(out, l.of+" lot "+l.lot+l.mark)
		}
	}
	return out
}

// sections words the thickness of what is cured in a load, where it was recorded.
func (s Sheet) sections(l *bench.Load) string {
	var out []string
	for _, no := range l.Flasks {
		if x, ok := l.Sections[no]; ok {
			out = append(out, fmt.Sprintf("%s: %s to %s mm", s.casesOf([]int{no}), plain(x.ThinMM), plain(x.ThickMM)))
		}
	}
	if len(out) == 0 {
		return ""
	}
	return "sections: " + strings.Join(out, ", ")
}

func (s Sheet) mixing(p *page) {
	for i, m := range s.mixes() {
		if i == 0 {
			p.section("MIXES")
		}
		about := action.Subject{Class: 'm', No: m.No}
		made := func(name string) string { return star(s.corrected(about, "mix", name)) }
		p.line(2, "%s  made %s%s   %s%s %s g%s powder, %s g%s liquid   for %s", m.Letter(), s.did(about, &m.Made, "mix"), made("at"),
			m.Resin, made("resin"), plain(m.PowderG), made("powder_g"), plain(m.LiquidG), made("liquid_g"), s.named(m.Flasks))
		p.line(5, "powder lot %s%s, liquid lot %s%s   room %s%s   number %d", lot(m.PowderLot), made("powder_lot"), lot(m.LiquidLot), made("liquid_lot"),
			s.room(m), made("room_c"), m.No)
		words := fmt.Sprintf("expected dough from %s%s, workable until %s%s (estimates)", s.clock(m.Made.At.Add(sec(m.DoughS))), made("dough_s"), s.clock(m.Made.At.Add(sec(m.WorkS))), made("work_s"))
		if m.Dough != nil {
			words += "; dough " + s.clock(m.Dough.At) + star(s.corrected(about, "mix-dough"))
		}
		if m.Stiff != nil {
			words += "; too stiff " + s.clock(m.Stiff.At) + star(s.corrected(about, "mix-stiff"))
		}
		p.line(5, "%s", words)
		s.notes(p, 5, 'm', m.No)
	}
}

func lot(l string) string {
	return cmp.Or(l, "not given")
}

// room words the temperature that a mix was made at, and where its parts came from.
func (s Sheet) room(m *bench.Mix) string {
	unit := s.Bench.House.Units.Temperature
	words := units.FormatTemp(m.RoomC, unit)
	if m.JarC != nil {
		words += ", powder and liquid from " + units.FormatTemp(*m.JarC, unit)
	}
	return words
}

// bathRead is what the bath of a load read when its flasks went in.
func (s Sheet) bathRead(l *bench.Load) string {
	if l.BathC == 0 {
		return ", bath not read"
	}
	return " at " + units.FormatTemp(l.BathC, s.Bench.House.Units.Temperature)
}

func (s Sheet) bathing(p *page) {
	for i, l := range s.loads() {
		if i == 0 {
			p.section("BATH LOADS")
		}
		p.line(2, "%d  %s   %s   programme %s", l.No, s.stay(l), s.named(l.Flasks), l.Programme)
		p.line(5, "%s", s.stages(l))
		if words := s.sections(l); words != "" {
			p.line(5, "%s", words)
		}
		_, words := s.loadWords(l)
		for _, w := range words {
			p.line(5, "%s", w)
		}
		s.notes(p, 5, 'l', l.No)
	}
}

// stages words the programme of a load.
func (s Sheet) stages(l *bench.Load) string {
	temp := func(v float64) string { return units.FormatTemp(v, s.Bench.House.Units.Temperature) }
	var stages []string
	for _, st := range l.Stages {
		words := temp(st.TempC) + " for " + units.FormatDuration(sec(st.HoldS))
		if st.RampS > 0 {
			words = "in " + units.FormatDuration(sec(st.RampS)) + " to " + words
		}
		stages = append(stages, words)
	}
	return strings.Join(stages, "; ")
}
