package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"sync"
	"time"

	"github.com/boombuler/barcode/qr"
	"github.com/spf13/cobra"

	"flaskside/logbook"
	"flaskside/logbook/civil"
	"flaskside/logbook/keep"
	"flaskside/logbook/mirror/benches"
	"flaskside/logbook/mirror/shelf"
	"flaskside/logbook/people"
	"flaskside/logbook/review"
	"flaskside/logbook/words"
	"flaskside/timers"
	"flaskside/tui/board"
)

// boardPort is the port that is named as an example.
const boardPort = 8020

// onWall is where the screen of the board is.
const onWall = "the wall board"

// boardCommand tells where the board is to be seen.
func boardCommand(o *options) *cobra.Command {
	anew, at, code := false, fmt.Sprintf("127.0.0.1:%d", boardPort), false
	c := &cobra.Command{
		Use:   "board",
		Short: "Print the address of the wall board, with the token that opens it",
		Long: "Prints the address of the wall board, which is served while a bench runs that was begun with\n" +
			"--board. Whoever knows the token in it sees places, case numbers and initials; nobody can change\n" +
			"anything there. --new makes a token, or a new one: the old address then stops working.",
		Example: "flaskside board --new\nflaskside keep --board 127.0.0.1:8020\nflaskside board --at 192.168.1.7:8020 --code",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := wholeAddress("--at", at, boardPort); err != nil {
				return err
			}
			path := people.TokenPath(o.book)
			token, err := people.Token(path)
			if anew {
				token, err = people.NewToken(path)
			}
			if err != nil {
				return err
			}
			if token == "" {
				return errors.New("the board has no token yet: flaskside board --new makes one")
			}
			return printBoard(c.OutOrStdout(), "http://"+at+"/"+token+"/", code)
		},
	}
	c.Flags().BoolVar(&anew, "new", false, "make a token, or a new one; the old one stops working")
	c.Flags().StringVar(&at, "at", at, "the address that the board was given")
	c.Flags().BoolVar(&code, "code", false, "the address as a QR code, too, for the camera of a tablet")
	return c
}

// printBoard prints an address, and on request as a code.
func printBoard(out io.Writer, address string, code bool) error {
	if _, err := fmt.Fprintln(out, address); err != nil || !code {
		return err
	}
	q, err := qr.Encode(address, qr.L, qr.Unicode)
	if err != nil {
		return fmt.Errorf("make the code: %w", err)
	}
	const quiet = 4 // modules around it, as ISO/IEC 18004 wants
	size := q.Bounds().Dx()
	dark := func(x, y int) bool {
		if x < 0 || y < 0 || x >= size || y >= size {
			return false
		}
		r, _, _, _ := q.At(x, y).RGBA()
		return r == 0
	}
	var b strings.Builder
	for y := -quiet; y < size+quiet; y += 2 {
		for x := -quiet; x < size+quiet; x++ {
			// Light is drawn, so that it stands light on the dark ground of a terminal.
			b.WriteString(map[[2]bool]string{{true, true}: " ", {true, false}: "▄", {false, true}: "▀", {false, false}: "█"}[[2]bool{dark(x, y), dark(x, y+1)}])
		}
		b.WriteByte('\n')
	}
	_, err = io.WriteString(out, b.String())
	return err
}

// boardReach says who can look at a board, and what that means.
func boardReach(at net.Addr) string {
	if tcp, ok := at.(*net.TCPAddr); ok && tcp.IP.IsLoopback() {
		return "only from this computer"
	}
	from := "FROM THE NETWORK of that address"
	if tcp, ok := at.(*net.TCPAddr); ok && tcp.IP.IsUnspecified() {
		from = "FROM EVERY NETWORK THIS COMPUTER IS IN"
	}
	return from + ": plain HTTP, so anyone listening on that network can read the token, case numbers and initials"
}

// lookAtToken is how often it is looked whether the board has another token.
const lookAtToken = 2 * time.Second

// withBoard serves the wall board at an address while run does; with none it only runs.
func withBoard(ctx context.Context, hub *keep.Hub, at string, log io.Writer, run func() error) error {
	if at == "" {
		return run()
	}
	path := people.TokenPath(hub.Book().Path())
	token, err := people.Token(path)
	if err != nil {
		return err
	}
	if token == "" {
		return errors.New("--board lets nobody look without a token: flaskside board --new makes one")
	}
	screen, err := hub.Join(keep.Person{From: onWall, Own: true})
	if err != nil {
		return err
	}
	defer screen.Leave(nil)
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	held := &heldToken{token: token}
	counted := &dayTally{book: hub.Book()}
	others := &otherBenches{ctx: ctx, book: hub.Book(), clock: hub.Clock()}
	b, err := board.Listen(ctx, at, board.Config{Bench: screen, Token: held.get, Tally: counted.words, Benches: others.get,
		Fault: faultFile(hub.Book().Path(), hub.Clock(), 0), Trouble: hub.Trouble})
	if err != nil {
		return err
	}
	say := func(format string, a ...any) { _, _ = fmt.Fprintf(log, "flaskside: "+format+"\n", a...) } // nowhere to tell a failing stderr
	say("wall board at http://%s/TOKEN/, %s", b.Addr(), boardReach(b.Addr()))
	say("flaskside board prints the token, kept in %s", words.Clean(path))
	var beside sync.WaitGroup
	beside.Go(func() {
		if err := b.Serve(); err != nil {
			hub.Trouble(oneLine(err))
		}
	})
	beside.Go(func() { held.follow(ctx, path, hub.Trouble) })
	defer beside.Wait()
	defer cancel()
	defer b.Close()
	return run()
}

// heldToken is the token as the file has it.
type heldToken struct {
	mu    sync.Mutex
	token string
}

func (h *heldToken) get() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.token
}

// follow takes what the file has from then on; where it cannot be read nobody is let in.
func (h *heldToken) follow(ctx context.Context, path string, trouble func(string)) {
	tick := time.NewTicker(lookAtToken)
	defer tick.Stop()
	said := ""
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		token, err := people.Token(path)
		h.mu.Lock()
		h.token = token
		h.mu.Unlock()
		if err != nil && err.Error() != said {
			said = err.Error()
			trouble(oneLine(err))
		}
	}
}

// dayTally counts what was done today, anew when something was recorded.
type dayTally struct {
	book *logbook.Book
	seq  uint64
	from time.Time
	said []string
}

func (t *dayTally) words() ([]string, error) {
	now, seq := t.book.Now().Wall, t.book.State().Head.Seq
	from, until := civil.OfInstant(now, now.Location())
	if t.said != nil && t.seq == seq && t.from.Equal(from) {
		return t.said, nil
	}
	whole, err := t.book.Whole(from, until)
	if err != nil {
		return nil, err
	}
	t.seq, t.from, t.said = seq, from, review.Tally(whole, from, until)
	return t.said, nil
}

// How long the benches of the mirror hold, and how long a page waits for them (house defaults).
const (
	benchesHold = 20 * time.Second
	benchesWait = 3 * time.Second
)

// otherBenches are those of the mirror, read beside the board when somebody asks.
type otherBenches struct {
	ctx   context.Context //nolint:containedctx // of the board that asks
	book  *logbook.Book
	clock timers.Clock

	mu   sync.Mutex
	busy chan struct{} // closed when they have been read; nil while nobody reads
	all  []benches.Glance
	at   time.Time
	err  error
}

func (o *otherBenches) get() ([]benches.Glance, time.Time, error) {
	o.mu.Lock()
	now := o.clock.Read().Wall
	if age := now.Sub(o.at); o.busy == nil && (age >= benchesHold || age < 0) {
		o.busy = make(chan struct{})
		go o.read(o.book.State().Bench.House.Mirror.To)
	}
	busy := o.busy
	o.mu.Unlock()
	if busy != nil {
		select {
		case <-busy:
		case <-time.After(benchesWait):
		}
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.at.IsZero() {
		return nil, now, errors.New("the mirror is being read and has not answered yet; this page asks again by itself")
	}
	return o.all, o.at, o.err
}

func (o *otherBenches) read(place string) {
	now := o.clock.Read()
	var all []benches.Glance
	err := eachBench(o.ctx, place, o.clock, func(k shelf.Kept) error {
		all = append(all, benches.Of(k, now))
		return nil
	})
	o.mu.Lock()
	defer o.mu.Unlock()
	o.all, o.at, o.err = all, now.Wall, err
	close(o.busy)
	o.busy = nil
}
