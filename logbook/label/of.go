package label

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/day"
)

// Of finds what a label is asked for: the flask on a place, or the bases of a case.
func Of(book *logbook.Book, asked, base string) ([]Label, error) {
	b := book.State().Bench
	if len(asked) == 1 && asked[0] >= '1' && asked[0] <= '9' {
		f := b.OnPlace(int(asked[0] - '0'))
		if f == nil {
			return nil, fmt.Errorf("place %s is empty", asked)
		}
		return []Label{labelOf(b, f)}, nil
	}
	var out []Label
	has := func(of string) bool {
		return base != "" && of != base || slices.ContainsFunc(out, func(l Label) bool { return l.Base == of })
	}
	for f := range b.AtWork() {
		if strings.EqualFold(f.Case, asked) && !has(f.Base) {
			out = append(out, labelOf(b, f))
		}
	}
	for _, k := range b.CasesWaiting() {
		if strings.EqualFold(k.Case, asked) && !has(k.Base) {
			out = append(out, Label{Case: k.Case, Base: k.Base, Size: k.Size, Due: k.DueAt().Local()})
		}
	}
	if len(out) > 0 {
		return out, nil
	}
	sheet, err := day.CaseFrom(book, asked, "", time.Local)
	if err != nil {
		return nil, err
	}
	for _, no := range slices.Backward(bench.Sorted(sheet.Bench.Flasks)) { // the latest of each base
		if f := sheet.Bench.Flasks[no]; f.Case == asked && f.Base != "" && !has(f.Base) {
			out = append(out, Label{Case: f.Case, Base: f.Base, Size: f.Size, Due: dueOf(sheet.Bench, f)})
		}
	}
	for _, it := range slices.Backward(sheet.Bench.Items) { // and what was delivered without a flask
		if in, ok := it.Body.(action.CaseIn); ok && it.TakenBack == nil && in.Case == asked && !has(in.Base) {
			out = append(out, Label{Case: in.Case, Base: in.Base, Size: in.Size, Due: in.DueAt().Local()})
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("case %s has no base of this kind", asked)
	}
	slices.Reverse(out)
	return out, nil
}

func labelOf(b *bench.Bench, f *bench.Flask) Label {
	l := Label{Case: f.Case, Base: f.Base, Size: f.Size, Place: f.Place, Tag: f.Tag}
	if due, ok := b.Due(f); ok {
		l.Due = due.Local()
	}
	return l
}

// dueOf is when the case of a finished flask was due, as it was taken in last; zero where it
// never was.
func dueOf(b *bench.Bench, f *bench.Flask) (due time.Time) {
	for _, it := range b.Items {
		if in, ok := it.Body.(action.CaseIn); ok && it.TakenBack == nil && in.Case == f.Case && in.Base == f.Base {
			due = in.DueAt().Local()
		}
	}
	return due
}
