package record

import (
	"bytes"
	"encoding"
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
)

// flat is a kind of body that is read field by field: numbers, texts, yes and no, lists of them and of such bodies, each as it is
// written and in its place. Most records have such a body, and to decode it, encode it and compare took most of the time
// of reading them.
type flat []flatField

type flatField struct {
	first, next string // how the field begins as the first one, and after another
	index       int
	kind        reflect.Kind // Invalid: of a shape that is not read here
	elem        reflect.Kind // of a list
	of          flat         // of a list of things that have fields themselves
	omit        bool         // left out where it is empty
}

// flatOf learns a type of body; nil where a field that cannot be left out has a shape that is not read here.
func flatOf(t reflect.Type) flat {
	if writesItself(t) {
		return nil
	}
	out := flat{}
	for i := range t.NumField() {
		f := t.Field(i)
		name, rest, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.Anonymous || !f.IsExported() || name == "" || name == "-" || rest != "" && rest != "omitempty" {
			return nil
		}
		x := flatField{first: `"` + name + `":`, next: `,"` + name + `":`, index: i, omit: rest != ""}
		switch k := f.Type.Kind(); {
		case writesItself(f.Type):
		case k == reflect.Slice && scalar(f.Type.Elem()):
			x.kind, x.elem = k, f.Type.Elem().Kind()
		case k == reflect.Slice && f.Type.Elem().Kind() == reflect.Struct:
			if x.of = flatOf(f.Type.Elem()); x.of != nil {
				x.kind, x.elem = k, reflect.Struct
			}
		case scalar(f.Type):
			x.kind = k
		}
		if x.kind == reflect.Invalid && !x.omit {
			return nil
		}
		out = append(out, x)
	}
	return out
}

func scalar(t reflect.Type) bool {
	switch t.Kind() {
	case reflect.Int, reflect.String, reflect.Bool, reflect.Float64:
		return !writesItself(t)
	}
	return false
}

// writesItself tells whether a type has a JSON of its own.
func writesItself(t reflect.Type) bool {
	for _, t := range []reflect.Type{t, reflect.PointerTo(t)} {
		if slices.ContainsFunc([]reflect.Type{reflect.TypeFor[json.Marshaler](), reflect.TypeFor[json.Unmarshaler](), reflect.TypeFor[encoding.TextMarshaler](), reflect.TypeFor[encoding.TextUnmarshaler]()}, t.Implements) {
			return true
		}
	}
	return false
}

// read sets a body from bytes that are what it is written as; false where they are not, or that cannot be told here.
func (fs flat) read(raw []byte, body reflect.Value) bool {
	c := cut{rest: raw}
	return fs.object(&c, body) && len(c.rest) == 0
}

// object reads an object from the front of what is cut.
func (fs flat) object(c *cut, body reflect.Value) bool {
	c.want("{")
	begun := false
	for i := range fs {
		f := &fs[i]
		open := f.first
		if begun {
			open = f.next
		}
		if !c.has(open) {
			if f.omit {
				continue
			}
			return false
		}
		begun = true
		v := body.Field(f.index)
		switch f.kind {
		case reflect.Invalid:
			return false
		case reflect.Slice:
			if !c.list(v, f) {
				return false
			}
		default:
			c.scalar(v, f.kind)
			if f.omit && v.IsZero() || c.bad {
				return false
			}
		}
	}
	c.want("}")
	return !c.bad
}

// list reads a list that is not empty.
func (c *cut) list(v reflect.Value, f *flatField) bool {
	c.want("[")
	n := 0
	for !c.bad {
		if n == v.Cap() {
			v.Grow(1)
		}
		v.SetLen(n + 1)
		if f.of != nil {
			c.bad = !f.of.object(c, v.Index(n)) || c.bad
		} else {
			c.scalar(v.Index(n), f.elem)
		}
		n++
		if !c.has(",") {
			break
		}
	}
	c.want("]")
	return !c.bad
}

// scalar reads a value that is written as this program writes it.
func (c *cut) scalar(v reflect.Value, kind reflect.Kind) {
	var room [32]byte
	switch kind {
	case reflect.Bool:
		if c.has("true") {
			v.SetBool(true)
			return
		}
		c.want("false")
	case reflect.String:
		c.want(`"`)
		s := c.text()
		// The line ends of Unicode are escaped by whoever writes JSON.
		c.bad = c.bad || bytes.Contains(s, []byte("\u2028")) || bytes.Contains(s, []byte("\u2029"))
		v.SetString(string(s))
	case reflect.Int:
		s := c.number()
		n, err := strconv.ParseInt(string(s), 10, strconv.IntSize)
		c.bad = c.bad || err != nil || !bytes.Equal(strconv.AppendInt(room[:0], n, 10), s)
		v.SetInt(n)
	case reflect.Float64:
		s := c.number()
		x, err := strconv.ParseFloat(string(s), 64)
		a := math.Abs(x) // outside these JSON is written with an exponent
		c.bad = c.bad || err != nil || a != 0 && !(a >= 1e-6 && a < 1e21) || !bytes.Equal(strconv.AppendFloat(room[:0], x, 'f', -1, 64), s)
		v.SetFloat(x)
	default:
		c.bad = true
	}
}

// number reads digits, signs and points.
func (c *cut) number() []byte {
	i := 0
	for i < len(c.rest) && (c.rest[i] >= '0' && c.rest[i] <= '9' || c.rest[i] == '-' || c.rest[i] == '.') {
		i++
	}
	s := c.rest[:i]
	c.rest = c.rest[i:]
	return s
}
