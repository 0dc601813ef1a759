package door

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"flag"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	houses "flaskside/logbook/house"
	"flaskside/logbook/keep"
	"flaskside/logbook/record"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

// TestMain lets many tests wait at once.
func TestMain(m *testing.M) {
	longrun.Waits(8)
	os.Exit(m.Run())
}

// join is a screen in another program.
func (h *opened) join(p keep.Person) *Joined {
	h.t.Helper()
	j, err := Join(h.path, p, h.ck)
	if err != nil {
		h.t.Fatal(err)
	}
	h.t.Cleanup(func() { j.Leave(nil) })
	return j
}

// opened is a house of which the hub is at hand.
type opened struct {
	*house
	hub   *keep.Hub
	stall time.Duration
}

func openHub(t *testing.T) *opened {
	t.Helper()
	h := &opened{house: closed(t), stall: stalling}
	h.serve()
	return h
}

func (h *opened) serve() {
	h.t.Helper()
	h.hub = hubOf(h.book, h.ck)
	stop, err := serve(context.Background(), h.hub, h.stall)
	if err != nil {
		h.t.Fatal(err)
	}
	h.stop = stop
	h.t.Cleanup(stop)
}

// people reads "role:by".
func people(text ...string) (out []houses.Person) {
	for _, s := range text {
		role, by, _ := strings.Cut(s, ":")
		out = append(out, houses.Person{By: by, Role: role})
	}
	return out
}

// until waits for something to come true.
func until(t *testing.T, what string, is func() bool) {
	t.Helper()
	for deadline := time.Now().Add(30 * time.Second); time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		if is() {
			return
		}
	}
	t.Fatalf("it never came to it that %s", what)
}

// same tells whether a screen knows the bench as it is.
func same(j *Joined, b *logbook.Book) bool {
	st, want := j.State(), b.State()
	if st.Head != want.Head || len(st.Bench.Items) != len(want.Bench.Items) {
		return false
	}
	for i := range st.Bench.Items {
		if !bytes.Equal(st.Bench.Items[i].Raw, want.Bench.Items[i].Raw) {
			return false
		}
	}
	return true
}

// TestJoinedIsTheBook: what a screen in another program is told and asks is what the book has:
// the bench after every kind of record, what was undone and what is pruned, and all questions.
func TestJoinedIsTheBook(t *testing.T) {
	h := openHub(t)
	j := h.join(keep.Person{By: "MB"})
	do := func(id string, body action.Body) record.Record {
		t.Helper()
		s, err := j.Append(action.Action{ID: id, At: h.ck.Read().Wall, By: "ZZ", Body: body, Why: "8"})
		if err != nil {
			t.Fatal(err)
		}
		if s.Action.By != "MB" {
			t.Errorf("%s is by %s", id, s.Action.By)
		}
		if j.State().Head.Seq < s.Seq {
			t.Errorf("record %d is saved, and the screen is at %d", s.Seq, j.State().Head.Seq)
		}
		return s.Record
	}
	flask := do("f", action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
	for i := range 150 { // over two prunings of the live list
		do(fmt.Sprint("start", i), action.TimerStart{Label: "t", Count: "up"})
		do(fmt.Sprint("stop", i), action.TimerStop{Timer: i + 1})
	}
	do("back", action.TakeBack{Of: "stop0"})
	do("coat", action.Coat{Flask: 1, Half: "both"})
	until(t, "the screen knows the bench", func() bool { return same(j, h.book) })

	if r, ok, err := j.ByID("f"); err != nil || !ok || !bytes.Equal(r.Raw, flask.Raw) {
		t.Errorf("by its id: %v %v", ok, err)
	}
	if _, ok, err := j.ByID("nothing"); err != nil || ok {
		t.Errorf("an id that is none: %v %v", ok, err)
	}
	var got, want []string
	collect := func(to *[]string) func(record.Record) (bool, error) {
		return func(r record.Record) (bool, error) { *to = append(*to, string(r.Raw)); return true, nil }
	}
	if err := errors.Join(j.Each(1, collect(&got)), h.book.Each(1, collect(&want))); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("all records: %d and %d, %v", len(got), len(want), err)
	}
	n := 0
	if err := j.Each(5, func(r record.Record) (bool, error) { n++; return n < 3, nil }); err != nil || n != 3 {
		t.Errorf("three records: %d, %v", n, err)
	}
	enough := errors.New("enough")
	if err := j.Each(1, func(record.Record) (bool, error) { return false, enough }); !errors.Is(err, enough) {
		t.Errorf("the reader's own error: %v", err)
	}
	of, err := j.Of(action.Subject{Class: 'f', No: 1})
	book, err2 := h.book.Of(action.Subject{Class: 'f', No: 1})
	if err := errors.Join(err, err2); err != nil || len(of) != len(book) || len(of) == 0 {
		t.Errorf("of the flask: %d and %d, %v", len(of), len(book), err)
	}
	from, to := start.Add(-time.Hour), start.Add(time.Hour)
	a, err := j.Whole(from, to)
	b, err2 := h.book.Whole(from, to)
	if err := errors.Join(err, err2); err != nil || len(a.Items) != len(b.Items) || a.Top != b.Top || len(a.Flasks) != len(b.Flasks) {
		t.Errorf("the whole day: %v", err)
	}
	now := j.Now()
	p, err := j.Press(now, "medium")
	q, err2 := h.hub.Press(now, "medium")
	if err := errors.Join(err, err2); err != nil || p.Left != q.Left || p.Mix == nil || !reflect.DeepEqual(*p.Mix, *q.Mix) {
		t.Errorf("the press order: %v", err)
	}
	if got := h.hub.Screens(); len(got) != 1 || got[0].Person.By != "MB" {
		t.Errorf("on the bench are %+v", got)
	}
	if at, err := h.dial().Screens(); err != nil || len(at) != 1 || at[0].Person.By != "MB" {
		t.Errorf("told are %+v, %v", at, err)
	}
	h.hub.Tell("a line")
	until(t, "the line is told", func() bool {
		for _, l := range j.Take().Lines {
			if l.Text == "a line" {
				return true
			}
		}
		return false
	})
}

// TestJoinedRoles: a program that shows a screen is told who may what, as that changes; what
// it claims to be makes it no more.
func TestJoinedRoles(t *testing.T) {
	h := openHub(t)
	j := h.join(keep.Person{By: "KT", Named: true, Role: "lead", Own: true, Key: "SHA256:stolen", Fixed: true})
	if me := h.hub.Screens()[0].Person; me.Own || me.Key != "" {
		t.Errorf("it is taken to be %+v", me)
	}
	st := h.book.State().Bench.House
	st.People = people("lead:LL", "see:KT")
	if _, err := h.book.Append(action.Action{ID: "people", At: start, By: "LL", Body: action.Settings{House: st}}); err != nil {
		t.Fatal(err)
	}
	until(t, "the screen knows that it looks on", func() bool { return j.Me().Role == "see" && j.Me().Fixed })
	if _, err := j.Append(h.timer("x")); err == nil || !strings.Contains(err.Error(), "looks on") {
		t.Errorf("somebody who looks recorded: %v", err)
	}
	st.People = people("lead:LL", "work:KT")
	if _, err := h.book.Append(action.Action{ID: "people2", At: start, By: "LL", Body: action.Settings{House: st}}); err != nil {
		t.Fatal(err)
	}
	until(t, "the screen knows that it works", func() bool { return j.Me().Role == "work" })
	if _, err := j.Append(h.timer("y")); err != nil {
		t.Error(err)
	}
}

// TestBenchGoesAndComes: a bench that ends under its screens is missed; nothing is recorded
// meanwhile; they are back by themselves when it is, and what became of the record on its way
// is told.
func TestBenchGoesAndComes(t *testing.T) {
	t.Parallel()
	h := openHub(t)
	j := h.join(keep.Person{By: "KT"})
	if _, err := j.Append(h.timer("before")); err != nil {
		t.Fatal(err)
	}
	h.stop()
	until(t, "the bench is missed", func() bool { return errors.Is(j.Take().Lost, keep.ErrGone) })
	if _, err := j.Append(h.timer("meanwhile")); !errors.Is(err, logbook.ErrNotSaved) || !errors.Is(err, keep.ErrGone) {
		t.Errorf("recorded on no bench: %v", err)
	}
	if err := j.Reopen(); !errors.Is(err, keep.ErrGone) {
		t.Errorf("reached: %v", err)
	}
	if err := h.book.Close(); err != nil {
		t.Fatal(err)
	}
	h.reopen()
	if _, err := h.book.Append(h.timer("unsure")); err != nil {
		t.Fatal(err)
	}
	j.mu.Lock()
	j.unsure = "unsure"
	j.mu.Unlock()
	h.serve()
	said := ""
	until(t, "the bench is back, and says what became of the record", func() bool {
		n := j.Take()
		for _, l := range n.Lines {
			said += l.Text
		}
		return n.Lost == nil && strings.Contains(said, "was saved after all") && same(j, h.book)
	})
	if _, err := j.Append(h.timer("after")); err != nil {
		t.Error(err)
	}
}

// TestTypedComesBack: what was typed at a screen that ended stands at the next one of the same
// person.
func TestTypedComesBack(t *testing.T) {
	h := openHub(t)
	j := h.join(keep.Person{By: "KT"})
	j.Leave(keep.Drafts{"new flask": {"case": "4417"}})
	until(t, "it has left", func() bool { return len(h.hub.Screens()) == 0 })
	if d := h.join(keep.Person{By: "MB"}).Drafts(); len(d) > 0 {
		t.Errorf("MB finds %v", d)
	}
	if d := h.join(keep.Person{By: "KT"}).Drafts(); d["new flask"]["case"] != "4417" {
		t.Errorf("KT finds %v", d)
	}
}

// TestTypedIsKeptForTheKeeper: what stands typed at a screen of another program is in the file beside the book soon, for when
// both end without a word. A screen that lives on has it itself: it stands on no other one, too; one that has left tells nothing more.
func TestTypedIsKeptForTheKeeper(t *testing.T) {
	t.Parallel()
	h := openHub(t)
	j := h.join(keep.Person{By: "KT"})
	if d := j.Drafts(); len(d) > 0 {
		t.Fatalf("it begins with %v", d)
	}
	j.Typing(keep.Drafts{"new flask": {"case": "44"}})
	j.Typing(keep.Drafts{"new flask": {"case": "4417"}, "mix": {"lot": "P-1"}})
	var kept []byte
	until(t, "it stands in the file", func() bool {
		kept, _ = os.ReadFile(h.path + ".typed")
		return bytes.Contains(kept, []byte("4417")) && bytes.Contains(kept, []byte("P-1"))
	})
	h.stop()
	h.hub.Close()
	if err := os.WriteFile(h.path+".typed", kept, 0o600); err != nil { // as a kill leaves it
		t.Fatal(err)
	}
	h.serve()
	until(t, "it is back", func() bool { return len(h.hub.Screens()) == 1 })
	j.Typing(keep.Drafts{"new flask": {"case": "4418"}})
	until(t, "the new bench knows it", func() bool {
		b, _ := os.ReadFile(h.path + ".typed")
		return bytes.Contains(b, []byte("4418")) && !bytes.Contains(b, []byte("4417"))
	})
	if d := h.join(keep.Person{By: "KT", From: "a third"}).Drafts(); d["new flask"] != nil {
		t.Errorf("what stands on a screen is offered at another one, too: %v", d)
	}
	j.Leave(nil)
	until(t, "it has left", func() bool {
		b, err := os.ReadFile(h.path + ".typed")
		return err != nil || !bytes.Contains(b, []byte("4418"))
	})
}

// TestStuckScreen: a program that joins and reads nothing is let go; a thousand records are
// made meanwhile, and the good screen knows them all.
func TestStuckScreen(t *testing.T) {
	t.Parallel()
	h := &opened{house: closed(t), stall: time.Second}
	h.serve()
	good := h.join(keep.Person{By: "KT"})
	sock, err := socketPath(h.path)
	if err != nil {
		t.Fatal(err)
	}
	for range 3 {
		conn, err := net.Dial("unix", sock)
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = conn.Close() }()
		if _, err := io.WriteString(conn, "GET /news?person=%7B%22by%22%3A%22MB%22%7D HTTP/1.1\r\nHost: bench\r\n\r\n"); err != nil {
			t.Fatal(err)
		}
	}
	until(t, "they have joined", func() bool { return len(h.hub.Screens()) == 4 })
	long := strings.Repeat("x", 30)
	for i := range longrun.Times(1000, 3000) {
		if _, err := h.book.Append(action.Action{ID: fmt.Sprint("n", i), At: start, By: "LL", Body: action.TimerStart{Label: long, Count: "up"}}); err != nil {
			t.Fatal(err)
		}
	}
	until(t, "those who are stuck are let go", func() bool { return len(h.hub.Screens()) == 1 })
	until(t, "the good screen knows all", func() bool { return same(good, h.book) })
}

// TestScreensLeaveNothing: however often screens join and leave, nothing of them is left.
func TestScreensLeaveNothing(t *testing.T) {
	h := openHub(t)
	before := runtime.NumGoroutine()
	for range longrun.Times(20, 200) {
		j, err := Join(h.path, keep.Person{By: "KT"}, h.ck)
		if err != nil {
			t.Fatal(err)
		}
		j.Leave(nil)
	}
	until(t, "all have left", func() bool { return len(h.hub.Screens()) == 0 && runtime.NumGoroutine() <= before+2 })
}

// TestNobodyToJoin: where no bench runs, and where what answers is none.
func TestNobodyToJoin(t *testing.T) {
	path := filepath.Join(t.TempDir(), "b.db")
	ck := simclock.At(start, "boot-1")
	if _, err := Join(path, keep.Person{}, ck); !errors.Is(err, ErrNobody) {
		t.Errorf("joined nobody: %v", err)
	}
	stranger(t, path, func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/who" {
			_, _ = fmt.Fprintf(w, `{"door":%d,"pid":7}`, version)
			return
		}
		_, _ = io.WriteString(w, `{"screen":"x"} {"head":{"seq":1,"hash":"zz"},"add":[{"seq":`)
	})
	if j, err := Join(path, keep.Person{}, ck); err == nil {
		j.Leave(nil)
		t.Error("joined a stranger")
	}
}

// acts is how much each of them records: 11112 makes 100,000 of nine.
var acts = flag.Int("acts", 0, "how many records each screen makes in TestEightScreensAndTheDoor")

// TestEightScreensAndTheDoor: eight screens, half of them in other programs, and a door that
// records besides, all at once: each record that was acknowledged is in the book once, under
// the initials of its screen, those of one screen in their order, and all screens end up with
// the same bench.
func TestEightScreensAndTheDoor(t *testing.T) {
	h := openHub(t)
	each := *acts
	if each == 0 {
		each = longrun.Times(60, 600)
	}
	type hand interface {
		Append(action.Action) (logbook.Saved, error)
		State() logbook.Snapshot
	}
	var hands []hand
	for i := range 8 {
		p := keep.Person{By: fmt.Sprint("P", i)}
		if i%2 == 0 {
			hands = append(hands, h.join(p))
			continue
		}
		s, err := h.hub.Join(p)
		if err != nil {
			t.Fatal(err)
		}
		hands = append(hands, s)
	}
	acked := make([][]string, len(hands)+1)
	var all sync.WaitGroup
	for i, s := range hands {
		all.Go(func() {
			for n := range each {
				id := fmt.Sprintf("%d-%d-%s", i, n, rand.Text()[:6])
				saved, err := s.Append(action.Action{ID: id, At: start, By: "??", Body: action.Seen{}})
				if err != nil {
					continue
				}
				if saved.Action.By != fmt.Sprint("P", i) {
					t.Errorf("by %q at the screen of P%d", saved.Action.By, i)
				}
				acked[i] = append(acked[i], id)
				if s.State().Head.Seq < saved.Seq {
					t.Errorf("record %d is saved, and the screen is at %d", saved.Seq, s.State().Head.Seq)
				}
			}
		})
	}
	all.Go(func() {
		c := h.dial()
		for n := range each {
			id := fmt.Sprintf("door-%d", n)
			if as, err := c.Append([]action.Action{{ID: id, At: start, By: "DD", Body: action.Seen{}}}, false); err == nil && len(as) == 1 {
				acked[len(hands)] = append(acked[len(hands)], id)
			}
		}
	})
	all.Wait()
	at := map[string]uint64{}
	if err := h.book.Each(1, func(r record.Record) (bool, error) {
		if at[r.Action.ID] != 0 {
			t.Errorf("%s is there twice", r.Action.ID)
		}
		at[r.Action.ID] = r.Seq
		return true, nil
	}); err != nil {
		t.Fatal(err)
	}
	for i, ids := range acked {
		if len(ids) < each/4 {
			t.Errorf("hand %d recorded %d of %d", i, len(ids), each)
		}
		last := uint64(0)
		for _, id := range ids {
			if at[id] <= last {
				t.Errorf("%s is record %d, after %d", id, at[id], last)
			}
			last = at[id]
		}
	}
	for _, s := range hands {
		until(t, "all screens know the same bench", func() bool { return s.State().Head == h.book.State().Head })
		if j, ok := s.(*Joined); ok {
			until(t, "all screens know the same bench", func() bool { return same(j, h.book) })
		}
	}
}
