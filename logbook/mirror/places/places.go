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
		if !begin {
			f, err := folder.Open(to)
			if err != nil {
				return nil, false, err
			}
			return f, false, nil
		}
		f, made, err := folder.Begin(to)
		if err != nil {
			return nil, false, err
		}
		return f, made, nil
	case "nats", "tls":
		a, err := access()
		if err != nil {
			return nil, false, err
		}
		if !begin {
			j, err := jetstream.Open(ctx, to, a)
			if err != nil {
				return nil, false, err
			}
			return j, false, nil
		}
		j, made, err := jetstream.Begin(ctx, to, a)
		if err != nil {
			return nil, false, err
		}
		return j, made, nil
	case "postgres":
		a, err := access()
		if err != nil {
			return nil, false, err
		}
		own := postgres.Access{User: a.User, Password: a.Password, RootsPEM: a.RootsPEM}
		if !begin {
			p, err := postgres.Open(ctx, to, own)
			if err != nil {
				return nil, false, err
			}
			return p, false, nil
		}
		p, made, err := postgres.Begin(ctx, to, own)
		if err != nil {
			return nil, false, err
		}
		return p, made, nil
	}
	return nil, false, fmt.Errorf("there is no place of the kind %s:// for a mirror: give the whole path of a folder, nats://HOST or postgres://HOST/DATABASE", kind)
}

// Whole makes a folder's path whole; an address stays as it is.
func Whole(to string) (string, error) {
	if to == "" || strings.Contains(to, "://") {
		return to, nil
	}
	return filepath.Abs(to)
}
