package logbook

import (
	"bytes"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/check"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

var (
	histories     = flag.Int("histories", 0, "how many histories of a book TestHistories tries (0: 20, and 200 with FLASKSIDE_LONG; 10000 for a long run)")
	historiesSeed = flag.Uint64("histories-seed", 1, "the first of them")
)

// TestHistories does what people do to the files of a book, in any order: record, copy the
// book away and put it back, move it, begin a new one in its place, lose a journal, restore,
// salvage, over the end of a month. A record that was once acknowledged is then in the book,
// or whoever looks is told where it is.
func TestHistories(t *testing.T) {
	n := *histories
	if n == 0 {
		n = longrun.Times(20, 200)
	}
	done := map[string]int{}
	for seed := *historiesSeed; seed < *historiesSeed+uint64(n) && !t.Failed(); seed++ {
		h := &history{t: t, r: rand.New(rand.NewPCG(seed, 26)), said: map[string]bool{}, done: done}
		h.pastOf = &pastOf{t: t, ck: simclock.At(start, "boot-1")}
		h.run(seed)
	}
	t.Logf("%d histories: %v", n, done)
}

type history struct {
	*pastOf
	t      *testing.T
	r      *rand.Rand
	dir    string
	said   map[string]bool // ids acknowledged and not destroyed since by the test itself
	copies [][]byte
	steps  []string
	done   map[string]int
}

func (h *history) run(seed uint64) {
	h.dir = h.t.TempDir()
	h.at = filepath.Join(h.dir, "bench.db")
	if seed%2 == 0 {
		if err := makeNewest(h.at, h.ck); err != nil {
			h.t.Fatal(err)
		}
	}
	h.open()
	h.tell()
	h.close()
	for range 4 + h.r.IntN(8) {
		ops := []struct {
			name string
			do   func()
		}{
			{"record", h.record}, {"record", h.record}, {"copy", h.copy}, {"put back", h.putBack}, {"move", h.move}, {"lose a journal", h.lose},
			{"a month later", func() { h.ck.Run(31 * 24 * time.Hour) }}, {"restore", h.restore}, {"salvage", h.salvageInPlace},
		}
		op := ops[h.r.IntN(len(ops))]
		h.steps = append(h.steps, op.name)
		h.done[op.name]++
		op.do()
	}
	h.steps = append(h.steps, "look")
	h.look(seed)
	_ = os.RemoveAll(h.dir)
}

func (h *history) tell() {
	for _, r := range h.say(string(rune('a'+h.r.IntN(26))), 1+h.r.IntN(4)) {
		h.said[r.Action.ID] = true
	}
}

func (h *history) record() { // in a new book, where there is none
	h.open()
	h.tell()
	h.close()
}

func (h *history) there() bool { return there(h.at) }

func (h *history) copy() {
	if h.there() {
		h.copies = append(h.copies, h.bytes())
	}
}

// putBack puts an older copy in the place of the book. What stood in the file alone, its
// journal having been lost, is gone by that: nothing could tell of it.
func (h *history) putBack() {
	if len(h.copies) == 0 {
		return
	}
	h.destroy(func() { h.put(h.copies[h.r.IntN(len(h.copies))]) })
}

func (h *history) move() {
	if h.there() {
		if err := os.Rename(h.at, filepath.Join(h.dir, fmt.Sprintf("away-%d.db", len(h.steps)))); err != nil {
			h.t.Fatal(err)
		}
	}
}

func (h *history) lose() {
	if js := h.journals(); len(js) > 0 {
		h.destroy(func() {
			if err := os.Remove(js[h.r.IntN(len(js))]); err != nil {
				h.t.Fatal(err)
			}
		})
	}
}

// destroy does what takes the last copy of a record away, perhaps: that one is no longer
// asked for.
func (h *history) destroy(f func()) {
	f()
	left := h.everywhere()
	for id := range h.said {
		if !left[id] {
			delete(h.said, id)
		}
	}
}

func (h *history) restore() {
	if len(h.copies) == 0 || !h.there() {
		return
	}
	from := filepath.Join(h.t.TempDir(), "copy.db")
	if err := os.WriteFile(from, h.copies[h.r.IntN(len(h.copies))], 0o600); err != nil {
		h.t.Fatal(err)
	}
	h.ck.Run(minute)
	if _, err := Restore(from, h.at, h.ck.Read().Wall, true, "MR", func(p string) (check.Report, error) { return Verify(p, check.Verifying{}) }); err != nil {
		h.t.Fatalf("%v: %v", h.steps, err)
	}
}

// salvageInPlace makes a new book and puts it in the place of the old one.
func (h *history) salvageInPlace() {
	if !h.there() {
		return
	}
	to := filepath.Join(h.dir, fmt.Sprintf("mended-%d.db", len(h.steps)))
	if _, err := Salvage(h.at, h.journals(), to, nil, h.ck, nil); err != nil {
		h.t.Fatalf("%v: %v", h.steps, err)
	}
	if err := os.Rename(to, h.at); err != nil {
		h.t.Fatal(err)
	}
}

var idText = regexp.MustCompile(`"id":"([^"]+)"`)

func idsIn(b []byte, into map[string]bool) {
	for _, m := range idText.FindAllSubmatch(b, -1) {
		into[string(m[1])] = true
	}
}

// everywhere gives the ids of the records that stand in any file of the folder.
func (h *history) everywhere() map[string]bool {
	ids := map[string]bool{}
	all, err := os.ReadDir(h.dir)
	if err != nil {
		h.t.Fatal(err)
	}
	for _, e := range all {
		idsIn(mustRead(h.t, filepath.Join(h.dir, e.Name())), ids)
	}
	return ids
}

// look asks where each record is, as a person can: of the book, of verify, of salvage, and
// of the files that were put aside under names that were told.
func (h *history) look(seed uint64) {
	if !h.there() {
		return
	}
	rep, err := Verify(h.at, check.Verifying{Journals: beside(h.t, h.at)})
	if err != nil {
		h.t.Fatalf("-histories-seed %d: %v: %v", seed, h.steps, err)
	}
	told := map[string]bool{}
	b, err := OpenReading(h.at, h.ck)
	if err != nil {
		h.t.Fatalf("-histories-seed %d: %v: %v", seed, h.steps, err)
	}
	in := records(h.t, b)
	_ = b.Close()
	for _, r := range in {
		told[r.Action.ID] = true
	}
	s, got, outside := h.salvage(nil)
	for _, r := range slices.Concat(got, outside) {
		told[r.Action.ID] = true
	}
	// What salvage finds outside of the book, verify names, and the other way round.
	named := func(seq uint64) bool {
		return slices.ContainsFunc(rep.Faults, func(f check.Fault) bool { return f.Branch != nil && f.Names(seq) })
	}
	have := map[string]bool{}
	for _, r := range in {
		have[r.Action.ID] = true
	}
	for _, r := range slices.Concat(got, outside) {
		if !have[r.Action.ID] && !named(r.Seq) {
			h.t.Errorf("-histories-seed %d: %v: record %d, %s, is outside of the book, and verify does not name it:\n%s", seed, h.steps, r.Seq, r.Action.ID, lines(rep.Faults))
		}
	}
	if len(rep.Others) != len(s.Others) {
		h.t.Errorf("-histories-seed %d: %v: verify tells of %q, salvage of %q", seed, h.steps, rep.Others, s.Others)
	}
	all, err := os.ReadDir(h.dir)
	if err != nil {
		h.t.Fatal(err)
	}
	for _, e := range all {
		aside := strings.HasPrefix(e.Name(), "away-") || strings.Contains(e.Name(), ".replaced-") || strings.Contains(e.Name(), ".branch-")
		other := slices.ContainsFunc(rep.Others, func(o string) bool { return strings.HasPrefix(o, e.Name()+" ") })
		if aside || other {
			idsIn(mustRead(h.t, filepath.Join(h.dir, e.Name())), told)
		}
	}
	for id := range h.said {
		if !told[id] {
			h.t.Errorf("-histories-seed %d: %v: the record %s was acknowledged and nobody tells where it is:\n%s", seed, h.steps, id, lines(rep.Faults))
		}
	}
	if bytes.Contains([]byte(lines(rep.Faults)), []byte("was changed")) {
		h.t.Errorf("-histories-seed %d: %v: %s", seed, h.steps, lines(rep.Faults))
	}
}
