package house

import (
	"bytes"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flaskside/logbook/route"
)

// A file changes of a route what it gives and nothing else; switched off and on, removed, and
// a step of the house's own between others.
func TestRoutesMergeByName(t *testing.T) {
	h, err := ReadTOML(strings.NewReader(`
[[routes]]
name = 'packed'
[[routes.steps]]
name = 'boil-out'
aim_s = '6 min'
[[routes.steps]]
name = 'dry-out'
kind = 'timer'
min_s = '2 min'
[[routes.steps]]
name = 'storage'
off = true
[[routes]]
name = 'splint'
words = 'splint, poured'
[[routes.steps]]
name = 'pour'
kind = 'instant'
`), Default())
	if err != nil {
		t.Fatal(err)
	}
	packed, ok := h.Route(route.Packed)
	boil, at := packed.Step("boil-out")
	if !ok || boil.AimS != 360 || boil.MinS != 240 || boil.MaxS != 480 || boil.Caution != "scald" {
		t.Errorf("boil-out became %+v", boil)
	}
	if s, i := packed.Step("dry-out"); i != at+1 || s.MinS != 120 || s.Called() != "dry out" {
		t.Errorf("the step of the house's own is %+v at %d, not behind %d", s, i, at)
	}
	if s, _ := packed.Step("storage"); !s.Off {
		t.Error("storage was not switched off")
	}
	if r, ok := h.Route("splint"); !ok || len(r.Tracked()) != 1 {
		t.Errorf("the route of the house's own is %+v", r)
	}
	pot, _ := h.Route(route.Pot)
	if was, _ := Default().Route(route.Pot); !reflect.DeepEqual(pot, was) {
		t.Error("a route that the file does not name was changed")
	}
	back, err := ReadTOML(strings.NewReader("[remove]\nroutes = ['packed', 'splint']"), h)
	if err != nil || len(back.Routes) != 0 {
		t.Errorf("removed, the house still has %v, %v", back.Routes, err)
	}
	if cs := ChangeWords(Changes(Default(), h)); len(cs) < 4 || !strings.Contains(strings.Join(cs, "\n"), "5 min → 6 min") {
		t.Errorf("the changes are told as %q", cs)
	}
}

// What cannot be is refused with one line that names the route and the step.
func TestRoutesRefused(t *testing.T) {
	for text, want := range map[string]string{
		"[[routes]]\nname='packed'\nremake='nowhere'":                                                                  `route "packed": remake must name one of its steps, not "nowhere"`,
		"[[routes]]\nname='packed'\n[[routes.steps]]\nname='cap'\n[[routes.steps.fields]]\nname='jar'\nof='sugar lot'": `of must be one of temperature, pressure, grams, mm, number, text, powder lot, liquid lot`,
		"[[routes]]\nname='packed'\n[[routes.steps]]\nname='cap'\nmax_s='1 min'":                                       `route "packed": step "cap": max_s is before min_s or aim_s`,
		"[[routes]]\nname='packed'\n[[routes.steps]]\nname='cap'\nplace='roof'":                                        `place must be one of bench, press, bath, pot, oven, not "roof"`,
		"[[routes]]\nname='packed'\n[[routes.steps]]\nname='new'\nkind='timer'\nafter='nowhere'":                       `there is no step "nowhere"`,
		"[[routes]]\nname='Packed It'\n[[routes.steps]]\nname='a'\nkind='instant'":                                     `a name has 1 to 24 small letters, digits and hyphens, not "Packed It"`,
		"[[routes]]\nname='x'": `route "x": give 1 to 40 steps, not 0`,
		"[[routes]]\nname='pot'\n[[routes.steps]]\nname='pot'\n[[routes.steps.fields]]\nname='gauge'\nof='pressure'\nlow='3 bar'\nhigh='2 bar'": `field "gauge": high is below low`,
		"[remove]\nroutes=['packed']": `the house has no route "packed" of its own`,
	} {
		_, err := ReadTOML(strings.NewReader(text), Default())
		if err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q gave %v, want %q", text, err, want)
		}
	}
}

// Whatever a house makes of the routes, its settings file reads back exactly, into a house of
// any other routes.
func TestRoutesReadBack(outer *testing.T) {
	rapid.Check(outer, func(t *rapid.T) {
		drawn := func(name string) House {
			h := Default()
			for _, r := range h.RouteTables() {
				if rapid.Bool().Draw(t, name+r.Name) {
					continue
				}
				steps := make([]route.Step, 0, len(r.Steps))
				for _, s := range r.Steps {
					switch rapid.IntRange(0, 5).Draw(t, s.Name) {
					case 0:
						s.Off = !s.Off
					case 1:
						s.MinS, s.AimS, s.MaxS, s.Keys, s.Caution = 0, 0, 0, 0, ""
						if s.Kind == route.Hold {
							s.MinS = 77
						}
					case 2:
						if s.Fields = nil; s.Kind == route.Value {
							s.Kind = route.Instant
						}
					case 3:
						continue
					}
					steps = append(steps, s)
				}
				if len(steps) > 0 {
					r.Steps = steps
					if _, at := r.Step(r.Remake); at < 0 {
						r.Remake = ""
					}
					h.Routes = append(h.Routes, r)
				}
			}
			return h
		}
		h, base := drawn("is"), drawn("was")
		if err := h.Valid(); err != nil {
			t.Skip(err)
		}
		var b bytes.Buffer
		if err := h.WriteTOML(&b); err != nil {
			t.Fatal(err)
		}
		got, err := ReadTOML(&b, base)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range h.Routes {
			if is, _ := got.Route(r.Name); !reflect.DeepEqual(is.Tracked(), r.Tracked()) || is.Remake != r.Remake {
				t.Fatalf("route %s\n%+v came back as\n%+v", r.Name, r, is)
			}
		}
	})
}
