package day

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"flaskside/logbook/bench"
	"flaskside/logbook/record"
)

// Cases is what of a logbook the record of a case is made from.
type Cases interface {
	Whole
	// OfCase gives the records of a case number that are not about a flask, and the flasks
	// that were ever opened under it.
	OfCase(number string) (recs []record.Record, flasks []int, err error)
}

// CaseFrom makes the record of a case out of a book: all that the book holds of the flasks
// that have its number, with mixes, baths, lots, corrections and who did what. A flask that
// had the number by a slip and has another now is left out. An error says that the book
// knows no such case.
func CaseFrom(book Cases, number, head string, loc *time.Location) (Sheet, error) {
	recs, flasks, err := book.OfCase(number)
	if err != nil {
		return Sheet{}, err
	}
	set := map[uint64]record.Record{}
	for _, r := range recs {
		set[r.Seq] = r
	}
	for _, no := range flasks {
		s, err := TrailFrom(book, no, head, loc)
		if err != nil {
			return Sheet{}, err
		}
		if f := s.Bench.Flasks[no]; f == nil || f.Case != number {
			continue
		}
		for _, it := range s.Bench.Items {
			set[it.Seq] = it.Record
		}
	}
	if len(set) == 0 {
		return Sheet{}, fmt.Errorf("the logbook knows no case %s", number)
	}
	all := make([]record.Record, 0, len(set))
	for _, r := range set {
		all = append(all, r)
	}
	slices.SortFunc(all, func(a, b record.Record) int { return cmp.Compare(a.Seq, b.Seq) })
	s := sheetOf(all, head, loc)
	s.Case = number
	return s, nil
}

// kind says what the sheet is.
func (s Sheet) kind() string {
	if s.Case != "" {
		return "Record of a case"
	}
	return "Day sheet"
}

// heading is what it is about: the date, or the case with the days it took.
func (s Sheet) heading() string {
	if s.Case == "" {
		return s.date()
	}
	from, until := s.From.Format("2 January 2006"), s.Until.Add(-1).Format("2 January 2006")
	if from == until {
		return fmt.Sprintf("Case %s, %s", s.Case, from)
	}
	return fmt.Sprintf("Case %s, %s to %s", s.Case, from, until)
}

// ofCase are the lines that stand at the head of the record of a case.
func (s Sheet) ofCase() []string {
	if s.Case == "" {
		return nil
	}
	out := []string{"All that this logbook holds of the case. It is no statement of conformity, no release and no prescription; " +
		"the statement that goes with a custom-made device is made by its manufacturer (in the EU: Regulation (EU) 2017/745, Annex XIII)."}
	items := slices.Clone(s.Bench.Items)
	slices.SortStableFunc(items, func(x, y bench.Item) int { return x.Stamp.At.Compare(y.Stamp.At) })
	for i := 1; i < len(items); i++ {
		from, until := items[i-1].Stamp.At.In(s.From.Location()), items[i].Stamp.At.In(s.From.Location())
		if until.Sub(from) > numberRests {
			out = append(out, fmt.Sprintf("Nothing was recorded of it from %s to %s: look whether the number stands for two cases.", from.Format("2 Jan 2006"), until.Format("2 Jan 2006")))
		}
	}
	return out
}

// numberRests is how long a case number rests before it may be that of another case (house
// default): a case that is made, remade and relined keeps its records closer together.
const numberRests = 90 * 24 * time.Hour
