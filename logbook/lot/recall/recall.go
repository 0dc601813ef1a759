// Package recall finds the flasks that had a lot, or a piece of equipment, for the day a
// maker calls one back. It reads a logbook from its first record to its last and takes every record
// as it counts now: with its corrections, and without what was taken back.
//
// A flask counts for every mix it was ever given and for every coat of separator,
// not for the latest alone: dough of an earlier mix may be in it. The stone of its mould
// and the sheets of its trial closures count, too.
package recall

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/layout"
	"flaskside/logbook/lot"
	"flaskside/logbook/record"
	"flaskside/logbook/tables"
	"flaskside/logbook/words"
)

// Source is what of a logbook is read; *logbook.Book is one.
type Source interface {
	Each(from uint64, f func(r record.Record) (more bool, err error)) error
	ByID(id string) (r record.Record, ok bool, err error)
	Of(s action.Subject) ([]record.Record, error)
}

// Use is one flask that had a lot. A step of a case that names a lot counts for the flask that was
// opened for it next, or else for the one before; Flask is 0 where there was none.
type Use struct {
	Flask     int          `json:"flask,omitempty"`
	Case      string       `json:"case"`
	Base      string       `json:"base,omitempty"`
	At        time.Time    `json:"at"`   // of the record; its location is the zone of the list
	What      string       `json:"what"` // the material
	Lot       string       `json:"lot"`  // as it stands in the book
	Match     lot.Likeness `json:"match"`
	Mix       int          `json:"mix,omitempty"`
	Outcome   string       `json:"outcome,omitempty"` // "" while the flask is at work
	EndedAt   time.Time    `json:"ended_at,omitzero"`
	Corrected bool         `json:"corrected,omitempty"`
	Record    uint64       `json:"record"` // number of the record in the book
}

// List is what a lot was used for, by flask and time.
type List struct {
	Asked lot.Lot  `json:"asked"`
	Uses  []Use    `json:"uses"`
	Once  []uint64 `json:"once,omitempty"` // numbers of records that named it and were corrected or taken back since
}

// finder looks through a book for what names a thing.
type finder struct {
	book   Source
	thing  thing
	flasks map[int]*bench.Flask
	opened map[string][]opening // by case and base
	recs   []record.Record      // those to look among; all of the book where there are none
}

// among gives the records to look among.
func (f *finder) among(each func(record.Record) (bool, error)) error {
	if f.recs == nil {
		return f.book.Each(1, each)
	}
	for _, r := range f.recs {
		if more, err := each(r); err != nil || !more {
			return err
		}
	}
	return nil
}

// opening is a flask that was opened.
type opening struct {
	seq   uint64
	flask int
}

// thing is what is looked for: a lot, or a piece of equipment.
type thing interface {
	// named tells what a body names of it: of which material or kind, in what words.
	named(body action.Body) []naming
	// set tells whether a correction sets it.
	set(raw json.RawMessage) bool
	// room tells whether a body has room for such a thing.
	room(body action.Body) bool
}

type naming struct {
	what, text string
	match      lot.Likeness
}

// theLot holds texts against the lot that is looked for.
type theLot struct {
	asked lot.Lot
	year  int
	known map[string]lot.Likeness // a book has few lots and many records
}

func (f theLot) match(text string) lot.Likeness {
	if text == "" {
		return lot.Different
	}
	m, seen := f.known[text]
	if !seen && !f.asked.May(text) {
		return lot.Different
	}
	if !seen {
		got, err := lot.Parse(text, f.year)
		if err != nil {
			got = lot.Lot{Scheme: lot.Text, Lot: strings.TrimSpace(text)} // it stands in the book as it was typed
		}
		m = lot.Compare(f.asked, got)
		f.known[text] = m
	}
	return m
}

// Query asks one book or many for a lot.
type Query struct{ lot theLot }

// Typed reads the lot that is asked for.
func Typed(text string, year int) (lot.Lot, error) {
	asked, err := lot.Parse(text, year)
	if err == nil && asked.Name() == "" {
		err = errors.New("this code names a product and no lot: give --which the lot, too")
	}
	return asked, err
}

// Ask makes a question. The year is that of lot.Parse.
func Ask(asked lot.Lot, year int) Query {
	return Query{theLot{asked, year, map[string]lot.Likeness{}}}
}

// Means tells whether the text of a record may mean the lot.
func (q Query) Means(text string) bool { return q.lot.match(text) != lot.Different }

// None is the answer of a book that does not have the lot.
func (q Query) None() List { return List{Asked: q.lot.asked, Uses: []Use{}} }

// Of lists what had the lot in a book, or one that reads alike; loc is the zone of the times.
func (q Query) Of(book Source, loc *time.Location) (List, error) { return q.find(book, nil, loc) }

// At lists it where the numbers are known of all records whose texts may mean it ([Texts]).
func (q Query) At(book Source, seqs []uint64, loc *time.Location) (List, error) {
	var recs []record.Record
	for _, seq := range seqs {
		err := book.Each(seq, func(r record.Record) (bool, error) {
			if r.Seq != seq {
				return false, fmt.Errorf("record %d is missing", seq)
			}
			recs = append(recs, r)
			return false, nil
		})
		if err != nil {
			return List{}, fmt.Errorf("read the logbook: %w", err)
		}
	}
	for _, r := range recs {
		if c, ok := r.Action.Body.(action.Correct); ok {
			var err error
			if r, _, err = book.ByID(c.Of); err != nil {
				return List{}, fmt.Errorf("read the record corrected: %w", err)
			}
		}
		if _, step := r.Action.Body.(action.CaseStep); step { // which flask that was of is known by all that were opened
			return q.Of(book, loc)
		}
	}
	return q.find(book, recs, loc)
}

// find looks among some records, all of the book where there are none.
func (q Query) find(book Source, recs []record.Record, loc *time.Location) (List, error) {
	f := &finder{book: book, thing: q.lot, flasks: map[int]*bench.Flask{}, recs: recs}
	uses, once, err := f.find(loc)
	return List{Asked: q.lot.asked, Uses: uses, Once: once}, err
}

// Find lists what had a lot, or one that reads alike. The year is that of lot.Parse;
// loc is the zone of the times.
func Find(book Source, asked lot.Lot, year int, loc *time.Location) (List, error) {
	return Ask(asked, year).Of(book, loc)
}

// Texts are the texts of a record by which a lot is found: of what it says was used, or of what a
// correction sets.
func Texts(body action.Body) (out []string) {
	for _, s := range action.LotsUsed(body) {
		out = append(out, s.Lot)
	}
	if c, ok := body.(action.Correct); ok {
		out = append(out, lotsSet(c.Set)...)
	}
	return slices.DeleteFunc(out, func(text string) bool { return text == "" })
}

func (f theLot) named(body action.Body) []naming {
	var out []naming
	for _, s := range action.LotsUsed(body) {
		if m := f.match(s.Lot); m != lot.Different {
			out = append(out, naming{string(s.Material), s.Lot, m})
		}
	}
	return out
}

func (f theLot) room(body action.Body) bool {
	_, step := body.(action.CaseStep)
	return step || len(action.LotsUsed(body)) > 0
}

func (f theLot) set(raw json.RawMessage) bool {
	return slices.ContainsFunc(lotsSet(raw), func(text string) bool { return f.match(text) != lot.Different })
}

func lotsSet(raw json.RawMessage) []string {
	var set struct {
		Lot    string             `json:"lot"`
		Powder string             `json:"powder_lot"`
		Liquid string             `json:"liquid_lot"`
		Stone  string             `json:"stone_lot"`
		Sheet  string             `json:"sheet_lot"`
		Values []action.StepValue `json:"values"`
	}
	if err := json.Unmarshal(raw, &set); err != nil {
		return nil // a correction of something else
	}
	texts := []string{set.Lot, set.Powder, set.Liquid, set.Stone, set.Sheet}
	for _, v := range set.Values {
		texts = append(texts, v.Text)
	}
	return texts
}

// find lists the uses in the zone of loc, by flask and time, and the numbers of records that
// named the thing once.
func (f *finder) find(loc *time.Location) (out []Use, once []uint64, err error) {
	ids, err := f.candidates()
	if err != nil {
		return nil, nil, err
	}
	out = []Use{}
	for _, id := range ids {
		r, ok, err := f.book.ByID(id)
		if err != nil {
			return nil, nil, fmt.Errorf("read a record of the logbook: %w", err)
		}
		if !ok {
			continue
		}
		uses, err := f.uses(r)
		if err != nil {
			return nil, nil, err
		}
		if len(uses) == 0 {
			once = append(once, r.Seq)
		}
		for _, u := range uses {
			u.At, u.EndedAt = in(u.At, loc), in(u.EndedAt, loc)
			out = append(out, u)
		}
	}
	slices.Sort(once)
	slices.SortFunc(out, func(a, b Use) int {
		return cmp.Or(cmp.Compare(a.Flask, b.Flask), a.At.Compare(b.At), cmp.Compare(a.Record, b.Record), cmp.Compare(a.What, b.What))
	})
	return out, once, nil
}

func in(t time.Time, loc *time.Location) time.Time {
	if t.IsZero() {
		return t
	}
	return t.In(loc)
}

// candidates gives the ids of the records that name the lot now or named it once.
func (f *finder) candidates() ([]string, error) {
	var ids []string
	seen := map[string]bool{}
	add := func(id string) {
		if !seen[id] {
			seen[id] = true
			ids = append(ids, id)
		}
	}
	var corrected []string
	f.opened = map[string][]opening{}
	err := f.among(func(r record.Record) (bool, error) {
		if o, ok := r.Action.Body.(action.FlaskOpen); ok {
			name := o.Case + " " + o.Base
			f.opened[name] = append(f.opened[name], opening{r.Seq, o.Flask})
		}
		if len(f.thing.named(r.Action.Body)) > 0 {
			add(r.Action.ID)
		}
		if c, ok := r.Action.Body.(action.Correct); ok && f.thing.set(c.Set) {
			corrected = append(corrected, c.Of)
		}
		return true, nil
	})
	if err != nil {
		return nil, fmt.Errorf("read the logbook: %w", err)
	}
	for _, id := range corrected {
		r, ok, err := f.book.ByID(id)
		if err != nil {
			return nil, fmt.Errorf("read the record corrected: %w", err)
		}
		if ok && f.thing.room(r.Action.Body) {
			add(id)
		}
	}
	return ids, nil
}

// uses tells which flasks had the lot by one record, as it counts now.
func (f *finder) uses(r record.Record) ([]Use, error) {
	of := r.Action.Body.Subjects()
	if s, ok := r.Action.Body.(action.CaseStep); ok {
		of = []action.Subject{layout.SubjectCase(s.Case)}
	}
	if m, ok := r.Action.Body.(action.MixMake); ok {
		of = []action.Subject{{Class: 'm', No: m.Mix}}
	}
	b, err := f.folded(of[0])
	if err != nil {
		return nil, err
	}
	it, ok := b.Item(r.Action.ID)
	if !ok || it.TakenBack != nil {
		return nil, nil
	}
	var out []Use
	for _, n := range f.thing.named(it.Body) {
		flasks, mix := served(b, it.Body)
		if s, ok := it.Body.(action.CaseStep); ok {
			if flasks = f.flaskOf(s, it.Seq); len(flasks) == 0 {
				out = append(out, Use{Case: s.Case, Base: s.Base, At: it.Stamp.At, What: n.what, Lot: n.text, Match: n.match, Corrected: it.Corrected(), Record: it.Seq})
			}
		}
		for _, no := range flasks {
			fl, err := f.flask(no)
			if err != nil {
				return nil, err
			}
			u := Use{Flask: no, Case: fl.Case, Base: fl.Base, At: it.Stamp.At, What: n.what, Lot: n.text, Match: n.match, Mix: mix,
				Outcome: fl.Outcome, Corrected: it.Corrected(), Record: it.Seq}
			if fl.Ended != nil {
				u.EndedAt = fl.Ended.At
			}
			out = append(out, u)
		}
	}
	return out, nil
}

// flaskOf is the flask of a step of a case: the one opened for it next, or else the one before.
func (f *finder) flaskOf(s action.CaseStep, seq uint64) []int {
	all := f.opened[s.Case+" "+s.Base]
	for _, o := range all {
		if o.seq > seq {
			return []int{o.flask}
		}
	}
	if n := len(all); n > 0 {
		return []int{all[n-1].flask}
	}
	return nil
}

// flask tells how a flask stands.
func (f *finder) flask(no int) (*bench.Flask, error) {
	if fl := f.flasks[no]; fl != nil {
		return fl, nil
	}
	b, err := f.folded(action.Subject{Class: 'f', No: no})
	if err != nil {
		return nil, err
	}
	fl := b.Flasks[no]
	if fl == nil {
		fl = &bench.Flask{No: no, Case: "?"} // a book may begin in the middle of a day
	}
	f.flasks[no] = fl
	return fl, nil
}

func (f *finder) folded(s action.Subject) (*bench.Bench, error) {
	recs, err := f.book.Of(s)
	if err != nil {
		return nil, fmt.Errorf("read the records of %s: %w", s, err)
	}
	return bench.Fold(recs, bench.Counters{}), nil
}

// served lists the flasks that a record is about, or that its mix went to.
func served(b *bench.Bench, body action.Body) (flasks []int, mix int) {
	switch a := body.(type) {
	case action.MixMake:
		flasks, mix = slices.Clone(a.Flasks), a.Mix
		for _, it := range b.Items {
			if s, ok := it.Body.(action.MixServe); ok && it.TakenBack == nil && s.Mix == mix {
				flasks = append(flasks, s.Flasks...)
			}
		}
		slices.Sort(flasks)
		return slices.Compact(flasks), mix
	}
	for _, s := range body.Subjects() {
		if s.Class == 'f' {
			flasks = append(flasks, s.No)
		}
	}
	return flasks, 0
}

// CSV writes the list for a spreadsheet, as the tables of a day are written: RFC
// 4180 with a header line, times in RFC 3339, nothing that would run as a formula.
func (l List) CSV(w io.Writer) error {
	if err := tables.Write(w, append([][]string{header}, l.rows()...)); err != nil {
		return fmt.Errorf("write the recall list: %w", err)
	}
	return nil
}

// rows are the lines of the table.
func (l List) rows() (rows [][]string) {
	for _, u := range l.Uses {
		mix, ended, corrected := "", "", ""
		if u.Mix > 0 {
			mix = strconv.Itoa(u.Mix)
		}
		if !u.EndedAt.IsZero() {
			ended = u.EndedAt.Format(time.RFC3339)
		}
		if u.Corrected {
			corrected = "yes"
		}
		rows = append(rows, []string{u.flask(), tables.Defuse(u.Case), u.Base, u.At.Format(time.DateOnly), u.At.Format(time.RFC3339), u.What, tables.Defuse(u.Lot),
			string(u.Match), mix, u.Outcome, ended, corrected, strconv.FormatUint(u.Record, 10)})
	}
	return rows
}

// JSON writes the list for other programs.
func (l List) JSON(w io.Writer) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	if err := enc.Encode(l); err != nil {
		return fmt.Errorf("write the recall list: %w", err)
	}
	return nil
}

// Text writes the list to be read.
func (l List) Text(w io.Writer) error {
	alike := slices.ContainsFunc(l.Uses, func(u Use) bool { return u.Match == lot.Alike })
	var b bytes.Buffer
	say := func(format string, a ...any) { fmt.Fprintf(&b, format+"\n", a...) }
	say("lot %s: %s", l.Asked.Name(), counted(l.Uses))
	if len(l.Uses) > 0 {
		say("")
		l.table(&b)
	}
	if alike {
		say("\n?  the text is alike, not the same: look whether it is this lot")
	}
	toldSince(say, slices.ContainsFunc(l.Uses, func(u Use) bool { return u.Corrected }), l.Once)
	if _, err := b.WriteTo(w); err != nil {
		return fmt.Errorf("write the recall list: %w", err)
	}
	return nil
}

// toldSince says what became of records of a list since: corrected, or not about it any more.
func toldSince(say func(string, ...any), corrected bool, once []uint64) {
	if corrected {
		say("\n*  the record was corrected")
	}
	if len(once) > 0 {
		say("\nnamed it, and were corrected or taken back since: records %s", strings.Trim(fmt.Sprint(once), "[]"))
	}
}

// flask is its number, "" where there is none.
func (u Use) flask() string {
	if u.Flask == 0 {
		return ""
	}
	return strconv.Itoa(u.Flask)
}

// counted says of how many flasks uses are, and of how many cases that had none.
func counted(uses []Use) string {
	flasks, bare := map[int]bool{}, map[string]bool{}
	for _, u := range uses {
		if u.Flask == 0 {
			bare[u.Case+" "+u.Base] = true
		} else {
			flasks[u.Flask] = true
		}
	}
	many := func(n int, what string) string {
		if n == 1 {
			return "1 " + what
		}
		return fmt.Sprintf("%d %ss", n, what)
	}
	switch {
	case len(flasks)+len(bare) == 0:
		return "no flask of this logbook"
	case len(bare) == 0:
		return many(len(flasks), "flask")
	case len(flasks) == 0:
		return many(len(bare), "case") + " without a flask"
	}
	return many(len(flasks), "flask") + ", " + many(len(bare), "case") + " without one"
}

func (l List) table(b *bytes.Buffer) {
	t := tabwriter.NewWriter(b, 0, 8, 2, ' ', 0)
	row := func(cells ...string) { _, _ = fmt.Fprintln(t, strings.Join(cells, "\t")) } // a buffer takes everything
	row("flask", "case", "day", "what", "lot", "mix", "outcome")
	for _, u := range l.Uses {
		text, mix, outcome := u.Lot, "", u.Outcome
		if u.Match == lot.Alike {
			text += " ?"
		}
		if u.Corrected {
			text += " *"
		}
		if u.Mix > 0 {
			mix = fmt.Sprintf("%s (%d)", words.MixLetter(u.Mix), u.Mix)
		}
		switch {
		case u.Flask == 0:
			outcome = "no flask"
		case outcome == "":
			outcome = "at work"
		}
		row(u.flask(), u.Case, u.At.Format(time.DateOnly), u.What, text, mix, outcome)
	}
	_ = t.Flush()
}
