package house

import (
	"io"
	"slices"

	"flaskside/logbook/route"
	"flaskside/timers/each"
)

// RouteTables lists the routes in force: those of the program as the house has changed them,
// then its own.
func (h House) RouteTables() []route.Route { return route.Tables(h.Routes) }

// Route finds a route in force by its name; ok is false where there is none.
func (h House) Route(name string) (r route.Route, ok bool) {
	r = route.Find(h.RouteTables(), name, route.Route{})
	return r, r.Name != "" && r.Name == name
}

// RoutesOn lists the routes that a case can be taken in for.
func (h House) RoutesOn() []route.Route {
	return each.That(h.RouteTables(), func(r route.Route) bool { return !r.Off })
}

// Spots is how many cases can be in a place at once, each closed for itself; 0 for any number.
func (h House) Spots(place string) int {
	switch place {
	case "pot":
		return max(1, h.Pots)
	case "oven":
		return max(1, h.Ovens)
	case "press":
		return max(1, h.Press.Presses)
	case "bath":
		return len(h.Baths)
	}
	return 0
}

// WriteRoute writes a route as a settings file takes it: one that the house did not change as it
// is written in the program, with its comments.
func (h House) WriteRoute(w io.Writer, r route.Route) error {
	own := slices.ContainsFunc(h.Routes, func(o route.Route) bool { return o.Name == r.Name })
	if text, ok := route.Source(r.Name); ok && !own {
		_, err := w.Write(text)
		return err
	}
	return r.WriteTOML(w)
}
