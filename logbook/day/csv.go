package day

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/tables"
	"flaskside/logbook/words"
	"flaskside/timers"
)

// Table names a table of the CSV export.
type Table string

// The tables: a row for each record of the day, for each closure, for each flask, for
// each alarm, for what was recorded of equipment or rests on it, for each step of a case.
const (
	Records  Table = "records"
	Closures Table = "closures"
	Flasks   Table = "flasks"
	Alarms   Table = "alarms"
	Pieces   Table = "equipment"
	Steps    Table = "steps"
)

// Tables lists them.
var Tables = []Table{Records, Closures, Flasks, Alarms, Pieces, Steps}

// CSV writes a table as RFC 4180 has it: a header line, lines ended by CR LF, UTF-8.
// Text that a spreadsheet would run as a formula has an apostrophe put before it;
// numbers are plain numbers in the stored units, which the names of the columns
// tell; times are RFC 3339.
func (s Sheet) CSV(w io.Writer, t Table) error {
	rows, err := s.rows(t, tables.Defuse)
	if err != nil {
		return err
	}
	if err := tables.Write(w, rows); err != nil {
		return fmt.Errorf("write table %s: %w", t, err)
	}
	return nil
}

// rows gives a table as text, its first row the names of the columns; text that
// people typed goes through tame.
func (s Sheet) rows(t Table, tame func(string) string) ([][]string, error) {
	//exhaustive:enforce
	switch t {
	case Records:
		return s.recordRows(tame), nil
	case Closures:
		return s.closureRows(tame), nil
	case Flasks:
		return s.flaskRows(tame), nil
	case Alarms:
		return s.alarmRows(tame), nil
	case Pieces:
		return s.equipmentRows(tame), nil
	case Steps:
		return s.stepRows(tame), nil
	}
	return nil, fmt.Errorf("there is no table %q: the tables are records, closures, flasks, alarms, equipment and steps", t)
}

// number writes a count, or nothing for none.
func number(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// amount writes a measured value, or nothing for none.
func amount(v float64) string {
	if v == 0 {
		return ""
	}
	return plain(v)
}

func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func yes(b bool) string {
	if b {
		return "yes"
	}
	return ""
}

func list(ns []int) string {
	out := make([]string, len(ns))
	for i, n := range ns {
		out[i] = strconv.Itoa(n)
	}
	return strings.Join(out, " ")
}

func (s Sheet) when(t *timers.Stamp) string {
	if t == nil || t.At.IsZero() {
		return ""
	}
	return s.stamp(t.At)
}

// subjects sorts what a record is about by class.
func (s Sheet) subjects(body action.Body) (flasks []int, mix, load int) {
	find := func(id string) (action.Body, bool) {
		it, ok := s.Bench.Item(id)
		return it.Body, ok
	}
	for _, sub := range bench.Subjects(body, find) {
		switch sub.Class {
		case 'f':
			flasks = append(flasks, sub.No)
		case 'm':
			mix = sub.No
		case 'l':
			load = sub.No
		}
	}
	return flasks, mix, load
}

func (s Sheet) recordRows(tame func(string) string) [][]string {
	rows := [][]string{{"seq", "at", "written", "by", "act", "flask", "case", "mix", "load", "fields", "unusual", "why", "corrected", "was", "taken_back", "id"}}
	for _, it := range s.items() {
		flasks, mix, load := s.subjects(it.Body)
		var cases []string
		for _, no := range flasks {
			if f := s.Bench.Flasks[no]; f != nil && !slices.Contains(cases, f.Case) {
				cases = append(cases, f.Case)
			}
		}
		if number, _, ok := action.CaseOf(it.Body); ok && len(cases) == 0 {
			cases = []string{number}
		}
		rows = append(rows, []string{
			strconv.FormatUint(it.Seq, 10), s.stamp(it.Stamp.At), it.Written.UTC().Format(time.RFC3339), tame(it.Action.By), string(it.Body.Kind()),
			list(flasks), tame(strings.Join(cases, "; ")), number(mix), number(load), tame(s.told(it.Body)),
			tame(strings.Join(it.Action.Unusual, "; ")), tame(words.Reason(it.Action.Why)),
			yes(it.Corrected()), tame(s.was(it)), yes(it.TakenBack != nil), tame(it.Action.ID),
		})
	}
	return rows
}

// told writes the fields of a body, those left out that have columns of their own.
func (s Sheet) told(body action.Body) string {
	return s.tell(body, func(name string) string { return name })
}

// tell does so with names of one's own.
func (s Sheet) tell(body action.Body, name func(string) string) string {
	var out []string
	if of, ok := s.target(body); ok {
		out = append(out, fmt.Sprintf("record: %d %s", of.Seq, of.Body.Kind()))
	}
	for _, f := range fields(body) {
		if !slices.Contains([]string{"flask", "flasks", "mix", "load"}, f.name) {
			out = append(out, name(f.name)+": "+f.value)
		}
	}
	return strings.Join(out, "; ")
}

// target finds the record that a correction or a taking back speaks of.
func (s Sheet) target(body action.Body) (bench.Item, bool) {
	switch a := body.(type) {
	case action.Correct:
		return s.Bench.Item(a.Of)
	case action.TakeBack:
		return s.Bench.Item(a.Of)
	}
	return bench.Item{}, false
}

// was writes the values first written, where corrections replaced them.
func (s Sheet) was(it bench.Item) string {
	var out []string
	seen := map[string]bool{}
	for _, cs := range s.changes(it) {
		for _, c := range cs {
			if !seen[c.name] {
				seen[c.name] = true
				out = append(out, c.name+": "+c.was)
			}
		}
	}
	return strings.Join(out, "; ")
}

// part says how much of a closure falls into the day.
func (s Sheet) part(begin, end *timers.Stamp) string {
	switch begun := begin != nil && s.has(begin.At); {
	case begun && (end == nil || !s.has(end.At)):
		return "begun"
	case begun:
		return "whole"
	}
	return "ended"
}

func (s Sheet) closureRows(tame func(string) string) [][]string {
	rows := [][]string{{"flask", "case", "base", "size", "closure", "trial", "press", "in_at", "pressure_at", "open_at", "judged_at", "pressure_psi", "hold_aim_s", "held_s", "grade", "grams", "where", "dough_added", "corrected", "part_in_day", "by"}}
	for _, f := range s.flasks() {
		head := []string{number(f.No), tame(f.Case), f.Base, string(f.Size)}
		for _, t := range f.Trials {
			if !s.hasAny(&t.In, t.At, t.Out, t.Judged) {
				continue
			}
			held := ""
			if t.Out != nil && t.At != nil {
				held = strconv.Itoa(t.HeldS)
			}
			rows = append(rows, append(slices.Clone(head), "trial", number(t.N), number(t.Press), s.when(&t.In), s.when(t.At), s.when(t.Out), s.when(t.Judged),
				amount(t.PSI), number(t.HoldAimS), held, string(t.Grade), amount(t.Grams), strings.Join(t.Where, "; "), yes(t.Added), yes(t.Corrected), s.part(&t.In, t.Judged), tame(s.hands(f, t))))
		}
		if s.hasAny(f.SheetOut, f.Metal) {
			fixed := s.corrected(flaskNo(f), "sheet-out") || s.corrected(flaskNo(f), "metal-to-metal")
			rows = append(rows, append(slices.Clone(head), "final", "", "", s.when(f.SheetOut), s.when(f.Metal), "", "",
				amount(f.MetalPSI), "", "", "", "", "", "", yes(fixed), s.part(f.SheetOut, f.Metal), tame(s.finalHands(f))))
		}
	}
	return rows
}

func (s Sheet) flaskRows(tame func(string) string) [][]string {
	rows := [][]string{{"flask", "case", "base", "size", "tag", "place", "stage", "opened_at", "trials", "last_grade", "mix", "resin", "powder_lot", "liquid_lot",
		"sheet_out_at", "metal_to_metal_at", "pressure_psi", "clamped_at", "backed_off_turn", "load", "programme", "in_bath_at", "out_of_bath_at", "in_water_at",
		"cure", "cure_figures", "deflasked_at", "pin_mm", "outcome", "defects", "ended_at", "unusual", "corrected", "press", "bath", "clamp"}}
	unusual := s.Bench.Unusual()
	for _, f := range s.flasks() {
		grade, pin := "", ""
		if j := f.Judged(); len(j) > 0 {
			grade = string(j[len(j)-1].Grade)
		}
		if f.PinMM != nil {
			pin = plain(*f.PinMM)
		}
		var mix bench.Mix
		if m := s.Bench.MixOf(f); m != nil {
			mix = *m
		}
		var load bench.Load
		if l := s.Bench.LoadOf(f); l != nil {
			load = *l
		}
		stands, figures := "", ""
		if f.InBath != nil && s.Bench.LoadOf(f) != nil {
			stand, _ := s.cureOf(f)
			stands, figures = string(stand.Word), bench.StandWords(stand, s.Bench.House.Units.Temperature)
		}
		rows = append(rows, []string{number(f.No), tame(f.Case), f.Base, string(f.Size), tame(f.Tag), number(f.Place), string(f.Stage), s.when(&f.Opened),
			strconv.Itoa(len(f.Trials)), grade, number(mix.No), tame(mix.Resin), tame(mix.PowderLot), tame(mix.LiquidLot),
			s.when(f.SheetOut), s.when(f.Metal), amount(f.MetalPSI), s.when(f.Clamped), amount(f.BackedOff), number(load.No), tame(load.Programme),
			s.when(f.InBath), s.when(f.OutBath), s.when(f.InWater), stands, figures, s.when(f.Deflasked), pin, f.Outcome, strings.Join(f.Defects, "; "), s.when(f.Ended),
			tame(strings.Join(unusual[f.No], "; ")), s.correctedKinds(f), number(f.Press), number(load.Bath), tame(f.Clamp)})
	}
	return rows
}

// correctedKinds names the kinds of a flask's records that were corrected.
func (s Sheet) correctedKinds(f *bench.Flask) string {
	var out []string
	for _, k := range action.Kinds() {
		if s.corrected(flaskNo(f), k) {
			out = append(out, string(k))
		}
	}
	return strings.Join(out, "; ")
}
