package check

import (
	"bytes"
	"fmt"

	"flaskside/logbook/bench"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/logbook/words"
)

// asWritten holds records, read from the file, against the chain in it, and gives what is
// wrong with each: the record after it, or for the last one the head that the book keeps,
// must name its hash. It reads two records for each and not the whole book.
func (c *Contents) asWritten(recs []record.Record) (faults []Fault) {
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

// NotAsWritten holds what is about to be shown against the chain of the book at path, and says in
// a line each which records are not as they were written, or that nothing vouches for.
func NotAsWritten(path string, items []bench.Item) (lines []string, err error) {
	recs := make([]record.Record, len(items))
	for i, it := range items {
		recs[i] = it.Record
	}
	var faults []Fault
	for range 3 { // a page read while a bench writes it makes no sense, and soon it does
		c, err := OpenContents(path)
		if err != nil {
			return nil, err
		}
		faults = c.asWritten(recs)
		c.Close()
		if len(faults) == 0 {
			return nil, nil
		}
	}
	for _, f := range faults {
		lines = append(lines, words.Clean(f.String())+".")
	}
	return lines, nil
}
