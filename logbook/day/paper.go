package day

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"flaskside/logbook/action"
	"flaskside/logbook/bath"
	"flaskside/logbook/bench"
	"flaskside/logbook/units"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/timers/cure"
	"flaskside/timers/each"
)

// paper is the sheet as it is printed: what HTML and PDF both lay out.
type paper struct {
	Kind      string // what it is, as over the title
	Day, Zone string
	Head      []string // who, when: at the right of the title
	Provisos  []string
	Blocks    []block
	Foot      []string
	Chain     string // end of the chain, number and short hash
}

// block is a part under a heading that is not torn apart where a page can hold it:
// a table and lines over the whole width, or beside a picture.
type block struct {
	Name, Aside string
	Tables      []table
	Lines       []string
	Picture     *drawing
	Beside      []string // under the picture
	Wide        bool     // the picture takes the greater part
	Long        bool     // a list: may be torn between rows
}

// table of a block. A column's share is its part of the width.
type table struct {
	Columns []column
	Rows    [][]cell
}

type column struct {
	Name  string
	Share float64
	Right bool // numbers
}

type cell struct {
	Text   string
	Strong bool // what must not be overlooked
}

// Sizes of the pictures, mm. The trend stands beside the tables of its flask, the
// words of a load beside its curve.
const (
	trendW, trendH = 56, 38
	curveW, curveH = 112, 36
)

func cells(texts ...string) []cell {
	out := make([]cell, len(texts))
	for i, t := range texts {
		out[i] = cell{Text: t}
	}
	return out
}

func columns(names []string, shares ...float64) []column {
	out := make([]column, len(names))
	for i, n := range names {
		n, right := strings.CutPrefix(n, ">")
		out[i] = column{Name: n, Share: shares[i], Right: right}
	}
	return out
}

// paper puts the sheet together for print.
func (s Sheet) paper() paper {
	p := paper{Kind: s.kind(), Day: s.heading(), Zone: s.onClock(), Provisos: append(s.ofCase(), s.provisos()...), Chain: s.Head}
	if lab := s.Bench.House.Lab; lab != "" {
		p.Head = append(p.Head, lab)
	}
	if crew := s.crew(); crew != "" {
		p.Head = append(p.Head, "At the bench: "+crew)
	}
	p.Provisos = append(p.Provisos, s.signedOff()...)
	if !s.Made.IsZero() {
		p.Head = append(p.Head, "Made "+s.moment(s.Made))
	}
	flasks := s.flasks()
	if len(flasks) == 0 {
		p.Provisos = append(p.Provisos, "No flask stood on the bench.")
	} else {
		p.Blocks = append(p.Blocks, s.glance(flasks))
	}
	p.Blocks = append(p.Blocks, each.Of(flasks, s.flaskBlock)...)
	if mixes := s.mixes(); len(mixes) > 0 {
		p.Blocks = append(p.Blocks, s.mixBlock(mixes))
	}
	p.Blocks = append(p.Blocks, each.Of(s.loads(), s.loadBlock)...)
	if s.Case == "" {
		p.Blocks = append(p.Blocks, s.alarmBlock()...)
	}
	for _, c := range s.chapters() {
		if c.name != readings {
			p.Blocks = append(p.Blocks, block{Name: sentence(c.name), Lines: c.lines, Long: true})
		}
	}
	p.Blocks = append(p.Blocks, mendedBlock("Corrections", "corrected", s.corrections("→"))...)
	p.Blocks = append(p.Blocks, mendedBlock("Undone", "undone", s.takenBack())...)
	if slices.ContainsFunc(s.Bench.Items, bench.Item.Corrected) {
		p.Foot = append(p.Foot, "* corrected: see Corrections, or an earlier sheet.")
	}
	if p.has(func(b block) bool { return slices.ContainsFunc(b.Tables, table.strong) }) {
		p.Foot = append(p.Foot, "Bold: not as asked for, or not acknowledged. Initials: the person who entered it.")
	}
	if p.has(func(b block) bool { return b.Picture != nil && !b.Wide }) {
		p.Foot = append(p.Foot, "Flash pictures: a mark is a trial closure, a diamond one whose trim was weighed; line and band are the trend and its 80 % (estimate); + dough added; an empty mark is a forecast.")
	}
	p.Foot = append(p.Foot, noNames)
	p.Foot = append(p.Foot, cautions()...)
	return p
}

// has tells whether the sheet has such a block.
func (p paper) has(is func(block) bool) bool { return slices.ContainsFunc(p.Blocks, is) }

// strong tells whether something of a table must not be overlooked.
func (t table) strong() bool {
	return slices.ContainsFunc(t.Rows, func(row []cell) bool {
		return slices.ContainsFunc(row, func(c cell) bool { return c.Strong })
	})
}

// onClock says on which clock the times of the sheet are.
func (s Sheet) onClock() string {
	words := "UTC" + s.From.Format("-07:00")
	if s.changed() {
		words += ", then UTC" + s.Until.Add(-1).Format("-07:00")
	}
	if zone := s.zone(); zone != words {
		words = zone + " (" + words + ")"
	}
	return "Times: " + words
}

// narrow is the share of a column of times: wider where the zone is told with each.
func (s Sheet) narrow(share float64) float64 {
	if s.changed() {
		return share * 1.6
	}
	return share
}

// sentence writes a heading of the text sheet as one of the paper.
func sentence(name string) string { return name[:1] + strings.ToLower(name[1:]) }

// capital begins words with a capital letter.
func capital(words string) string {
	r, n := utf8.DecodeRuneInString(words)
	if n == 0 || r == utf8.RuneError {
		return words
	}
	return string(unicode.ToUpper(r)) + words[n:]
}

// glance is the day in one table.
func (s Sheet) glance(flasks []*bench.Flask) block {
	t := table{Columns: columns([]string{"case", "base", "flask", "closures", "last flash", "final closure", "cure", "pin", "times", "state"}, 24, 26, 9, 14, 15, s.narrow(19), s.narrow(18), 15, 18, 32)}
	for _, f := range flasks {
		last, final, cured, pin := "", "", "", ""
		if j := f.Judged(); len(j) > 0 {
			last = string(j[len(j)-1].Grade)
		}
		if f.Metal != nil {
			final = s.clock(f.Metal.At)
		}
		if f.InBath != nil {
			cured = "since " + s.clock(f.InBath.At)
			if p, ok := took(*f.InBath, f.OutBath); ok {
				stand, _ := s.cureOf(f)
				cured = units.FormatDuration(p.For.Round(time.Minute)) + ", " + string(stand.Word)
			}
		}
		if f.PinMM != nil {
			pin = units.FormatLength(*f.PinMM)
		}
		short, left := 0, false
		for _, sp := range s.spells(f) {
			verdict, _ := s.lasted(sp)
			left = left || verdict == cutOff
			if verdict == tooShort || verdict == tooLong || verdict == string(cure.OffTemperature) || s.overdue(sp) {
				short++
			}
		}
		windows := cell{Text: asSet}
		if left {
			windows.Text = cutOff
		}
		if short > 0 {
			windows = cell{fmt.Sprintf("%d not as set", short), true}
		}
		state := s.Bench.StandsWords(f)
		if f.Outcome != "" {
			state = strings.Join(append([]string{f.Outcome}, words.Defects(f.Defects)...), ", ")
		}
		row := cells(f.Case+s.mark(f, "flask-open", "case"), f.Base+", "+string(f.Size), strconv.Itoa(f.No), strconv.Itoa(len(f.Trials)), last, final, cured, pin, "", state)
		row[8] = windows
		t.Rows = append(t.Rows, row)
	}
	name := "The day"
	if s.Case != "" {
		name = "At a glance"
	}
	return block{Name: name, Tables: []table{t}}
}

func (s Sheet) flaskBlock(f *bench.Flask) block {
	opened := func(name string) string { return s.mark(f, "flask-open", name) }
	b := block{Name: fmt.Sprintf("Case %s%s · %s%s, %s%s · flask %d", f.Case, opened("case"), f.Base, opened("base"), f.Size, opened("size"), f.No),
		Aside: fmt.Sprintf("opened %s%s; %s", s.did(flaskNo(f), &f.Opened, "flask-open"), opened("at"), s.standing(f))}
	if f.Tag != "" {
		b.Name += " · tag " + f.Tag + opened("tag")
	}
	if t := s.closureTable(f); len(t.Rows) > 0 {
		b.Tables = append(b.Tables, t)
	}
	var due []string
	windows := table{Columns: columns([]string{"timer", "from", "until", "took", "asked for", ""}, 26, s.narrow(16), s.narrow(16), 17, 24, 23)}
	for _, sp := range s.paperSpells(f) {
		from, until, long, asked := s.did(sp.about, &sp.from, sp.began), "", "", sp.ask()
		verdict, words := s.lasted(sp)
		if p, ended := took(sp.from, sp.to); ended {
			until, long = s.did(flaskNo(f), sp.to, sp.ended...), sp.long(p)
			if by := sp.by(p); by != "" {
				verdict = by
			}
		} else {
			if s.overdue(sp) {
				verdict = overdue
			}
			if _, ends, ok := strings.Cut(words, ", "); ok {
				due = append(due, capital(sp.what)+" is running: "+ends)
			}
		}
		strong := verdict != asSet && verdict != runsOn && verdict != string(cure.TimeOnly)
		if sp.estimate {
			verdict += " (estimate)"
		}
		windows.Rows = append(windows.Rows, []cell{{Text: sp.what + sp.mark}, {Text: from}, {Text: until}, {Text: long}, {Text: asked}, {verdict, strong}})
	}
	if len(windows.Rows) > 0 {
		b.Tables = append(b.Tables, windows)
	}
	if d, ok := s.trend(f, trendW, trendH); ok {
		b.Picture = &d
	}
	if words := s.final(f); len(words) > 0 {
		b.Lines = append(b.Lines, "Final closure: "+strings.Join(words, "; "))
	}
	if words := s.cureWords(f); words != "" {
		b.Lines = append(b.Lines, capital(words))
	}
	b.Lines = append(append(b.Lines, due...), s.unusual(f)...)
	b.Lines = append(b.Lines, each.Of(s.said('f', f.No), capital)...)
	if m := s.Bench.MixOf(f); m != nil {
		made := func(name string) string {
			return star(s.corrected(action.Subject{Class: 'm', No: m.No}, "mix", name))
		}
		b.Beside = append(b.Beside, fmt.Sprintf("Mix %s: powder lot %s%s", m.Letter(), lot(m.PowderLot), made("powder_lot")),
			fmt.Sprintf("Mix %s: liquid lot %s%s", m.Letter(), lot(m.LiquidLot), made("liquid_lot"))) // a line each: beside the tables it is narrow
	}
	b.Beside = append(b.Beside, each.Of(s.flaskLots(f), capital)...)
	if f.Inspected {
		b.Beside = append(b.Beside, "Mould checked: full"+s.mark(f, "inspect"))
	}
	if words := s.pin(f); words != "" {
		b.Beside = append(b.Beside, capital(words))
	}
	return b
}

// unusual lists what was out of the ordinary with a flask, the same thing for the
// same reason once, with all its moments.
func (s Sheet) unusual(f *bench.Flask) []string {
	type same struct{ what, why string }
	var order []same
	when := map[same][]string{}
	for _, o := range f.Oddities {
		if !s.has(o.At.At) {
			continue
		}
		k := same{words.Unusual(o.What), oddWhy(o)}
		if when[k] == nil {
			order = append(order, k)
		}
		when[k] = append(when[k], strings.TrimSpace(s.clock(o.At.At)+" "+o.By))
	}
	return each.Of(order, func(k same) string {
		return fmt.Sprintf("Unusual: %s, %s (%s)", k.what, strings.Join(when[k], ", "), k.why)
	})
}

const overdue = "overdue"

// overdue tells whether a window runs on past its end when the sheet is made.
func (s Sheet) overdue(sp spell) bool {
	_, ended := took(sp.from, sp.to)
	return !ended && sp.max > 0 && s.now().Since(sp.from).For > sp.max
}

// paperSpells lists the windows of a flask as paper shows them: halves painted in one
// go as one, the holds left to the table of closures.
func (s Sheet) paperSpells(f *bench.Flask) []spell {
	var out []spell
	for _, sp := range s.spells(f) {
		if sp.hold {
			continue
		}
		if n := len(out); n > 0 && sp.half && out[n-1].half {
			if last := out[n-1]; last.from == sp.from && last.min == sp.min && last.max == sp.max && last.mark == sp.mark {
				out[n-1].what = words.Timer(bench.DryBoth, "", "")
				continue
			}
		}
		out = append(out, sp)
	}
	return out
}

// separators lists the lots of the separator on a flask's halves.
func separators(f *bench.Flask) string {
	var lots []string
	for _, half := range action.EachHalf {
		if h := f.Halves[half]; h != nil && h.Lot != "" && !slices.Contains(lots, h.Lot) {
			lots = append(lots, h.Lot)
		}
	}
	return strings.Join(lots, ", ")
}

func (s Sheet) closureTable(f *bench.Flask) table {
	t := table{Columns: columns([]string{"closure", "in press", ">pressure", ">held", ">asked", "flash", ">weighed", "where", "by"}, 12, s.narrow(13), 17, 17, 13, 12, 14, 20, 10)}
	under := s.Bench.UnderPressure()
	for _, c := range f.Trials {
		if !s.hasAny(&c.In, c.At, c.Out, c.Judged) {
			continue
		}
		aim, grade, weighed := "", "not judged", ""
		var psi, held cell
		if c.At != nil {
			psi.Strong = under[c.AtID]
			psi.Text, aim, held = c.Gauge, units.FormatDuration(sec(c.HoldAimS)), cell{Text: runsOn}
			if c.Out != nil {
				held = cell{units.FormatDuration(sec(c.HeldS)), c.HeldS < c.HoldAimS}
			}
		}
		if c.Judged != nil {
			grade = string(c.Grade)
		}
		if c.Grams > 0 {
			weighed = plain(c.Grams) + " g"
		}
		where := strings.Join(c.Where, ", ")
		switch {
		case c.Added && where != "":
			where = "dough added; " + where
		case c.Added:
			where = "dough added"
		}
		in := s.clock(c.In.At) + s.lateTrial(f, c)
		if s.Bench.House.Press.Presses > 1 {
			in += fmt.Sprintf(", press %d", max(1, c.Press))
		}
		row := cells(strconv.Itoa(c.N)+star(c.Corrected), in, "", "", aim, grade, weighed, where, s.hands(f, c))
		row[2], row[3] = psi, held
		t.Rows = append(t.Rows, row)
	}
	return t
}

func (s Sheet) mixBlock(mixes []*bench.Mix) block {
	t := table{Columns: columns([]string{"mix", "made", "resin", ">powder", ">liquid", "powder lot", "liquid lot", ">room", "dough (expected)", "workable until", "case"}, 8, s.narrow(17), 22, 14, 14, 20, 18, 13, s.narrow(22), s.narrow(18), 19)}
	b := block{Name: "Mixes"}
	for _, m := range mixes {
		about := action.Subject{Class: 'm', No: m.No}
		made := func(name string) string { return star(s.corrected(about, "mix", name)) }
		doughAt := s.clock(m.Made.At.Add(sec(m.DoughS)))
		if m.Dough != nil {
			doughAt = fmt.Sprintf("%s%s (%s%s)", s.clock(m.Dough.At), star(s.corrected(about, "mix-dough")), doughAt, made("dough_s"))
		} else {
			doughAt = "(" + doughAt + made("dough_s") + ")"
		}
		until := s.clock(m.Made.At.Add(sec(m.WorkS))) + made("work_s")
		if m.Stiff != nil {
			until += ", stiff " + s.clock(m.Stiff.At) + star(s.corrected(about, "mix-stiff"))
		}
		t.Rows = append(t.Rows, cells(m.Letter(), s.did(about, &m.Made, "mix")+made("at"), m.Resin+made("resin"), plain(m.PowderG)+" g"+made("powder_g"), plain(m.LiquidG)+" g"+made("liquid_g"),
			lot(m.PowderLot)+made("powder_lot"), lot(m.LiquidLot)+made("liquid_lot"), s.room(m)+made("room_c"), doughAt, until,
			s.casesOf(m.Flasks)))
		for _, n := range s.said('m', m.No) {
			b.Lines = append(b.Lines, "Mix "+m.Letter()+", "+n)
		}
	}
	b.Tables = []table{t}
	return b
}

func (s Sheet) loadBlock(l *bench.Load) block {
	b := block{Name: fmt.Sprintf("Bath load %d · %s · %s", l.No, s.named(l.Flasks), l.Programme), Wide: true, Aside: s.stay(l)}
	b.Beside = append(b.Beside, capital(s.stages(l)))
	if words := s.sections(l); words != "" {
		b.Beside = append(b.Beside, capital(words))
	}
	e, words := s.loadWords(l)
	if e != nil {
		d := s.curve(l, e, curveW, curveH)
		b.Picture = &d
	}
	b.Beside = append(b.Beside, each.Of(words, capital)...)
	b.Lines = append(b.Lines, each.Of(s.said('l', l.No), capital)...)
	return b
}

// stay words when a load went in and, where none of it is in any more, when it was out.
func (s Sheet) stay(l *bench.Load) string {
	about := action.Subject{Class: 'l', No: l.No}
	out := fmt.Sprintf("bath %d, in %s%s%s", l.Bath, s.did(about, &l.In, "bath-load"), star(s.corrected(about, "bath-load")), s.bathRead(l))
	if left := s.outOf(l); left != nil {
		out += ", out " + s.did(action.Subject{Class: 'f', No: left.flask}, &left.at, "bath-unload")
	}
	return out
}

// loadWords are what all forms of the sheet say of a load: how often it was read, what was
// off, what is estimated and with which mix. The estimate is nil where there is none.
func (s Sheet) loadWords(l *bench.Load) (*bath.LoadEstimate, []string) {
	e, err := bath.Of(s.Bench, l).Estimate()
	if err != nil {
		return nil, []string{"no estimate: " + err.Error()}
	}
	var out []string
	if read := since(e.Case); len(read) > 0 {
		out = append(out, s.readingWords(read)+s.readLate(l))
	} else {
		out = append(out, "no bath reading: the bath is taken to follow its programme")
	}
	say := bath.Say{Unit: s.Bench.House.Units.Temperature, Now: "the last reading", At: func(after time.Duration) string { return s.clock(l.In.At.Add(after)) },
		Load: func(no int) string { return fmt.Sprintf("load %d", no) }}
	for _, line := range e.Lines(say) {
		if line.Kind == bath.Caution || line.Kind == bath.Cost {
			out = append(out, line.Text)
		}
	}
	return &e, append(out, e.Short(say), e.RatioWords())
}

// readLate says how many readings of a load's bath were entered late, as it follows other words.
func (s Sheet) readLate(l *bench.Load) string {
	n, out := 0, s.outOf(l)
	for _, it := range s.Bench.Items {
		r, ok := it.Body.(action.BathReading)
		if ok && r.Bath == l.Bath && it.TakenBack == nil && !it.Stamp.At.Before(l.In.At) && (out == nil || !it.Stamp.At.After(out.at.At)) && s.lateItem(it) != "" {
			n++
		}
	}
	switch n {
	case 0:
		return ""
	case 1:
		return "; one of them was entered late"
	}
	return fmt.Sprintf("; %d of them were entered late", n)
}

// readingWords sums up what a bath was read to be.
func (s Sheet) readingWords(read []cure.BathReading) string {
	temp := func(v float64) string { return units.FormatTemp(v, s.Bench.House.Units.Temperature) }
	lo, hi := read[0].TempC, read[0].TempC
	for _, r := range read {
		lo, hi = min(lo, r.TempC), max(hi, r.TempC)
	}
	if len(read) == 1 {
		return fmt.Sprintf("bath read once: %s at %s", temp(lo), s.clock(read[0].At))
	}
	return fmt.Sprintf("bath read %d times, %s to %s, last %s", len(read), temp(lo), temp(hi), s.clock(read[len(read)-1].At))
}

func (s Sheet) alarmBlock() []block {
	all, whole := s.alarms()
	if len(all) == 0 && whole {
		return nil
	}
	b := block{Name: "Alarms", Long: true}
	t := table{Columns: columns([]string{"alarm", "case", "priority", "rose", "acknowledged", "after", "by"}, 50, 30, 18, 22, 36, 16, 10)}
	for _, r := range all {
		if r.plainly() {
			continue
		}
		words, after := s.answer(r)
		row := cells(r.kind, s.casesOf(r.flasks), rank[r.priority], s.clock(r.rose.At), "", after, r.by)
		row[4] = cell{words, r.heard == nil && r.priority == timers.High}
		t.Rows = append(t.Rows, row)
	}
	if len(t.Rows) > 0 {
		b.Tables = append(b.Tables, t)
	}
	g := table{Columns: columns([]string{"cleared by doing the next step, not acknowledged", ">times", "priority", "rose", "step taken after"}, 80, 14, 20, 32, 36)}
	for _, r := range groups(all) {
		rose := s.clock(r.from.At)
		if r.n > 1 {
			rose += " to " + s.clock(r.until.At)
		}
		g.Rows = append(g.Rows, cells(r.kind, strconv.Itoa(r.n), rank[r.priority], rose, r.after()))
	}
	if len(g.Rows) > 0 {
		b.Tables = append(b.Tables, g)
	}
	if len(all) > 0 {
		b.Lines = append(b.Lines, total(all)+".")
	}
	b.Lines = append(b.Lines, "Not before: the least time was up. Soon over: the most time was nearly up. Not after: it was up.")
	if !whole {
		b.Lines = append(b.Lines, "The day has too many records to look for every alarm: there may be more.")
	}
	return []block{b}
}

func mendedBlock(name, done string, all []mended) []block {
	if len(all) == 0 {
		return nil
	}
	t := table{Columns: columns([]string{"record", "what", done}, 60, 66, 54)}
	for _, m := range all {
		t.Rows = append(t.Rows, cells(m.title, strings.Join(m.words, "; "), m.when+m.who))
	}
	return []block{{Name: name, Tables: []table{t}, Long: true}}
}
