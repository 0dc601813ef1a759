package logbook

import (
	"slices"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// ofRegister tells whether a record is of the register of lots or of that of equipment.
func ofRegister(r record.Record) bool { return layout.RegisterSubjects(r.Action.Body, 0) != nil }

// lots adds what the register knows of the lots that records name, and the record that
// shows that a register of their material is kept: what was asked about a lot rests on
// these.
func (p *past) lots(seqs map[uint64]bool) {
	want := map[action.Subject]bool{}
	kept := map[action.Material]bool{}
	for seq := range seqs {
		r, err := p.at(seq)
		if err != nil {
			continue
		}
		for _, s := range layout.RegisterSubjects(r.Action.Body, r.Stamp.At.Year()) {
			if s.Class == 'j' {
				want[s] = true
			}
		}
		for _, u := range action.LotsUsed(r.Action.Body) {
			if u.Lot != "" {
				want[layout.SubjectLot(u, r.Stamp.At.Year())] = true
				kept[u.Material] = true
			}
		}
	}
	for s := range want {
		p.ofSubject(s, seqs)
	}
	p.pieces(seqs)
	for material := range kept {
		p.firstLot(material, seqs)
	}
}

// firstLot adds the first lot of a material that was taken in and not taken back.
func (p *past) firstLot(material action.Material, seqs map[uint64]bool) {
	all := map[uint64]bool{}
	p.ofSubject(layout.SubjectRegister(material), all)
	order := make([]uint64, 0, len(all))
	for seq := range all {
		order = append(order, seq)
	}
	slices.Sort(order)
	for _, seq := range order {
		r, err := p.at(seq)
		if err != nil {
			return
		}
		if _, in := r.Action.Body.(action.LotIn); !in {
			continue
		}
		amended := map[uint64]bool{}
		p.amendments(seq, amended)
		back := false
		for a := range amended {
			if r, err := p.at(a); err == nil {
				_, is := r.Action.Body.(action.TakeBack)
				back = back || is
			}
		}
		if !back {
			seqs[seq] = true
			return
		}
	}
}

// pieces adds what the register knows of the equipment that records name, and of what is
// fitted to it.
func (p *past) pieces(seqs map[uint64]bool) {
	want := map[action.Subject]bool{}
	for seq := range seqs {
		r, err := p.at(seq)
		if err != nil {
			continue
		}
		for _, piece := range action.PiecesUsed(r.Action.Body) {
			want[layout.SubjectPiece(piece)] = true
		}
		if slices.Contains(r.Action.Unusual, bench.PieceUnknownCode) {
			want[layout.SubjectEquipment] = true // it rests on there being others
		}
		if of, ok := action.PieceOf(r.Action.Body); ok {
			want[layout.SubjectPiece(of)] = true
		}
	}
	found := map[uint64]bool{}
	for s := range want {
		p.ofSubject(s, found)
	}
	for seq := range found {
		seqs[seq] = true
		if r, err := p.at(seq); err == nil {
			if of, ok := action.PieceOf(r.Action.Body); ok && !want[layout.SubjectPiece(of)] {
				p.ofSubject(layout.SubjectPiece(of), seqs)
			}
		}
	}
}
