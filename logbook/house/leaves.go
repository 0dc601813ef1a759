package house

import (
	"fmt"
	"reflect"
	"strings"
)

// Leaf is one value of an action or of the settings: a number, a text or a switch.
type Leaf struct {
	Key   string        // act or table and field, as in bath-load.stages.temp_c
	Entry string        // of a list: the name or number of what it belongs to, as in `"long, 9 h", stage 1`
	Value reflect.Value // its kind is a number, a string or a bool
}

// Number gives the value of a leaf that is a number.
func (l Leaf) Number() (v float64, ok bool) {
	switch {
	case l.Value.CanInt():
		return float64(l.Value.Int()), true
	case l.Value.CanFloat():
		return l.Value.Float(), true
	}
	return 0, false
}

// Leaves lists every value of a struct by its JSON names, those inside lists with the
// entry they belong to. Raw JSON and maps are left out.
func Leaves(key string, v any) []Leaf { return leaves(nil, key, "", reflect.ValueOf(v)) }

func leaves(out []Leaf, key, entry string, v reflect.Value) []Leaf {
	switch v.Kind() {
	case reflect.Struct:
		t := v.Type()
		for i := range t.NumField() {
			name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
			if name == "" || name == "-" {
				continue
			}
			if key != "" {
				name = key + "." + name
			}
			out = leaves(out, name, entry, v.Field(i))
		}
	case reflect.Slice:
		if v.Type().Elem().Kind() == reflect.Uint8 {
			return out
		}
		for i := range v.Len() {
			out = leaves(out, key, joined(entry, entryName(key, i, v.Index(i))), v.Index(i))
		}
	case reflect.Pointer:
		if !v.IsNil() {
			return leaves(out, key, entry, v.Elem())
		}
	case reflect.Bool, reflect.String, reflect.Int, reflect.Int64, reflect.Float64:
		out = append(out, Leaf{key, entry, v})
	}
	return out
}

func joined(a, b string) string {
	if a == "" {
		return b
	}
	return a + ", " + b
}

// entryName names an entry of a list: by its name, by the initials or the flask it is about, or
// by its number.
func entryName(key string, i int, v reflect.Value) string {
	if v.Kind() == reflect.String {
		return fmt.Sprintf("%q", v.String())
	}
	if v.Kind() == reflect.Struct {
		for _, named := range []string{"Name", "By"} {
			if n := v.FieldByName(named); n.IsValid() {
				return fmt.Sprintf("%q", n.String())
			}
		}
		if n := v.FieldByName("Flask"); n.IsValid() && n.CanInt() {
			return fmt.Sprintf("flask %d", n.Int())
		}
	}
	return fmt.Sprintf("%s %d", strings.TrimSuffix(key[strings.LastIndexByte(key, '.')+1:], "s"), i+1)
}
