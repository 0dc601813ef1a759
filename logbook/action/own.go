package action

import (
	"encoding/json"
	"slices"

	"flaskside/logbook/words"
)

// CaseOffReasons are why a case leaves the list, where it is chosen by number.
var CaseOffReasons = []string{"withdrawn by the practice", "taken in by mistake", "made elsewhere", "other"}

// wordy are the fields of bodies in which people write freely; a reason is one where its words
// are none of those to choose from.
var wordy = map[string]bool{"text": true, "remark": true, "note": true, "reason": true}

// OwnWords tells whether what is told, or why, holds words of people's own: notes, remarks and
// reasons that are none of those to choose from, and what sets such right. A house may keep
// them to itself, or take none. What cannot be read may hold anything.
func OwnWords(kind Kind, body json.RawMessage, why string) bool {
	if len(why) > 1 && why != words.SaidYes && why != words.AnotherDue {
		return true
	}
	if kind == (DayPlan{}).Kind() {
		return false // its reason is the program's
	}
	var any any
	return json.Unmarshal(body, &any) != nil || wordsIn(any)
}

func wordsIn(v any) bool {
	switch v := v.(type) {
	case map[string]any:
		for k, x := range v {
			if s, ok := x.(string); wordy[k] && (!ok || !toChoose(s)) || wordsIn(x) {
				return true
			}
		}
	case []any:
		return slices.ContainsFunc(v, wordsIn)
	}
	return false
}

func toChoose(s string) bool {
	return s == "" || slices.Contains(Withdrawals, s) || slices.Contains(EquipmentOut, s) || slices.Contains(CaseOffReasons, s)
}
