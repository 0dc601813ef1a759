package logbook

import (
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"strings"
	"time"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/disk"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// Salvage makes a new book at to, where no file may be, from every record that still
// hashes in the damaged book file and in journals. The file is only read, plainly, and
// need not be there where journals are. look, where it is not nil, looks at the new
// book before it is given its name, and before [SalvageBy] adds to it.
//
// Where the book has more than one history, that is brought back which the head of the file
// stands in, with what was written on after it, or the one that branch stands in; the
// records of the others are written beside the new book.
//
// A record is brought back when the record after it, or the head that the book kept,
// names its hash. One that nothing vouches for is brought back too and told of; one
// that is contradicted is not.
func Salvage(file string, journals []string, to string, branch *check.Pin, clock timers.Clock, look Check) (check.Salvaged, error) {
	return salvage(file, journals, to, branch, clock, look, nil)
}

// SalvageBy makes, as [Salvage] does, a book that work goes on with: for each history that stands beside it, it has
// one record more, by whom it was made, that names the file. Else nobody who has the book alone knows of them.
func SalvageBy(by, file string, journals []string, to string, branch *check.Pin, clock timers.Clock, look Check) (check.Salvaged, error) {
	return salvage(file, journals, to, branch, clock, look, &by)
}

func salvage(file string, journals []string, to string, branch *check.Pin, clock timers.Clock, look Check, by *string) (check.Salvaged, error) {
	if _, err := os.Lstat(to); err == nil {
		return check.Salvaged{}, fmt.Errorf("%s is there already: name a new file", to)
	}
	s, err := check.Gather(file, journals)
	if err != nil {
		return check.Salvaged{}, err
	}
	defer s.Close()
	if branch != nil {
		if err := s.Follow(*branch); err != nil {
			return check.Salvaged{}, fmt.Errorf("salvage: %w", err)
		}
	}
	chosen := s.Choose()
	if len(chosen) == 0 {
		return check.Salvaged{}, fmt.Errorf("%w: nothing in %s, nor in %d journals, is a record", ErrForeign, file, len(journals))
	}
	out := check.Salvaged{Lost: []check.Fault{}, Others: s.Others()}
	if out.Branches, err = s.Outside(chosen); err != nil {
		return check.Salvaged{}, err
	}
	if err := layout.Readable(s.Format()); errors.Is(err, errNewer) { // or one spoilt bit says so
		out.Lost = append(out.Lost, check.Fault{Kind: check.FaultFile, What: fmt.Sprintf("%v: what this one does not know is not brought back", err)})
	}
	id := s.Name(chosen[0], &out)
	created := s.Created()
	if _, err := time.Parse(time.RFC3339, created); err != nil {
		created = clock.Read().Wall.Format(time.RFC3339)
	}
	disk.Sweep(to)
	tmp := disk.NewName(to)
	defer func() { _ = os.Remove(tmp) }() // gone already when all went well
	if err := build(tmp, map[string]string{"format": format, "book": id, "created": created}, s.Beat(), s.Records(chosen, &out)); err != nil {
		return check.Salvaged{}, fmt.Errorf("salvage: %w", err)
	}
	if look != nil {
		rep, err := look(tmp)
		if err == nil {
			err = rep.Anew()
		}
		if err != nil {
			return check.Salvaged{}, fmt.Errorf("salvage: %w", err)
		}
	}
	if by != nil {
		if err := noteOutside(tmp, to, &out, *by, clock.Read().Wall); err != nil {
			return check.Salvaged{}, fmt.Errorf("salvage: %w", err)
		}
	}
	if err := writeBranches(to, out.Branches); err != nil {
		return check.Salvaged{}, fmt.Errorf("salvage: %w", err)
	}
	if err := os.Rename(tmp, to); err != nil {
		for _, made := range out.Branches {
			_ = os.Remove(made.File) // nor is the book made
		}
		return check.Salvaged{}, fmt.Errorf("salvage: %w", err)
	}
	return out, syncDir(filepath.Dir(to))
}

// branchFile is where the records of another history go, beside the new book.
func branchFile(to string, end Head) string {
	return fmt.Sprintf("%s.branch-%d-%s.jsonl", strings.TrimSuffix(to, ".db"), end.Seq, end.Hash.Short())
}

// noteOutside leaves a record in the new book of each history that will stand beside it.
func noteOutside(tmp, to string, out *check.Salvaged, by string, now time.Time) error {
	from := out.Head.String()
	for _, b := range out.Branches {
		r, err := noteRestored(tmp, action.Restored{From: from, GaveUp: b.End.String(), Kept: action.FileName(filepath.Base(branchFile(to, b.End))), Salvaged: true}, by, now)
		if err != nil {
			return err
		}
		out.Records, out.Head = out.Records+1, Head{Seq: r.Seq, Hash: r.Hash()}
	}
	return nil
}

// writeBranches writes the records of other histories beside the new book, a file each, as
// JSON Lines that can be recorded.
func writeBranches(to string, branches []check.Branch) error {
	for i := range branches {
		b := &branches[i]
		name := branchFile(to, b.End)
		err := writeSynced(name, func(w io.Writer) error {
			for _, line := range b.Lines {
				if _, err := w.Write(append(line, '\n')); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			for _, made := range branches[:i] {
				_ = os.Remove(made.File) // the book is not made either
			}
			return err
		}
		b.File, b.Lines = name, nil
	}
	return nil
}

// buildAtOnce is how many records go into one transaction of a new book.
const buildAtOnce = 4096

// build makes a whole book at path from records in order; gaps between them stay.
// Everything but the log is made anew from them.
func build(path string, meta map[string]string, beat []byte, records iter.Seq2[record.Record, error]) (err error) {
	db, err := bolt.Open(path, 0o600, newFile(&bolt.Options{Timeout: lockPatience, FreelistType: bolt.FreelistMapType, NoSync: true})) // synced once, at the end
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	if err := db.Update(func(tx *bolt.Tx) error { return furnish(tx, meta, beat) }); err != nil {
		return err
	}
	if err := fillBook(db, records); err != nil {
		return err
	}
	if err := db.Update(enliven); err != nil {
		return err
	}
	return db.Sync()
}

// fillBook writes records in order behind those of a book, all but its list of live ones.
func fillBook(db *bolt.DB, records iter.Seq2[record.Record, error]) error {
	var run []record.Record
	flush := func() error {
		defer func() { run = run[:0] }()
		return db.Update(func(tx *bolt.Tx) error {
			for _, r := range run { // one by one: a correction finds what it is about
				keys := layout.IndexKeys(r, newPast(tx).byID)
				w := plan{fresh: []record.Record{r}, index: [][][]byte{keys}, head: Head{Seq: r.Seq, Hash: r.Hash()}}
				if err := w.write(tx); err != nil {
					return err
				}
			}
			return nil
		})
	}
	for r, err := range records {
		if err != nil {
			return err
		}
		if run = append(run, r); len(run) == buildAtOnce {
			if err := flush(); err != nil {
				return err
			}
		}
	}
	return flush()
}

// furnish makes the parts of a new book, with what it says of itself.
func furnish(tx *bolt.Tx, meta map[string]string, beat []byte) error {
	for _, name := range layout.Parts() {
		if _, err := tx.CreateBucket(name); err != nil {
			return err
		}
	}
	for k, v := range meta {
		if err := tx.Bucket(layout.Meta).Put([]byte(k), []byte(v)); err != nil {
			return err
		}
	}
	if beat == nil {
		return nil
	}
	return tx.Bucket(layout.Beat).Put(layout.KeyLast, beat)
}

// enliven makes the list of live records from the log.
func enliven(tx *bolt.Tx) error {
	whole, q := newRefold(tx), record.NewReader()
	c := tx.Bucket(layout.Log).Cursor()
	for k, v := c.First(); k != nil; k, v = c.Next() {
		r, err := q.Decode(v)
		if err != nil {
			return err
		}
		whole.Add(r)
	}
	b, err := whole.End()
	if err != nil {
		return err
	}
	for _, it := range b.Items {
		if err := tx.Bucket(layout.Live).Put(layout.SeqKey(it.Seq), nil); err != nil {
			return err
		}
	}
	return nil
}
