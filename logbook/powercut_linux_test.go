package logbook

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"flag"
	"fmt"
	"hash/maphash"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/disk/disktest"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

var (
	powerCuts    = flag.Int("powercuts", longrun.Times(400, 12000), "how many files that a power cut could leave to try")
	powerCutSeed = flag.Uint64("powercut-seed", 1, "seed of the sampling where there are too many to try all")
)

const sectorBytes = disktest.SectorBytes

// tapeOp is one thing that was done to a file, or an answer given.
type tapeOp struct {
	kind string // "write", "size", "sync", "name" (the file got its name), "names" (the folder was synced), "answer"
	file string // "book" or "journal"
	off  int64  // write: where; size: the new one
	data []byte
	said answer
}

var (
	callLine  = regexp.MustCompile(`^(\w+)\((.*)\) += (\d+)$`)
	fdArg     = regexp.MustCompile(`^\d+<((?:\\x[0-9a-f]{2})*)>`)
	quotedArg = regexp.MustCompile(`"((?:\\x[0-9a-f]{2})*)"`)
)

// unhex reads a string as strace -xx writes it.
func unhex(s string) []byte {
	b, err := hex.DecodeString(strings.ReplaceAll(s, `\x`, ""))
	if err != nil {
		panic(err) // the expressions above let nothing else through
	}
	return b
}

// readTape turns the trace of a day into what was done to the book and to its
// journal. The error says that a line could not be read: on a busy machine the tracer now
// and then tears one in two.
func readTape(t *testing.T, trace []byte, path string) (ops []tapeOp, err error) {
	t.Helper()
	dir, journal := filepath.Dir(path), int64(0)
	for line := range strings.Lines(string(trace)) {
		m := callLine.FindStringSubmatch(strings.TrimSuffix(line, "\n"))
		if m == nil {
			if !strings.Contains(line, "= -1 E") && !strings.HasPrefix(line, "---") {
				return nil, fmt.Errorf("a line of the trace that cannot be read: %.200s", line)
			}
			continue
		}
		var file, about string
		if fd := fdArg.FindStringSubmatch(m[2]); fd != nil {
			about = string(unhex(fd[1]))
		}
		switch {
		case about == path || strings.HasPrefix(about, path+".new-"):
			file = "book"
		case about == journalOf(path):
			file = "journal"
		case about == dir:
			file = "names"
		}
		var text []byte
		if q := quotedArg.FindStringSubmatch(m[2]); q != nil {
			text = unhex(q[1])
		}
		args := strings.Split(m[2], ", ")
		last, _ := strconv.ParseInt(args[len(args)-1], 10, 64)
		switch m[1] {
		case "pwrite64":
			if file != "book" || m[3] != strconv.Itoa(len(text)) {
				t.Fatalf("a write elsewhere, or a short one: %.200s", line)
			}
			ops = append(ops, tapeOp{kind: "write", file: file, off: last, data: text})
		case "write":
			var said answer
			if file == "journal" {
				ops = append(ops, tapeOp{kind: "write", file: file, off: journal, data: text})
				journal += int64(len(text))
			} else if json.Unmarshal(text, &said) == nil {
				ops = append(ops, tapeOp{kind: "answer", said: said})
			} else {
				t.Fatalf("a write elsewhere: %.200s", line)
			}
		case "ftruncate":
			ops = append(ops, tapeOp{kind: "size", file: file, off: last})
		case "fdatasync", "fsync":
			if file == "names" {
				ops = append(ops, tapeOp{kind: "names"})
			} else if file != "" {
				ops = append(ops, tapeOp{kind: "sync", file: file})
			}
		case "linkat":
			ops = append(ops, tapeOp{kind: "name"})
		}
	}
	return ops, nil
}

// onDisk is the content of a file: bytes up to the last that was written, and zeros
// up to its size.
type onDisk struct {
	data []byte
	size int64
}

func (d onDisk) clone() onDisk { return onDisk{bytes.Clone(d.data), d.size} }

// do does an op; of a write, only the sectors that keep says, nil for all.
func (d *onDisk) do(o tapeOp, keep func(sector int) bool) {
	if o.kind == "size" {
		if d.size = o.off; int64(len(d.data)) > o.off {
			d.data = d.data[:o.off]
		}
		return
	}
	for i := 0; i < len(o.data); i += sectorBytes {
		if keep != nil && !keep(i/sectorBytes) {
			continue
		}
		part := o.data[i:min(i+sectorBytes, len(o.data))]
		end := o.off + int64(i+len(part))
		if grow := end - int64(len(d.data)); grow > 0 {
			d.data = append(d.data, make([]byte, grow)...)
		}
		copy(d.data[end-int64(len(part)):], part)
		d.size = max(d.size, end)
	}
}

// put makes the file so.
func (d onDisk) put(t *testing.T, path string) {
	t.Helper()
	if err := os.WriteFile(path, d.data, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(path, d.size); err != nil {
		t.Fatal(err)
	}
}

// epoch is the time between two syncs of the book: what is on the disk for certain,
// what may be, and what was told by its end.
type epoch struct {
	base     onDisk
	pending  []tapeOp
	told     uint64 // number of the last record called saved
	named    bool   // the file has its name for certain
	naming   bool   // or perhaps
	journal  onDisk // as far as it is synced
	journal2 onDisk // as it was written
}

// epochs cuts a tape at the syncs that counts lets count, and, where that is asked,
// after each record called saved.
func epochs(ops []tapeOp, counts func(n int) bool, atAnswers bool) (out []epoch) {
	var e epoch
	syncs := 0
	cut := func() {
		was := e
		was.base = e.base.clone()
		was.journal, was.journal2 = e.journal.clone(), e.journal2.clone()
		was.pending = append([]tapeOp(nil), e.pending...)
		out = append(out, was)
	}
	for _, o := range ops {
		switch {
		case o.kind == "name":
			e.naming = true
		case o.kind == "names":
			cut()
			e.named = e.named || e.naming
		case o.kind == "answer" && o.said.Say == saySaved:
			if e.told = o.said.Seq; atAnswers {
				cut()
			}
		case o.file == "journal" && o.kind == "sync":
			e.journal = e.journal2.clone()
		case o.file == "journal":
			e.journal2.do(o, nil)
		case o.file == "book" && o.kind == "sync":
			syncs++
			if !counts(syncs) {
				continue
			}
			cut()
			for _, p := range e.pending {
				e.base.do(p, nil)
			}
			e.pending = nil
		case o.file == "book":
			e.pending = append(e.pending, o)
		}
	}
	cut()
	return out
}

// some gives one of the files that a power cut in the epoch could leave: each write
// whole, torn or absent.
func (e epoch) some(r *rand.Rand) onDisk {
	d := e.base.clone()
	for _, o := range e.pending {
		switch r.IntN(5) {
		case 0, 1: // absent
		case 2, 3:
			d.do(o, nil)
		default:
			if o.kind != "write" || len(o.data) <= sectorBytes {
				break
			}
			mask := r.Uint64()
			if r.IntN(2) == 0 { // torn in one place
				mask = 1<<(1+r.IntN(len(o.data)/sectorBytes)) - 1
			}
			d.do(o, func(sector int) bool { return mask>>(sector%64)&1 == 1 })
		}
	}
	return d
}

// subset gives the file with the writes whose bits are set, whole.
func (e epoch) subset(bits uint) onDisk {
	d := e.base.clone()
	for i, o := range e.pending {
		if bits>>i&1 == 1 {
			d.do(o, nil)
		}
	}
	return d
}

// cutRig opens the files that power cuts could leave.
type cutRig struct {
	t     *testing.T
	path  string
	hash  []record.Hash     // of the records, from 1
	heads map[uint64]uint64 // the head after a commit -> the head after the next
	seen  map[uint64]bool
	seed  maphash.Seed
	tried int
}

// fresh tells whether a file was not tried before with as much told.
func (c *cutRig) fresh(d onDisk, told uint64) bool {
	var h maphash.Hash
	h.SetSeed(c.seed)
	_, _ = h.Write(layout.SeqKey(told))
	_, _ = h.Write(layout.SeqKey(uint64(d.size)))
	_, _ = h.Write(d.data)
	if c.seen[h.Sum64()] {
		return false
	}
	c.seen[h.Sum64()] = true
	return true
}

// try opens one file: it must hold all that was told and the chain must hold; beyond
// it at most the commit in flight may be there.
func (c *cutRig) try(d onDisk, told uint64) error {
	c.tried++
	d.put(c.t, c.path)
	b, err := OpenReading(c.path, simclock.At(start.AddDate(0, 0, 2), "boot-9"))
	if err != nil {
		return err
	}
	defer func() { _ = b.Close() }() // only read from
	head := b.State().Head
	if head.Seq != told && head.Seq != c.heads[told] {
		return fmt.Errorf("it ends with record %d, after %d was called saved (in flight: up to %d)", head.Seq, told, c.heads[told])
	}
	seq, hash := uint64(0), record.Genesis(b.ID())
	err = b.Each(1, func(r record.Record) (bool, error) {
		if err := r.Next(seq, hash); err != nil {
			return false, err
		}
		seq, hash = r.Seq, r.Hash()
		if hash != c.hash[seq-1] {
			return false, fmt.Errorf("record %d has other bytes than were written", seq)
		}
		return true, nil
	})
	if err == nil && (seq != head.Seq || hash != head.Hash) {
		err = fmt.Errorf("it reads up to record %d, its head is %v", seq, head)
	}
	return err
}

// goOn works on with a file after the cut, the journal torn too: the next record is
// saved, and book and journal are whole then.
func (c *cutRig) goOn(e epoch, d onDisk, r *rand.Rand) error {
	path := bookIn(c.t, filepath.Dir(c.path))
	defer func() { _ = os.RemoveAll(filepath.Dir(path)) }()
	d.put(c.t, path)
	j := e.journal2.clone()
	j.data = j.data[:len(e.journal.data)+r.IntN(len(j.data)-len(e.journal.data)+1)]
	j.size = int64(len(j.data))
	if j.size > 0 {
		j.put(c.t, journalOf(path))
	}
	b, err := Open(path, simclock.At(start.AddDate(0, 0, 2), "boot-9"))
	if err != nil {
		return err
	}
	ahead := false // the journal has the record in flight, the book does not
	b.OnTrouble(func(error) { ahead = true })
	_, err = b.Append(action.Action{ID: "on", At: start.AddDate(0, 0, 2), By: "KT", Body: action.TimerStart{Label: "egg", Count: "up"}})
	if cerr := b.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return fmt.Errorf("go on: %w", err)
	}
	if _, faults := faultsOf(path); len(faults) > 0 {
		return fmt.Errorf("gone on: %v", faults)
	}
	journals, err := check.JournalFiles(path)
	if err != nil || ahead {
		return fmt.Errorf("gone on: the journal: %v, in trouble: %v", err, ahead)
	}
	rep, err := Verify(path, check.Verifying{Journals: journals})
	if err != nil || len(rep.Faults) > 0 {
		return fmt.Errorf("gone on: %v\n%s", err, lines(rep.Faults))
	}
	return nil
}

// recordDay has the scripted day recorded by a child and gives the tape of it; where the
// tape cannot be read, once more.
func recordDay(t *testing.T) (*cutRig, []tapeOp) {
	t.Helper()
	var err error
	for range 4 {
		var c *cutRig
		var ops []tapeOp
		if c, ops, err = recordDayOnce(t); err == nil {
			return c, ops
		}
	}
	t.Fatal(err)
	return nil, nil
}

func recordDayOnce(t *testing.T) (c *cutRig, ops []tapeOp, err error) {
	t.Helper()
	path := bookIn(t, t.TempDir())
	steps, _ := scriptedDay()
	ch := startRig(t)
	trace := path + ".trace"
	off := ch.trace("-y", "-xx", "-s", "1000000", "-e", "trace=pwrite64,write,writev,pwritev,pwritev2,ftruncate,fallocate,fdatasync,fsync,sync_file_range,msync,linkat,renameat,renameat2", "-o", trace)
	said, ok := ch.ask(errand{Do: "day", Path: path, Steps: len(steps)})
	off()
	if !ok || len(said) != 1+len(steps) {
		t.Fatalf("the day: %+v\n%s", said, ch.stderr.String())
	}
	raw, err := os.ReadFile(trace)
	if err != nil {
		t.Fatal(err)
	}
	ops, err = readTape(t, raw, path)
	ch.stop()
	if err != nil {
		return nil, nil, err
	}
	c = &cutRig{t: t, path: bookIn(t, inMemory(t)), seed: maphash.MakeSeed(), seen: map[uint64]bool{}, heads: map[uint64]uint64{}}
	for _, r := range wholeBook(t, path) {
		c.hash = append(c.hash, r.Hash())
	}
	last := uint64(0)
	for _, a := range said {
		if a.Say == saySaved {
			c.heads[last], last = a.Seq, a.Seq
		}
	}
	if int(last) != len(c.hash) {
		t.Fatalf("%d records told, %d in the book", last, len(c.hash))
	}
	return c, ops, nil
}

// TestPowerCut records every write, change of size and sync of a day's work and
// builds the files that a power cut could leave of it: all that was synced, and of
// the writes after that each whole, torn or absent. From each the book opens with
// all that was called saved by then.
func TestPowerCut(t *testing.T) {
	t.Parallel()
	canInject(t)
	c, ops := recordDay(t)
	all := epochs(ops, func(int) bool { return true }, false)
	r := rand.New(rand.NewPCG(*powerCutSeed, 7))
	want := *powerCuts
	if testing.Short() {
		want = min(want, 400)
	}
	subsets, sampled, unnamed, on := 0, 0, 0, 0
	try := func(i int, e epoch, d onDisk, n *int) {
		if !c.fresh(d, e.told) {
			return
		}
		*n++
		if err := c.try(d, e.told); err != nil {
			t.Errorf("-powercut-seed %d, epoch %d, record %d told: %v", *powerCutSeed, i, e.told, err)
		} else if c.tried%50 == 0 {
			on++
			if err := c.goOn(e, d, r); err != nil {
				t.Errorf("-powercut-seed %d, epoch %d, record %d told: %v", *powerCutSeed, i, e.told, err)
			}
		}
	}
	// All subsets of whole writes where they are few; in a plain run every third, none and all of them.
	step := uint(longrun.Times(3, 1))
	for i, e := range all {
		if !e.named {
			unnamed++ // there may be no book yet
			if e.told > 0 {
				t.Errorf("record %d was called saved before the book had its name for certain", e.told)
			}
		}
		if !e.naming || len(e.pending) > 7 {
			continue
		}
		for bits := range uint(1) << len(e.pending) {
			if c.tried < want && (bits%step == 0 || bits+1 == 1<<len(e.pending)) {
				try(i, e, e.subset(bits), &subsets)
			}
		}
	}
	dull := map[int]int{} // how often in a row an epoch gave nothing new
	for round := 0; round < 10000*len(all) && c.tried < want && !t.Failed(); round++ {
		i := round % len(all)
		if e := all[i]; e.naming && len(e.pending) > 0 && dull[i] < 100 {
			before := sampled
			if try(i, e, e.some(r), &sampled); sampled == before {
				dull[i]++
			} else {
				dull[i] = 0
			}
		}
	}
	writes := 0
	for _, o := range ops {
		if o.file == "book" && o.kind == "write" {
			writes++
		}
	}
	t.Logf("%d records, %d writes, %d times between two syncs (%d before the book has its name). %d different files tried: %d with whole writes, %d with torn ones among them; worked on with %d of them",
		len(c.hash), writes, len(all), unnamed, c.tried, subsets, sampled, on)
	if c.tried < want && !t.Failed() {
		t.Errorf("only %d files tried, want %d", c.tried, want)
	}
}

// TestPowerCutSeesLoss: with the syncs left out, the same rig must see that records
// are lost, or it proves nothing.
func TestPowerCutSeesLoss(t *testing.T) {
	t.Parallel()
	canInject(t)
	c, ops := recordDay(t)
	created := 0 // syncs before the book has its name
	for _, o := range ops {
		if o.kind == "name" {
			break
		}
		if o.file == "book" && o.kind == "sync" {
			created++
		}
	}
	each := longrun.Times(1, 5)
	if testing.Short() {
		each = 1
	}
	for _, control := range []struct {
		name   string
		counts func(n int) bool
	}{
		{"no sync at all", func(n int) bool { return n <= created }},
		{"only every other sync, so that data and the page that names it go together", func(n int) bool { return n <= created || (n-created)%2 == 0 }},
	} {
		r := rand.New(rand.NewPCG(*powerCutSeed, 8))
		c.tried = 0
		lost := map[string]int{}
		example := ""
		for _, e := range epochs(ops, control.counts, true) {
			if !e.named || len(e.pending) == 0 {
				continue
			}
			for range each {
				d := e.some(r)
				if err := c.try(d, e.told); err != nil {
					what, _, _ := strings.Cut(err.Error(), ":")
					lost[strings.Map(func(r rune) rune {
						if r >= '0' && r <= '9' {
							return -1
						}
						return r
					}, what)]++
					example = err.Error()
				}
			}
		}
		n := 0
		for _, k := range lost {
			n += k
		}
		t.Logf("%s: %d of %d files have lost something, as: %s", control.name, n, c.tried, example)
		if n == 0 || c.tried == 0 {
			t.Errorf("%s: nothing lost in %d files: the rig is blind", control.name, c.tried)
		}
	}
}
