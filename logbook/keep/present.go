package keep

import (
	"cmp"
	"fmt"

	"flaskside/logbook/words"
)

// Words say who is on a screen, since when and where.
func (p Present) Words() string {
	since := "since " + p.Since.Format("Mon 02 Jan 15:04")
	switch p.Person.From {
	case NoScreen:
		return "keeper         " + since + ", without a screen"
	case OnWall:
		return "board          " + since + ", on the wall, to look at only"
	}
	said := fmt.Sprintf("%-8s %-4s  %s", cmp.Or(p.Person.By, "?"), p.Person.Role, since)
	switch who := p.Person; {
	case who.Own:
		said += ", at the program that has the logbook"
	case who.Key != "":
		said += ", from " + who.From + " with " + who.Key
	case who.From != "":
		said += ", at " + who.From
	}
	if p.Person.Away {
		said += ", away from the bench"
	}
	return words.Clean(said)
}
