package house

import (
	"fmt"
	"slices"
	"strings"

	"flaskside/logbook/words"
	"flaskside/timers/each"
)

// Person is somebody with a part of their own at the bench.
type Person struct {
	By   string `json:"by" toml:"by" comment:"initials"`
	Role string `json:"role" toml:"role" comment:"see: looks only; work: all of the bench; lead: also settings, lots withdrawn, records of others, sign-off"`
	Away bool   `json:"away,omitempty" toml:"away" comment:"looks from elsewhere: cannot acknowledge or snooze an alarm"`
}

// roles are what the settings know; lead is the one that can change them.
var roles = []string{"see", "work", leads}

const leads = "lead"

// Person finds somebody by their initials: as they are written, or else by capitals alone otherwise.
func (h House) Person(by string) (Person, bool) {
	if p, ok := each.First(h.People, func(p Person) bool { return p.By == by }); ok {
		return p, true
	}
	return each.First(h.People, func(p Person) bool { return SameInitials(p.By, by) })
}

// SameInitials tells whether two are those of one person: kt, typed in haste, is KT.
func SameInitials(a, b string) bool {
	return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b))
}

// oneEach refuses two people of whom nobody could say which one typed their initials. A record may have such: it is read.
func oneEach(ps []Person) error {
	for i, p := range ps {
		if q, twice := each.First(ps[:i], func(q Person) bool { return SameInitials(p.By, q.By) }); twice {
			return fmt.Errorf("settings: people %q and %q differ by capitals or blanks alone: give one of them other initials, or name one under [remove]", words.Clip(q.By, 20), words.Clip(p.By, 20))
		}
	}
	return nil
}

// people holds the people: one of them must be able to change the settings.
func (v *validity) people(ps []Person) {
	v.check(len(ps) <= 40, "settings: people has at most 40 entries")
	seen := map[string]bool{}
	for _, p := range ps {
		v.label("people.by", p.By, 8)
		v.check(!seen[p.By], "settings: two people are called %q", words.Clip(p.By, 20))
		seen[p.By] = true
		v.check(slices.Contains(roles, p.Role), "settings: people: %q has the role %q: it must be see, work or lead", words.Clip(p.By, 20), words.Clip(p.Role, 20))
	}
	v.check(len(ps) == 0 || slices.ContainsFunc(ps, func(p Person) bool { return p.Role == leads && !p.Away }), "settings: people needs somebody at the bench with the role lead: nobody else could change the settings")
}
