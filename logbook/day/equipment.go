package day

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/words"
)

// Equipment on the sheet: what spoke against an instrument stands once, with all that was
// done by it, and not at each flask.

// resting is a step that rests on an instrument something spoke against.
type resting struct {
	it    bench.Item
	doubt action.Doubt
	flask int
	load  *bench.Load
}

// resting lists them in order of the book.
func (s Sheet) resting() []resting {
	loads, flasks := map[int]*bench.Load{}, map[int]bool{}
	for _, l := range s.loads() {
		loads[l.No] = l
	}
	for _, f := range s.flasks() {
		flasks[f.No] = true
	}
	var out []resting
	for _, it := range s.Bench.Items {
		if it.TakenBack != nil {
			continue
		}
		r := resting{it: it}
		switch a := it.Body.(type) {
		case action.PressAt:
			r.flask = a.Flask
		case action.MetalToMetal:
			r.flask = a.Flask
		case action.BathLoad:
			r.load = loads[a.Load]
		}
		if r.load == nil && (r.flask == 0 || !flasks[r.flask] || !s.has(it.Stamp.At)) {
			continue
		}
		for _, r.doubt = range action.DoubtsOf(it.Body) {
			out = append(out, r)
		}
	}
	return out
}

// instruments words what spoke against the instruments of the day.
func (s Sheet) instruments() []string {
	var order []string
	what := map[string]string{}
	by := map[string][]resting{}
	for _, r := range s.resting() {
		key := r.doubt.Item + "\x00" + r.doubt.What + "\x00" + r.doubt.Due
		if by[key] == nil {
			order = append(order, key)
			what[key] = capital(r.doubt.Words(s.Bench.House.Units))
		}
		by[key] = append(by[key], r)
	}
	var out []string
	for _, key := range order {
		line := what[key] + ". "
		if by[key][0].load != nil {
			line += "Cured by it: "
		} else {
			line += "Pressures read off it: "
		}
		out = append(out, line+strings.Join(s.restingOn(by[key]), "; "))
		out = append(out, s.typedLater(by[key])...)
	}
	return append(out, s.fellDue()...)
}

// restingOn names the loads, or the flasks with how many pressures each.
func (s Sheet) restingOn(rs []resting) []string {
	var out []string
	n := map[int]int{}
	for _, r := range rs {
		if r.load != nil {
			out = append(out, fmt.Sprintf("load %d, in %s, %s", r.load.No, s.clock(r.load.In.At), s.casesOf(r.load.Flasks)))
		}
		n[r.flask]++
	}
	for _, r := range rs {
		if r.load == nil && n[r.flask] > 0 {
			times := ""
			if n[r.flask] > 1 {
				times = fmt.Sprintf(", %d times", n[r.flask])
			}
			out = append(out, s.casesOf([]int{r.flask})+times)
			n[r.flask] = 0
		}
	}
	return out
}

// typedLater tells of checks that were made before a step and entered after it: the step
// still says what was known then.
func (s Sheet) typedLater(rs []resting) []string {
	var out []string
	for _, it := range s.Bench.Items {
		a, ok := it.Body.(action.EquipCheck)
		if !ok || it.TakenBack != nil {
			continue
		}
		of := action.Piece{Item: a.Item, Name: a.Name}
		for _, r := range rs {
			if p, err := action.ParsePiece(r.doubt.Item); err == nil && p.Key() == of.Key() && it.Seq > r.it.Seq && !it.Stamp.At.After(r.it.Stamp.At) {
				out = append(out, fmt.Sprintf("%s  %s%s; entered later, at %s", s.clock(it.Stamp.At), by(it.Action.By), s.teller().Tell(a), s.clock(it.Written)))
				break
			}
		}
	}
	return out
}

// fellDue tells of thermometers whose check fell due while a load of the day was in.
func (s Sheet) fellDue() []string {
	var out []string
	held, _ := s.Bench.Pieces()
	for _, l := range s.loads() {
		end := s.end()
		if left := s.outOf(l); left != nil && left.at.At.Before(end) {
			end = left.at.At
		}
		end = end.Add(-time.Nanosecond).In(s.From.Location()) // midnight is the end of the day before
		for _, k := range held {
			on, ok := k.FittedTo()
			if !ok || k.Item != action.Thermometer || on.Key() != (action.Piece{Item: action.Bath, Name: strconv.Itoa(l.Bath)}).Key() {
				continue
			}
			if k.Standing(end).Overdue && !slices.ContainsFunc(l.Doubts, func(d action.Doubt) bool { return d.Item == k.Piece().String() }) {
				out = append(out, fmt.Sprintf("%s: check fell due while load %d was in bath %d, by %s", capital(k.Piece().String()), l.No, l.Bath, words.Day(k.Standing(end).Due.String())))
			}
		}
	}
	return out
}

func (s Sheet) equipmentLine(it bench.Item) string {
	if _, ok := action.PieceOf(it.Body); ok {
		return s.teller().Tell(it.Body)
	}
	return ""
}

// equipmentRows is the table of equipment: what was recorded of it, and each step that rests
// on an instrument something spoke against.
func (s Sheet) equipmentRows(tame func(string) string) [][]string {
	rows := [][]string{{"seq", "at", "by", "equipment", "what", "due", "off", "flask", "case", "load", "words"}}
	row := func(it bench.Item, piece, what, due, off string, flasks []int, load int, told string) {
		rows = append(rows, []string{strconv.FormatUint(it.Seq, 10), s.stamp(it.Stamp.At), tame(it.Action.By), tame(piece), what, due, off, list(flasks), tame(s.casesIn(flasks)), number(load), tame(told)})
	}
	for _, it := range s.items() {
		if p, ok := action.PieceOf(it.Body); ok && it.TakenBack == nil {
			row(it, p.String(), string(it.Body.Kind()), "", "", nil, 0, s.teller().Tell(it.Body))
		}
	}
	for _, r := range s.resting() {
		flasks, load := []int{r.flask}, 0
		if r.load != nil {
			flasks, load = r.load.Flasks, r.load.No
		}
		row(r.it, r.doubt.Item, r.doubt.What, r.doubt.Due, amount(r.doubt.Off), flasks, load, r.doubt.Words(s.Bench.House.Units))
	}
	return rows
}

// casesIn lists the cases of flasks for a table.
func (s Sheet) casesIn(flasks []int) string {
	var out []string
	for _, no := range flasks {
		if f := s.Bench.Flasks[no]; f != nil && !slices.Contains(out, f.Case) {
			out = append(out, f.Case)
		}
	}
	return strings.Join(out, "; ")
}

// clampName is which clamp a flask had, where that is known.
func clampName(f *bench.Flask) string {
	if f.Clamp == "" {
		return ""
	}
	return ", clamp " + f.Clamp
}
