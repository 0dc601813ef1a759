package check

import (
	"bytes"
	"fmt"

	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// AsWritten holds records, read from the file, against the chain in it, and gives what is
// wrong with each: the record after it, or for the last one the head that the book keeps,
// must name its hash. It reads two records for each and not the whole book.
func (c *Contents) AsWritten(recs []record.Record) (faults []Fault) {
	for _, r := range recs {
		what := c.vouch(r)
		if what == "" {
			continue
		}
		kind := FaultChanged
		if what != notAsWritten {
			kind = FaultUnproven
		}
		faults = append(faults, Fault{Kind: kind, Seq: r.Seq, Day: r.Stamp.At.Format("2006-01-02"), What: what})
	}
	return faults
}

const notAsWritten = "was changed after it was written"

func (c *Contents) vouch(r record.Record) string {
	if raw, ok := c.Find(layout.Log, layout.SeqKey(r.Seq)); !ok || !bytes.Equal(raw, r.Raw) {
		return "does not stand under its number"
	}
	kept, _ := c.Find(layout.Meta, layout.KeyHead)
	head, ok := layout.ParseHead(kept)
	switch {
	case !ok && kept != nil, ok && head.Seq < r.Seq:
		return "nothing shows that it is as it was written: the book's note of its end is spoilt"
	case !ok: // a book from before it kept its head
	case head.Seq == r.Seq && head.Hash != r.Hash():
		return notAsWritten
	case head.Seq == r.Seq:
		return ""
	}
	raw, there := c.Find(layout.Log, layout.SeqKey(r.Seq+1))
	if !there && !ok {
		return "" // its last one
	}
	_, prev, known := record.Begins(raw)
	switch {
	case !there:
		return fmt.Sprintf("nothing shows that it is as it was written: record %d is missing", r.Seq+1)
	case !known:
		return fmt.Sprintf("nothing shows that it is as it was written: record %d is spoilt", r.Seq+1)
	case prev == r.Hash():
		return ""
	case c.vouched(r.Seq+1, raw):
		return notAsWritten
	}
	return fmt.Sprintf("nothing shows that it is as it was written: record %d, which would, is spoilt itself", r.Seq+1)
}

// vouched tells whether something names the hash of a record as it stands.
func (c *Contents) vouched(seq uint64, raw []byte) bool {
	if next, ok := c.Find(layout.Log, layout.SeqKey(seq+1)); ok {
		_, prev, known := record.Begins(next)
		return known && prev == record.HashOf(raw)
	}
	kept, _ := c.Find(layout.Meta, layout.KeyHead)
	head, ok := layout.ParseHead(kept)
	return ok && head == (layout.Head{Seq: seq, Hash: record.HashOf(raw)})
}
