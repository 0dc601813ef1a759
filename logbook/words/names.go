package words

import "strings"

// halves of a mould, by the words of a record.
var halves = map[string]string{"cast": "cast half", "teeth": "tooth half", "both": "both halves"}

// Half names a half of the mould: cast half, tooth half, both halves.
func Half[C ~string](half C) string { return name(halves, half) }

// SizeLetter is S, M or L.
func SizeLetter[C ~string](size C) string {
	return strings.ToUpper(string(size)[:min(1, len(size))])
}

// steps name a step of the route on the line above the keys.
var steps = map[string]string{
	"coat": "paint separator", "mix": "mix powder and liquid", "dough": "the mix is now dough",
	"press": "pack, sheet in, into the press", "reach": "at pressure: start the hold", "open": "open the press", "judge": "judge the flash",
	"final": "FINAL CLOSURE: sheet out", "metal to metal": "final closure: halves metal to metal", "clamp": "clamp it",
	"load": "into the bath", "unload": "out of the bath", "water": "into tap water",
	"deflask": "deflask", "remount": "remount check: pin opening", "outcome": "outcome",
}

// Step names a step of the route for whoever takes it.
func Step[C ~string](step C) string { return name(steps, step) }

// kinds name a record of a kind.
var kinds = map[string]string{
	"flask-open": "flask opened", "flask-move": "moved", "coat": "separator", "mix": "mix made", "mix-serve": "mix taken", "mix-dough": "dough stage reached",
	"mix-stiff": "too stiff", "press-in": "into the press", "press-at": "pressure reached", "press-open": "press opened", "flash": "flash judged",
	"flash-more": "more on the flash", "dough-add": "dough added", "inspect": "mould checked: full", "flask-lots": "lots", "sheet-out": "sheet out",
	"metal-to-metal": "metal to metal", "clamp": "clamped", "bath-load": "into the bath", "bath-reading": "bath reading", "bath-unload": "out of the bath",
	"cool-water": "into tap water", "deflask": "deflasked", "remount": "remount check", "outcome": "outcome", "note": "note", "timer-start": "timer started",
	"timer-stop": "timer stopped", "alarm-heard": "alarm acknowledged", "alarm-shelve": "alarm snoozed", "settings": "settings", "crew": "who is at the bench",
	"caution": "caution read", "clock": "computer clock", "restored": "backup put in place", "sign-off": "day signed off", "seen": "missed alarms read", "screen": "screen", "lot-in": "lot booked in", "lot-out": "lot taken out of use",
	"equip-in": "equipment taken in", "equip-check": "instrument checked", "equip-water": "water changed", "equip-out": "equipment taken out of use",
	"case-in": "case taken in", "case-off": "case taken off the list", "case-delivered": "case delivered", "case-step": "step of a case", "day-plan": "day plan",
	"correct": "correction", "take-back": "undone",
}

// Kind names a kind of record. One that has no words of its own is read from its code.
func Kind[C ~string](kind C) string { return name(kinds, kind) }

var hazards = map[string]string{
	"monomer": "monomer: vapour, fire, skin", "press": "press: rated load, hands clear", "bath": "bath: scalding water", "deflask": "deflasking: heat trapped inside",
	"scald": "boil-out: scalding water and steam", "dust": "trimming and polishing: dust, eyes", "pot": "pressure pot: let the pressure off first", "soak": "warm water: scalds in seconds",
}

// Hazard says what a caution is about.
func Hazard[C ~string](hazard C) string { return name(hazards, hazard) }

// units behind the names of fields.
var tails = []struct{ tail, unit string }{{"_psi", "psi"}, {"_mm", "mm"}, {"_g", "g"}, {"_s", "s"}, {"_c", "°C"}}

var fieldNames = map[string]string{
	"at": "time", "case": "case number", "half": "half painted", "dry_min_s": "least drying", "dry_max_s": "longest drying",
	"dough_s": "dough expected after", "work_s": "working time", "room_c": "room", "jar_c": "powder and liquid at", "hold_s": "hold",
	"pressure_psi": "pressure", "backed_off_turn": "backed off", "bench_min_s": "least bench set", "bench_max_s": "longest bench set", "bath_c": "bath at",
	"max_s": "longest", "min_s": "at least", "aim_s": "aim", "bench_s": "cooling on the bench", "water_s": "cooling in water", "pin_mm": "pin opening",
	"temp_c": "reading", "powder_g": "powder", "liquid_g": "liquid", "grams": "flash weighed", "where": "flash where", "for_s": "for", "by_s": "by",
	"on": "fitted to", "rated_psi": "rated load", "scale_psi": "end of scale", "class_pct": "class", "every_days": "days between checks or changes", "ice_c": "in ice",
	"boil_c": "in boiling water", "air_hpa": "air pressure, hPa", "read_c": "read", "against_c": "the other read", "read_psi": "read", "against_psi": "the other read", "doubts": "instruments",
	"remake_of": "remake of", "wet_h": "hours in water", "added": "dough added", "stages": "stages", "sections": "thickness", "handover": "handover read",
}

// Field names a field of a record, with no unit.
func Field(field string) string {
	if w := fieldNames[field]; w != "" {
		return w
	}
	for _, u := range tails {
		if base, ok := strings.CutSuffix(field, u.tail); ok && base != "" {
			field = base
			break
		}
	}
	return strings.ReplaceAll(field, "_", " ")
}

// outcomes by the words of a record; "released" stands in records of older programs.
var outcomes = map[string]string{"released": "finished here", "finished here": "finished here", "adjusted": "adjusted", "remake": "remake"}

// Outcome says what became of a flask.
func Outcome[C ~string](outcome C) string { return name(outcomes, outcome) }

// defects by the words of a record.
var defects = map[string]string{"open bite": "raised bite (pin open)", "movement of teeth": "tooth moved", "short mould": "underfilled base"}

// defect names a defect.
func defect[C ~string](defect C) string { return name(defects, defect) }

// Defects name several.
func Defects(ds []string) []string {
	out := make([]string, len(ds))
	for i, d := range ds {
		out[i] = defect(d)
	}
	return out
}

// MixLetter gives the letter of a mix number.
func MixLetter(no int) string {
	if no < 1 {
		return "?"
	}
	return string(rune('A' + (no-1)%26))
}
