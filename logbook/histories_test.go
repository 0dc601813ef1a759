package logbook

import (
	"bytes"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/record"
	"flaskside/timers/simclock"
)

// pastOf is a book kept in a folder of its own, in which anything may be copied about.
type pastOf struct {
	t  testing.TB
	b  *Book
	ck *simclock.Hand
	at string
	n  int
}

func newPastOf(t testing.TB, name string) *pastOf {
	t.Helper()
	p := &pastOf{t: t, ck: simclock.At(start, "boot-1"), at: filepath.Join(t.TempDir(), name)}
	p.open()
	return p
}

func (p *pastOf) open() {
	p.t.Helper()
	b, err := Open(p.at, p.ck)
	if err != nil {
		p.t.Fatal(err)
	}
	p.b = b
	p.t.Cleanup(func() { _ = b.Close() }) // closed already, mostly
}

func (p *pastOf) close() {
	p.t.Helper()
	if err := p.b.Close(); err != nil {
		p.t.Fatal(err)
	}
}

// say records n notes under ids that begin with a word.
func (p *pastOf) say(word string, n int) (out []record.Record) {
	p.t.Helper()
	for range n {
		p.n++
		p.ck.Run(minute)
		r, err := p.b.Append(action.Action{ID: word + string(rune('0'+len(out)%10)) + string(rune('a'+p.n%26)) + string(rune('a'+p.n/26%26)), At: p.ck.Read().Wall, By: strings.ToUpper(word[:1]), Body: action.Crew{Initials: strings.ToUpper(word[:1])}})
		if err != nil {
			p.t.Fatal(err)
		}
		out = append(out, r.Record)
	}
	return out
}

func (p *pastOf) bytes() []byte {
	p.t.Helper()
	b, err := os.ReadFile(p.at)
	if err != nil {
		p.t.Fatal(err)
	}
	return b
}

func (p *pastOf) put(b []byte) {
	p.t.Helper()
	if err := os.WriteFile(p.at, b, 0o600); err != nil {
		p.t.Fatal(err)
	}
}

// journals is what salvage is given by itself.
func (p *pastOf) journals() []string {
	p.t.Helper()
	js, err := check.Journals(p.at)
	if err != nil {
		p.t.Fatal(err)
	}
	return js
}

// salvage gives the records of a book made anew, and of the branches beside it.
func (p *pastOf) salvage(branch *check.Pin) (s check.Salvaged, in, beside []record.Record) {
	p.t.Helper()
	to := filepath.Join(p.t.TempDir(), "mended.db")
	whole := func(path string) (check.Report, error) {
		rep, err := Verify(path, check.Verifying{})
		if err == nil && len(rep.Faults) > 0 {
			p.t.Errorf("the book made anew: %s", lines(rep.Faults))
		}
		return rep, err
	}
	s, err := SalvageBy("KT", p.at, p.journals(), to, branch, p.ck, whole)
	if err == nil {
		_, err = whole(to)
	}
	if err != nil {
		p.t.Fatal(err)
	}
	b, err := OpenReading(to, p.ck)
	if err != nil {
		p.t.Fatal(err)
	}
	defer b.Close()
	in = p.noted(s, records(p.t, b))
	for _, br := range s.Branches {
		raw, err := os.ReadFile(br.File)
		if err != nil {
			p.t.Fatal(err)
		}
		n := 0
		for line := range bytes.Lines(raw) {
			r, err := record.Decode(bytes.TrimSuffix(line, []byte("\n")))
			if err != nil {
				p.t.Fatal(err)
			}
			if _, err := action.Decode(bytes.TrimSuffix(line, []byte("\n"))); err != nil {
				p.t.Errorf("it cannot be recorded: %v", err)
			}
			beside = append(beside, r)
			n++
		}
		if n != br.Records {
			p.t.Errorf("%d records in %s, %d were told", n, br.File, br.Records)
		}
	}
	return s, in, beside
}

// noted takes the records off that name what stands beside a book made anew: one for each
// history, behind all others, and none where there is none.
func (p *pastOf) noted(s check.Salvaged, in []record.Record) []record.Record {
	p.t.Helper()
	if n := len(in); uint64(n) != s.Records || in[n-1].Hash() != s.Head.Hash {
		p.t.Errorf("%d records, the last %d: told were %d, up to %s", n, in[n-1].Seq, s.Records, s.Head)
	}
	whole := in[:len(in)-len(s.Branches)]
	from := whole[len(whole)-1]
	for i, r := range in[len(whole):] {
		br := s.Branches[i]
		want := action.Restored{From: Head{Seq: from.Seq, Hash: from.Hash()}.String(), GaveUp: br.End.String(), Kept: filepath.Base(br.File), Salvaged: true}
		if r.Action.Body != want || r.Action.By != "KT" {
			p.t.Errorf("record %d by %s: %+v, want %+v", r.Seq, r.Action.By, r.Action.Body, want)
		}
	}
	for _, r := range whole {
		if a, is := r.Action.Body.(action.Restored); is && a.Salvaged && filepath.Dir(a.Kept) != "." {
			p.t.Errorf("record %d names a folder of this machine: %s", r.Seq, a.Kept)
		}
	}
	return whole
}

func sameRecords(t testing.TB, what string, got []record.Record, want ...[]record.Record) {
	t.Helper()
	if w := slices.Concat(want...); !slices.EqualFunc(got, w, func(a, b record.Record) bool { return bytes.Equal(a.Raw, b.Raw) }) {
		t.Errorf("%s: records %v, want %v", what, seqs(got), seqs(w))
	}
}

// An older copy of a book is put in its place and the bench goes on: the records of
// neither history are lost from sight.
func TestRolledBackCopy(t *testing.T) {
	for _, later := range []int{1, 2, 9, 10, 11, 14} { // fewer, as many and more than were rolled back
		p := newPastOf(t, "bench.db")
		a := p.say("a", 5)
		p.close()
		old := p.bytes()
		p.open()
		b := p.say("b", 10)
		p.close()
		p.put(old)
		p.open()
		c := p.say("c", later)
		p.close()
		rep := verified(t, p.at, check.Verifying{Journals: beside(t, p.at)})
		if len(rep.Faults) != 1 || rep.Faults[0].Kind != check.FaultFork || rep.Faults[0].Seq != 6 || rep.Faults[0].To != 15 || *rep.Faults[0].Branch != (Head{Seq: 15, Hash: b[9].Hash()}) {
			t.Fatalf("%d later: %s", later, lines(rep.Faults))
		}
		for _, want := range []string{"another history: 10 records, from 2026-11-25 08:06:00 to 2026-11-25 08:15:00, by B", "goes on from record 5 with " + itoa(later) + " of its own", "--branch 15:" + b[9].Hash().Short()} {
			if !strings.Contains(rep.Faults[0].What, want) {
				t.Errorf("%q does not say %q", rep.Faults[0].What, want)
			}
		}
		s, in, out := p.salvage(nil)
		sameRecords(t, "the file's history", in, a, c)
		sameRecords(t, "beside it", out, b)
		if len(s.Lost) > 0 || s.Outside() != 10 || !s.Branches[0].Knows {
			t.Errorf("%+v", s)
		}
		s, in, out = p.salvage(&check.Pin{Seq: 8, Start: b[2].Hash().String()[:8]})
		sameRecords(t, "the other history", in, a, b)
		sameRecords(t, "beside it", out, c)
		if s.Outside() != later || s.Gone() > 0 { // the file's own last record is outside, and not lost
			t.Errorf("%+v", s)
		}
		// What is recorded again is no longer outside.
		p.open()
		for _, r := range b {
			if _, err := p.b.Append(r.Action); err != nil {
				t.Fatal(err)
			}
		}
		p.close()
		if rep := verified(t, p.at, check.Verifying{Journals: beside(t, p.at)}); len(rep.Faults) > 0 {
			t.Errorf("after all was recorded again: %s", lines(rep.Faults))
		}
	}
}

func itoa(n int) string {
	return strings.TrimSpace(strings.Replace(time.Duration(n).String(), "ns", "", 1))
}

// A copy is put back and nothing is recorded on it: both are one history.
func TestRolledBackAndLeft(t *testing.T) {
	p := newPastOf(t, "bench.db")
	a := p.say("a", 5)
	p.close()
	old := p.bytes()
	p.open()
	b := p.say("b", 4)
	p.close()
	p.put(old)
	s, in, _ := p.salvage(nil)
	sameRecords(t, "brought together", in, a, b)
	if s.Outside() > 0 || len(s.Lost) > 1 { // nothing vouches for the last one
		t.Errorf("%+v", s)
	}
}

// A new book is made where another was moved away, or beside one of nearly the same name:
// neither touches the journal of the other, and none gets a fault for it.
func TestJournalBelongsToOneBook(t *testing.T) {
	p := newPastOf(t, "bench.db")
	a := p.say("a", 5)
	id := p.b.ID()
	p.close()
	was, err := os.ReadFile(p.journals()[0])
	if err != nil {
		t.Fatal(err)
	}
	away := filepath.Join(t.TempDir(), "away.db")
	if err := os.Rename(p.at, away); err != nil {
		t.Fatal(err)
	}
	p.open()
	said := troubles(p.b)
	if len(*said) != 1 || !strings.Contains((*said)[0], "the journal of another one, bench.journal-2026-11.jsonl: it is left as it is") {
		t.Errorf("a new book beside an old journal: said %q", *said)
	}
	n := p.say("n", 7)
	own := p.b.ID()
	p.close()
	js := p.journals()
	if now, err := os.ReadFile(js[1]); len(js) != 2 || err != nil || !bytes.Equal(now, was) && !bytes.Equal(mustRead(t, js[0]), was) {
		t.Errorf("the journal of the other book was written to; %v", js)
	}
	for _, name := range js {
		owner, err := check.Owner(name)
		if err != nil || owner != id && owner != own || (owner == own) != strings.Contains(name, own[:8]) {
			t.Errorf("%s is of %s, %v", name, owner, err)
		}
	}
	rep := verified(t, p.at, check.Verifying{Journals: beside(t, p.at)})
	if len(rep.Faults) > 0 || len(rep.Others) != 1 || !strings.Contains(rep.Others[0], "bench.journal-2026-11.jsonl ("+id+") is of another book, with 5 records") {
		t.Errorf("%q, faults %s", rep.Others, lines(rep.Faults))
	}
	s, in, out := p.salvage(nil)
	sameRecords(t, "the new book", in, n)
	if len(out) > 0 || len(s.Others) != 1 {
		t.Errorf("%+v", s)
	}
	// The old one is put back: it goes on with its own journal.
	if err := os.Rename(p.at, away+".new"); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(away, p.at); err != nil {
		t.Fatal(err)
	}
	p.open()
	more := p.say("m", 2)
	p.close()
	if rep := verified(t, p.at, check.Verifying{Journals: beside(t, p.at)}); len(rep.Faults) > 0 {
		t.Errorf("the old one put back: %s", lines(rep.Faults))
	}
	_, in, _ = p.salvage(nil)
	sameRecords(t, "the old book", in, a, more)
}

func mustRead(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// "bench" and "bench.db" in one folder have the same names for their journals.
func TestTwoBooksOfOneName(t *testing.T) {
	p := newPastOf(t, "bench.db")
	q := &pastOf{t: t, ck: p.ck, at: strings.TrimSuffix(p.at, ".db"), n: 500}
	q.open()
	for range 3 {
		p.say("p", 2)
		q.say("q", 2)
	}
	p.close()
	q.close()
	for _, one := range []*pastOf{p, q} {
		if rep := verified(t, one.at, check.Verifying{Journals: beside(t, one.at)}); len(rep.Faults) > 0 || rep.Journal == nil || rep.Journal.Seq != 6 {
			t.Errorf("%s: %s", one.at, lines(rep.Faults))
		}
		_, in, out := one.salvage(nil)
		if len(in) != 6 || len(out) > 0 || in[0].Action.By != strings.ToUpper(in[0].Action.ID[:1]) {
			t.Errorf("%s: %v %v", one.at, seqs(in), seqs(out))
		}
	}
}

// A whole record that stands behind a spoilt line, with no book to ask, is brought back
// as one that nothing proves.
func TestWholeRecordBehindSpoiltLine(t *testing.T) {
	for _, spoil := range [][]uint64{{7}, {6, 7}, {2, 7}, {8}} {
		p := newPastOf(t, "bench.db")
		a := p.say("a", 8)
		p.close()
		name := p.journals()[0]
		b := mustRead(t, name)
		for _, seq := range spoil {
			b = bytes.Replace(b, a[seq-1].Raw, append([]byte("#"), a[seq-1].Raw[20:]...), 1)
		}
		if err := os.WriteFile(name, b, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Remove(p.at); err != nil {
			t.Fatal(err)
		}
		s, err := Salvage(p.at, []string{name}, filepath.Join(t.TempDir(), "m.db"), nil, p.ck, nil)
		if err != nil {
			t.Fatal(err)
		}
		if s.Records != uint64(8-len(spoil)) || s.Outside() > 0 {
			t.Errorf("%v spoilt: %d records, %+v", spoil, s.Records, s)
		}
		for seq := uint64(1); seq <= 7; seq++ {
			named := slices.ContainsFunc(s.Lost, func(f check.Fault) bool { return f.Names(seq) })
			if slices.Contains(spoil, seq) && !named {
				t.Errorf("%v spoilt: %d is not named: %s", spoil, seq, lines(s.Lost))
			}
		}
	}
}

// Records that are given up by a restore leave a trace: from where the book goes on, up to
// which the others reached, who did it, and where they still stand.
func TestRestoreLeavesARecord(t *testing.T) {
	p := newPastOf(t, "bench.db")
	a := p.say("a", 3)
	p.close()
	backup := filepath.Join(t.TempDir(), "copy.db")
	if err := os.WriteFile(backup, p.bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	p.open()
	b := p.say("b", 4)
	p.close()
	look := func(path string) (check.Report, error) { return Verify(path, check.Verifying{}) }
	out, err := Restore(backup, p.at, p.ck.Read().Wall, true, "MR", look)
	if err != nil {
		t.Fatal(err)
	}
	p.open()
	recs := records(t, p.b)
	sameRecords(t, "the backup", recs[:3], a)
	want := action.Restored{From: Head{Seq: 3, Hash: a[2].Hash()}.String(), GaveUp: Head{Seq: 7, Hash: b[3].Hash()}.String(), Kept: filepath.Base(out.Kept)}
	if len(recs) != 4 || recs[3].Action.Body != want || recs[3].Action.By != "MR" || out.Report.Head.Seq != 4 {
		t.Errorf("%+v, want %+v", recs[len(recs)-1], want)
	}
	c := p.say("c", 2)
	p.close()
	if rep := verified(t, p.at, check.Verifying{Journals: beside(t, p.at)}); len(rep.Faults) > 0 {
		t.Errorf("%s", lines(rep.Faults))
	}
	kept, err := OpenReading(out.Kept, p.ck)
	if err != nil {
		t.Fatal(err)
	}
	sameRecords(t, "kept", records(t, kept), a, b)
	_ = kept.Close()
	// Where nothing is given up, nothing changes: no record of it.
	last := Head{Seq: 6, Hash: c[1].Hash()}
	again := filepath.Join(t.TempDir(), "again.db")
	if err := os.WriteFile(again, p.bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := Restore(again, p.at, p.ck.Read().Wall, false, "MR", look); err != nil || out.Report.Head != last {
		t.Errorf("%+v, %v", out, err)
	}
}

// A book may have any name that the file system takes: it is brought back and put back under it all the same.
func TestHistoriesUnderAnyName(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("such names are refused there")
	}
	for _, name := range []string{"a bench.db", "a\nbench.db", "a\x1b[2Jbench.db", "\u202ebench.db"} {
		p := newPastOf(t, name)
		p.say("a", 3)
		p.close()
		old := p.bytes()
		p.open()
		p.say("b", 2)
		p.close()
		p.put(old)
		p.open()
		p.say("c", 1)
		p.close()
		to := filepath.Join(t.TempDir(), name)
		journals, err := check.Journals(p.at)
		if err != nil {
			t.Fatal(err)
		}
		s, err := SalvageBy("MR", p.at, journals, to, nil, p.ck, nil)
		if err != nil || s.Outside() != 2 {
			t.Fatalf("%q: %d outside, %v", name, s.Outside(), err)
		}
		backup := filepath.Join(t.TempDir(), "copy.db")
		if err := os.WriteFile(backup, old, 0o600); err != nil {
			t.Fatal(err)
		}
		look := func(path string) (check.Report, error) { return Verify(path, check.Verifying{}) }
		if _, err := Restore(backup, p.at, p.ck.Read().Wall, true, "MR", look); err != nil {
			t.Errorf("%q: %v", name, err)
		}
	}
}
