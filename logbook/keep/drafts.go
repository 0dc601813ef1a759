package keep

import (
	"encoding/json"
	"io"
	"maps"
	"os"
	"slices"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/disk"
	"flaskside/logbook/record"
	"flaskside/timers"
)

// Drafts is what somebody typed and did not send, by the question and the name of the field.
type Drafts map[string]map[string]string

// Bounds of drafts (house defaults): more than people type, and little enough to be written
// while they do.
const (
	mostDrafts  = 100            // people
	mostForms   = 60             // questions of one
	mostTyped   = 4096           // bytes of one field
	mostFile    = 1 << 20        // bytes of the file
	draftsHold  = 24 * time.Hour // so long what was typed is offered again
	draftsEvery = time.Second    // between two writings
)

// draftsName is what the file of the drafts has behind the name of the book.
const draftsName = ".typed"

// unsent keeps what people typed and did not send: on their screens, and, for when this program is
// killed, in a file beside the book. The file is a help and no record: it is written beside all
// else and without waiting for the disk, and where it is spoilt, old, or no plain file of this
// user it is as if there were none. What it holds is offered to the same person alone, who sends
// it or does not.
//
// A person who recorded something after their part of the file was written may have sent what
// stands there: nothing of it is offered then.
type unsent struct {
	path  string
	book  *logbook.Book
	clock timers.Clock

	mu    sync.Mutex
	kept  map[string]left // of people whose screens have ended, by their initials
	live  map[int]typing  // on screens
	every time.Duration   // between two writings
	timer *time.Timer     // it is to be written; nil: it is as the file is
	over  bool

	writing sync.Mutex
}

// typing is what stands on a screen.
type typing struct {
	by string
	d  Drafts
}

// left is what stood on a screen when it ended.
type left struct {
	at   time.Time
	d    Drafts
	file bool // from the file: the screen may be there still, in a program of its own
}

// draftFile is the file.
type draftFile struct {
	Drafts int                  `json:"drafts"` // its format
	Book   string               `json:"book"`   // identity
	People map[string]draftPart `json:"people"`
}

// draftPart is what one person typed.
type draftPart struct {
	At    time.Time `json:"at"`
	Seq   uint64    `json:"seq"` // the end of the book when it was looked at
	Typed Drafts    `json:"typed"`
}

func newUnsent(book *logbook.Book, clock timers.Clock) *unsent {
	u := &unsent{path: book.Path() + draftsName, book: book, clock: clock, every: draftsEvery, kept: map[string]left{}, live: map[int]typing{}}
	u.load()
	return u
}

// load takes what the file has that is still to be offered.
func (u *unsent) load() {
	disk.Sweep(u.path)
	f, err := disk.OpenOwn(u.path, os.O_RDONLY)
	if err != nil {
		return
	}
	b, err := io.ReadAll(io.LimitReader(f, mostFile+1))
	_ = f.Close() // only read from
	var in draftFile
	if err != nil || len(b) > mostFile || json.Unmarshal(b, &in) != nil || in.Drafts != 1 || in.Book != u.book.ID() {
		return
	}
	head, now := u.book.State().Head.Seq, u.clock.Read().Wall
	for by, p := range in.People {
		if by != "" && p.Seq <= head && now.Sub(p.At).Abs() <= draftsHold && p.Typed.sane() && !u.recorded(by, p.Seq) && len(u.kept) < mostDrafts {
			u.kept[by] = left{p.At, p.Typed, true}
		}
	}
}

// recorded tells whether a person recorded anything after a number; also where that cannot be read.
func (u *unsent) recorded(by string, after uint64) (did bool) {
	err := u.book.Each(after+1, func(r record.Record) (bool, error) {
		_, comings := r.Action.Body.(action.Screen)
		did = did || r.Action.By == by && !comings
		return !did, nil
	})
	return did || err != nil
}

// sane tells whether drafts are such as fields take: whatever else a file holds is not shown.
func (d Drafts) sane() bool {
	odd := func(s string) bool {
		return len(s) > mostTyped || !utf8.ValidString(s) || slices.ContainsFunc([]rune(s), unicode.IsControl)
	}
	if len(d) == 0 || len(d) > mostForms {
		return false
	}
	for title, fields := range d {
		if odd(title) || len(fields) == 0 || len(fields) > mostForms {
			return false
		}
		for name, text := range fields {
			if odd(name) || odd(text) || text == "" {
				return false
			}
		}
	}
	return true
}

// clone is a copy that nobody else changes.
func (d Drafts) clone() Drafts {
	out := make(Drafts, len(d))
	for title, fields := range d {
		out[title] = maps.Clone(fields)
	}
	return out
}

// types takes what stands on a screen now.
func (u *unsent) types(screen int, by string, d Drafts) {
	u.mu.Lock()
	defer u.mu.Unlock()
	if len(d) == 0 || by == "" {
		if _, had := u.live[screen]; had {
			delete(u.live, screen)
			u.changed()
		}
		return
	}
	u.live[screen] = typing{by, d.clone()}
	if l := u.kept[by]; l.file { // what stands on a screen that lived on when its bench was killed is offered at no other one
		for title := range d {
			delete(l.d, title)
		}
		if len(l.d) == 0 {
			delete(u.kept, by)
		}
	}
	u.changed()
}

// take gives a person what they typed elsewhere, once; whoever takes it says from then on what stands.
func (u *unsent) take(by string) Drafts {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.forget()
	d := u.kept[by].d
	delete(u.kept, by)
	return d
}

// forget lets go of what was left too long ago to be offered. Called with the lock held.
func (u *unsent) forget() {
	now := u.clock.Read().Wall
	maps.DeleteFunc(u.kept, func(_ string, l left) bool { return now.Sub(l.at).Abs() > draftsHold })
}

// leave takes what stood on a screen that ended, for when its person comes again.
func (u *unsent) leave(screen int, by string, d Drafts) {
	u.mu.Lock()
	defer u.mu.Unlock()
	_, had := u.live[screen]
	delete(u.live, screen)
	if by == "" {
		return
	}
	if len(d) > 0 {
		u.forget()
		if _, again := u.kept[by]; !again && len(u.kept) >= mostDrafts {
			return
		}
		u.kept[by] = left{at: u.clock.Read().Wall, d: d.clone()}
		had = true
	}
	if had {
		u.changed()
	}
}

// hands is that others have taken over a screen: what stood there is still its person's.
func (u *unsent) hands(screen int) {
	u.mu.Lock()
	t, had := u.live[screen]
	u.mu.Unlock()
	if had {
		u.leave(screen, t.by, t.d)
	}
}

// moved is that something was recorded: the file knows up to where nothing of it was sent.
func (u *unsent) moved() {
	u.mu.Lock()
	defer u.mu.Unlock()
	if len(u.kept)+len(u.live) > 0 {
		u.changed()
	}
}

// changed has the file written in a while. Called with the lock held.
func (u *unsent) changed() {
	if u.timer == nil && !u.over {
		u.timer = time.AfterFunc(u.every, u.write)
	}
}

// end writes what is not written yet, and no more from then on.
func (u *unsent) end() {
	u.mu.Lock()
	due := u.timer != nil
	if due {
		u.timer.Stop()
	}
	u.over = true
	u.mu.Unlock()
	if due {
		u.write()
	}
	u.writing.Lock() // one that is under way is let finish
	defer u.writing.Unlock()
}

// all is what everybody typed, and when it stood there last. Called with the lock held.
func (u *unsent) all() map[string]left {
	u.forget()
	out, now := map[string]left{}, u.clock.Read().Wall
	for by, l := range u.kept {
		out[by] = left{at: l.at, d: l.d.clone()}
	}
	for _, screen := range slices.Sorted(maps.Keys(u.live)) {
		t := u.live[screen]
		d := out[t.by].d
		if d == nil {
			d = Drafts{}
		}
		maps.Copy(d, t.d)
		out[t.by] = left{at: now, d: d}
	}
	return out
}

// write writes the file, or takes it away where there is nothing to keep.
func (u *unsent) write() {
	u.writing.Lock()
	defer u.writing.Unlock()
	seq := u.book.State().Head.Seq // first: what is sent from here on makes it old
	u.mu.Lock()
	u.timer = nil
	all := u.all()
	u.mu.Unlock()
	if fi, err := os.Lstat(u.path); err == nil && (!fi.Mode().IsRegular() || !disk.Ours(fi)) {
		return // not ours to write or to take away
	}
	out := draftFile{Drafts: 1, Book: u.book.ID(), People: map[string]draftPart{}}
	for by, l := range all {
		if l.d.sane() {
			out.People[by] = draftPart{l.at, seq, l.d}
		}
	}
	b, err := json.Marshal(out)
	if len(out.People) == 0 || err != nil || len(b) > mostFile {
		_ = os.Remove(u.path) // there may be none
		return
	}
	replace(u.path, b)
}

// replace puts a file in the place of another without waiting for the disk. Where that fails what
// stood there is taken away: it would be told as what was typed last.
func replace(path string, b []byte) {
	name := disk.NewName(path)
	f, err := disk.CreateOwn(name)
	if err == nil {
		_, err = f.Write(b)
		if cerr := f.Close(); err == nil {
			err = cerr
		}
		if err == nil {
			err = os.Rename(name, path)
		}
	}
	if err != nil {
		_ = os.Remove(name)
		_ = os.Remove(path)
	}
}
