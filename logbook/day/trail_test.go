package day_test

import (
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
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
	for _, want := range []string{"flask 1   case 4417", "flash", "grade was heavy, is slight", "misread", "P-118", "is now dough", "Logbook head: head"} {
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
