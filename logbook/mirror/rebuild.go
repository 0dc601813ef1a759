package mirror

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"flaskside/logbook"
	"flaskside/timers"
)

// Incomplete says that a stream does not hold a whole logbook.
type Incomplete struct{ Copy Copy }

func (e *Incomplete) Error() string {
	lacks := e.Copy.Lacks()
	if len(lacks) == 0 {
		return "the mirror holds no record of this logbook"
	}
	return fmt.Sprintf("the mirror does not hold the whole logbook: %s%s", lacks[0], and(len(lacks)-1))
}

// Rebuild makes a book at to, where no file may be, from a stream alone: with every record up
// to the last one there, and the same head. The error is [Incomplete] where records are not
// there.
func Rebuild(ctx context.Context, p Remote, s Stream, to string, clock timers.Clock) (c Copy, err error) {
	dir, err := os.MkdirTemp("", "flaskside-")
	if err != nil {
		return c, fmt.Errorf("make a folder for the records of the mirror: %w", err)
	}
	defer func() { _ = os.RemoveAll(dir) }() // a copy left over harms nobody
	journal := filepath.Join(dir, "mirror.jsonl")
	f, err := os.OpenFile(journal, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return c, err
	}
	c, err = Fetch(ctx, p, s, f)
	if err = errors.Join(err, f.Close()); err != nil {
		return c, err
	}
	if c.Records == 0 || c.Lacks() != nil {
		return c, &Incomplete{c}
	}
	out, err := logbook.Salvage(filepath.Join(dir, "none.db"), []string{journal}, to, nil, clock, nil)
	if err == nil && (out.Head.Seq != c.End().Seq || out.Head.Hash != c.End().Hash) {
		err = fmt.Errorf("the logbook made of the mirror ends with %s, the mirror with %s", out.Head, c.End())
	}
	return c, err
}
