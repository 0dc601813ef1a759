package record

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"reflect"
	"strconv"
	"time"
	"unicode/utf8"

	"flaskside/logbook/action"
	"flaskside/timers"
)

// Reader takes records apart as [Decode] does, several times faster where a
// record is written exactly as this program writes it; any other is left to
// [Decode], so that the answer is always the same. One goroutine uses it at a
// time.
type Reader struct {
	bodies              map[action.Kind]shape // learned from bodies that were read strictly
	buf                 bytes.Buffer
	zone, boot, by, why string // of the record before: mostly they are the same
}

// shape is a kind of body.
type shape struct {
	is   reflect.Type // nil: read strictly
	flat flat
}

// NewReader makes a reader.
func NewReader() *Reader { return &Reader{bodies: map[action.Kind]shape{}} }

// Decode takes the bytes of a record apart. They are kept, not copied.
func (q *Reader) Decode(raw []byte) (Record, error) {
	if r, ok := q.asWritten(raw); ok {
		return r, nil
	}
	return Decode(raw)
}

// asWritten reads a record whose fields stand as Write puts them.
func (q *Reader) asWritten(raw []byte) (r Record, ok bool) {
	if !utf8.Valid(raw) {
		return r, false
	}
	c := cut{rest: raw}
	c.want(`{"v":1,"seq":`)
	r.Seq = c.uint()
	c.want(`,"prev":"`)
	prev := c.text()
	c.want(`,"written":"`)
	written := c.text()
	r.Zone = c.field(`,"zone":"`, &q.zone)
	r.Stamp.BootID = c.field(`,"boot":"`, &q.boot)
	if c.has(`,"boot_ns":`) {
		ns := c.uint()
		r.Stamp.Boot = time.Duration(ns)
		c.bad = c.bad || ns == 0 || ns > 1<<62
	}
	c.want(`,"id":"`)
	r.Action.ID = string(c.text())
	c.want(`,"at":"`)
	at := c.text()
	r.Action.By = c.field(`,"by":"`, &q.by)
	c.want(`,"act":"`)
	kind := c.text()
	c.want(`,"body":`)
	body := c.object()
	if c.has(`,"unusual":["`) {
		r.Action.Unusual = append(r.Action.Unusual, string(c.text()))
		for c.has(`,"`) {
			r.Action.Unusual = append(r.Action.Unusual, string(c.text()))
		}
		c.want(`]`)
	}
	r.Action.Why = c.field(`,"why":"`, &q.why)
	c.want(`}`)
	if c.bad || len(c.rest) > 0 || r.Seq == 0 || len(prev) != 2*len(r.Prev) {
		return r, false
	}
	if _, err := hex.Decode(r.Prev[:], prev); err != nil {
		return r, false
	}
	if r.Written.UnmarshalText(written) != nil || r.Action.At.UnmarshalText(at) != nil {
		return r, false
	}
	r.Stamp = timers.Stamp{At: r.Action.At, BootID: r.Stamp.BootID, Boot: r.Stamp.Boot}
	r.Action.Body, ok = q.body(kind, body)
	r.Raw = raw
	return r, ok
}

// body reads a body that is, byte for byte, what its values are written as: nothing
// unknown, repeated or left over can stand in it.
func (q *Reader) body(kind, raw []byte) (action.Body, bool) {
	t, known := q.bodies[action.Kind(kind)]
	if !known {
		body, err := action.DecodeBody(action.Kind(kind), raw)
		if err != nil {
			return nil, false
		}
		if t.is = reflect.TypeOf(body); t.is == reflect.TypeFor[action.Correct]() {
			t = shape{} // holds JSON of any shape
		} else {
			t.flat = flatOf(t.is)
		}
		q.bodies[action.Kind(kind)] = t
		return body, true
	}
	if t.is == nil {
		body, err := action.DecodeBody(action.Kind(kind), raw)
		return body, err == nil
	}
	p := reflect.New(t.is)
	if t.flat != nil && t.flat.read(raw, p.Elem()) {
		body := p.Elem().Interface().(action.Body)
		return body, body.Valid() == nil
	}
	p.Elem().SetZero()
	if json.Unmarshal(raw, p.Interface()) != nil {
		return nil, false
	}
	q.buf.Reset()
	e := json.NewEncoder(&q.buf)
	e.SetEscapeHTML(false)
	if e.Encode(p.Interface()) != nil || !bytes.Equal(bytes.TrimSuffix(q.buf.Bytes(), []byte("\n")), raw) {
		return nil, false
	}
	body := p.Elem().Interface().(action.Body)
	return body, body.Valid() == nil
}

// cut takes a record apart from its front; bad once anything is not as expected.
type cut struct {
	rest []byte
	bad  bool
}

func (c *cut) has(s string) bool {
	if c.bad || len(c.rest) < len(s) || string(c.rest[:len(s)]) != s {
		return false
	}
	c.rest = c.rest[len(s):]
	return true
}

func (c *cut) want(s string) { c.bad = !c.has(s) || c.bad }

// text reads to the end of a text in which nothing is escaped.
func (c *cut) text() []byte {
	i := bytes.IndexByte(c.rest, '"')
	if c.bad || i < 0 {
		c.bad = true
		return nil
	}
	s := c.rest[:i]
	for _, b := range s {
		if b == '\\' || b < 0x20 {
			c.bad = true
			return nil
		}
	}
	c.rest = c.rest[i+1:]
	return s
}

// field reads a text that may be left out, but is never empty; last is what it was before, and is.
func (c *cut) field(name string, last *string) string {
	if !c.has(name) {
		return ""
	}
	s := c.text()
	c.bad = c.bad || len(s) == 0
	if string(s) != *last {
		*last = string(s)
	}
	return *last
}

func (c *cut) uint() uint64 {
	i := 0
	for i < len(c.rest) && c.rest[i] >= '0' && c.rest[i] <= '9' {
		i++
	}
	n, err := strconv.ParseUint(string(c.rest[:i]), 10, 64)
	c.bad = c.bad || err != nil || c.rest[0] == '0' && i > 1
	c.rest = c.rest[i:]
	return n
}

// object reads an object; whether it is one is for others to say.
func (c *cut) object() []byte {
	depth, in := 0, false
	for i := 0; i < len(c.rest); i++ {
		switch b := c.rest[i]; {
		case in && b == '\\':
			i++
		case b == '"':
			in = !in
		case in:
		case b == '{':
			depth++
		case b == '}':
			if depth--; depth == 0 {
				o := c.rest[:i+1]
				c.rest = c.rest[i+1:]
				return o
			}
		}
	}
	c.bad = true
	return nil
}

// Object gives the JSON object that b begins with, ok where its braces close; whether it
// is one is for others to say.
func Object(b []byte) (raw []byte, ok bool) {
	c := cut{rest: b}
	raw = c.object()
	return raw, !c.bad
}

// Begins reads the number of a stored line and which record it says it was written on, also
// where the line is spoilt behind that.
func Begins(raw []byte) (seq uint64, prev Hash, ok bool) {
	c := cut{rest: raw}
	c.want(`{"v":1,"seq":`)
	seq = c.uint()
	c.want(`,"prev":"`)
	text := c.text()
	if c.bad || len(text) != hex.EncodedLen(len(prev)) {
		return 0, Hash{}, false
	}
	_, err := hex.Decode(prev[:], text)
	return seq, prev, err == nil
}
