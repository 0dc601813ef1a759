package action

import (
	_ "embed"
	"slices"
)

//go:generate go test . -run TestSchemaIsMadeFromTheTypes -update-schema

//go:embed action.schema.json
var schema []byte

// Schema gives the JSON Schema (draft 2020-12) of an action, made from the types of this
// package by a test (see the generate line): one branch for each act with its body. It
// says what to write for [Decode], which knows more than a schema can say: a limit after
// its floor, a flask named in a section that is not in the load. An action that fits the
// schema can therefore still be refused.
func Schema() []byte { return slices.Clone(schema) }
