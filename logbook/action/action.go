// Package action holds what a person can tell the bench: one action, one record.
// An action is a JSON object
//
//	{"id":"…","at":"2026-11-25T14:07:32+01:00","by":"KT","act":"flash",
//	 "body":{"flask":3,"grade":"heavy"},"why":"4"}
//
// id is chosen by whoever acts and makes saying the same thing twice harmless; at
// is when it happened (RFC 3339, with an offset); by are initials; act names the
// kind and decides the fields of the body; why gives the reason for a step that
// was unusual. Decoding is strict: an unknown or repeated field, an impossible
// value or text that is not UTF-8 is refused with one line that says what would
// be right. Start with [Decode] and [Kinds].
package action

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"flaskside/logbook/words"
)

// Kind names what was done.
type Kind string

// Subject is a thing that records are about: a flask, a mix, a load, a timer.
type Subject struct {
	Class byte // 'f' flask, 'm' mix, 'l' load, 't' timer
	No    int
}

// String gives the short name of a subject, "f3".
func (s Subject) String() string { return fmt.Sprintf("%c%d", s.Class, s.No) }

// Body is the part of an action that differs by kind.
type Body interface {
	Kind() Kind
	// Valid says what is wrong with the values themselves, whatever the bench
	// holds.
	Valid() error
	// Subjects lists what the action is about; an action about the whole bench has
	// none.
	Subjects() []Subject

	tell(t Teller) string // in words; so that bodies are made in this package alone
}

// Action is one thing done at the bench.
type Action struct {
	ID      string
	At      time.Time
	By      string
	Body    Body
	Unusual []string // codes of what was out of the ordinary, filled in by the bench
	Why     string   // a digit of [words.Reasons], or words
}

// Kind of the action.
func (a Action) Kind() Kind { return a.Body.Kind() }

// wire is the JSON form; the record-only fields are allowed on input so that what
// an export wrote can be read again, and are ignored.
type wire struct {
	ID      string          `json:"id"`
	At      time.Time       `json:"at"`
	By      string          `json:"by,omitempty"`
	Act     Kind            `json:"act"`
	Body    json.RawMessage `json:"body"`
	Unusual []string        `json:"unusual,omitempty"`
	Why     string          `json:"why,omitempty"`
}

type wireIn struct {
	wire
	V       json.RawMessage `json:"v,omitempty"`
	Seq     json.RawMessage `json:"seq,omitempty"`
	Prev    json.RawMessage `json:"prev,omitempty"`
	Written json.RawMessage `json:"written,omitempty"`
	Zone    json.RawMessage `json:"zone,omitempty"`
	Boot    json.RawMessage `json:"boot,omitempty"`
	BootNs  json.RawMessage `json:"boot_ns,omitempty"`
	Carried json.RawMessage `json:"carried,omitempty"`
}

// Encode writes a value as JSON on one line, with no character escaped that JSON
// does not want escaped: the logbook is read by people too.
func Encode(v any) ([]byte, error) {
	var buf bytes.Buffer
	e := json.NewEncoder(&buf)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimRight(buf.Bytes(), "\n"), nil
}

// MarshalJSON writes the wire form.
func (a Action) MarshalJSON() ([]byte, error) {
	body, err := Encode(a.Body)
	if err != nil {
		return nil, fmt.Errorf("write action %s: %w", a.Kind(), err)
	}
	return Encode(wire{a.ID, a.At, a.By, a.Kind(), body, a.Unusual, a.Why})
}

// UnmarshalJSON is [Decode].
func (a *Action) UnmarshalJSON(b []byte) error {
	got, err := Decode(b)
	if err == nil {
		*a = got
	}
	return err
}

// MaxLine is the longest action in bytes; no honest one comes near it.
const MaxLine = 64 << 10

// Decode reads one action strictly. Its errors are one line, meant for the person
// who wrote it.
func Decode(b []byte) (Action, error) {
	if len(b) > MaxLine {
		return Action{}, fmt.Errorf("an action has at most %d bytes, this has %d", MaxLine, len(b))
	}
	var w wireIn
	if err := strict(b, &w); err != nil {
		return Action{}, err
	}
	a := Action{ID: w.ID, At: w.At.Round(0), By: w.By, Unusual: w.Unusual, Why: w.Why}
	body, err := DecodeBody(w.Act, w.Body)
	if err != nil {
		return Action{}, inOneLine(err)
	}
	a.Body = body
	return a, a.Valid()
}

// DecodeBody reads the body of a kind strictly and checks its values.
func DecodeBody(k Kind, b []byte) (Body, error) {
	mk, ok := byKind[k]
	if !ok {
		if k == "" {
			return nil, errors.New(`"act" is missing: it names what was done, as in "act":"flash"`)
		}
		return nil, fmt.Errorf("unknown act %q: the acts are %s", clip(string(k)), Words(Kinds()))
	}
	if len(b) == 0 {
		return nil, fmt.Errorf(`act %s: "body" is missing`, k)
	}
	body := mk()
	if err := strict(b, body); err != nil {
		return nil, fmt.Errorf("act %s: %w", k, err)
	}
	if err := complete(b, body); err != nil {
		return nil, fmt.Errorf("act %s: %w", k, err)
	}
	body = reflect.ValueOf(body).Elem().Interface().(Body)
	if err := body.Valid(); err != nil {
		return nil, fmt.Errorf("act %s: %w", k, err)
	}
	return body, nil
}

// Valid checks the frame and the body.
func (a Action) Valid() error {
	switch {
	case a.ID == "":
		return errors.New(`"id" is missing: give each action an id of its own, so that it is never recorded twice`)
	case len(a.ID) > 64:
		return fmt.Errorf("an id has at most 64 characters, this has %d", len(a.ID))
	case a.At.IsZero():
		return errors.New(`"at" is missing: when was it done? as in "at":"2026-11-25T14:07:32+01:00"`)
	case a.At.Year() < 1990 || a.At.Year() > 2200:
		return fmt.Errorf(`"at" says the year %d: check the date`, a.At.Year())
	case a.Body == nil:
		return errors.New(`"body" is missing`)
	}
	if err := text("id", a.ID, 64); err != nil {
		return err
	}
	if err := initials(a.By); err != nil {
		return err
	}
	if err := text("why", a.Why, 200); err != nil {
		return err
	}
	if len(a.Unusual) > 32 {
		return errors.New(`"unusual" has at most 32 entries`)
	}
	for _, u := range a.Unusual {
		if err := text("unusual", u, 60); err != nil {
			return err
		}
	}
	return a.Body.Valid()
}

// strict decodes exactly one JSON value: UTF-8, no unknown, repeated or wrongly
// cased field, nothing behind it.
func strict(b []byte, into any) error {
	if !utf8.Valid(b) {
		return errors.New("the text is not UTF-8")
	}
	walk := json.NewDecoder(bytes.NewReader(b))
	walk.UseNumber() // whether a number fits is for its field to say
	if err := noRepeats(walk, 0); err != nil {
		return err
	}
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		if strings.HasPrefix(err.Error(), "json: unknown field") {
			return fmt.Errorf("%w: the fields are %s", plain(err), strings.Join(fieldNames(reflect.TypeOf(into).Elem()), ", "))
		}
		return plain(err)
	}
	if _, err := d.Token(); err != io.EOF {
		return errors.New("there is more after the end of the object: one action a line")
	}
	return nil
}

// fieldNames lists the JSON names of a struct.
func fieldNames(t reflect.Type) []string {
	var out []string
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		switch {
		case f.Anonymous:
			out = append(out, fieldNames(f.Type)...)
		case name != "":
			out = append(out, name)
		}
	}
	return out
}

// complete wants every field that may not be left out: a number that is missing must
// not be taken for a zero.
func complete(b []byte, body Body) error {
	var has map[string]json.RawMessage
	if err := json.Unmarshal(b, &has); err != nil {
		return plain(err)
	}
	t := reflect.TypeOf(body).Elem()
	for field := range t.Fields() {
		name, rest, _ := strings.Cut(field.Tag.Get("json"), ",")
		if v, ok := has[name]; rest == "" && (!ok || string(v) == "null") {
			return fmt.Errorf("%q is missing", name)
		}
	}
	return nil
}

// noRepeats walks the tokens: encoding/json lets the last of two equal names win,
// which no audit should have to explain.
func noRepeats(d *json.Decoder, depth int) error {
	if depth > 12 {
		return errors.New("the objects are nested too deeply")
	}
	t, err := d.Token()
	if err != nil {
		return plain(err)
	}
	open, ok := t.(json.Delim)
	if !ok {
		return nil
	}
	seen := map[string]bool{}
	for d.More() {
		if open == '{' {
			name, err := d.Token()
			if err != nil {
				return plain(err)
			}
			n, _ := name.(string)
			if n != strings.ToLower(n) {
				return fmt.Errorf("unknown field %q: names are in lower case", clip(n))
			}
			if seen[n] {
				return fmt.Errorf("the field %q is there twice", clip(n))
			}
			seen[n] = true
		}
		if err := noRepeats(d, depth+1); err != nil {
			return err
		}
	}
	_, err = d.Token()
	return plain(err)
}

// plain turns the decoder's errors into a line for people.
func plain(err error) error {
	var syn *json.SyntaxError
	var typ *json.UnmarshalTypeError
	var tim *time.ParseError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &typ):
		is := clip(strings.Replace("a "+typ.Value, "a array", "a list", 1))
		if typ.Field == "" {
			return fmt.Errorf("this is %s and not one JSON object", is)
		}
		return fmt.Errorf("the field %q cannot be %s: give %s", strings.TrimPrefix(typ.Field, "wire."), is, wants(typ.Type))
	case strings.HasPrefix(err.Error(), "Time.UnmarshalJSON"):
		return errors.New(`"at" is not text: write it as "2026-11-25T14:07:32+01:00" (RFC 3339)`)
	case errors.As(err, &tim):
		return fmt.Errorf("%q is not a time: write it as 2026-11-25T14:07:32+01:00 (RFC 3339)", clip(strings.Trim(tim.Value, `"`)))
	case errors.As(err, &syn), errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return errors.New("this is not one JSON object")
	}
	return errors.New(clip(strings.TrimPrefix(err.Error(), "json: ")))
}

func wants(t reflect.Type) string {
	switch t.Kind() {
	case reflect.Int, reflect.Int64:
		return "a whole number"
	case reflect.Float64:
		return "a number"
	case reflect.String:
		return "a text"
	case reflect.Bool:
		return "true or false"
	case reflect.Slice:
		return "a list"
	}
	return "an object"
}

// clip shortens a stranger's text for an error line and takes the control
// characters out of it.
func clip(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) {
			return '·'
		}
		return r
	}, s)
	return words.Clip(s, 60)
}

// inOneLine shortens a refusal that quotes more of a stranger's text than fits a line.
func inOneLine(err error) error {
	if s := err.Error(); utf8.RuneCountInString(s) > words.MostRefusal {
		return errors.New(words.Clip(s, words.MostRefusal-1))
	}
	return err
}

// text refuses what cannot stand in one line of a logbook: too much, or
// characters that move the cursor or hide.
func text(name, s string, most int) error {
	if n := utf8.RuneCountInString(s); n > most {
		return fmt.Errorf("%s has at most %d characters, this has %d", name, most, n)
	}
	for _, r := range s {
		if !shown(r) {
			return fmt.Errorf("%s holds a character that cannot be shown (%U): use plain letters, digits and signs", name, r)
		}
	}
	return nil
}

// shown tells whether a character can stand in one line of a logbook.
func shown(r rune) bool {
	return !unicode.IsControl(r) && !unicode.Is(unicode.Cf, r) && !unicode.Is(unicode.Zl, r) && !unicode.Is(unicode.Zp, r) && !hidden(r) && r != utf8.RuneError
}

// FileName gives the name of a file as a record can hold it: a name may hold anything, and what
// cannot be shown of it is a dot.
func FileName(name string) string {
	return strings.Map(func(r rune) rune {
		if !shown(r) {
			return '·'
		}
		return r
	}, name)
}

// hidden tells of letters and selectors that take no place on a screen.
func hidden(r rune) bool {
	return r >= 0xFE00 && r <= 0xFE0F || r >= 0xE0100 && r <= 0xE01EF || r == 0x115F || r == 0x1160 || r == 0x3164 || r == 0xFFA0
}

func initials(s string) error {
	if err := text("by", s, 8); err != nil {
		return err
	}
	if s != "" && strings.TrimSpace(s) == "" {
		return errors.New(`"by" is blank: give initials, or leave it out`)
	}
	return nil
}

// Words lists words of a fixed choice for a sentence, with commas.
func Words[T ~string](ks []T) string {
	ss := make([]string, len(ks))
	for i, k := range ks {
		ss[i] = string(k)
	}
	return strings.Join(ss, ", ")
}
