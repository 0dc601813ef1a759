package logbook

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"maps"
	"slices"
	"time"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
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
			p.restingOn(flask, seqs)
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

// casesOnRoutes adds what a case rests on that was under way on a route at an instant, or
// that the records of the day speak of: all of its records, and the flasks that were opened
// for it, for a step ends with the flask. Cases without a step have nothing that runs.
func (p *past) casesOnRoutes(at time.Time, day []record.Record, now *bench.Bench, seqs map[uint64]bool) {
	numbers := map[string]bool{}
	of := func(r record.Record) {
		root := layout.RootOf(r, p.byID).Action.Body
		if number, ok := caseNumber(root); ok && ofCases(root) {
			numbers[number] = true
		}
	}
	for _, r := range day {
		of(r)
	}
	for _, k := range now.Cases() {
		numbers[k.Case] = true
	}
	first, late := p.since(at)
	for _, seq := range slices.Concat(late, p.openCases(first)) {
		if r, err := p.at(seq); err == nil {
			of(r)
		}
	}
	for number := range numbers {
		own := map[uint64]bool{}
		p.ofSubject(layout.SubjectCase(number), own)
		if !p.hasStep(own) {
			delete(numbers, number)
			continue
		}
		maps.Copy(seqs, own)
		p.answers(own, seqs)
	}
	if len(numbers) == 0 {
		return
	}
	begun := begunBefore(p.index(), 'f', now.Top.Flask, first)
	for no := begun; no > max(0, begun-lookBack); no-- {
		flask := action.Subject{Class: 'f', No: no}
		if opening, ok := p.opening(flask); ok && p.hasNumber(opening, numbers) {
			p.withRelatives(flask, seqs)
		}
	}
}

// answers adds the answers to the alarms of steps.
func (p *past) answers(steps, seqs map[uint64]bool) {
	for seq := range steps {
		r, err := p.at(seq)
		if err != nil {
			continue
		}
		if a, is := r.Action.Body.(action.CaseStep); is {
			p.ofSubject(bench.StepAnswers(a, r.Action.ID), seqs)
		}
	}
}

// openCases gives a record of each case that has some before a record of the book and some
// from it on. It reads the index alone.
func (p *past) openCases(first uint64) (out []uint64) {
	c := p.index()
	var group []byte
	var seqs []uint64
	end := func() {
		if n := len(seqs); n > 0 && seqs[0] < first && seqs[n-1] >= first {
			out = append(out, seqs...) // two numbers may share an entry
		}
		seqs = seqs[:0]
	}
	for k := c.Seek([]byte{'n'}); len(k) == 13 && k[0] == 'n'; k = c.Next() {
		if !bytes.Equal(k[:5], group) {
			end()
			group = append(group[:0], k[:5]...)
		}
		seqs = append(seqs, binary.BigEndian.Uint64(k[5:]))
	}
	end()
	return out
}

// hasStep tells whether a step of a route is among records.
func (p *past) hasStep(seqs map[uint64]bool) bool {
	for seq := range seqs {
		if r, err := p.at(seq); err == nil {
			if _, is := r.Action.Body.(action.CaseStep); is {
				return true
			}
		}
	}
	return false
}

// opening gives the first record of a subject.
func (p *past) opening(s action.Subject) (uint64, bool) {
	prefix := layout.SubjectPrefix(s)
	k := p.index().Seek(prefix)
	if len(k) != len(prefix)+8 || !bytes.HasPrefix(k, prefix) {
		return 0, false
	}
	return binary.BigEndian.Uint64(k[len(prefix):]), true
}

// flasksOf finds the flasks that were opened for a case, or have its number by a
// correction. It reads the opening of every flask of the book.
func (p *past) flasksOf(number string) []action.Subject {
	var out []action.Subject
	c := p.index()
	for k := c.Seek([]byte{'f'}); len(k) == 13 && k[0] == 'f'; {
		flask := action.Subject{Class: 'f', No: int(binary.BigEndian.Uint32(k[1:]))}
		if p.hasNumber(binary.BigEndian.Uint64(k[5:]), map[string]bool{number: true}) {
			out = append(out, flask)
		}
		flask.No++
		k = c.Seek(layout.SubjectPrefix(flask))
	}
	return out
}

// hasNumber tells whether the opening of a flask names one of some cases, as it was written
// or as it was corrected.
func (p *past) hasNumber(opening uint64, numbers map[string]bool) bool {
	seqs := map[uint64]bool{opening: true}
	p.amendments(opening, seqs)
	for seq := range seqs {
		r, err := p.at(seq)
		if err != nil {
			continue
		}
		if n, ok := caseNumber(r.Action.Body); ok && numbers[n] {
			return true
		}
	}
	return false
}

// flasksBack is how many flasks are looked through for one that was finished before its case was
// taken in: some weeks of a busy bench.
const flasksBack = 500

// finishedBefore gives the records of the latest flask of a case that is taken in, where there is
// one, and those of the case: a case whose flask has its outcome does not wait.
func (p *past) finishedBefore(in action.CaseIn) map[uint64]bool {
	if in.RemakeOf != "" {
		return nil
	}
	c := p.index()
	k := prior(c, []byte{'f' + 1})
	for range flasksBack {
		if len(k) != 13 || k[0] != 'f' {
			return nil
		}
		flask := action.Subject{Class: 'f', No: int(binary.BigEndian.Uint32(k[1:]))}
		if opening, ok := p.opening(flask); ok && p.hasNumber(opening, map[string]bool{in.Case: true}) {
			seqs := map[uint64]bool{}
			p.restingOn(flask, seqs)
			if o, ok := p.openedAs(seqs); ok && o.Case == in.Case && o.Base == in.Base {
				p.ofSubject(layout.SubjectCase(in.Case), seqs)
				return seqs
			}
		}
		k = prior(c, layout.SubjectPrefix(flask))
	}
	return nil
}

// openedAs is the opening of a flask among its records, as it counts.
func (p *past) openedAs(seqs map[uint64]bool) (o action.FlaskOpen, ok bool) {
	recs, err := p.sorted(seqs)
	if err != nil {
		return o, false
	}
	for _, it := range bench.Fold(recs, bench.Counters{}).Items {
		if a, is := it.Body.(action.FlaskOpen); is && it.TakenBack == nil {
			o, ok = a, true
		}
	}
	return o, ok
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
