package day

import (
	"slices"
	"strings"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/timers"
)

// step finds the record of a kind about a subject that counts as done at a moment.
func (s Sheet) step(about action.Subject, at *timers.Stamp, kinds ...action.Kind) (bench.Item, bool) {
	if at == nil {
		return bench.Item{}, false
	}
	for _, it := range s.Bench.Items {
		if it.TakenBack == nil && it.Stamp == *at && slices.Contains(kinds, it.Body.Kind()) && slices.Contains(it.Body.Subjects(), about) {
			return it, true
		}
	}
	return bench.Item{}, false
}

// hand gives the initials of who took such a step, with a space before them, or
// nothing.
func (s Sheet) hand(about action.Subject, at *timers.Stamp, kinds ...action.Kind) string {
	if it, ok := s.step(about, at, kinds...); ok && it.Action.By != "" {
		return " " + it.Action.By
	}
	return ""
}

// did writes when a step was taken and by whom.
func (s Sheet) did(about action.Subject, at *timers.Stamp, kinds ...action.Kind) string {
	return s.clock(at.At) + s.hand(about, at, kinds...)
}

// hands lists the initials of all who worked on a trial closure.
func (s Sheet) hands(f *bench.Flask, t bench.Trial) string {
	var out []string
	for _, part := range []struct {
		at   *timers.Stamp
		kind action.Kind
	}{{&t.In, "press-in"}, {t.At, "press-at"}, {t.Out, "press-open"}, {t.Judged, "flash"}} {
		if by := strings.TrimSpace(s.hand(flaskNo(f), part.at, part.kind)); by != "" && !slices.Contains(out, by) {
			out = append(out, by)
		}
	}
	return strings.Join(out, ", ")
}

// kindWords name the kinds of record for people.
var kindWords = map[action.Kind]string{
	"flask-open": "opening", "flask-move": "move", "coat": "separator", "mix": "making", "mix-serve": "mix taken", "mix-dough": "dough reached",
	"mix-stiff": "too stiff", "press-in": "into the press", "press-at": "pressure reached", "press-open": "press opened", "flash": "flash judged",
	"flash-more": "more on the flash", "dough-add": "dough added", "inspect": "mould found full", "flask-lots": "lots", "sheet-out": "sheet out",
	"metal-to-metal": "metal to metal", "clamp": "clamping", "bath-load": "into the bath", "bath-reading": "bath reading", "bath-unload": "out of the bath",
	"cool-water": "into water", "deflask": "deflasking", "remount": "remount check", "outcome": "outcome", "note": "note", "timer-start": "timer started",
	"timer-stop": "timer stopped", "alarm-heard": "alarm acknowledged", "alarm-shelve": "alarm shelved", "settings": "settings", "crew": "who is at the bench",
	"caution": "caution read", "clock": "clock", "seen": "read what was missed", "lot-in": "lot taken in", "lot-out": "lot withdrawn",
}

// KindName names a kind for people; one without words of its own by its code.
func KindName(k action.Kind) string {
	if w := kindWords[k]; w != "" {
		return w
	}
	return strings.ReplaceAll(string(k), "-", " ")
}

// hazardWords say what a caution was about.
var hazardWords = map[string]string{
	"monomer": "monomer: vapour, fire, skin", "press": "press: rated load, hands clear", "bath": "bath: water that scalds", "deflask": "deflasking: heat trapped inside",
}

func hazardName(hazard string) string {
	if w := hazardWords[hazard]; w != "" {
		return w
	}
	return hazard
}

// fieldName names a field for people, with its unit: pressure_psi is pressure (psi).
func fieldName(name string) string {
	for _, u := range []struct{ tail, unit string }{{"_psi", "psi"}, {"_mm", "mm"}, {"_g", "g"}, {"_s", "s"}, {"_c", "°C"}} {
		if base, ok := strings.CutSuffix(name, u.tail); ok && base != "" {
			return strings.ReplaceAll(base, "_", " ") + " (" + u.unit + ")"
		}
	}
	return strings.ReplaceAll(name, "_", " ")
}
