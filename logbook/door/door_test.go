package door

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/keep"
	"flaskside/timers"
	"flaskside/timers/simclock"
)

var start = time.Date(2026, 11, 25, 8, 0, 0, 0, time.FixedZone("", 3600))

// house is a bench with its door open.
type house struct {
	t    *testing.T
	ck   *simclock.Hand
	book *logbook.Book
	path string
	stop func()
}

func open(t *testing.T) *house {
	t.Helper()
	h := closed(t)
	stop, err := Serve(context.Background(), hubOf(h.book, h.ck))
	if err != nil {
		t.Fatal(err)
	}
	h.stop = stop
	t.Cleanup(stop)
	return h
}

// hubOf is where screens of a book would meet.
func hubOf(book *logbook.Book, clock timers.Clock) *keep.Hub {
	return keep.New(book, clock, rand.Text)
}

// closed is a bench without a door.
func closed(t *testing.T) *house {
	t.Helper()
	h := &house{t: t, ck: simclock.At(start, "boot-1"), path: filepath.Join(t.TempDir(), "b.db")}
	h.reopen()
	return h
}

func (h *house) dial() *Client {
	h.t.Helper()
	c, err := Dial(h.path)
	if err != nil {
		h.t.Fatal(err)
	}
	return c
}

func (h *house) reopen() {
	h.t.Helper()
	var err error
	if h.book, err = logbook.Open(h.path, h.ck); err != nil {
		h.t.Fatal(err)
	}
	h.t.Cleanup(func() { _ = h.book.Close() })
}

// timer is an action that a bench never refuses.
func (h *house) timer(id string) action.Action {
	return action.Action{ID: id, At: h.ck.Read().Wall, By: "KT", Body: action.TimerStart{Label: id, Count: "up"}}
}

func (h *house) timers(prefix string, n int) []action.Action {
	as := make([]action.Action, n)
	for i := range as {
		as[i] = h.timer(fmt.Sprintf("%s-%d", prefix, i))
	}
	return as
}

// post sends bytes as they are, as any HTTP client may.
func (h *house) post(query string, body io.Reader) (status int, answers []replyLine) {
	h.t.Helper()
	sock, err := socketPath(h.path)
	if err != nil {
		h.t.Fatal(err)
	}
	c := http.Client{Transport: &http.Transport{DisableKeepAlives: true, DialContext: func(context.Context, string, string) (net.Conn, error) {
		return net.Dial("unix", sock)
	}}}
	resp, err := c.Post("http://bench/actions"+query, "application/jsonl", body)
	if err != nil {
		h.t.Fatal(err)
	}
	defer func() { _ = resp.Body.Close() }()
	for d := json.NewDecoder(resp.Body); ; {
		var a replyLine
		if err := d.Decode(&a); err == io.EOF {
			return resp.StatusCode, answers
		} else if err != nil {
			h.t.Fatal(err)
		}
		answers = append(answers, a)
	}
}

// chain reads a book from its first record and checks that each follows the last.
func TestAnswersAreThoseOfTheBook(t *testing.T) {
	h := open(t)
	c := h.dial()
	who, err := c.Who()
	if err != nil || who.PID != os.Getpid() || !who.Since.Equal(start) || who.Door != version {
		t.Errorf("who: %+v, %v", who, err)
	}
	flask := action.Action{ID: "f", At: start, By: "KT", Body: action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"}}
	as, err := c.Append([]action.Action{flask, h.timer("t")}, false)
	if err != nil || len(as) != 2 || as[1].Line != 2 || as[0].Already {
		t.Fatalf("%+v, %v", as, err)
	}
	if got := as[0].Action.Body.(action.FlaskOpen).Flask; got != 1 {
		t.Errorf("the answer does not tell the number the book chose: %d", got)
	}
	if head, err := c.head(); err != nil || head.Hash != as[1].Hash() || head != h.book.State().Head {
		t.Errorf("head %v, %v; last record %s", head, err, as[1].Hash().Short())
	}
	again, err := c.Append([]action.Action{flask}, true)
	if err != nil || !again[0].Already || !bytes.Equal(again[0].Raw, as[0].Raw) {
		t.Errorf("the same id again: %+v, %v", again, err)
	}

	soon := action.Action{ID: "p", At: start, By: "KT", Body: action.SheetOut{Flask: 1}}
	gone := action.Action{ID: "g", At: start, By: "KT", Body: action.Coat{Flask: 7, Half: "both"}}
	for _, a := range []action.Action{soon, gone} {
		batch := []action.Action{h.timer("x"), a}
		_, want := h.book.AppendAll(batch)
		if want == nil {
			t.Fatal("the book takes it")
		}
		none, got := c.Append(batch, false)
		var wantNeeds, gotNeeds *bench.NeedsReason
		var bad *logbook.BadLine
		if got == nil || none != nil || got.Error() != want.Error() || !errors.As(got, &bad) || bad.Index != 1 {
			t.Errorf("got %v and %v, want %v", none, got, want)
		}
		if errors.As(want, &wantNeeds) != errors.As(got, &gotNeeds) || !reflect.DeepEqual(gotNeeds, wantNeeds) {
			t.Errorf("needs a reason: got %v, want %v", gotNeeds, wantNeeds)
		}
		each, err := c.Append([]action.Action{a, h.timer("k-" + a.ID)}, true)
		if err != nil || len(each) != 2 || each[0].Err == nil || each[0].Err.Error() != bad.Err.Error() || each[1].Err != nil || each[1].Seq == 0 {
			t.Errorf("keep going: %+v, %v", each, err)
		}
	}
	if _, there, err := h.book.ByID("x"); there || err != nil {
		t.Errorf("part of a refused input was recorded, %v", err)
	}
	for name, a := range map[string]action.Action{"no body": {ID: "n"}, "no such year": {ID: "y", At: start.AddDate(9000, 0, 0), Body: soon.Body}} {
		var bad *logbook.BadLine
		if _, err := c.Append([]action.Action{a}, true); !errors.As(err, &bad) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if as, err := c.Append(nil, false); err != nil || len(as) != 0 {
		t.Errorf("nothing: %v, %v", as, err)
	}
}

func TestStateIsTheSameBench(t *testing.T) {
	h := open(t)
	c := h.dial()
	for i, body := range []action.Body{
		action.FlaskOpen{Place: 2, Case: "4418", Base: "lower", Size: "large"},
		action.Coat{Flask: 1, Half: "both"},
		action.TimerStart{Label: "kettle", Count: "down", AimS: 60},
		action.TimerStop{Timer: 1},
		action.Crew{Initials: "MB"},
	} {
		h.ck.Run(time.Minute)
		// The id has what writers of JSON like to escape.
		as, err := c.Append([]action.Action{{ID: fmt.Sprintf("<%d>", i), At: h.ck.Read().Wall, By: "KT", Body: body}}, false)
		if err != nil {
			t.Fatal(err)
		}
		if got, want := as[0].Hash(), h.book.State().Head.Hash; got != want {
			t.Errorf("%s: the bytes were changed on the way", body.Kind())
		}
	}
	got, err := c.State()
	if err != nil {
		t.Fatal(err)
	}
	if a, b := asJSON(t, got), asJSON(t, h.book.State()); a != b {
		t.Errorf("at the door\n%s\nin the book\n%s", a, b)
	}
}

func asJSON(t *testing.T, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// Bodies and lines that no client of ours would send. That a text is UTF-8 and one
// JSON value is RFC 8259, sections 8.1 and 2.
func TestRefusedInput(t *testing.T) {
	h := open(t)
	good := asJSON(t, h.timer("good"))
	for _, c := range []struct {
		name, body string
		line       int // of the first bad one; 0: the whole request
		words      string
	}{
		{"10 MB line", good + "\n" + strings.Repeat("x", 10<<20) + "\n", 2, "at most 65536 bytes, this line has 10485760"},
		{"not UTF-8", good + "\n\n" + strings.Replace(good, "good", "g\xff", 1), 3, "not UTF-8"},
		{"garbage", "\x00\x01\x02garbage\n" + good, 1, "not one JSON object"},
		{"half an action", good[:len(good)-5], 1, "not one JSON object"},
		{"two on a line", good + good, 1, "one action a line"},
		{"a list", "[" + good + "]", 1, "one JSON object"},
		{"a control character", strings.ReplaceAll(good, `"label":"good"`, `"label":"go\u001bod"`), 1, "cannot be shown"},
		{"a line too many", strings.Repeat("{}\n", MaxActions+1), 0, "too much at once"},
		{"too many bytes", strings.Repeat(" ", maxBody) + good, 0, "too much at once"},
	} {
		status, as := h.post("", strings.NewReader(c.body))
		if len(as) != 1 || as[0].Failed == nil || as[0].Line != c.line || !strings.Contains(as[0].Failed.Text, c.words) {
			t.Errorf("%s: %s", c.name, asJSON(t, as))
			continue
		}
		if strings.ContainsAny(as[0].Failed.Text, "\n\x00") || status < 400 || status >= 500 {
			t.Errorf("%s: status %d, %q", c.name, status, as[0].Failed.Text)
		}
		if seq := h.book.State().Head.Seq; seq != 0 {
			t.Fatalf("%s: the book was touched", c.name)
		}
	}
	_, as := h.post("?keep-going", strings.NewReader("\xef\xbb\xbf"+good+"\r\n\n"+strings.Repeat("x", action.MaxLine+3)+"\nnonsense\n"+strings.Replace(good, "good", "fine", 1)))
	if len(as) != 4 || as[0].Failed != nil || as[1].Line != 3 || as[1].Failed == nil || as[2].Failed == nil || as[3].Line != 5 || as[3].Record == nil {
		t.Errorf("keep going: %s", asJSON(t, as))
	}
}

// A sender that dies half way sends less than it promised: nothing is recorded,
// though what came is whole lines.
func TestCutOffSender(t *testing.T) {
	h := open(t)
	sock, _ := socketPath(h.path)
	conn, err := net.Dial("unix", sock)
	if err != nil {
		t.Fatal(err)
	}
	line := asJSON(t, h.timer("cut")) + "\n"
	if _, err := fmt.Fprintf(conn, "POST /actions HTTP/1.1\r\nHost: bench\r\nContent-Length: %d\r\n\r\n%s", 2*len(line), line); err != nil {
		t.Fatal(err)
	}
	if err := conn.(*net.UnixConn).CloseWrite(); err != nil {
		t.Fatal(err)
	}
	reply, _ := io.ReadAll(conn)
	if !bytes.Contains(reply, []byte("unexpected EOF")) || h.book.State().Head.Seq != 0 {
		t.Errorf("head %v, reply %s", h.book.State().Head, reply)
	}
}

func TestErrorsComeThrough(t *testing.T) {
	for _, want := range []error{
		fmt.Errorf("%w: the disk is full", logbook.ErrNotSaved),
		fmt.Errorf("%w: the disk is gone", logbook.ErrUnknown),
		fmt.Errorf("%w: page 7", logbook.ErrDamaged),
	} {
		var f failure
		if err := json.Unmarshal([]byte(asJSON(t, failed(want))), &f); err != nil {
			t.Fatal(err)
		}
		got := f.err()
		if got.Error() != want.Error() || !errors.Is(got, errors.Unwrap(want)) {
			t.Errorf("got %v, want %v", got, want)
		}
	}
	if err := failed(errors.New("other")).err(); err.Error() != "other" || errors.Is(err, logbook.ErrUnknown) {
		t.Error(err)
	}

	h := open(t)
	c := h.dial()
	if err := h.book.Close(); err != nil {
		t.Fatal(err)
	}
	for _, keepGoing := range []bool{false, true} {
		if as, err := c.Append(h.timers("late", 2), keepGoing); !errors.Is(err, logbook.ErrUnknown) || len(as) != 0 {
			t.Errorf("closed book: %v, %v", as, err)
		}
	}
	if err := c.Snapshot(io.Discard); err == nil {
		t.Error("a closed book gave a snapshot")
	}
	line := asJSON(t, h.timer("more")) + "\n"
	if _, as := h.post("?keep-going", strings.NewReader(line+line)); len(as) != 1 || as[0].Line != 0 {
		t.Errorf("it went on with a book that failed: %s", asJSON(t, as))
	}
}

func TestPanicIsOneLine(t *testing.T) {
	h := open(t)
	h.book.OnChange(func(logbook.Snapshot) { panic("first line\nsecond") })
	c := h.dial()
	_, err := c.Append(h.timers("p", 1), false)
	if !errors.Is(err, logbook.ErrUnknown) || strings.Contains(err.Error(), "\n") || !strings.Contains(err.Error(), "first line second") {
		t.Errorf("%v", err)
	}
	// It was recorded before the screen failed: the same id again tells.
	if as, err := c.Append(h.timers("p", 1), false); err != nil || !as[0].Already {
		t.Errorf("%v, %v", as, err)
	}
}

// A reply that failed after its beginning must not end like a whole one.
func TestFailedReplyIsCutShort(t *testing.T) {
	w := &steady{ResponseWriter: httptest.NewRecorder(), stall: time.Hour}
	if _, err := w.Write([]byte("half a copy")); err != nil {
		t.Fatal(err)
	}
	defer func() {
		if p, _ := recover().(error); !errors.Is(p, http.ErrAbortHandler) {
			t.Errorf("it ended with %v", p)
		}
	}()
	w.fail(http.StatusInternalServerError, io.ErrClosedPipe)
}

func TestNobody(t *testing.T) {
	if _, err := Dial(filepath.Join(t.TempDir(), "none.db")); !errors.Is(err, ErrNobody) {
		t.Errorf("no book: %v", err)
	}
	h := open(t)
	c := h.dial()
	h.stop()
	_, err := Dial(h.path)
	_, headErr := c.head()
	_, appendErr := c.Append(h.timers("n", 1), false)
	_, stateErr := c.State()
	for _, err := range []error{err, headErr, appendErr, stateErr, c.Snapshot(io.Discard)} {
		if !errors.Is(err, ErrNobody) {
			t.Errorf("after the stop: %v", err)
		}
	}
	if errors.Is(appendErr, logbook.ErrUnknown) {
		t.Errorf("nothing was sent, and yet: %v", appendErr)
	}
}

// A bench that ends in the middle of everything: what was acknowledged is in the
// book, and what was not is told as unknown or as never asked.
// A reader that stops reading is cut off: the book can be closed.
// One record through the door, beside the same by key.

// head gives the end of the chain.
func (c *Client) head() (head logbook.Head, err error) {
	err = c.get("/head", askPatience, func(r io.Reader) error { return json.NewDecoder(r).Decode(&head) })
	return head, err
}
