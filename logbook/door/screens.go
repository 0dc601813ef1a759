package door

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/keep"
	"flaskside/logbook/mirror"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// pulsing is how often a screen hears that the bench is there when there is nothing new.
const pulsing = 5 * time.Second

// welcome is the first line that a screen hears.
type welcome struct {
	Screen  string       `json:"screen"` // what it calls itself from now on
	No      int          `json:"no"`
	Book    string       `json:"book"` // identity
	Absence keep.Absence `json:"absence"`
	Drafts  keep.Drafts  `json:"drafts,omitempty"`
}

// piece is one line of news. All but the first line of a bench say what has changed in it
// since the line before; a line that says nothing of the bench has no head.
type piece struct {
	Head   *logbook.Head     `json:"head,omitempty"`
	Beat   timers.Beat       `json:"beat,omitzero"`
	Top    bench.Counters    `json:"top,omitzero"`
	Drop   []uint64          `json:"drop,omitempty"` // records that the bench rests on no more
	Add    []json.RawMessage `json:"add,omitempty"`  // those that came, also old ones that came back
	Person keep.Person       `json:"person"`         // as they stand now
	Lines  []keep.Notice     `json:"lines,omitempty"`
	Flood  keep.AlarmRate    `json:"flood,omitzero"`
	Mirror mirror.Health     `json:"mirror,omitzero"`
	Lost   string            `json:"lost,omitempty"`
	Out    string            `json:"out,omitempty"`
}

// handleScreens answers programs that show the bench as a screen of their own.
func (s *server) handleScreens(handle func(string, func(*steady, *http.Request))) {
	handle("GET /news", s.news)
	handle("GET /screens", func(w *steady, _ *http.Request) { reply(w, http.StatusOK, s.hub.Screens()) })
	handle("POST /append", s.append)
	handle("POST /reopen", s.reopen)
	handle("POST /here", s.here)
	handle("POST /typing", s.typed(func(at *keep.Screen, d keep.Drafts) { at.Typing(d) }))
	handle("POST /typed", s.typed(func(at *keep.Screen, d keep.Drafts) { at.Leave(d) }))
	handle("GET /press", s.press)
	handle("GET /record", s.byID)
	handle("GET /of", s.of)
	handle("GET /records", s.each)
	handle("GET /whole", s.whole)
}

// news tells a screen what is new for as long as it listens. A screen that does not take
// what it is told, or does not say so, is let go, as one that has ended is.
func (s *server) news(w *steady, r *http.Request) {
	var p keep.Person
	if err := json.Unmarshal([]byte(r.URL.Query().Get("person")), &p); err != nil {
		w.fail(http.StatusBadRequest, fmt.Errorf("whose screen is it? %w", err))
		return
	}
	p.Own, p.Key = false, "" // who reaches the socket is the owner, and no key was shown here
	screen, err := s.hub.Join(p)
	if err != nil {
		w.fail(http.StatusServiceUnavailable, err)
		return
	}
	token := rand.Text()
	ctx, let := context.WithCancel(r.Context())
	defer let()
	s.mu.Lock()
	s.screens[token] = screen
	if r.URL.Query().Has("answers") { // programs of before do not
		s.late[token] = time.AfterFunc(s.quiet, let)
	}
	s.mu.Unlock()
	defer func() {
		s.mu.Lock()
		delete(s.screens, token)
		if late := s.late[token]; late != nil {
			late.Stop()
			delete(s.late, token)
		}
		s.mu.Unlock()
		screen.Leave(nil)
	}()
	rc := http.NewResponseController(w.ResponseWriter)
	_ = rc.SetReadDeadline(time.Time{}) // the request is read; its other side may listen for days
	w.begun = true
	send := func(line any) error {
		if err := rc.SetWriteDeadline(time.Now().Add(s.stall)); err != nil {
			return err
		}
		b, err := json.Marshal(line)
		if err != nil {
			return err
		}
		if _, err := w.ResponseWriter.Write(append(b, '\n')); err != nil {
			return err
		}
		return rc.Flush()
	}
	var typed keep.Drafts
	if r.URL.Query().Get("drafts") != "no" {
		typed = screen.Drafts()
	}
	if send(welcome{token, screen.No(), s.book.ID(), screen.Absence(), typed}) != nil {
		return
	}
	pulse := time.NewTicker(s.pulse)
	defer pulse.Stop()
	var told teller
	for {
		var line piece
		select {
		case <-ctx.Done():
			return
		case <-s.ends:
			_ = send(piece{Out: keep.BenchEnds})
			return
		case <-pulse.C:
			line = piece{Person: screen.Me(), Flood: told.flood, Mirror: told.mirror, Lost: told.lost}
		case <-screen.Wake():
			line = told.piece(screen.Take(), screen.Me())
		}
		if send(line) != nil || line.Out != "" {
			return
		}
	}
}

// teller knows what a screen was told of the bench.
type teller struct {
	bench  *bench.Bench
	on     map[uint64]bool
	flood  keep.AlarmRate
	mirror mirror.Health
	lost   string
}

// piece says what is new.
func (t *teller) piece(n keep.News, me keep.Person) piece {
	out := piece{Person: me, Lines: n.Lines, Flood: n.Flood, Mirror: n.Mirror, Out: n.Out}
	if n.Lost != nil {
		out.Lost = n.Lost.Error()
	}
	t.flood, t.mirror, t.lost = out.Flood, out.Mirror, out.Lost
	b := n.State.Bench
	if b == nil || b == t.bench {
		return out
	}
	out.Head, out.Beat, out.Top = &n.State.Head, n.State.Beat, b.Top
	is := make(map[uint64]bool, len(b.Items))
	for i := range b.Items {
		seq := b.Items[i].Seq
		if is[seq] = true; !t.on[seq] {
			out.Add = append(out.Add, json.RawMessage(b.Items[i].Raw))
		}
	}
	for seq := range t.on {
		if !is[seq] {
			out.Drop = append(out.Drop, seq)
		}
	}
	t.bench, t.on = b, is
	return out
}

// errNoScreen says that a screen is not known here: the bench let it go, or is another one.
var errNoScreen = errors.New("this screen is not on the bench any more")

// screen is the one that a request speaks for.
func (s *server) screen(w *steady, r *http.Request) *keep.Screen {
	s.mu.Lock()
	screen := s.screens[r.URL.Query().Get("screen")]
	s.mu.Unlock()
	if screen == nil {
		w.fail(http.StatusNotFound, errNoScreen)
	}
	return screen
}

// append records one action of the person at a screen.
func (s *server) append(w *steady, r *http.Request) {
	screen := s.screen(w, r)
	if screen == nil {
		return
	}
	for l, err := range Lines(http.MaxBytesReader(w, r.Body, maxBody)) {
		if err == nil {
			err = l.Err
		}
		var saved logbook.Saved
		if err == nil {
			saved, err = screen.Append(l.Action)
		}
		if err != nil {
			w.fail(http.StatusUnprocessableEntity, err)
			return
		}
		reply(w, http.StatusOK, replyLine{Line: 1, Record: json.RawMessage(saved.Raw), Already: saved.Already})
		return
	}
	w.fail(http.StatusBadRequest, errors.New("there is no action to record"))
}

func (s *server) reopen(w *steady, r *http.Request) {
	if screen := s.screen(w, r); screen != nil {
		if err := screen.Reopen(); err != nil {
			w.fail(http.StatusServiceUnavailable, err)
			return
		}
		reply(w, http.StatusOK, struct{}{})
	}
}

// here hears that a screen has taken what it was told: a program that stands still reads nothing,
// and the little that a quiet bench tells would fill no buffer for hours.
func (s *server) here(w *steady, r *http.Request) {
	if s.screen(w, r) == nil {
		return
	}
	s.mu.Lock()
	if late := s.late[r.URL.Query().Get("screen")]; late != nil {
		late.Reset(s.quiet)
	}
	s.mu.Unlock()
	reply(w, http.StatusOK, struct{}{})
}

// typed takes what stands typed on a screen, or stood there when it ended.
func (s *server) typed(take func(*keep.Screen, keep.Drafts)) func(w *steady, r *http.Request) {
	return func(w *steady, r *http.Request) {
		screen := s.screen(w, r)
		if screen == nil {
			return
		}
		var d keep.Drafts
		if err := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxTyped)).Decode(&d); err != nil {
			w.fail(http.StatusBadRequest, err)
			return
		}
		take(screen, d)
		reply(w, http.StatusOK, struct{}{})
	}
}

// maxTyped is more than all questions of the program take.
const maxTyped = 64 << 10

func (s *server) press(w *steady, r *http.Request) {
	p, err := s.hub.Press(s.book.Now(), r.URL.Query().Get("mix"))
	if err != nil {
		w.fail(http.StatusServiceUnavailable, err)
		return
	}
	reply(w, http.StatusOK, p)
}

func (s *server) byID(w *steady, r *http.Request) {
	rec, there, err := s.book.ByID(r.URL.Query().Get("id"))
	switch {
	case err != nil:
		w.fail(http.StatusInternalServerError, err)
	case !there:
		reply(w, http.StatusOK, replyLine{})
	default:
		reply(w, http.StatusOK, replyLine{Record: json.RawMessage(rec.Raw)})
	}
}

func (s *server) of(w *steady, r *http.Request) {
	q := r.URL.Query()
	no, err := strconv.Atoi(q.Get("no"))
	if err != nil || len(q.Get("class")) != 1 {
		w.fail(http.StatusBadRequest, errors.New("of what?"))
		return
	}
	recs, err := s.book.Of(action.Subject{Class: q.Get("class")[0], No: no})
	if err != nil {
		w.fail(http.StatusInternalServerError, err)
		return
	}
	_ = writeRecords(w, recs)
	_, _ = w.Write([]byte("{}\n"))
}

// run is how many records are read at once: whoever reads them slowly must not hold the
// pages of the file meanwhile.
const run = 500

// each gives the records from a number on. An empty object after the last one tells that the
// answer is whole.
func (s *server) each(w *steady, r *http.Request) {
	from, err := strconv.ParseUint(r.URL.Query().Get("from"), 10, 64)
	if err != nil {
		w.fail(http.StatusBadRequest, errors.New("from which record on?"))
		return
	}
	for from = max(from, 1); ; {
		var recs []record.Record
		err := s.book.Each(from, func(r record.Record) (bool, error) {
			recs = append(recs, r)
			return len(recs) < run, nil
		})
		if err != nil {
			w.fail(http.StatusInternalServerError, err)
			return
		}
		if writeRecords(w, recs) != nil || len(recs) < run {
			break
		}
		from = recs[len(recs)-1].Seq + 1
	}
	_, _ = w.Write([]byte("{}\n"))
}

// whole gives the bench with all that was done in a time, as /state gives it.
func (s *server) whole(w *steady, r *http.Request) {
	q := r.URL.Query()
	from, err := time.Parse(time.RFC3339Nano, q.Get("from"))
	until, err2 := time.Parse(time.RFC3339Nano, q.Get("until"))
	if err := errors.Join(err, err2); err != nil {
		w.fail(http.StatusBadRequest, err)
		return
	}
	b, err := s.book.Whole(from, until)
	if err != nil {
		w.fail(http.StatusInternalServerError, err)
		return
	}
	reply(w, http.StatusOK, stateHead{Top: b.Top})
	recs := make([]record.Record, len(b.Items))
	for i := range b.Items {
		recs[i] = b.Items[i].Record
	}
	_ = writeRecords(w, recs)
	_, _ = w.Write([]byte("{}\n"))
}

// writeRecords sends records, one a line. The other side may be gone.
func writeRecords(w *steady, recs []record.Record) error {
	var buf bytes.Buffer
	for _, r := range recs {
		buf.Write(r.Raw)
		buf.WriteByte('\n')
	}
	_, err := w.Write(buf.Bytes())
	return err
}
