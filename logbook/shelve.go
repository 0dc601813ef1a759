package logbook

import (
	"errors"
	"fmt"
	"iter"
	"os"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/layout"
	"flaskside/logbook/record"
)

// Shelve makes a book to be read from, at a path where no file may be, of records in order of
// which some may lack: a copy of what lies elsewhere, to be thrown away at will. It is on the
// disk when it is, and not before.
func Shelve(path, id string, records iter.Seq2[record.Record, error]) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s is there already", path)
	}
	return build(path, map[string]string{"format": format, "book": id, "created": ""}, nil, records)
}

// ShelveMore adds records to a book that [Shelve] made, which must end before the first of
// them. After an error the book is worthless.
func ShelveMore(path string, records iter.Seq2[record.Record, error]) (err error) {
	db, _, err := openStore(path, false)
	if err != nil {
		return err
	}
	db.NoSync = true // synced once, at the end
	defer func() { err = errors.Join(err, guard(db.Close)) }()
	return guard(func() error {
		if err := fillBook(db, records); err != nil {
			return err
		}
		err := db.Update(func(tx *bolt.Tx) error {
			if err := tx.DeleteBucket(layout.Live); err != nil {
				return err
			}
			if _, err := tx.CreateBucket(layout.Live); err != nil {
				return err
			}
			return enliven(tx)
		})
		if err != nil {
			return err
		}
		return db.Sync()
	})
}
