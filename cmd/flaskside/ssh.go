package main

import (
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"sync"
	"time"

	"flaskside/logbook/keep"
	"flaskside/logbook/people"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/tui"
	"flaskside/tui/sshdoor"
)

// lookAtKeys is how often it is looked whether a key was taken out.
const lookAtKeys = 2 * time.Second

// wholeAddress refuses an address of a flag that leaves it to the system who can reach it.
func wholeAddress(flag, at string, port int) error {
	if at == "" {
		return nil
	}
	host, given, err := net.SplitHostPort(at)
	if err != nil || host == "" || given == "" {
		return wrongUsage("%[1]s takes an address and a port, as in 127.0.0.1:%[2]d for this computer alone, not %[3]q; 0.0.0.0:%[2]d is for every network it is in", flag, port, at)
	}
	return nil
}

// sshPort is the port that is named as an example.
const sshPort = 2222

// reach says who can knock at an address.
func reach(at net.Addr) string {
	tcp, ok := at.(*net.TCPAddr)
	switch {
	case ok && tcp.IP.IsLoopback():
		return "only from this computer"
	case ok && tcp.IP.IsUnspecified():
		return "FROM EVERY NETWORK THIS COMPUTER IS IN; only the keys below get in"
	}
	return "FROM THE NETWORK of that address; only the keys below get in"
}

// serveSSH serves screens over SSH until stop is called.
func serveSSH(ctx context.Context, hub *keep.Hub, at string, clock timers.Clock, log io.Writer) (stop func(), err error) {
	book := hub.Book().Path()
	file := people.Path(book)
	say := func(format string, a ...any) { _, _ = fmt.Fprintf(log, "flaskside: "+format+"\n", a...) } // nowhere to tell a failing stderr
	keys, bad, err := people.Load(file)
	if err != nil {
		return nil, err
	}
	told := map[string]bool{}
	tellBad := func(bad []people.BadLine) {
		for _, b := range bad {
			if s := b.Error(); !told[s] {
				told[s] = true
				say("%s: %s; the line is skipped", words.Clean(file), words.Clean(s))
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
	find := func(fingerprint string) (keep.Person, bool) {
		keys, _, err := people.Load(file)
		if err != nil {
			return keep.Person{}, false
		}
		for _, k := range keys {
			if k.Fingerprint == fingerprint {
				return keep.Person{By: k.By, Role: k.Role, Away: k.Away, Key: k.Fingerprint, Named: true}, true
			}
		}
		return keep.Person{}, false
	}
	door, err := sshdoor.Listen(ctx, at, sshdoor.Config{
		HostKey: host, Find: find, Join: hub.Join,
		Screen: tui.Config{Hands: clock, NewID: newID, Every: time.Second, ScanHold: scanHold},
		Fault:  func(screen int) func(string) string { return faultFile(book, clock, screen) },
		Log:    func(line string) { say("%s", words.Clean(line)) },
	})
	if err != nil {
		return nil, err
	}
	say("screens over SSH at %s, %s", door.Addr(), reach(door.Addr()))
	say("the bench is known by %s; keys of %d: %s", fingerprint, len(keys), words.Clean(file))
	inner, cancel := context.WithCancel(ctx)
	var beside sync.WaitGroup
	beside.Go(func() {
		if err := door.Serve(); err != nil {
			hub.Trouble(oneLine(err))
		}
	})
	beside.Go(func() { followKeys(inner, hub, file, tellBad) })
	return func() {
		cancel()
		hub.End()
		door.Close()
		beside.Wait()
	}, nil
}

// followKeys ends the screens of keys that were taken out of the file, or now say something
// else.
func followKeys(ctx context.Context, hub *keep.Hub, file string, tellBad func([]people.BadLine)) {
	var was os.FileInfo
	tick := time.NewTicker(lookAtKeys)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		now, err := os.Lstat(file)
		if err == nil && was != nil && os.SameFile(was, now) && was.ModTime().Equal(now.ModTime()) && was.Size() == now.Size() {
			continue
		}
		was = now
		keys, bad, _ := people.Load(file) // where it cannot be read nobody has a key
		tellBad(bad)
		as := map[string]people.Keyholder{}
		for _, k := range keys {
			as[k.Fingerprint] = k
		}
		hub.Dismiss(func(p keep.Person) bool {
			k, known := as[p.Key]
			return p.Key != "" && (!known || k.By != p.By || k.Role != p.KeyRole || k.Away && !p.Away)
		}, "your key was taken out, or now says something else: ask who looks after the bench")
	}
}
