package day_test

import (
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/day"
)

// What spoke against a gauge or a thermometer stands once on the sheet, with what was done by
// it, in all forms; a check that is typed later is told and changes nothing of that; one that
// falls due while a load is in is told as that; what was recorded of equipment stands beside.
func TestEquipmentOnTheSheet(t *testing.T) {
	s := newShift(t, "2026-11-25 08:00", "Europe/Berlin")
	zero, half := 0.0, 0.5
	s.do(0, action.EquipIn{Item: "bath", Name: "1"})
	s.do(0, action.EquipIn{Item: "thermometer", Name: "T1", On: "bath 1", EveryDays: 1})
	s.do(0, action.EquipIn{Item: "thermometer", Name: "T2", On: "bath 1"})
	s.do(0, action.EquipIn{Item: "gauge", Name: "G1", On: "press 1"})
	s.do(0, action.EquipIn{Item: "clamp", Name: "12"})
	s.do(0, action.EquipCheck{Item: "thermometer", Name: "T1", IceC: &zero})
	for place, number := range map[int]string{1: "4417", 2: "4420"} {
		s.do(time.Minute, action.FlaskOpen{Place: place, Case: number, Base: "upper", Size: "medium"})
	}
	for _, no := range []int{1, 2} {
		s.do(time.Minute, action.PressIn{Flask: no}, "8")
		s.do(time.Minute, action.PressAt{Flask: no})
		s.do(time.Minute, action.MetalToMetal{Flask: no}, "8")
		s.do(time.Minute, action.Clamp{Flask: no, Clamp: "12"}, "8")
	}
	at := s.clock.Read().Wall.Add(time.Minute)
	s.do(8*time.Hour, action.BathLoad{Flasks: []int{1, 2}, Programme: "long, 9 h"}, "8")
	s.clock.Run(time.Hour)
	if _, err := s.book.Append(action.Action{ID: "late", At: at, By: "MB", Body: action.EquipCheck{Item: "thermometer", Name: "T2", IceC: &half}}); err != nil {
		t.Fatal(err)
	}
	// The last day of T1's check is 26 November; the load comes out on the 27th.
	s.do(40*time.Hour, action.BathUnload{Flasks: []int{1, 2}}, "8")
	first, next := s.sheet("2026-11-25"), s.sheet("2026-11-27")
	for name, form := range map[string]string{
		"text": strings.Join(strings.Fields(string(written(t, first.Text))), " "),
		"html": selfContained(t, written(t, first.HTML)),
	} {
		form = strings.Join(strings.Fields(form), " ")
		for _, want := range []string{
			"Gauge G1 has no check recorded. Pressures read off it:", "4417 upper, 2 times", "4420 upper, 2 times",
			"Thermometer T2 has no check recorded. Cured by it: load 1, in 16:", "0.5 °C high in ice", "entered later, at 17:",
			"clamp 12 taken in", ", clamp 12, backed off",
		} {
			if !strings.Contains(form, want) {
				t.Errorf("%s does not say %q:\n%s", name, want, form)
			}
		}
		if n := strings.Count(form, "Gauge G1 has no check"); n != 1 {
			t.Errorf("%s says it %d times", name, n)
		}
		if strings.Contains(form, "Thermometer T1") && strings.Contains(form, "fell due") {
			t.Errorf("%s tells on the first day what fell due on the third", name)
		}
	}
	if text := strings.Join(strings.Fields(string(written(t, next.Text))), " "); !strings.Contains(text, "Thermometer T1: check fell due while load 1 was in bath 1, by Thu 26 Nov 2026") {
		t.Errorf("the sheet of the day it came out does not tell what fell due:\n%s", text)
	}
	if got := strings.Join(cells(t, first, day.Pieces, "what"), " "); got != "equip-in equip-in equip-in equip-in equip-in equip-check equip-check unchecked unchecked unchecked unchecked unchecked" {
		t.Errorf("the table has %s", got)
	}
	if got := strings.Join(cells(t, first, day.Flasks, "clamp"), " "); got != "12 12" {
		t.Errorf("the flasks had the clamps %s", got)
	}
}
