package sshdoor

import (
	"context"
	"fmt"
	"sync"

	"flaskside/logbook/address"
	"flaskside/logbook/keep"
	"flaskside/logbook/people"
	"flaskside/logbook/words"
	"flaskside/tui"
)

// Open serves screens of a bench at an address, to those whose keys its people have, until it is
// closed. say is told what whoever looks after the bench should know.
func Open(ctx context.Context, hub *keep.Hub, at string, screen tui.Config, say func(line string)) (closed func(), err error) {
	book := hub.Book().Path()
	file := people.Path(book)
	keys, bad, err := people.Load(file)
	if err != nil {
		return nil, err
	}
	told := map[string]bool{}
	tellBad := func(bad []people.BadLine) {
		for _, b := range bad {
			if s := b.Error(); !told[s] {
				told[s] = true
				say(fmt.Sprintf("%s: %s; the line is skipped", words.Clean(file), words.Clean(s)))
			}
		}
	}
	tellBad(bad)
	if len(keys) == 0 {
		return nil, fmt.Errorf("nobody has a key in %s, and --ssh lets nobody in without one: flaskside people add KT ~/.ssh/id_ed25519.pub", file)
	}
	host, fingerprint, err := people.HostKey(people.HostPath(book))
	if err != nil {
		return nil, err
	}
	door, err := listen(ctx, at, Config{
		HostKey: host, Join: hub.Join, Screen: screen,
		Find: func(fingerprint string) (keep.Person, bool) {
			keys, _, _ := people.Load(file) // where it cannot be read nobody has a key
			k, ok := byKey(keys)[fingerprint]
			return keep.Person{By: k.By, Role: k.Role, Away: k.Away, Key: k.Fingerprint, Named: ok}, ok
		},
		Fault: func(screen int) func(string) string { return keep.FaultFile(book, hub.Clock(), screen) },
		Log:   func(line string) { say(words.Clean(line)) },
	}, usual)
	if err != nil {
		return nil, err
	}
	from, beyond := address.Reach(door.Addr())
	if beyond {
		from += "; only the keys below get in"
	}
	say(fmt.Sprintf("screens over SSH at %s, %s", door.Addr(), from))
	say(fmt.Sprintf("the bench is known by %s; keys of %d: %s", fingerprint, len(keys), words.Clean(file)))
	inner, cancel := context.WithCancel(ctx)
	var beside sync.WaitGroup
	beside.Go(func() {
		if err := door.Serve(); err != nil {
			hub.Trouble(words.Clean(err.Error()))
		}
	})
	beside.Go(func() {
		people.Follow(inner, file, func(keys []people.Keyholder, bad []people.BadLine) {
			tellBad(bad)
			as := byKey(keys)
			hub.Dismiss(func(p keep.Person) bool {
				k, known := as[p.Key]
				return p.Key != "" && (!known || k.By != p.By || k.Role != p.KeyRole || k.Away && !p.Away)
			}, "your key was taken out, or now says something else: ask who looks after the bench")
		})
	})
	return func() {
		cancel()
		hub.End()
		door.Close()
		beside.Wait()
	}, nil
}

func byKey(keys []people.Keyholder) map[string]people.Keyholder {
	as := map[string]people.Keyholder{}
	for _, k := range keys {
		as[k.Fingerprint] = k
	}
	return as
}
