package logbook

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"maps"
	"slices"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// What a correction or a taking back speaks of may have been let go of by the bench: it is brought back to it first.

// hand is what a bench has of the records of its book.
type hand interface {
	// body gives one by its id, as it was written.
	body(id string) (action.Body, bool)
	// whole tells of a thing that every record about it is there, but for notes.
	whole(s action.Subject) bool
}

// benchHand is the hand of a bench.
type benchHand struct{ *bench.Bench }

func (h benchHand) body(id string) (action.Body, bool) {
	it, ok := h.Item(id)
	return it.Action.Body, ok
}

func (h benchHand) whole(s action.Subject) bool {
	return s.Class == 'f' && h.Flasks[s.No].AtWork()
}

// emptyHand has nothing.
type emptyHand struct{}

func (emptyHand) body(string) (action.Body, bool) { return nil, false }
func (emptyHand) whole(action.Subject) bool       { return false }

// related gives the numbers of the records that a correction or a taking back speaks
// of, and of those that it is held against; at is asked before the book is.
func (p *past) related(body action.Body, at hand) map[uint64]bool {
	if in, ok := body.(action.CaseIn); ok {
		return p.finishedBefore(in)
	}
	of, ok := action.Amends(body)
	if !ok {
		return nil
	}
	find := func(id string) (action.Body, bool) {
		if body, ok := at.body(id); ok {
			return body, true
		}
		return p.body(id)
	}
	moves := movesTime(body)
	if body, ok = find(of); !ok {
		return nil
	}
	seqs, root := map[uint64]bool{}, uint64(0)
	if r, ok := p.byID(of); ok {
		r = layout.RootOf(r, p.byID)
		body, root = r.Action.Body, r.Seq
		seqs[root] = true
		p.amendments(root, seqs)
	}
	if _, ok := body.(action.Settings); ok {
		p.ofSubject(layout.SubjectSettings, seqs) // those before it are in force again
	}
	if s := layout.RegisterSubjects(body, 0); s != nil {
		p.ofSubject(s[0], seqs) // what was known of the lot before it, and which lots were too many, is again
	}
	_, note := body.(action.Note) // nothing at work rests on it
	for _, s := range bench.Subjects(body, find) {
		if !note && (movesCases(body) || !at.whole(s)) {
			p.restingOn(s, seqs)
		}
		if moves && root > 0 {
			p.beside(s, root, seqs)
		}
	}
	if movesCases(body) {
		p.cases(body, seqs)
	}
	return seqs
}

// movesTime tells whether a body sets another time right.
func movesTime(body action.Body) bool {
	c, ok := body.(action.Correct)
	if !ok {
		return false
	}
	var set map[string]json.RawMessage
	return json.Unmarshal(c.Set, &set) == nil && set["at"] != nil
}

// restingOn adds the records about a subject, and of a flask also those of its mixes and loads, as a bench has them:
// less the notes that it lets go of.
func (p *past) restingOn(s action.Subject, seqs map[uint64]bool) {
	for of := range p.lessOldNotes(s, seqs) {
		if of != s {
			p.lessOldNotes(of, seqs)
		}
	}
}

// lessOldNotes adds the records about a subject but for old notes, and gives the mixes and loads that they name.
func (p *past) lessOldNotes(s action.Subject, seqs map[uint64]bool) map[action.Subject]bool {
	own, named, latest := map[uint64]bool{}, map[action.Subject]bool{}, bench.NoteWindow{}
	p.ofSubject(s, own)
	for _, seq := range slices.Backward(slices.Sorted(maps.Keys(own))) {
		r, err := p.read(seq)
		if err == nil && !latest.Rests(r.Action) {
			continue // nor is it kept in mind: there may be any number
		}
		if seqs[seq] = true; err != nil {
			continue
		}
		p.known[seq] = r
		for _, of := range r.Action.Body.Subjects() {
			if of.Class == 'm' || of.Class == 'l' {
				named[of] = true
			}
		}
	}
	return named
}

// besideMost is how far it is looked for a note beside a record.
const besideMost = 1000

// beside adds the records about a subject that stand before and behind one of them, up to a note that counts: a time
// that is set right is held against them, and the bench may have let go of such a note.
func (p *past) beside(s action.Subject, of uint64, seqs map[uint64]bool) {
	for _, walk := range []func(action.Subject, uint64, func(uint64) bool){p.before, p.behindOf} {
		n := 0
		walk(s, of, func(seq uint64) bool {
			n++
			r, err := p.at(seq)
			if err != nil {
				return n < besideMost
			}
			seqs[seq] = true
			back := map[uint64]bool{}
			p.amendments(seq, back)
			maps.Copy(seqs, back)
			_, note := r.Action.Body.(action.Note)
			return n < besideMost && (!note || len(back) > 0)
		})
	}
}

// before walks back over the records about a subject from one on, until f says stop.
func (p *past) before(s action.Subject, of uint64, f func(seq uint64) bool) {
	for _, seq := range slices.Backward(p.batch.of(s)) {
		if seq < of && !f(seq) {
			return
		}
	}
	c, prefix := p.index(), layout.SubjectPrefix(s)
	for k := prior(c, layout.SubjectKey(s, of)); len(k) == len(prefix)+8 && bytes.HasPrefix(k, prefix); k = c.Prev() {
		if !f(binary.BigEndian.Uint64(k[len(prefix):])) {
			return
		}
	}
}

// behindOf walks forward.
func (p *past) behindOf(s action.Subject, of uint64, f func(seq uint64) bool) {
	c, prefix := p.index(), layout.SubjectPrefix(s)
	for k := c.Seek(layout.SubjectKey(s, of+1)); len(k) == len(prefix)+8 && bytes.HasPrefix(k, prefix); k = c.Next() {
		if !f(binary.BigEndian.Uint64(k[len(prefix):])) {
			return
		}
	}
	for _, seq := range p.batch.of(s) {
		if seq > of && !f(seq) {
			return
		}
	}
}

// batch are the records of an input that was checked so far: the book does not have them yet, and the bench may have
// let go of them already.
type batch struct {
	head   uint64 // the last record of the book
	ids    map[string]int
	about  map[action.Subject][]uint64
	amends map[uint64][]uint64                // by the record that they are about in the end
	get    func(i int) (record.Record, error) // gives one of them back
}

func newBatch(head uint64, n int, get func(int) (record.Record, error)) *batch {
	return &batch{head: head, ids: make(map[string]int, n), about: map[action.Subject][]uint64{}, amends: map[uint64][]uint64{}, get: get}
}

// add notes the next record by the keys that it will be found by.
func (t *batch) add(r record.Record, keys [][]byte) {
	t.ids[r.Action.ID] = len(t.ids)
	for _, k := range keys[1:] {
		switch {
		case k[0] == 'c' && len(k) == 17:
			of := binary.BigEndian.Uint64(k[1:])
			t.amends[of] = append(t.amends[of], r.Seq)
		case k[0] != 'd' && len(k) == 13:
			s := action.Subject{Class: k[0], No: int(binary.BigEndian.Uint32(k[1:]))}
			t.about[s] = append(t.about[s], r.Seq)
		}
	}
}

// of gives the numbers of those about a subject, in order.
func (t *batch) of(s action.Subject) []uint64 {
	if t == nil {
		return nil
	}
	return t.about[s]
}

// amendmentsOf gives those of the corrections and takings back of a record.
func (t *batch) amendmentsOf(seq uint64) []uint64 {
	if t == nil {
		return nil
	}
	return t.amends[seq]
}

// has tells whether a record is one of them.
func (t *batch) has(seq uint64) bool {
	return t != nil && seq > t.head && seq <= t.head+uint64(len(t.ids))
}

// at gives one of them by its number.
func (t *batch) at(seq uint64) (record.Record, error) { return t.get(int(seq - t.head - 1)) }

// byID gives the number of one of them.
func (t *batch) byID(id string) (seq uint64, ok bool) {
	if t == nil {
		return 0, false
	}
	i, ok := t.ids[id]
	return t.head + 1 + uint64(i), ok
}
