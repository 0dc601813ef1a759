package words

import "strings"

// TimerTight says what [TimerLine] says in at most ten characters, for a column that a
// gauge stands in, too; the hour and the signs of the gauge tell the rest.
func TimerTight[C ~string](what C, label, mix string, g Going) string {
	switch string(what) {
	case dryBoth, dryCast, dryTeeth:
		return map[Going]string{ToEarliest: "drying", ToLatest: "to pack", NoEndLeft: "time up", Past: "TOO OLD"}[g]
	case dough:
		return map[Going]string{ToEarliest: "dough " + mix, ToLatest: "dough " + mix, Past: mix + " OVER"}[g]
	case hold:
		return map[Going]string{ToEarliest: "hold", NoEndLeft: "time up"}[g]
	case benchSet:
		return map[Going]string{ToEarliest: "bench set", ToLatest: "to bath", NoEndLeft: "time up", Past: "PAST LIMIT"}[g]
	case cure:
		return map[Going]string{ToEarliest: "cure", ToLatest: "take out", NoEndLeft: "time up", Past: "OVERDUE"}[g]
	case benchCool, waterCool:
		return map[Going]string{ToEarliest: "cooling", NoEndLeft: "time up"}[g]
	case caseStep:
		number, _, _ := strings.Cut(mix, " ")
		return map[Going]string{NoEndLeft: "UP ", Past: "OVER "}[g] + number
	}
	return label
}
