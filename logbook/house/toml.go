package house

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"

	"flaskside/logbook/route"
	"flaskside/logbook/words"
	"flaskside/timers/dough"
)

// maxFile is the largest settings file read, in bytes.
const maxFile = 48 << 10

// settingsFile is what a file may hold: settings, and what is to be removed from lists.
type settingsFile struct {
	House
	Remove struct {
		Crew       []string `toml:"crew"`
		People     []string `toml:"people"`
		Baths      []string `toml:"baths"`
		Programmes []string `toml:"programmes"`
		Resins     []string `toml:"resins"`
		Routes     []string `toml:"routes"`
	} `toml:"remove"`
}

// ReadTOML reads settings strictly; fields left out keep the values of base. Lists merge
// by name: an entry of a new name is added, of a known one what is given of it is
// changed, and only what stands in [remove] goes. A number may be a text with its unit:
// "207 bar", "165 F", "9 h".
func ReadTOML(r io.Reader, base House) (House, error) {
	b, err := io.ReadAll(io.LimitReader(r, maxFile+1))
	if err != nil {
		return House{}, fmt.Errorf("read settings: %w", err)
	}
	if len(b) > maxFile {
		return House{}, fmt.Errorf("settings: the file is larger than %d bytes", maxFile)
	}
	if !utf8.Valid(b) {
		return House{}, errors.New("settings: the file is not UTF-8 text")
	}
	plainNumbers, err := textsToNumbers(b)
	if err != nil {
		return House{}, err
	}
	file := settingsFile{House: base}
	file.Crew, file.People, file.Baths, file.Programmes, file.Resins, file.Routes = nil, nil, nil, nil, nil, nil
	d := toml.NewDecoder(bytes.NewReader(plainNumbers)).DisallowUnknownFields()
	if err := d.Decode(&file); err != nil {
		return House{}, tomlError(err)
	}
	var given struct{ People, Baths, Programmes, Resins, Routes []map[string]any }
	if err := toml.Unmarshal(plainNumbers, &given); err != nil {
		return House{}, tomlError(err)
	}
	h, gone := file.House, file.Remove
	initials := func(s string) string { return s }
	h.Crew, err = merged("crew", base.Crew, file.Crew, nil, initials, gone.Crew)
	fail := func(e error) {
		if err == nil {
			err = e
		}
	}
	var e error
	h.People, e = merged("people", base.People, file.People, given.People, func(p Person) string { return p.By }, gone.People)
	fail(e)
	fail(oneEach(h.People))
	h.Baths, e = merged("baths", base.Baths, file.Baths, given.Baths, func(b Bath) string { return b.Name }, gone.Baths)
	fail(e)
	h.Programmes, e = merged("programmes", base.Programmes, file.Programmes, given.Programmes, func(p Programme) string { return p.Name }, gone.Programmes)
	fail(e)
	h.Resins, e = merged("resins", base.Resins, file.Resins, given.Resins, func(r dough.Resin) string { return r.Name }, gone.Resins)
	fail(e)
	h.Routes, e = route.Merge(base.Routes, given.Routes, gone.Routes)
	fail(e)
	if err != nil {
		return House{}, err
	}
	for i, r := range h.Resins {
		h.Resins[i] = r.WithDefaults()
	}
	return h, placed(h.Valid(), b)
}

// merged merges the entries of a file into those of the house. given are the same
// entries as the file writes them, field by field, where they have fields.
func merged[T any](list string, was, file []T, given []map[string]any, name func(T) string, remove []string) ([]T, error) {
	out := slices.Clone(was)
	at := func(s string) int { return slices.IndexFunc(out, func(x T) bool { return name(x) == s }) }
	inFile := map[string]bool{}
	for i, x := range file {
		n := name(x)
		switch {
		case strings.TrimSpace(n) == "":
			return nil, fmt.Errorf("settings: an entry of %s has no name", list)
		case inFile[n]:
			return nil, fmt.Errorf("settings: two %s are called %q", list, words.Clip(n, 60))
		case slices.Contains(remove, n):
			return nil, fmt.Errorf("settings: %s: %q is given and removed in one file", list, words.Clip(n, 60))
		}
		inFile[n] = true
		j := at(n)
		if j < 0 {
			out = append(out, x)
			continue
		}
		if given == nil {
			continue
		}
		y, err := overlaid(out[j], given[i])
		if err != nil {
			return nil, fmt.Errorf("settings: %s %q: %w", list, words.Clip(n, 60), err)
		}
		out[j] = y
	}
	for _, n := range remove {
		j := at(n)
		if j < 0 {
			return nil, fmt.Errorf("settings: remove.%s: there is no %q; there are %s", list, words.Clip(n, 60), words.Clip(strings.Join(names(out, name), ", "), 60))
		}
		out = slices.Delete(out, j, j+1)
	}
	return out, nil
}

func names[T any](xs []T, name func(T) string) []string {
	out := make([]string, len(xs))
	for i, x := range xs {
		out[i] = fmt.Sprintf("%q", name(x))
	}
	return out
}

// overlaid is an entry with the fields given in their new values; a list within it is
// given as a whole.
func overlaid[T any](was T, fields map[string]any) (T, error) {
	b, err := toml.Marshal(fields)
	if err != nil {
		return was, err
	}
	if p, ok := any(&was).(*Programme); ok && fields["stages"] != nil {
		p.Stages = nil
	}
	err = toml.Unmarshal(b, &was)
	return was, err
}

// placed says on which line the setting stands that an error is about, where the error
// names one and the file has it.
func placed(err error, file []byte) error {
	if err == nil {
		return nil
	}
	said, ok := strings.CutPrefix(err.Error(), "settings: ")
	name, _, _ := strings.Cut(said, " ")
	table, key, dotted := strings.Cut(name, ".")
	if !ok || !dotted {
		return err
	}
	in := ""
	for i, l := range strings.Split(string(file), "\n") {
		l = strings.TrimSpace(l)
		if t := strings.Trim(l, "[]"); strings.HasPrefix(l, "[") {
			in = t
		}
		if k, _, ok := strings.Cut(l, "="); ok && in == table && strings.TrimSpace(k) == key {
			return fmt.Errorf("settings: line %d: %s", i+1, said)
		}
	}
	return err
}

func tomlError(err error) error {
	var miss *toml.StrictMissingError
	if errors.As(err, &miss) && len(miss.Errors) > 0 {
		row, _ := miss.Errors[0].Position()
		return fmt.Errorf("settings: line %d: unknown setting %q", row, words.Clip(strings.Join(miss.Errors[0].Key(), "."), 60))
	}
	if de, ok := errors.AsType[*toml.DecodeError](err); ok {
		row, _ := de.Position()
		return fmt.Errorf("settings: line %d: %s", row, strings.TrimPrefix(de.Error(), "toml: "))
	}
	return fmt.Errorf("settings: %s", strings.SplitN(err.Error(), "\n", 2)[0])
}

// fileHead stands at the top of an exported file.
const fileHead = "# flaskside settings. A number may be written with its unit: '207 bar', '165 F', '9 h', '30 min'.\n" +
	"# Without one it is in the unit that its name ends in: _s seconds, _c °C, _psi, _mm, _g.\n" +
	"# A file can be partial: what it leaves out stays as it is. Lists merge by name; to take entries out, write\n" +
	"# [remove] with their names, as in: programmes = ['quick and boil']\n"

// WriteTOML writes settings with their comments, in the units of the house; [ReadTOML]
// reads them back exactly as they were.
func (h House) WriteTOML(w io.Writer) error {
	var b bytes.Buffer
	b.WriteString(fileHead)
	h.Routes = slices.Clone(h.Routes)
	for i := range h.Routes {
		h.Routes[i].Anew = true // what they leave out is not to be read from the tables of the program
	}
	if err := toml.NewEncoder(&b).Encode(h); err != nil {
		return fmt.Errorf("write settings: %w", err)
	}
	if _, err := w.Write(numbersToTexts(b.Bytes(), h.Units)); err != nil {
		return fmt.Errorf("write settings: %w", err)
	}
	return nil
}

// FromFile says which file settings were read of, as a record takes it: what cannot stand there
// is taken out of a stranger's name.
func FromFile(name string) string {
	rs := []rune(strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return '_'
	}, strings.ToValidUTF8("file "+name, "_")))
	return string(rs[:min(len(rs), maxFrom)])
}

// maxFrom is how much of that a record takes.
const maxFrom = 120
