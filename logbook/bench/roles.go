package bench

import (
	"errors"
	"fmt"

	"flaskside/logbook/action"
	"flaskside/logbook/house"
)

// wants tells which kinds want more than work at the bench. Undoing and correcting what
// somebody else recorded want a lead, too.
var wants = map[action.Kind]string{
	"settings": action.RoleLead, "lot-out": action.RoleLead, "sign-off": action.RoleLead,
	"clock": byBench, "restored": byBench, "screen": byBench,
}

// forLead says what it is that only a lead may do.
var forLead = map[action.Kind]string{"settings": "changing the settings", "lot-out": "taking a lot out of use", "sign-off": "signing a day off"}

// byBench marks the kinds that the bench records itself, and no person.
const byBench = "bench"

// ByBench tells whether the bench records a kind itself, and no person.
func ByBench(k action.Kind) bool { return wants[k] == byBench }

// May says why somebody may not record something of a kind; nil where they may. whose are the initials on the
// record that is amended, where one is.
func May(p house.Person, k action.Kind, whose string) error {
	amends := k == "correct" || k == "take-back"
	switch {
	case ByBench(k):
		return errors.New("the bench records that itself")
	case p.Away && (k == "alarm-heard" || k == "alarm-shelve"):
		return fmt.Errorf("%s is away from the bench: alarms are acknowledged and snoozed at the bench", p.By)
	case p.Role == action.RoleSee:
		return fmt.Errorf("%s looks on and records nothing: a lead can change that, in the settings or with the key", p.By)
	case wants[k] == action.RoleLead && p.Role != action.RoleLead:
		return fmt.Errorf("%s works at the bench; %s is for a lead", p.By, forLead[k])
	case amends && p.Role != action.RoleLead && !house.SameInitials(whose, p.By):
		if whose == "" {
			whose = "somebody else"
		}
		return fmt.Errorf("that record is by %s: only a lead may undo or correct it", whose)
	}
	return nil
}

// TakesOver says why somebody may not take the bench over; nil where they may. Screens ask it: a history that tells of
// one who did is read in as it was.
func TakesOver(p house.Person) error {
	if p.Away {
		return fmt.Errorf("%s is away from the bench: whoever stands at it takes it over", p.By)
	}
	return nil
}

// role refuses what those whose initials are on an action may not record by the settings, from wherever it comes.
// Whom they do not name is not known here, and other programs and benches give lines by such; what the bench recorded
// itself, and who signed on, is read in as it was. What was done before these settings were made was done under others;
// what is done now is held to them though the clock stood ahead when they were made.
func (c *checker) role(a action.Action, now bool) error {
	k := a.Body.Kind()
	p, known := c.b.House.Person(a.By)
	if !known || ByBench(k) || k == (action.Crew{}).Kind() || !now && earlier(c.at, c.b.houseSet) {
		return nil
	}
	whose := ""
	if of, ok := action.Amends(a.Body); ok {
		it, _ := c.b.Item(of)
		whose = it.Action.By
	}
	return May(p, k, whose)
}
