package words

import "strings"

// Why something unusual was done, or a record was put right: the digits that records
// hold.
const (
	checkedRight   = "1"
	makerSays      = "2"
	asked          = "3"
	noTime         = "4"
	EnteredLate    = "5"
	WrongKey       = "6"
	Misread        = "7"
	Training       = "8"
	AnotherReason  = "9"
	reasonsCounted = 10
)

// Reasons are the reasons by their digit. Words of one's own stand behind 9. Each is
// short enough to stand whole beside others on the narrowest screen.
var Reasons = [reasonsCounted]string{
	1: "checked, looked right",
	2: "maker says otherwise",
	3: "dentist or lead asked",
	4: "no time left",
	5: "entered late",
	6: "wrong key",
	7: "misread",
	8: "trial or training",
	9: "other",
}

// SaidYes is the reason that --yes gives.
const SaidYes = "said with --yes"

// AnotherDue is the reason of another due time that is set on the bench.
const AnotherDue = "another due time"

// Reason puts a reason into words: a digit of [Reasons], or the words themselves.
func Reason(why string) string {
	if len(why) == 1 && why[0] >= '1' && why[0] <= '9' {
		return Reasons[why[0]-'0']
	}
	return why
}

// unusual says what was out of the ordinary about a step or a flask, by the code that
// the record holds.
var unusual = map[string]string{
	"no-separator":     "no separator",
	"separator-wet":    "separator dried too short",
	"separator-old":    "separator too old",
	"no-mix":           "no mix",
	"not-dough":        "packed early (estimate)",
	"dough-early":      "dough marked early",
	"dough-late":       "dough late (estimate)",
	"stiff-mix":        "mix marked too stiff",
	"pressure-low":     "low pressure",
	"hold-short":       "hold cut short",
	"not-ready":        "closed when not ready",
	"closed-outside":   "outside working time",
	"set-short":        "bench set cut short",
	"cure-short":       "short cure",
	"may-boil":         "core may boil (est.)",
	"cool-short":       "cooling cut short",
	"press-taken":      "press taken",
	"out-of-order":     "step out of order",
	"step-short":       "step cut short",
	"place-taken":      "place taken",
	"step-off":         "step that is switched off",
	"route-unknown":    "route not in the settings",
	"route-flask":      "flask for a route without one",
	"pressure-lost":    "pressure lost",
	"equipment-beyond": "equipment not in the settings",
	"case-made":        "case finished before it was taken in",
	"lot-unread":       "lot cannot be read",
	"lot-unknown":      "lot not on the list",
	"lot-withdrawn":    "lot taken out of use",
	"lot-expired":      "lot expired",
	"clock-back":       "clock was behind",
	"pin-high":         "pin above the house limit",
	"case-number":      "case number of another shape",
	"due-past":         "due time over when taken in",
	"resin-unknown":    "resin not in the settings",
	"case-open":        "case without an outcome",
	"case-double":      "second flask of one case",
	"pair-load":        "other bath load than its pair",
	"pair-lot":         "other resin lot than its pair",
	"closing":          "closing list short",
	"rated-load":       "pressure high, no rated load set",
	"any":              "anything of these",
	"other":            "anything else marked",
}

// Unusual says what a code of something unusual means.
func Unusual[C ~string](code C) string {
	bare, _, _ := strings.Cut(string(code), "@") // of one flask of several
	if number, ok := strings.CutPrefix(bare, "range-"); ok {
		return strings.ReplaceAll(number, "-", " ") + " outside its usual range"
	}
	return name(unusual, bare)
}

// ReasonsOf gives the words of some reasons by their digits, for a form that offers
// only those.
func ReasonsOf(digits []string) []string {
	out := make([]string, len(digits))
	for i, d := range digits {
		out[i] = Reason(d)
	}
	return out
}

// circumstances of a flask in a few words, for a narrow column of figures: codes that the
// bench records, and what the records tell by themselves.
var circumstances = map[string]string{
	"any":            "anything of these",
	"no-separator":   "no separator",
	"separator-wet":  "separator wet",
	"separator-old":  "separator too old",
	"no-mix":         "no mix",
	"not-dough":      "packed early (estimate)",
	"dough-late":     "dough late (estimate)",
	"stiff-mix":      "mix marked too stiff",
	"pressure-low":   "low pressure",
	"hold-short":     "short hold",
	"not-ready":      "closed when not ready",
	"closed-outside": "outside working time",
	"set-short":      "short bench set",
	"cure-short":     "short cure",
	"may-boil":       "core may boil (est.)",
	"instrument":     "gauge or thermometer",
	"cool-short":     "short cooling",
	"press-taken":    "press taken",
	"out-of-order":   "step out of order",
	"other":          "anything else marked",
}

// Circumstance names one of them; "" for another code.
func Circumstance(code string) string { return circumstances[code] }
