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
	"product", "expiry", "changed", "gauge", "places", "no_place",
	"doubts", "due", "on", "spring", "rated_psi", "scale_psi", "class_pct", "litres", "every_days", "air_hpa",
}

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
	var differ []string
	for name, v := range was {
		if _, given := is[name]; !given && !slices.Contains(filledIn, name) && !isZero(v) {
			differ = append(differ, name)
		}
	}
	delete(is, "changed") // whatever they say, the bench finds that out for itself
	delete(is, "doubts")
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

// sameSet tells whether a correction sets what was recorded; the text of a gauge may have
// been put beside a pressure.
func sameSet(is, was any) bool {
	a, ok := is.(map[string]any)
	b, ok2 := was.(map[string]any)
	if !ok || !ok2 {
		return false
	}
	b = maps.Clone(b)
	if _, given := a["gauge"]; !given {
		delete(b, "gauge")
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
