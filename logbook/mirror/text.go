package mirror

import (
	"fmt"
	"strings"
	"time"

	"flaskside/logbook/words"
)

// Lines says in words, a line each, how a mirror stands against its book; the first is the sum.
func (c Comparison) Lines() []string {
	var out []string
	say := func(format string, a ...any) { out = append(out, fmt.Sprintf(format, a...)) }
	switch {
	case c.Equal() && c.Book.Seq == 0:
		say("the same: the logbook has no records yet, nor has the mirror")
	case c.Equal():
		say("the same: %s of the logbook, up to %s, by every hash", allRecords(c.Book.Seq), c.Book)
	case c.OnlyBehind():
		say("behind by %s: the mirror is the same up to record %d, the logbook ends with %s", records(c.Behind), c.Alike, c.Book)
	default:
		say("NOT the same: alike up to record %d of %d", c.Alike, c.Book.Seq)
	}
	for _, s := range c.Missing {
		say("%s: not in the mirror", s)
	}
	if c.Behind > 0 && !c.OnlyBehind() {
		say("%s: not in the mirror", newest(c.Behind))
	}
	for _, s := range c.Other {
		say("%s: another one in the mirror than in the logbook", s)
	}
	if c.Beyond > 0 {
		say("%s in the mirror beyond the last one of the logbook, up to %d", records(c.Beyond), c.Ends)
	}
	for _, s := range c.Spoilt {
		say("%s: cannot be read, %v", s.Name, s.Err)
	}
	if n := uint64(len(c.Withheld)); n > 0 {
		say("%s there by the hash only: notes, remarks and reasons stay in the house", records(n))
	}
	if n := len(c.Foreign); n > 0 {
		say("no part of the mirror, left as it is: %s%s", strings.Join(c.Foreign[:min(n, 3)], ", "), and(n-3))
	}
	return out
}

func and(more int) string {
	if more > 0 {
		return fmt.Sprintf(" and %d more", more)
	}
	return ""
}

func allRecords(n uint64) string {
	if n == 1 {
		return "the only record"
	}
	return "all " + records(n)
}

// EndLines say where the mirror ends, and what the bench had beyond that when it was last heard.
func (c Copy) EndLines() []string {
	h := c.Newest
	if h.Last == 0 {
		return []string{"nothing in the mirror of this logbook can be read"}
	}
	out := []string{fmt.Sprintf("from the mirror of %s, generation %d, which ends with %s of %s", words.Clean(Heard{Stream: c.Stream, Header: h}.Name()), c.Stream.Generation, c.End(), on(h.At))}
	if h.Head > h.Last {
		out = append(out, fmt.Sprintf("the bench had %s then; what came after record %d is not in the mirror", records(h.Head), h.Last))
	}
	return out
}

// on is an instant of a bench that may be another one's.
func on(t time.Time) string { return t.Local().Format("Mon 2 Jan 2006 15:04") }

func records(n uint64) string {
	if n == 1 {
		return "1 record"
	}
	return fmt.Sprintf("%d records", n)
}
