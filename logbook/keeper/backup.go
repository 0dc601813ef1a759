package keeper

import (
	"context"
	"fmt"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/disk"
	"flaskside/timers"
	"flaskside/timers/sysclock"
)

// sameDisk says so where the newest backup of the days lies on the disk of the book.
func sameDisk(book *logbook.Book) error {
	house := book.State().Bench.House.Backup
	// What is missing or cannot be read is told by whoever makes a backup.
	days, _ := logbook.DailyBackups(book.Path(), house.Folder)
	if len(days) == 0 {
		return nil
	}
	own, failed := disk.Of(book.Path())
	newest, unread := disk.Of(days[len(days)-1])
	if failed != nil || unread != nil || newest.ID == "" || newest.ID != own.ID {
		return nil //nolint:nilerr // as said above
	}
	return fmt.Errorf("the newest backup, %s, is on the same disk as the logbook: is another disk plugged in? (backup.folder in the settings, or flaskside backup FILE)", days[len(days)-1])
}

// backUp makes the day's backup when the bench is left, as the house settings say.
func backUp(book *logbook.Book, clock timers.Clock, check logbook.Check) error {
	st := book.State()
	if st.Head.Seq == 0 {
		return nil
	}
	house := st.Bench.House.Backup
	if _, err := logbook.BackupDaily(book, house.Folder, house.Keep, clock.Read().Wall, check); err != nil {
		return fmt.Errorf("today's backup was not made: %w", err)
	}
	return nil
}

// lookAtHour is how often it is looked whether the hour of the backup has come.
const lookAtHour = 20 * time.Second

// atHour does what is due at an hour, until ctx ends; due tells whether the hour has come
// since an instant. What goes wrong is told as trouble, and done again a day later.
func atHour(ctx context.Context, clock timers.Clock, due func(since, now time.Time) bool, do func() error, trouble func(error)) {
	since := clock.Read().Wall
	sysclock.Every(ctx, lookAtHour, func() {
		now := clock.Read().Wall
		if now.Before(since) {
			since = now // a clock that was put right must not hold the next hour up
		}
		if !due(since, now) {
			return
		}
		since = now
		if err := do(); err != nil && ctx.Err() == nil {
			trouble(err)
		}
	})
}
