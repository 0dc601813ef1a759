package words

import "strings"

// The timers of the bench, by the names that records and exports give them.
const (
	dryBoth   = "both halves drying"
	dryCast   = "cast half drying"
	dryTeeth  = "teeth half drying"
	dough     = "dough"
	hold      = "press hold"
	benchSet  = "bench set"
	cure      = "cure"
	benchCool = "bench cooling"
	waterCool = "water cooling"
	own       = "timer"
	caseStep  = "case step"
)

// Going tells how far a timer has come.
type Going int

// A timer runs to its earliest end, to its latest, or to none; or it is past its latest.
const (
	ToEarliest Going = iota
	ToAim
	ToLatest
	NoEndLeft // past its earliest end, and it has no other
	Past      // past its latest
	Counting  // it has no end at all
)

// timerNames name a timer, whatever its state.
var timerNames = map[string]string{
	dryBoth: "separator drying, both halves", dryCast: "separator drying, cast half", dryTeeth: "separator drying, tooth half",
	dough: "dough", hold: "press hold", benchSet: "bench set", cure: "curing", benchCool: "cooling on the bench", waterCool: "cooling in water", own: "timer", caseStep: "step of a case",
}

// timerShort are the names for a narrow column, where they are others.
var timerShort = map[string]string{dryBoth: "separator drying", dryCast: "separator drying", dryTeeth: "separator drying", cure: "curing"}

// IsTimer tells whether a name is that of a timer.
func IsTimer[C ~string](what C) bool { return timerNames[string(what)] != "" }

// Timer names a timer: its mix, its case, or the words of a person's own stand with it; mix is
// the letter of the mix, or the case that a step runs for.
func Timer[C ~string](what C, label, mix string) string {
	switch {
	case string(what) == caseStep && mix != "":
		return mix + ": " + label
	case string(what) == own && label != "":
		return label
	case mix != "":
		return name(timerNames, what) + ", mix " + mix
	}
	return name(timerNames, what)
}

// drying is the half that a timer of the separator is about.
func drying(what string) string {
	return map[string]string{dryBoth: "both halves", dryCast: "cast half", dryTeeth: "tooth half"}[what]
}

// TimerLine says in a word or two what the time beside it leads to, for the list of the
// bench; short is for a column of sixteen characters.
func TimerLine[C ~string](what C, label, mix string, g Going) (long, short string) {
	type pair struct{ long, short string }
	both := func(s string) pair { return pair{s, s} }
	var w map[Going]pair
	switch half := drying(string(what)); string(what) {
	case dryBoth, dryCast, dryTeeth:
		w = map[Going]pair{ToEarliest: {half + " drying", map[string]string{"both halves": "halves drying", "cast half": "cast drying", "tooth half": "tooth drying"}[half]},
			ToLatest: {half + ": time left to pack", "left to pack"}, NoEndLeft: {half + ": drying time up", "drying time up"}, Past: {half + ": SEPARATOR TOO OLD", "SEPARATOR OLD"}}
	case dough:
		w = map[Going]pair{ToEarliest: {"mix " + mix + ": dough expected in", "dough " + mix + " due in"}, ToLatest: {"mix " + mix + ": working time left", "dough " + mix + " left"},
			Past: {"mix " + mix + ": TOO LATE TO PACK", "dough " + mix + " OVER"}}
	case hold:
		w = map[Going]pair{ToEarliest: both("press hold"), NoEndLeft: both("hold time up")}
	case benchSet:
		w = map[Going]pair{ToEarliest: both("bench set"), ToLatest: {"bench set: time left until the bath", "left until bath"}, NoEndLeft: both("bench set up"), Past: {"bench set past the house limit", "set past limit"}}
	case cure:
		w = map[Going]pair{ToEarliest: {"curing time left", "cure time left"}, ToLatest: {"curing time up, left to take out", "time to take out"}, NoEndLeft: {"curing time up", "cure time up"}, Past: both("BATH OVERDUE")}
	case benchCool, waterCool:
		w = map[Going]pair{ToEarliest: both(string(what)), NoEndLeft: both("cooling time up")}
	case caseStep:
		number, _, _ := strings.Cut(mix, " ")
		at := func(s string) pair { return pair{mix + ": " + label + s, number + " " + label} }
		w = map[Going]pair{ToEarliest: at(", earliest"), ToAim: at(""), ToLatest: at(", latest"), NoEndLeft: {mix + ": " + label + ", time up", "UP " + number + " " + label}, Past: {mix + ": " + label + " OVER", "OVER " + number + " " + label}, Counting: at("")}
	default:
		w = map[Going]pair{ToEarliest: both(label + ": earliest"), ToAim: both(label), ToLatest: both(label + ": latest"), NoEndLeft: both("UP " + label), Past: both("OVER " + label), Counting: both(label)}
	}
	p, ok := w[g]
	if !ok {
		p = pair{Timer(what, label, mix), name(timerShort, what)}
	}
	return p.long, p.short
}

// The ends of a timer, and what else rings.
const (
	earliest     = "not before"
	aim          = "aim"
	soon         = "soon over"
	latest       = "not after"
	shortOfDough = "short of dough"
	pressureLost = "pressure lost"
)

// alarms say what an end of a timer means, by timer and end.
var alarms = map[string]map[string]string{
	dough: {earliest: "dough expected (estimate): check it", soon: "working time ends soon (estimate)", latest: "working time is over (estimate)"},
	hold:  {earliest: "hold time is up"}, benchSet: {earliest: "bench set time is up", soon: "bench set soon past the house limit", latest: "bench set past the house limit"},
	cure: {earliest: "curing time is up", soon: "take out of the bath soon", latest: "bath overdue"}, benchCool: {earliest: "bench cooling time is up"}, waterCool: {earliest: "water cooling time is up"},
}

var dryAlarms = map[string]string{earliest: "drying time is up", soon: "separator soon too old", latest: "separator too old"}

var ownAlarms = map[string]string{earliest: "time is up", aim: "aim reached", soon: "ends soon", latest: "is over"}

// TimerAlarm says what has happened when an end of a timer is reached, as a sentence:
// "curing time is up", "mix A: working time is over".
func TimerAlarm[C, E ~string](what C, end E, label, mix string) string {
	w, e := string(what), string(end)
	switch {
	case drying(w) != "":
		return drying(w) + ": " + name(dryAlarms, e)
	case w == caseStep:
		return mix + ", " + label + ": " + name(ownAlarms, e)
	case w == own:
		return label + ": " + name(ownAlarms, e)
	case mix != "":
		return "mix " + mix + ": " + name(alarms[w], e)
	}
	return name(alarms[w], e)
}

// DoughTimeLow is the alarm that more closures are likely than the working time holds, in
// so few words that they stand whole beside a place on the narrowest screen.
const DoughTimeLow = "DOUGH TIME LOW"

// Alarm says what an alarm that no timer raises is about.
func Alarm[E ~string](end E) string {
	if string(end) == shortOfDough {
		return "may not close before the dough is too stiff (estimate)"
	}
	if string(end) == pressureLost {
		return "pressure lost: look at it, the base may be spoilt"
	}
	if string(end) == "out of band" {
		return "off temperature"
	}
	return string(end)
}

// Loud is how an alarm stands on the line at the top.
func Loud(s string) string {
	return strings.ReplaceAll(strings.ToUpper(s), "(ESTIMATE)", "(estimate)")
}

// alarmStates are the states of an alarm, which exports name as IEC 62682 and ISA-18.2
// do, in everyday words.
var alarmStates = map[string]string{"unacknowledged": "not acknowledged", "returned to normal unacknowledged": "over, not acknowledged", "shelved": "snoozed"}

// AlarmState says whether somebody has answered an alarm.
func AlarmState[C ~string](state C) string { return name(alarmStates, state) }
