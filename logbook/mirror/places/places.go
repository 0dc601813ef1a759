// Package places opens a mirror at whatever kind of place its address names.
package places

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"flaskside/logbook/house"
	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/folder"
	"flaskside/logbook/mirror/jetstream"
	"flaskside/logbook/mirror/postgres"
)

// Open opens the mirror at a place. The error is [mirror.ErrNoMirror] where none was begun.
func Open(ctx context.Context, to string) (mirror.Remote, error) {
	p, _, err := open(ctx, to, false)
	return p, err
}

// Begin opens the mirror at a place, and begins it where there is none; made tells whether it
// did.
func Begin(ctx context.Context, to string) (p mirror.Remote, made bool, err error) {
	return open(ctx, to, true)
}

func open(ctx context.Context, to string, begin bool) (mirror.Remote, bool, error) {
	kind, err := house.PlaceKind(to)
	if err != nil {
		return nil, false, err
	}
	switch kind {
	case "folder":
		return opened(begin, func() (*folder.Folder, error) { return folder.Open(to) }, func() (*folder.Folder, bool, error) { return folder.Begin(to) })
	case "nats", "tls":
		a, err := access()
		if err != nil {
			return nil, false, err
		}
		return opened(begin, func() (*jetstream.JetStream, error) { return jetstream.Open(ctx, to, a) },
			func() (*jetstream.JetStream, bool, error) { return jetstream.Begin(ctx, to, a) })
	case "postgres":
		a, err := access()
		if err != nil {
			return nil, false, err
		}
		own := postgres.Access{User: a.User, Password: a.Password, RootsPEM: a.RootsPEM}
		return opened(begin, func() (*postgres.Postgres, error) { return postgres.Open(ctx, to, own) },
			func() (*postgres.Postgres, bool, error) { return postgres.Begin(ctx, to, own) })
	}
	return nil, false, fmt.Errorf("there is no place of the kind %s:// for a mirror: give the whole path of a folder, nats://HOST or postgres://HOST/DATABASE", kind)
}

// opened opens a place, or begins it. A place that failed is nil, not an interface that holds nil.
func opened[P mirror.Remote](begin bool, open func() (P, error), make func() (P, bool, error)) (_ mirror.Remote, made bool, err error) {
	var p P
	if begin {
		p, made, err = make()
	} else {
		p, err = open()
	}
	if err != nil {
		return nil, false, err
	}
	return p, made, nil
}

// Whole makes a folder's path whole; an address stays as it is.
func Whole(to string) (string, error) {
	if to == "" || strings.Contains(to, "://") {
		return to, nil
	}
	return filepath.Abs(to)
}
