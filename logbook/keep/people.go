package keep

import (
	"errors"
	"fmt"
	"slices"

	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/logbook/words"
)

// Person is whose screen it is.
type Person struct {
	By      string `json:"by,omitempty"`    // initials; "" until somebody signs on
	Role    string `json:"role"`            // the most they may do, of [action.Roles]; "" for all
	Away    bool   `json:"away,omitempty"`  // not at the bench: alarms cannot be acknowledged from there
	Key     string `json:"key,omitempty"`   // fingerprint of the key they came with
	From    string `json:"from,omitempty"`  // where the screen stands, as far as that is known
	Named   bool   `json:"named,omitempty"` // By was given when the screen was started
	Own     bool   `json:"own,omitempty"`   // the screen of the keeper itself
	KeyRole string `json:"-"`               // the role that the key gives, before the settings
	Fixed   bool   `json:"fixed,omitempty"` // nobody else can sign on there; worked out
}

// Where one stands who is no screen of a person.
const (
	NoScreen = "no screen" // the keeper that has none
	OnWall   = "the wall board"
)

// in gives a person as they are under the settings: the lower of two roles holds, and
// whoever the settings do not name looks only, once they name anybody.
func (p Person) in(h house.House) Person {
	if p.Role == "" {
		p.Role = action.RoleLead
	}
	p.KeyRole, p.Fixed = p.Role, p.fixed(h)
	if len(h.People) == 0 {
		return p
	}
	q, known := h.Person(p.By)
	if !known {
		q.Role = action.RoleSee
	}
	p.Role = lower(p.Role, q.Role)
	p.Away = p.Away || q.Away
	return p
}

// fixed tells whether nobody else can sign on at the screen: its person came with a key, or
// was named when it started and the settings say who may do what.
func (p Person) fixed(h house.House) bool { return p.Key != "" || p.Named && len(h.People) > 0 }

// lower is the lower of two roles.
func lower(a, b string) string {
	if slices.Index(action.Roles, a) < slices.Index(action.Roles, b) {
		return a
	}
	return b
}

// wants tells which kinds want more than work at the bench. Undoing and correcting what
// somebody else recorded want a lead, too (see [Person.may]).
var wants = map[action.Kind]string{
	"settings": action.RoleLead, "lot-out": action.RoleLead, "sign-off": action.RoleLead,
	"clock": byBench, "restored": byBench, "screen": byBench,
}

// byBench marks the kinds that the bench records itself, and no person.
const byBench = "bench"

// wantsRole gives the role that a kind of action wants; "" where no person records it.
func wantsRole(k action.Kind) string {
	switch w := wants[k]; w {
	case "":
		return action.RoleWork
	case byBench:
		return ""
	default:
		return w
	}
}

// amends tells whether a kind changes what a record says: one's own with work, that of
// others as a lead.
func amends(k action.Kind) bool { return k == "correct" || k == "take-back" }

// Errors of a person who may not.
var (
	errByBench = errors.New("the bench records that itself")
	errNobody  = errors.New("nobody is signed on at this screen: + 6 signs on")
	errAway    = errors.New("this screen is away from the bench: alarms are acknowledged and snoozed at the bench")
)

// May says why a person, as they stand, may not record something of a kind; nil where they may.
// What amends a record is asked about with the record itself.
func (p Person) May(k action.Kind) error { return p.may(k, p.By) }

// may is the same; whose are the initials on the record that is amended, where one is.
func (p Person) may(k action.Kind, whose string) error {
	want := wantsRole(k)
	switch {
	case want == "":
		return errByBench
	case p.Away && (k == "alarm-heard" || k == "alarm-shelve"):
		return errAway
	case p.Role == action.RoleSee && p.By == "" && !p.Fixed:
		return errNobody
	case p.Role == action.RoleSee:
		return fmt.Errorf("%s looks on and records nothing: a lead can change that, in the settings or with the key", p.By)
	case want == action.RoleLead && p.Role != action.RoleLead:
		return fmt.Errorf("%s works at the bench; %s is for a lead", p.By, words.Kind(k))
	case amends(k) && p.Role != action.RoleLead && whose != p.By:
		if whose == "" {
			whose = "somebody else"
		}
		return fmt.Errorf("that record is by %s: only a lead may undo or correct it", whose)
	}
	return nil
}
