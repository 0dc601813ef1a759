package keep

import (
	"errors"
	"slices"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
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

// errNobody is said to a screen of nobody.
var errNobody = errors.New("nobody is signed on at this screen: + 6 signs on")

// May says why a person, as they stand, may not record something of a kind; nil where they may.
// What amends a record is asked about with the record itself.
func (p Person) May(k action.Kind) error { return p.may(k, p.By) }

// TakesOver says why nobody of these initials may take the bench over at the screen of a person; nil where they may.
func (p Person) TakesOver(initials string, h house.House) error {
	q, _ := h.Person(initials)
	return bench.TakesOver(house.Person{By: initials, Away: p.Away || q.Away})
}

// may is the same; whose are the initials on the record that is amended, where one is.
func (p Person) may(k action.Kind, whose string) error {
	if p.Role == action.RoleSee && p.By == "" && !p.Fixed && !bench.ByBench(k) {
		return errNobody
	}
	return bench.May(house.Person{By: p.By, Role: p.Role, Away: p.Away}, k, whose)
}
