package logbook

import (
	"context"
	"fmt"
	"os"
	"time"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/layout"
	"flaskside/timers"
)

const (
	scratchPart   = ".doctor-"       // in the name of the scratch file
	commitBytes   = 500              // of a record of the usual length, its index entries among it
	commitsWithin = 10 * time.Second // no more are made after that
)

// CommitTimes makes n durable commits of a record's size in a scratch file beside a book
// and gives how long each took, fewer where they take very long in all or ctx is done.
// The file is removed in any case. The errors are those of making a book.
func CommitTimes(ctx context.Context, bookPath string, n int, clock timers.Clock) (took []time.Duration, err error) {
	path := fmt.Sprintf("%s%s%d", bookPath, scratchPart, os.Getpid())
	db, err := bolt.Open(path, 0o600, newFile(&bolt.Options{Timeout: lockPatience, FreelistType: bolt.FreelistMapType}))
	defer func() {
		if rerr := os.Remove(path); err == nil && rerr != nil {
			err = fmt.Errorf("remove the scratch file: %w", rerr)
		}
	}()
	if err != nil {
		return nil, fmt.Errorf("make a scratch file beside the logbook: %w", ofPlace(err))
	}
	defer func() { _ = guard(db.Close) }() // what it holds is thrown away
	commit := func(i int) error {
		return guard(func() error {
			return db.Update(func(tx *bolt.Tx) error {
				b, err := tx.CreateBucketIfNotExists(layout.Log)
				if err != nil {
					return err
				}
				b.FillPercent = logFill
				return b.Put(layout.SeqKey(uint64(i)), make([]byte, commitBytes))
			})
		})
	}
	began := clock.Read().Mono
	for i := range n + 1 {
		start := clock.Read().Mono
		if ctx.Err() != nil || start-began > commitsWithin {
			break
		}
		if err := commit(i); err != nil {
			return took, fmt.Errorf("commit to a scratch file beside the logbook: %w", err)
		}
		if i > 0 { // the first also makes the file
			took = append(took, clock.Read().Mono-start)
		}
	}
	return took, ctx.Err()
}
