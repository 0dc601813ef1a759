package route

import (
	"bytes"
	"embed"
	"fmt"
	"sync"

	"github.com/pelletier/go-toml/v2"
)

//go:embed tables/*.toml
var tables embed.FS

// Names of the routes that come with the program.
const (
	Packed   = "packed"
	Pot      = "pot"
	Injected = "injected"
)

// program is read when it is first asked for, for most starts of the program need no route.
var program = sync.OnceValue(func() []Route {
	var out []Route
	for _, name := range []string{Packed, Pot, Injected} {
		var file struct{ Routes []Route }
		text, _ := Source(name)
		if err := toml.NewDecoder(bytes.NewReader(text)).DisallowUnknownFields().Decode(&file); err != nil {
			panic(fmt.Sprintf("the table of the route %q: %v", name, err))
		}
		out = append(out, file.Routes...)
	}
	return out
})

// Source is the table of a route of the program as it is written, with what each value
// rests on; a house can put it into its settings. ok is false for another route.
func Source(name string) (text []byte, ok bool) {
	text, err := tables.ReadFile("tables/" + name + ".toml")
	return text, err == nil
}
