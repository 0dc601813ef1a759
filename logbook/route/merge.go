package route

import (
	"fmt"
	"io"
	"slices"

	"github.com/pelletier/go-toml/v2"

	"flaskside/logbook/words"
)

// Merge lays the routes of a settings file over those of a house. given are the routes as
// the file writes them, field by field. A route, and each of its steps, is found by its name:
// what is given of it is changed, all else stays as it was; a step of a new name goes behind
// the one that it names as after, or behind the step written before it, or to the end.
// A route that says anew is written whole. What comes back are the routes that are not those of the program, each whole.
func Merge(own []Route, given []map[string]any, remove []string) ([]Route, error) {
	out := slices.Clone(own)
	inFile := map[string]bool{}
	for _, g := range given {
		name, _ := g["name"].(string)
		switch {
		case name == "":
			return nil, fmt.Errorf("settings: an entry of routes has no name")
		case inFile[name]:
			return nil, fmt.Errorf("settings: two routes are called %s", words.Quoted(name))
		case slices.Contains(remove, name):
			return nil, fmt.Errorf("settings: routes: %s is given and removed in one file", words.Quoted(name))
		}
		inFile[name] = true
		was := Find(Tables(out), name, Route{Name: name})
		if whole, _ := g["anew"].(bool); whole {
			was = Route{Name: name}
		}
		r, err := laid(was, g)
		r.Anew = false
		if err != nil {
			return nil, fmt.Errorf("settings: route %s: %w", words.Quoted(name), err)
		}
		if i := slices.IndexFunc(out, func(o Route) bool { return o.Name == name }); i >= 0 {
			out[i] = r
			continue
		}
		out = append(out, r)
	}
	for _, n := range remove {
		i := slices.IndexFunc(out, func(o Route) bool { return o.Name == n })
		if i < 0 {
			return nil, fmt.Errorf("settings: remove.routes: the house has no route %s of its own", words.Quoted(n))
		}
		out = slices.Delete(out, i, i+1)
	}
	return out, nil
}

// laid lays what a file gives over a route.
func laid(was Route, given map[string]any) (Route, error) {
	fields, steps := map[string]any{}, []any(nil)
	for k, v := range given {
		if k == "steps" {
			steps, _ = v.([]any)
			continue
		}
		fields[k] = v
	}
	is := was
	is.Steps = nil
	if err := overlay(&is, fields); err != nil {
		return is, err
	}
	is.Steps = slices.Clone(was.Steps)
	at := -1 // of the step that the file wrote last
	for _, s := range steps {
		g, _ := s.(map[string]any)
		name, _ := g["name"].(string)
		_, i := is.Step(name)
		next := Step{Name: name}
		if i >= 0 {
			next = is.Steps[i]
		}
		for _, list := range []struct {
			key string
			nil func()
		}{{"good", func() { next.Good = nil }}, {"bad", func() { next.Bad = nil }}, {"fields", func() { next.Fields = nil }}} {
			if g[list.key] != nil { // a list within a step is given whole
				list.nil()
			}
		}
		if err := overlay(&next, g); err != nil {
			return is, fmt.Errorf("step %s: %w", words.Quoted(name), err)
		}
		after := next.After
		next.After = ""
		if i < 0 {
			j := len(is.Steps)
			if at >= 0 {
				j = at + 1
			}
			if after != "" {
				_, k := is.Step(after)
				if k < 0 {
					return is, fmt.Errorf("step %s: after: there is no step %s", words.Quoted(name), words.Quoted(after))
				}
				j = k + 1
			}
			is.Steps = slices.Insert(is.Steps, j, next)
			at = j
			continue
		}
		is.Steps[i], at = next, i
	}
	return is, nil
}

func overlay[T any](was *T, fields map[string]any) error {
	b, err := toml.Marshal(fields)
	if err != nil {
		return err
	}
	return toml.Unmarshal(b, was)
}

// WriteTOML writes a route whole, as a settings file takes it.
func (r Route) WriteTOML(w io.Writer) error {
	r.Anew = true
	if err := toml.NewEncoder(w).Encode(struct {
		Routes []Route `toml:"routes"`
	}{[]Route{r}}); err != nil {
		return fmt.Errorf("write a route: %w", err)
	}
	return nil
}
