package tui

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	"pgregory.net/rapid"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/keep"
)

// oneOf is a screen among several, whose commands end when the test has them end.
type oneOf struct {
	*keep.Screen
	m       *Model
	running []tea.Cmd
	news    []keep.News // taken from the box, and on their way
	refuse  bool        // the next record is not saved
	saved   int         // acknowledged to it
	newest  uint64
}

// Append is that of a book whose disk is full now and then.
func (o *oneOf) Append(a action.Action) (logbook.Saved, error) {
	if o.refuse {
		o.refuse = false
		return logbook.Saved{}, fmt.Errorf("%w: no space left on device", logbook.ErrNotSaved)
	}
	s, err := o.Screen.Append(a)
	if err == nil {
		o.saved++
	}
	return s, err
}

// feed gives the screen a message, and keeps what comes of it for later.
func (o *oneOf) feed(msg tea.Msg) {
	switch msg := msg.(type) {
	case nil, tea.RawMsg:
		return
	case tea.BatchMsg:
		for _, cmd := range msg {
			if cmd != nil {
				o.running = append(o.running, cmd)
			}
		}
		return
	}
	if _, cmd := o.m.Update(msg); cmd != nil {
		o.running = append(o.running, cmd)
	}
}

// finish lets one of its commands end.
func (o *oneOf) finish(i int) (answer savedMsg, is bool) {
	cmd := o.running[i]
	o.running = append(o.running[:i:i], o.running[i+1:]...)
	msg := cmd()
	o.feed(msg)
	answer, is = msg.(savedMsg)
	return answer, is
}

var shownAsSaved = regexp.MustCompile(`saved: [^·]* · record (\d+)`)

// TestNothingIsShownBeforeItIs: over random histories of keys at several screens of one bench,
// whose records, answers and news come late and in any order, and where now and then a record
// cannot be saved:
//
//   - no screen shows an older head than it showed before,
//   - none shows a record as saved that is not in the book, and
//   - no answer is lost: what was acknowledged is in the book once and told, what was refused is
//     told, no key waits for ever, and in the end all screens are at the head of the book.
func TestNothingIsShownBeforeItIs(t *testing.T) {
	checks(t, 20, 200)
	total := 0
	rapid.Check(t, func(rt *rapid.T) {
		d := newDesk(t, 80, 24)
		before := d.book.State().Head.Seq
		var all []*oneOf
		for i := range 3 {
			o := &oneOf{Screen: d.join(keep.Person{By: fmt.Sprint("P", i), Named: true})}
			o.m = New(Config{Keeper: o, Hands: d.ck, NewID: func() string { d.n++; return fmt.Sprintf("id-%05d", d.n) }, Every: time.Second})
			o.m.w, o.m.h, o.m.advising = 100, 30, true
			all = append(all, o)
		}
		joined := int(d.book.State().Head.Seq - before)
		look := func(o *oneOf) {
			at := o.m.st.Head.Seq
			if at < o.newest || at > d.book.State().Head.Seq {
				rt.Fatalf("it shows head %d after %d; the book is at %d", at, o.newest, d.book.State().Head.Seq)
			}
			o.newest = at
			for _, m := range shownAsSaved.FindAllStringSubmatch(strings.Join(strings.Fields(o.m.draw().plainText()), " "), -1) {
				n, _ := strconv.ParseUint(m[1], 10, 64)
				if at < n {
					rt.Fatalf("record %d is shown as saved, and the screen is at %d:\n%s", n, at, o.m.draw().plainText())
				}
			}
		}
		end := func(o *oneOf, i int) {
			waiting := len(o.m.queue)
			answer, is := o.finish(i)
			if !is || waiting > 0 {
				return
			}
			shown := strings.Join(strings.Fields(o.m.draw().plainText()), " ")
			switch {
			case answer.err != nil && strings.Contains(answer.err.Error(), "no space left"):
				if !strings.Contains(shown, "NOT SAVED") {
					rt.Fatalf("a record was not saved, and that is not told:\n%s", o.m.draw().plainText())
				}
			case answer.err == nil:
				if !strings.Contains(shown, fmt.Sprintf("record %d", answer.saved.Seq)) && answer.then == nil {
					rt.Fatalf("record %d was saved, and that is not told:\n%s", answer.saved.Seq, o.m.draw().plainText())
				}
			}
		}
		for range rapid.IntRange(20, 150).Draw(rt, "steps") {
			o := all[rapid.IntRange(0, len(all)-1).Draw(rt, "screen")]
			switch rapid.IntRange(0, 10).Draw(rt, "what") {
			case 0, 1, 2, 3, 4:
				d.ck.Run(time.Second)
				// A timer of one's own is four keys; the rest are slips on the way.
				for _, k := range strings.Fields(rapid.SampledFrom([]string{"+ 3", "1 1 9 enter", "2", "enter", "0", "1", "3", "4 4 1 7 enter", "."}).Draw(rt, "keys")) {
					d.ck.Run(time.Second)
					o.feed(keyMsg(k))
				}
			case 5, 6, 7:
				if n := len(o.running); n > 0 {
					end(o, rapid.IntRange(0, n-1).Draw(rt, "which"))
				}
			case 8:
				o.news = append(o.news, o.Take())
			case 9:
				if len(o.news) > 0 {
					o.feed(heard(o.news[0]))
					o.news = o.news[1:]
				}
			default:
				o.refuse = true
			}
			look(o)
		}
		settle := func() { // all that is under way ends, and what comes of it
			for more := true; more; {
				more = false
				for _, o := range all {
					for ; len(o.news) > 0; o.news = o.news[1:] {
						o.feed(heard(o.news[0]))
						look(o)
					}
					for len(o.running) > 0 {
						more = true
						end(o, 0)
						look(o)
					}
				}
			}
		}
		settle()
		for _, o := range all {
			o.feed(heard(o.Take()))
			look(o)
		}
		settle() // of the last news a bell may ring
		acknowledged := 0
		for i, o := range all {
			if o.m.saving || len(o.m.queue) > 0 {
				rt.Fatalf("screen %d waits: saving %v, %d keys", i, o.m.saving, len(o.m.queue))
			}
			if o.m.st.Head != d.book.State().Head {
				rt.Fatalf("screen %d is at %s, the book at %s", i, o.m.st.Head, d.book.State().Head)
			}
			acknowledged += o.saved
		}
		if in := int(d.book.State().Head.Seq-before) - joined; in != acknowledged {
			rt.Fatalf("%d records were acknowledged, %d are in the book", acknowledged, in)
		}
		total += acknowledged
	})
	if total < 20 && !testing.Short() {
		t.Errorf("%d records in all: the histories record nothing", total)
	}
}
