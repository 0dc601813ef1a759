package benches

import (
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"

	"flaskside/logbook/asked"
	"flaskside/logbook/mirror/places"
	"flaskside/logbook/mirror/shelf"
	"flaskside/timers"
)

// each reads every bench of the mirror at a place.
func each(ctx context.Context, at string, clock timers.Clock, f func(shelf.Kept) error) error {
	return on(ctx, at, clock, func(s shelf.Shelf) error { return s.Each(ctx, f) })
}

// on opens the copies of the benches of the mirror at a place that are kept on this machine.
func on(ctx context.Context, at string, clock timers.Clock, f func(shelf.Shelf) error) error {
	if at == "" {
		return asked.Wrongly("name the place of the mirror with --mirror PLACE")
	}
	at, err := places.Whole(at)
	if err != nil {
		return err
	}
	p, err := places.Open(ctx, at)
	if err != nil {
		return err
	}
	defer func() { _ = p.Close() }() // only read from
	dir, done, err := dirOf(at)
	if err != nil {
		return err
	}
	defer done()
	return f(shelf.Shelf{Place: p, Dir: dir, Clock: clock})
}

// dirOf is where copies of the benches of a mirror are kept on this machine; where it has no
// place for such, they are thrown away afterwards.
func dirOf(at string) (dir string, done func(), err error) {
	if cache, err := os.UserCacheDir(); err == nil {
		dir = filepath.Join(cache, "flaskside", fmt.Sprintf("benches-%x", sha256.Sum256([]byte(at)))[:24])
		if err := os.MkdirAll(dir, 0o700); err == nil {
			return dir, func() {}, nil
		}
	}
	dir, err = os.MkdirTemp("", "flaskside-")
	return dir, func() { _ = os.RemoveAll(dir) }, err // a copy left over harms nobody
}
