package house

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
)

// lists are the parts of the settings whose entries have names.
var lists = []string{"crew", "people", "baths", "programmes", "resins", "routes"}

// Change is one value of the settings that is another now.
type Change struct {
	Key      string // as in the file
	Text     string // in words, old → new
	Number   float64
	IsNumber bool // of the new value
}

// Same tells whether settings are the same as they are stored.
func Same(a, b House) bool {
	x, err := json.Marshal(a)
	y, other := json.Marshal(b)
	return err == nil && other == nil && bytes.Equal(x, y)
}

// Changes lists what differs from one set of settings to the next, in the units of the
// later, in the order of the file.
func Changes(was, is House) []Change {
	was.Routes, is.Routes = was.RouteTables(), is.RouteTables() // a house keeps a route whole of which it changed a value
	old := map[string]Leaf{}
	had := map[string]bool{}
	for _, l := range Leaves("", was) {
		old[l.Key+"\x00"+l.Entry] = l
		had[entryOf(l)] = true
	}
	var out []Change
	has := map[string]bool{}
	told := map[string]bool{}
	now := map[string]bool{}
	for _, l := range Leaves("", is) {
		has[entryOf(l)] = true
		id := l.Key + "\x00" + l.Entry
		now[id] = true
		o, known := old[id]
		if known && o.Value.Equal(l.Value) {
			continue
		}
		c := Change{Key: l.Key}
		c.Number, c.IsNumber = l.Number()
		switch e := entryOf(l); {
		case e != "" && !had[e]:
			if !told[e] {
				c.Text = added(l, is)
			}
			told[e] = true
		case !known:
			c.Text = fmt.Sprintf("%s: none → %s", leafWords(l), shown(l, is.Units))
		default:
			c.Text = fmt.Sprintf("%s: %s → %s", leafWords(l), shown(o, was.Units), shown(l, is.Units))
		}
		out = append(out, c)
	}
	gone := map[string]bool{}
	for _, l := range Leaves("", was) {
		e := entryOf(l)
		switch {
		case e != "" && !has[e] && !gone[e]:
			gone[e] = true
			out = append(out, Change{Key: l.Key, Text: fmt.Sprintf("%s %s removed", one(listOf(l.Key)), nameOf(l))})
		case now[l.Key+"\x00"+l.Entry], e != "" && !has[e]:
		default: // a stage that is no more
			out = append(out, Change{Key: l.Key, Text: fmt.Sprintf("%s: %s → none", leafWords(l), shown(l, is.Units))})
		}
	}
	return out
}

// ChangeWords are the texts of changes, one for each.
func ChangeWords(cs []Change) []string {
	var out []string
	for _, c := range cs {
		if c.Text != "" {
			out = append(out, c.Text)
		}
	}
	return out
}

// listOf is the list with names that a key belongs to, "" for none.
func listOf(key string) string {
	top, _, _ := strings.Cut(key, ".")
	if slices.Contains(lists, top) {
		return top
	}
	return ""
}

// entryOf is the entry of a list that a leaf belongs to, "" for none.
func entryOf(l Leaf) string {
	if listOf(l.Key) == "" {
		return ""
	}
	return listOf(l.Key) + " " + nameOf(l)
}

// nameOf is the quoted name that an entry begins with.
func nameOf(l Leaf) string {
	for i := 1; i < len(l.Entry); i++ {
		if l.Entry[i] == '"' && l.Entry[i-1] != '\\' {
			return l.Entry[:i+1]
		}
	}
	return l.Entry
}

func one(list string) string {
	switch list {
	case "crew":
		return "initials"
	case "people":
		return "person"
	}
	return strings.TrimSuffix(list, "s")
}

// added says that an entry of a list is new; of a programme, what it does, of a person, what they may.
func added(l Leaf, is House) string {
	s := fmt.Sprintf("%s %s added", one(listOf(l.Key)), nameOf(l))
	if listOf(l.Key) == "programmes" {
		for _, p := range is.Programmes {
			if fmt.Sprintf("%q", p.Name) == nameOf(l) {
				s += ": " + p.notation(is.Units.Temperature)
			}
		}
	}
	if listOf(l.Key) == "people" {
		for _, p := range is.People {
			if fmt.Sprintf("%q", p.By) == nameOf(l) {
				s += ": " + p.Role
			}
		}
	}
	return s
}

// leafWords name a setting.
func leafWords(l Leaf) string {
	w := l.Key
	if u, ok := UsualOf(l.Key); ok {
		w = u.Words
	}
	if l.Entry != "" {
		w = one(listOf(l.Key)) + " " + l.Entry + ", " + w
	} else if strings.HasPrefix(l.Key, "flash.prior.") {
		w += " (" + strings.Split(l.Key, ".")[2] + ")"
	}
	return w
}

// shown is a value in the units of the house.
func shown(l Leaf, in Units) string {
	if v, ok := l.Number(); ok {
		u, known := UsualOf(l.Key)
		if v == 0 && known && u.Zero {
			return "not set"
		}
		return u.Show(v, in)
	}
	if l.Value.CanInterface() && l.Value.Kind().String() == "string" && l.Value.String() == "" {
		return "not set"
	}
	return fmt.Sprint(l.Value)
}
