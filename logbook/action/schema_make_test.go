package action

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/invopop/jsonschema"

	"flaskside/logbook/words"
)

var updateSchema = flag.Bool("update-schema", false, "make action.schema.json anew")

// TestSchemaIsMadeFromTheTypes makes the schema anew and holds the file that the program
// carries against it.
func TestSchemaIsMadeFromTheTypes(t *testing.T) {
	want, err := made()
	if err != nil {
		t.Fatal(err)
	}
	if *updateSchema {
		if err := os.WriteFile("action.schema.json", want, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if !bytes.Equal(Schema(), want) {
		t.Error("action.schema.json is not what the types say: make it anew with go test ./logbook/action -run SchemaIsMade -update-schema, and read the diff")
	}
}

// made makes the schema from the types of this package: one branch for each act with
// its body.
func made() ([]byte, error) {
	root := frame()
	for _, mk := range makers {
		root.OneOf = append(root.OneOf, branch(mk()))
	}
	b, err := json.MarshalIndent(root, "", "  ")
	return append(b, '\n'), err
}

// frame is the part that all actions share.
func frame() *jsonschema.Schema {
	acts := make([]any, len(makers))
	for i, k := range Kinds() {
		acts[i] = k
	}
	s := &jsonschema.Schema{
		Version: jsonschema.Version,
		Title:   "flaskside action",
		Description: "One thing done at the bench. On standard input each stands on a line of its own (JSON Lines). " +
			"Values left out of a body are filled in from the book and the house settings.",
		Type:                 "object",
		Properties:           jsonschema.NewProperties(),
		Required:             []string{"id", "at", "act", "body"},
		AdditionalProperties: jsonschema.FalseSchema,
	}
	set := func(name string, p *jsonschema.Schema) { s.Properties.Set(name, p) }
	set("id", &jsonschema.Schema{Type: "string", MinLength: size(1), MaxLength: size(64), Description: "chosen by whoever acts; the same id again is the same action and harmless"})
	set("at", &jsonschema.Schema{Type: "string", Format: "date-time", Description: "when it was done, RFC 3339 with an offset"})
	set("by", &jsonschema.Schema{Type: "string", MaxLength: size(8), Description: "initials"})
	set("act", &jsonschema.Schema{Type: "string", Enum: acts})
	set("body", &jsonschema.Schema{Type: "object"})
	set("why", &jsonschema.Schema{Type: "string", MaxLength: size(200), Description: "reason for an unusual step: a digit (" + digits() + ") or words"})
	set("unusual", &jsonschema.Schema{Type: "array", MaxItems: size(32), Items: &jsonschema.Schema{Type: "string", MaxLength: size(60)}, Description: "ignored: the bench finds out for itself"})
	for _, name := range recordOnly() {
		set(name, &jsonschema.Schema{Description: "of a record; allowed so that an export can be read again, and ignored"})
	}
	return s
}

// recordOnly lists the fields that only a record has.
func recordOnly() []string {
	var out []string
	t := reflect.TypeFor[wireIn]()
	for i := range t.NumField() {
		if name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ","); name != "" {
			out = append(out, name)
		}
	}
	return out
}

func digits() string {
	out := make([]string, 0, len(words.Reasons))
	for i, reason := range words.Reasons {
		if i > 0 {
			out = append(out, fmt.Sprintf("%d %s", i, reason))
		}
	}
	return strings.Join(out, "; ")
}

// branch is one act with its body.
func branch(body Body) *jsonschema.Schema {
	r := jsonschema.Reflector{Anonymous: true, ExpandedStruct: true, DoNotReference: true, Namer: reflect.Type.String}
	b := r.Reflect(body)
	b.Version = ""
	narrow(b)
	props := jsonschema.NewProperties()
	props.Set("act", &jsonschema.Schema{Const: body.Kind()})
	props.Set("body", b)
	return &jsonschema.Schema{Title: string(body.Kind()), Properties: props}
}

// narrow adds what the names of fields say and their types do not.
func narrow(s *jsonschema.Schema) {
	for p := s.Properties.Oldest(); p != nil; p = p.Next() {
		v := p.Value
		switch name := p.Key; {
		case name == "place" && v.Type == "integer":
			v.Minimum, v.Maximum = "1", "9"
		case name == "flasks":
			v.MinItems, v.MaxItems, v.UniqueItems = size(1), size(9), true
		case name == "where":
			choose(v, Wheres)
		case name == "defects":
			choose(v, Defects)
		case name == "set":
			v.MinProperties = size(1)
		case v.Type == "integer" && slices.Contains([]string{"flask", "mix", "load", "press", "bath", "timer"}, name):
			v.Minimum = "0"
			if slices.Contains(s.Required, name) {
				v.Minimum = "1"
			}
		case v.Type == "integer" && strings.HasSuffix(name, "_s") && name != "by_s": // a clock can be set back
			v.Minimum, v.Maximum = "0", json.Number(fmt.Sprint(maxSeconds))
		}
		for _, inner := range []*jsonschema.Schema{v, v.Items} {
			if inner != nil && inner.Properties != nil {
				narrow(inner)
			}
		}
	}
}

func choose(list *jsonschema.Schema, words []string) {
	list.UniqueItems = true
	for _, w := range words {
		list.Items.Enum = append(list.Items.Enum, w)
	}
}

func size(n uint64) *uint64 { return &n }
