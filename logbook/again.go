package logbook

import (
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"

	"flaskside/logbook/action"
	"flaskside/logbook/lot"
	"flaskside/logbook/record"
)

// filledIn lists the fields of bodies that are filled in when an action is recorded, from
// the settings of the house, the register of lots or as the next free number: the record
// then says more than the action did.
var filledIn = []string{
	"flask", "mix", "load", "timer", "press", "bath",
	"dry_min_s", "dry_max_s", "pressure_psi", "hold_s", "backed_off_turn", "bench_min_s", "bench_max_s", "bench_s", "water_s",
	"stages", "max_s", "bath_c", "resin", "powder_g", "liquid_g", "room_c", "dough_s", "work_s",
	"product", "expiry", "gauge", "places", "no_place",
	"due", "on", "spring", "rated_psi", "scale_psi", "class_pct", "litres", "every_days", "air_hpa",
}

// foundOut lists by the kind of an action what the bench finds out for itself, whatever is told.
var foundOut = map[action.Kind][]string{
	action.CaseIn{}.Kind():        {"made", "ends"},
	action.CaseDelivered{}.Kind(): {"missing"},
	action.CaseStep{}.Kind():      {"words", "short", "kind", "place", "urgent", "pressure", "again", "last"},
}

// tableOfStep lists what a step was done under: what it is told without comes from the table of its route.
var tableOfStep = []string{"min_s", "aim_s", "max_s"}

// saysElse tells in what an action differs from the record that has its id, "" for in
// nothing: then it was said twice, and the record stands for it.
func saysElse(a action.Action, r record.Record) string {
	old := r.Action
	switch {
	case a.Body == nil: // only its id is known
		return ""
	case a.Kind() != old.Kind():
		return fmt.Sprintf("that is %q and this is %q", old.Kind(), a.Kind())
	case !a.At.Equal(old.At):
		return fmt.Sprintf("that is of %s and this of %s", old.At.Format("2006-01-02 15:04:05 -07:00"), a.At.Format("2006-01-02 15:04:05 -07:00"))
	case a.By != "" && a.By != old.By: // without a name it is of whoever is at the bench
		return fmt.Sprintf("that is by %q and this by %q", old.By, a.By)
	case a.Why != old.Why:
		return "they give different reasons"
	}
	is, ierr := fields(a.Body)
	was, werr := fields(old.Body)
	if ierr != nil || werr != nil {
		return "it cannot be held against that"
	}
	if kind := is["kind"]; old.Kind() == (action.CaseStep{}).Kind() && (isZero(kind) || !isZero(is["event"])) {
		drop(is, was, tableOfStep)
	}
	drop(is, was, foundOut[old.Kind()])
	drop(is, was, []string{"changed", "doubts"})
	if old.Kind() == (action.CaseStep{}).Kind() && sameValues(is["values"], was["values"], old.At.Year()) {
		drop(is, was, []string{"values"})
	}
	var differ []string
	for name, v := range was {
		if _, given := is[name]; !given && !slices.Contains(filledIn, name) && !isZero(v) {
			differ = append(differ, name)
		}
	}
	for name, v := range is {
		if name == "set" && sameSet(v, was[name]) {
			continue
		}
		if !reflect.DeepEqual(v, was[name]) && !(isZero(v) && (was[name] == nil || slices.Contains(filledIn, name))) && !sameLot(name, v, was[name], old.At.Year()) {
			differ = append(differ, name)
		}
	}
	if len(differ) == 0 {
		return ""
	}
	slices.Sort(differ)
	return "they differ in " + strings.Join(differ, ", ")
}

// drop leaves fields out on both sides.
func drop(is, was map[string]any, names []string) {
	for _, name := range names {
		delete(is, name)
		delete(was, name)
	}
}

// sameValues tells whether the values of a step are those that were recorded, which may be more and
// have the words of the table beside them.
func sameValues(is, was any, year int) bool {
	byName := map[any]map[string]any{}
	recorded, _ := was.([]any)
	for _, v := range recorded {
		if m, ok := v.(map[string]any); ok {
			byName[m["name"]] = m
		}
	}
	told, _ := is.([]any)
	for _, v := range told {
		m, ok := v.(map[string]any)
		if !ok {
			return false
		}
		as, there := byName[m["name"]]
		if !there || !reflect.DeepEqual(m["value"], as["value"]) {
			return false
		}
		if m["text"] != as["text"] && !sameLot("lot", m["text"], as["text"], year) {
			return false
		}
	}
	return true
}

// sameSet tells whether a correction sets what was recorded; the bench puts the text of a gauge
// beside a pressure, and beside a route when its case leaves the list.
func sameSet(is, was any) bool {
	a, ok := is.(map[string]any)
	b, ok2 := was.(map[string]any)
	if !ok || !ok2 {
		return false
	}
	b = maps.Clone(b)
	for _, name := range []string{"gauge", "ends"} {
		if _, given := a[name]; !given {
			delete(b, name)
		}
	}
	return reflect.DeepEqual(a, b)
}

// fields takes a body apart.
func fields(b action.Body) (out map[string]any, err error) {
	raw, err := action.Encode(b)
	if err == nil {
		err = json.Unmarshal(raw, &out)
	}
	return out, err
}

func isZero(v any) bool {
	return v == nil || v == 0.0 || v == "" || v == false || reflect.DeepEqual(v, []any{}) || reflect.DeepEqual(v, map[string]any{})
}

// sameLot tells whether two values of a lot's field are of one lot: a code that is scanned
// is recorded as the register has it.
func sameLot(field string, a, b any, year int) bool {
	x, ok := a.(string)
	y, ok2 := b.(string)
	if !ok || !ok2 || field != "lot" && !strings.HasSuffix(field, "_lot") {
		return false
	}
	if strings.TrimSpace(x) == y {
		return true
	}
	l, err := lot.Parse(x, year)
	m, err2 := lot.Parse(y, year)
	return err == nil && err2 == nil && l.Name() == m.Name()
}
