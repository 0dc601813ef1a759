package logbook

import (
	"encoding/binary"
	"encoding/json"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// ofCases tells whether a record is one that the list of cases is made from.
func ofCases(body action.Body) bool {
	switch body.(type) {
	case action.CaseIn, action.CaseOff, action.CaseDelivered, action.CaseStep:
		return true
	}
	return false
}

// movesCases tells whether a correction of a record can put a case on the list, or take it
// off: the flask of a case has left the bench when its number is set right, or its outcome.
func movesCases(body action.Body) bool {
	switch body.(type) {
	case action.FlaskOpen, action.Outcome:
		return true
	}
	return ofCases(body)
}

// cases adds to records of flasks and cases those of the list of cases that they rest on:
// what was recorded of a case, and of the flasks that were opened for it.
func (p *past) cases(root action.Body, seqs map[uint64]bool) {
	numbers := map[string]bool{}
	for seq := range seqs {
		r, err := p.at(seq)
		if err != nil {
			continue
		}
		if number, ok := caseNumber(r.Action.Body); ok {
			numbers[number] = true
		}
	}
	of := map[uint64]bool{}
	for number := range numbers {
		p.ofSubject(layout.SubjectCase(number), of)
	}
	if len(of) == 0 {
		return
	}
	for seq := range of {
		seqs[seq] = true
	}
	if !ofCases(root) {
		return
	}
	for number := range numbers {
		for _, flask := range p.flasksOf(number) {
			p.withRelatives(flask, seqs)
		}
	}
}

// caseNumber gives the case number that a body names; of a correction the one it sets.
func caseNumber(body action.Body) (string, bool) {
	if c, ok := body.(action.Correct); ok {
		var set struct {
			Case string `json:"case"`
		}
		if err := json.Unmarshal(c.Set, &set); err != nil {
			return "", false
		}
		return set.Case, set.Case != ""
	}
	number, _, ok := action.CaseOf(body)
	return number, ok
}

// flasksOf finds the flasks that were opened for a case, or have its number by a
// correction. It reads the opening of every flask of the book.
func (p *past) flasksOf(number string) []action.Subject {
	var out []action.Subject
	c := p.tx.Bucket(layout.Index).Cursor()
	for k, _ := c.Seek([]byte{'f'}); len(k) == 13 && k[0] == 'f'; {
		flask := action.Subject{Class: 'f', No: int(binary.BigEndian.Uint32(k[1:]))}
		if p.hasNumber(binary.BigEndian.Uint64(k[5:]), number) {
			out = append(out, flask)
		}
		flask.No++
		k, _ = c.Seek(layout.SubjectPrefix(flask))
	}
	return out
}

// hasNumber tells whether the opening of a flask names a case, as it was written or as it
// was corrected.
func (p *past) hasNumber(opening uint64, number string) bool {
	seqs := map[uint64]bool{opening: true}
	p.amendments(opening, seqs)
	for seq := range seqs {
		r, err := p.at(seq)
		if err != nil {
			continue
		}
		if n, ok := caseNumber(r.Action.Body); ok && n == number {
			return true
		}
	}
	return false
}

// OfCase gives the records of the list of cases that are about a number, and the flasks
// that were opened for it or had its number by a correction, in order of the book.
func (b *Book) OfCase(number string) (recs []record.Record, flasks []int, err error) {
	err = b.view(func(tx *bolt.Tx) error {
		p, seqs := newPast(tx), map[uint64]bool{}
		p.ofSubject(layout.SubjectCase(number), seqs)
		for seq := range seqs {
			r, err := p.at(seq)
			if err != nil {
				return err
			}
			// Two numbers may share an entry of the index.
			if n, ok := caseNumber(layout.RootOf(r, p.byID).Action.Body); !ok || n != number {
				delete(seqs, seq)
			}
		}
		for _, f := range p.flasksOf(number) {
			flasks = append(flasks, f.No)
		}
		recs, err = p.sorted(seqs)
		return err
	})
	return recs, flasks, err
}
