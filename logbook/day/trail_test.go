package day_test

import (
	"io"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/day"
)

// TestTrail tells a flask's whole life: what was said first, what it counts as, who
// corrected or took back, when and why; and nothing of the other flask.
func TestTrail(t *testing.T) {
	s := newShift(t, "2026-11-25 08:00", "Europe/Berlin")
	s.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	s.do(0, action.FlaskOpen{Place: 2, Case: "4420", Base: "lower", Size: "medium"})
	s.do(time.Minute, action.Coat{Flask: 1, Half: "both"})
	s.do(0, action.Coat{Flask: 2, Half: "both"})
	s.do(15*time.Minute, action.MixMake{Flasks: []int{1, 2}, PowderLot: "P-118"})
	s.do(10*time.Minute, action.MixDough{Mix: 1})
	s.do(time.Minute, action.PressIn{Flask: 1})
	s.do(time.Minute, action.PressAt{Flask: 1})
	s.do(time.Minute, action.PressOpen{Flask: 1})
	graded := s.do(0, action.Flash{Flask: 1, Grade: "heavy"})
	s.fix(graded, `{"grade":"slight"}`, "7")
	recs, err := s.book.Of(action.Subject{Class: 'f', No: 1})
	if err != nil {
		t.Fatal(err)
	}
	sheet, err := day.TrailOf(recs, 1, "head", zone(t, "Europe/Berlin"))
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := sheet.Trail(&b, 1); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"case 4417   upper, medium   flask 1", "flash", "grade was heavy, is slight", "misread", "P-118", "is now dough", "Logbook head: head"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the trail does not say %q:\n%s", want, b.String())
		}
	}
	if strings.Contains(b.String(), "4420") {
		t.Errorf("the trail of flask 1 speaks of the case of flask 2:\n%s", b.String())
	}
	if _, err := day.TrailOf(nil, 9, "", zone(t, "Europe/Berlin")); err == nil || !strings.Contains(err.Error(), "no flask 9") {
		t.Errorf("of a flask that is not there: %v", err)
	}
}

// The trail of a flask holds the readings of its load: those of its bath while it was in
// it, with what was corrected in them, and no others.
func TestTrailHoldsTheReadingsOfTheLoad(t *testing.T) {
	s := newShift(t, "2026-11-25 08:00", "Europe/Berlin")
	s.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	s.do(time.Minute, action.BathReading{Bath: 1, TempC: 61.5, Source: bench.Typed})
	s.do(time.Minute, action.BathLoad{Flasks: []int{1}, Programme: "long, 9 h", BathC: 74}, "5")
	s.do(time.Hour, action.BathReading{Bath: 1, TempC: 73.5, Source: bench.Typed})
	wrong := s.do(time.Hour, action.BathReading{Bath: 1, TempC: 47, Source: bench.Typed})
	s.fix(wrong, `{"temp_c":74}`, "7")
	s.do(7*time.Hour, action.BathUnload{Flasks: []int{1}})
	s.do(time.Minute, action.BathReading{Bath: 1, TempC: 62.5, Source: bench.Typed})
	sheet, err := day.TrailFrom(s.book, 1, "head", zone(t, "Europe/Berlin"))
	if err != nil {
		t.Fatal(err)
	}
	text := string(written(t, func(w io.Writer) error { return sheet.Trail(w, 1) }))
	for _, want := range []string{"73.5", "47", "is 74"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	for _, not := range []string{"61.5", "62.5"} {
		if strings.Contains(text, not) {
			t.Errorf("%q, which is another's, in\n%s", not, text)
		}
	}
	// The sheet of the day and that of the next agree on how the cure stands.
	for _, d := range []string{"2026-11-25"} {
		if text := string(written(t, s.sheet(d).Text)); !strings.Contains(text, "cure as set (in the bath 9 h of 9 h, 2 readings)") {
			t.Errorf("%s:\n%s", d, text)
		}
	}
}

// A correction that was undone, and an undoing that was, stand in the trail: nothing else tells of them.
func TestTheTrailHasWhatWasUndone(t *testing.T) {
	w := newShift(t, "2026-11-25 08:00", "Europe/Berlin")
	open := w.do(0, action.FlaskOpen{Place: 1, Case: "4501", Base: "upper", Size: "small"})
	wrong := w.fix(open, `{"size":"large"}`, "1")
	w.do(time.Minute, action.TakeBack{Of: wrong}, "1")
	w.fix(open, `{"size":"medium"}`, "1")
	sheet, err := day.TrailFrom(w.book, 1, "head", time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	if err := sheet.Trail(&out, 1); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"correction of flask opened: case 4501, upper, small, place 1: now flask opened: case 4501, upper, large, place 1", "UNDONE", "size was small, is medium"} {
		if strings.Count(out.String(), want) != 1 {
			t.Errorf("%q does not stand there once:\n%s", want, out.String())
		}
	}
}
