package door

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"sync"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bath"
	"flaskside/logbook/bench"
	"flaskside/logbook/keep"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// How long a screen waits for the bench.
const (
	deaf       = 15 * time.Second // without a word the bench is taken to have stopped
	knockAgain = time.Second      // between two tries to find a bench again
)

// Joined is a screen of a bench that runs in another program. It is used as the book itself
// is; when the bench ends it says so, and joins the next one by itself.
type Joined struct {
	path  string
	clock timers.Clock
	cure  func(bath.LoadCase) keep.CureEstimate
	box   *keep.Box
	end   context.CancelFunc
	ended chan struct{}

	mu      sync.Mutex
	client  *Client
	welcome welcome
	took    bool        // what its person typed elsewhere was asked for
	asked   keep.Person // as it joins
	person  keep.Person // as the bench has it
	st      logbook.Snapshot
	moved   chan struct{} // closed when the bench or the person has changed
	gone    bool
	unsure  string        // id of the record of which nobody knows what became
	typed   []byte        // what stands typed, as it is told; nil before anything was
	types   chan struct{} // has something in it when that is to be told
}

// Join joins the bench that runs on a book, as a screen of a person. The error is
// [ErrNobody] where none runs.
func Join(bookPath string, p keep.Person, clock timers.Clock) (*Joined, error) {
	j := &Joined{path: bookPath, clock: clock, cure: keep.CureOf, box: keep.NewBox(), ended: make(chan struct{}), asked: p, person: p, moved: make(chan struct{}), types: make(chan struct{}, 1)}
	ctx, cancel := context.WithCancel(context.Background())
	j.end = cancel
	first := make(chan error, 1)
	go func() {
		defer close(j.ended)
		var beside sync.WaitGroup
		defer beside.Wait()
		beside.Go(func() { j.tellTyped(ctx) })
		j.follow(ctx, first)
	}()
	if err := <-first; err != nil {
		cancel()
		<-j.ended
		return nil, err
	}
	return j, nil
}

// follow listens to one bench after another. first is told once how the first one went.
func (j *Joined) follow(ctx context.Context, first chan<- error) {
	begun := false
	heard := func() {
		if !begun {
			begun = true
			first <- nil
		}
	}
	for ctx.Err() == nil {
		err := j.listen(ctx, heard)
		if !begun {
			first <- err
			return
		}
		j.lose(ctx)
		select {
		case <-ctx.Done():
		case <-time.After(knockAgain):
		}
	}
}

// lose says that the bench is gone.
func (j *Joined) lose(ctx context.Context) {
	if ctx.Err() != nil {
		return
	}
	j.mu.Lock()
	j.gone = true
	j.stir()
	j.mu.Unlock()
	j.box.Put(func(n *keep.News) { n.Lost = keep.ErrGone })
}

// listen hears one bench until it ends; heard is called when all of the bench is known.
func (j *Joined) listen(ctx context.Context, heard func()) error {
	client, err := Dial(j.path)
	if err != nil {
		return err
	}
	j.mu.Lock()
	p, err := json.Marshal(j.asked)
	q := url.Values{"person": {string(p)}, "answers": {""}}
	if j.took { // it would not be shown: it stays for another screen of theirs
		q.Set("drafts", "no")
	}
	j.mu.Unlock()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://bench/news?"+q.Encode(), nil)
	if err != nil {
		return err
	}
	silence := time.AfterFunc(deaf, cancel)
	defer silence.Stop()
	resp, err := client.transport.RoundTrip(req)
	if err != nil {
		return err
	}
	defer func() { _ = resp.Body.Close() }() // only read from
	d := json.NewDecoder(resp.Body)
	if resp.StatusCode != http.StatusOK {
		var x replyLine
		if d.Decode(&x) != nil || x.Failed == nil {
			return fmt.Errorf("what answers beside the logbook is not a bench (%d)", resp.StatusCode)
		}
		return x.Failed.err()
	}
	var w welcome
	if err := d.Decode(&w); err != nil {
		return fmt.Errorf("read the news of the bench: %w", err)
	}
	var recs []record.Record
	answer := answering(ctx, client, w.Screen)
	defer close(answer)
	for {
		var line piece
		if err := d.Decode(&line); err != nil {
			return fmt.Errorf("read the news of the bench: %w", err)
		}
		silence.Reset(deaf)
		select {
		case answer <- struct{}{}:
		default: // one is on its way
		}
		if line.Out == keep.BenchEnds {
			return nil // another one may begin
		}
		var st *logbook.Snapshot
		if recs, st, err = line.onto(recs); err != nil {
			return err
		}
		fresh, unsure := j.hear(client, w, st, line.Person)
		j.box.Put(func(n *keep.News) { line.into(n, j.State()) })
		if fresh {
			heard()
			j.settle(unsure)
		}
		if line.Out != "" {
			<-ctx.Done() // sent away: the screen is about to be left
			return nil
		}
	}
}

// sayHere is how often a screen says at most that it takes what it is told.
const sayHere = 3 * time.Second

// answering says so for each line that is put in, until the channel is closed.
func answering(ctx context.Context, c *Client, screen string) chan<- struct{} {
	lines := make(chan struct{}, 1)
	go func() {
		for range lines {
			_ = c.do(http.MethodPost, "/here?screen="+url.QueryEscape(screen), nil, askPatience, func(int, io.Reader) error { return nil }) // one that is not heard is followed by others
			select {
			case <-ctx.Done():
			case <-time.After(sayHere):
			}
		}
	}()
	return lines
}

// hear takes what a bench said; fresh tells that it is another one than before, and unsure
// which record was on its way then.
func (j *Joined) hear(client *Client, w welcome, st *logbook.Snapshot, p keep.Person) (fresh bool, unsure string) {
	j.mu.Lock()
	defer j.mu.Unlock()
	fresh = j.client != client
	if st != nil && (fresh || st.Head.Seq >= j.st.Head.Seq) { // what was saved meanwhile is newer
		if j.st.Bench != nil {
			st.Bench.Inherit(j.st.Bench)
		}
		j.st = *st
	}
	j.client, j.welcome, j.gone = client, w, false
	defer j.stir()
	j.person.Role, j.person.Away, j.person.Fixed = p.Role, p.Away, p.Fixed
	if fresh {
		unsure, j.unsure = j.unsure, ""
		if j.typed != nil {
			j.toTell()
		}
	}
	return fresh, unsure
}

// stir wakes who waits for news. Called with the lock held.
func (j *Joined) stir() {
	close(j.moved)
	j.moved = make(chan struct{})
}

// onto puts the news of the bench on the records that were known of it, in the order of the
// book, and gives those that are known now; the state is nil where there is nothing new of it.
// What has no news costs nothing: most lines add a record at the end.
func (p *piece) onto(recs []record.Record) ([]record.Record, *logbook.Snapshot, error) {
	if p.Head == nil {
		return recs, nil, nil
	}
	if len(p.Drop) > 0 {
		drop := make(map[uint64]bool, len(p.Drop))
		for _, seq := range p.Drop {
			drop[seq] = true
		}
		recs = slices.DeleteFunc(recs, func(r record.Record) bool { return drop[r.Seq] })
	}
	for _, raw := range p.Add {
		r, err := record.Decode(raw)
		if err != nil {
			return nil, nil, fmt.Errorf("read the news of the bench: %w", err)
		}
		at, there := slices.BinarySearchFunc(recs, r.Seq, func(r record.Record, seq uint64) int { return cmp.Compare(r.Seq, seq) })
		if there {
			recs[at] = r
			continue
		}
		recs = slices.Insert(recs, at, r)
	}
	return recs, &logbook.Snapshot{Bench: bench.Fold(recs, p.Top), Head: *p.Head, Beat: p.Beat}, nil
}

// into tells a screen.
func (p *piece) into(n *keep.News, st logbook.Snapshot) {
	n.State, n.Flood, n.Mirror, n.Lost = st, p.Flood, p.Mirror, nil
	if p.Lost != "" {
		n.Lost = &toldError{p.Lost, logbook.ErrUnknown}
	}
	for _, l := range p.Lines {
		n.Add(l)
	}
	if p.Out != "" {
		n.Out = p.Out
	}
}

// settle says what became of a record that was on its way when a bench ended.
func (j *Joined) settle(id string) {
	if id == "" {
		return
	}
	r, there, err := j.ByID(id)
	line := keep.Notice{Text: "the last record was NOT saved: record it again", Trouble: true}
	switch {
	case err != nil:
		line.Text = "whether the last record was saved is not known: look for it in the book"
	case there:
		line.Text = fmt.Sprintf("the last record was saved after all: record %d", r.Seq)
	}
	j.box.Put(func(n *keep.News) { n.Add(line) })
}

// at gives the bench that runs now, and what this screen is called there.
func (j *Joined) at() (c *Client, screen string, err error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.gone {
		return nil, "", keep.ErrGone
	}
	return j.client, url.QueryEscape(j.welcome.Screen), nil
}

// No is the number of the screen.
func (j *Joined) No() int { j.mu.Lock(); defer j.mu.Unlock(); return j.welcome.No }

// Wake has something in it when there is news.
func (j *Joined) Wake() <-chan struct{} { return j.box.Wake() }

// Take gives what is new.
func (j *Joined) Take() keep.News { return j.box.Take() }

// State gives the book as it is known.
func (j *Joined) State() logbook.Snapshot { j.mu.Lock(); defer j.mu.Unlock(); return j.st }

// Now reads the clocks of this machine, which are those of the bench.
func (j *Joined) Now() timers.Now {
	return timers.Now{Reading: j.clock.Read(), Beat: j.State().Beat}
}

// Me is whose screen it is.
func (j *Joined) Me() keep.Person { j.mu.Lock(); defer j.mu.Unlock(); return j.person }

// Absence is since when its person had seen nothing of the bench.
func (j *Joined) Absence() keep.Absence { j.mu.Lock(); defer j.mu.Unlock(); return j.welcome.Absence }

// RunsOn tells that the bench runs on without this screen.
func (j *Joined) RunsOn() bool { return true }

// Drafts gives what its person typed elsewhere and did not send, once.
func (j *Joined) Drafts() keep.Drafts {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.took {
		return nil
	}
	j.took = true
	return j.welcome.Drafts
}

// Typing has the bench told what stands typed here, for when the power goes for both. It waits for nobody.
func (j *Joined) Typing(d keep.Drafts) {
	body, err := json.Marshal(d)
	if err != nil {
		return
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	j.typed = body
	j.toTell()
}

// toTell has it told. Called with the lock held.
func (j *Joined) toTell() {
	select {
	case j.types <- struct{}{}:
	default: // the newest is told in any case
	}
}

// typingEvery is how often a screen tells at most what stands typed on it.
const typingEvery = time.Second

// tellTyped tells the bench, or the one that runs next, what stands typed.
func (j *Joined) tellTyped(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-j.types:
		}
		if c, screen, err := j.at(); err == nil { // else it is told to the bench that comes
			j.mu.Lock()
			body := j.typed
			j.mu.Unlock()
			_ = c.do(http.MethodPost, "/typing?screen="+screen, body, askPatience, func(int, io.Reader) error { return nil }) // a help and no record; benches of before know it not
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(typingEvery):
		}
	}
}

// Cure is worked out here: it is no matter of the bench alone.
func (j *Joined) Cure(c bath.LoadCase) keep.CureEstimate { return j.cure(c) }

// Press is the press order as the bench has it.
func (j *Joined) Press(_ timers.Now, mixSize string) (p keep.PressOrder, err error) {
	c, _, err := j.at()
	if err != nil {
		return p, err
	}
	err = c.get("/press?mix="+url.QueryEscape(mixSize), recordPatience, func(r io.Reader) error { return json.NewDecoder(r).Decode(&p) })
	return p, err
}

// Append has the bench record an action of the person at this screen. Where the bench ends
// meanwhile the error is [logbook.ErrUnknown]; what became of the record is told as soon as
// there is a bench again.
func (j *Joined) Append(a action.Action) (saved logbook.Saved, err error) {
	c, screen, err := j.at()
	if err != nil {
		return saved, fmt.Errorf("%w: %w", logbook.ErrNotSaved, err)
	}
	if a.Body == nil {
		return saved, a.Valid()
	}
	body, err := json.Marshal(a)
	if err != nil {
		return saved, err
	}
	var told error
	err = c.do(http.MethodPost, "/append?screen="+screen, body, recordPatience, func(_ int, r io.Reader) error {
		var x replyLine
		if err := json.NewDecoder(r).Decode(&x); err != nil {
			return err
		}
		if x.Failed != nil {
			told = x.Failed.err()
			return nil
		}
		saved.Already = x.Already
		saved.Record, err = record.Decode(x.Record)
		return err
	})
	switch {
	case errors.As(err, &unsent{}):
		return saved, fmt.Errorf("%w: %w", logbook.ErrNotSaved, keep.ErrGone)
	case err != nil:
		j.mu.Lock()
		j.unsure = a.ID
		j.mu.Unlock()
		return saved, fmt.Errorf("%w: %w", logbook.ErrUnknown, err)
	case told == nil:
		j.saved(saved)
	}
	return saved, told
}

// saved waits until the screen knows what it was just told is saved: the news of it may still
// be on its way.
func (j *Joined) saved(s logbook.Saved) {
	j.mu.Lock()
	if on, ok := s.Action.Body.(action.Crew); ok {
		j.person.By, j.asked.By = on.Initials, on.Initials
	}
	j.mu.Unlock()
	late := time.NewTimer(askPatience)
	defer late.Stop()
	for {
		j.mu.Lock()
		knows, moved := j.gone || j.st.Head.Seq >= s.Seq, j.moved
		j.mu.Unlock()
		if knows {
			return
		}
		select {
		case <-moved:
		case <-late.C:
			return
		}
	}
}

// Reopen has the bench try to reach its book again.
func (j *Joined) Reopen() error {
	c, screen, err := j.at()
	if err != nil {
		return err
	}
	err = c.do(http.MethodPost, "/reopen?screen="+screen, nil, recordPatience, func(status int, r io.Reader) error {
		var x replyLine
		if status != http.StatusOK {
			if err := json.NewDecoder(r).Decode(&x); err == nil && x.Failed != nil {
				return x.Failed.err()
			}
			return fmt.Errorf("the bench could not: %d", status)
		}
		return nil
	})
	if err == nil {
		j.mu.Lock()
		unsure := j.unsure
		j.unsure = ""
		j.mu.Unlock()
		j.settle(unsure)
	}
	return err
}

// Leave ends the screen, and keeps at the bench what was typed and not sent.
func (j *Joined) Leave(typed keep.Drafts) {
	if c, screen, err := j.at(); err == nil && len(typed) > 0 {
		if body, err := json.Marshal(typed); err == nil {
			_ = c.do(http.MethodPost, "/typed?screen="+screen, body, askPatience, func(int, io.Reader) error { return nil })
		}
	}
	j.end()
	<-j.ended
}

// ByID finds a record by the id of its action.
func (j *Joined) ByID(id string) (r record.Record, ok bool, err error) {
	c, _, err := j.at()
	if err != nil {
		return r, false, err
	}
	err = c.get("/record?id="+url.QueryEscape(id), askPatience, func(in io.Reader) error {
		var x replyLine
		if err := json.NewDecoder(in).Decode(&x); err != nil || x.Record == nil {
			return err
		}
		ok = true
		r, err = record.Decode(x.Record)
		return err
	})
	return r, ok && err == nil, err
}

// Each gives the records from a number on, while f wants more.
func (j *Joined) Each(from uint64, f func(r record.Record) (more bool, err error)) error {
	return j.records("/records?from="+strconv.FormatUint(from, 10), nil, f)
}

// Of gives the records about a thing.
func (j *Joined) Of(s action.Subject) (out []record.Record, err error) {
	path := fmt.Sprintf("/of?class=%c&no=%d", s.Class, s.No)
	err = j.records(path, nil, func(r record.Record) (bool, error) { out = append(out, r); return true, nil })
	return out, err
}

// Whole gives the bench with all that was done in a time.
func (j *Joined) Whole(from, until time.Time) (*bench.Bench, error) {
	var h stateHead
	var recs []record.Record
	path := "/whole?from=" + url.QueryEscape(from.Format(time.RFC3339Nano)) + "&until=" + url.QueryEscape(until.Format(time.RFC3339Nano))
	if err := j.records(path, &h, func(r record.Record) (bool, error) { recs = append(recs, r); return true, nil }); err != nil {
		return nil, err
	}
	return bench.Fold(recs, h.Top), nil
}

// records reads records, a line each, behind a first line where there is one. The answer is
// whole when an empty object ends it.
func (j *Joined) records(path string, first any, f func(r record.Record) (bool, error)) error {
	c, _, err := j.at()
	if err != nil {
		return err
	}
	return c.get(path, replying, func(in io.Reader) error {
		d := json.NewDecoder(in)
		if first != nil {
			if err := d.Decode(first); err != nil {
				return err
			}
		}
		for {
			var raw json.RawMessage
			if err := d.Decode(&raw); err != nil {
				if errors.Is(err, io.EOF) {
					err = io.ErrUnexpectedEOF
				}
				return err
			}
			if bytes.Equal(raw, []byte("{}")) {
				return nil
			}
			r, err := record.Decode(raw)
			if err != nil {
				return err
			}
			if more, err := f(r); err != nil || !more {
				return err
			}
		}
	})
}

// Screens lists who is on which screen of the bench.
func (c *Client) Screens() (out []keep.Present, err error) {
	err = c.get("/screens", askPatience, func(r io.Reader) error { return json.NewDecoder(r).Decode(&out) })
	return out, err
}
