package check

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"fmt"
	"hash/maphash"
	"reflect"
	"slices"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers/each"
)

// sumOf adds up the index entries that a record has; the sums of all records and of
// all entries are equal when each is there and none too many.
func (s *summer) sumOf(r *record.Record, of func(id string) (record.Record, bool)) (sum uint64) {
	value := binary.BigEndian.AppendUint64(s.value[:0], r.Seq)
	layout.EachIndexKey(r, of, s.room[:0], func(k []byte) {
		sum += entrySum(s.seed, k, value)
		value = nil
	})
	return sum
}

// summer is one who adds up entries, with room of his own.
type summer struct {
	seed  maphash.Seed
	value [8]byte
	room  [64]byte
}

func entrySum(seed maphash.Seed, key, value []byte) uint64 {
	h := maphash.Bytes(seed, key)
	if len(value) > 0 {
		h += 31 * maphash.Bytes(seed, value)
	}
	return h
}

// indexSum is the sum of all entries of an index, and how many there are.
type indexSum struct {
	sum     uint64
	entries int
}

// sumIndex adds the entries of the index up, beside whatever else is done.
func (v *verifier) sumIndex(seed maphash.Seed) <-chan indexSum {
	out := make(chan indexSum, 1)
	quiet := v.pages.walker(func(uint64, string) {}) // told already
	go func() {
		var got indexSum
		quiet.walk(v.parts[string(layout.Index)], func(e entry) bool {
			got.sum += entrySum(seed, e.key, e.value)
			got.entries++
			return true
		})
		out <- got
	}()
	return out
}

// index holds the index against what the records want of it.
func (v *verifier) index(seed maphash.Seed, want uint64, sum <-chan indexSum) {
	got := <-sum
	if got.sum == want {
		return
	}
	// Which ones? The entries are taken in parts, so that the memory for it has a bound.
	var odd []oddEntry
	parts := uint64(got.entries/entriesAtOnce + 1)
	for part := range parts {
		odd = append(odd, v.oddEntries(func(key []byte) bool { return maphash.Bytes(seed, key)%parts == part })...)
	}
	slices.SortFunc(odd, func(a, b oddEntry) int { return cmp.Or(cmp.Compare(a.what, b.what), cmp.Compare(a.seq, b.seq)) })
	for i := 0; i < len(odd); {
		f := Fault{Kind: FaultIndex, Seq: odd[i].seq, Day: odd[i].day, What: odd[i].what}
		for i++; i < len(odd) && odd[i].what == f.What && odd[i].seq == max(f.Seq, f.To)+1; i++ {
			f.To = odd[i].seq
			if first, _, _ := bytes.Cut([]byte(f.Day), []byte(" to ")); odd[i].day != string(first) {
				f.Day = string(first) + " to " + odd[i].day
			}
		}
		v.tell(f)
	}
}

// entriesAtOnce bounds the memory of the search for odd entries: some 200 MB.
const entriesAtOnce = 1 << 20

// oddEntry is an index entry that is missing or too many.
type oddEntry struct {
	seq       uint64
	day, what string
}

// oddEntries compares the entries with the given keys one by one.
func (v *verifier) oddEntries(mine func(key []byte) bool) (odd []oddEntry) {
	type wanted struct {
		seq   uint64
		value []byte
		day   string
	}
	want := map[string]wanted{}
	unsure := map[uint64]bool{} // about a record that cannot be read: its entries cannot be told
	q := record.NewReader()
	v.log(func(key uint64, raw []byte) {
		l := &link{key: key, raw: raw}
		if l.read(q); l.err != nil || l.key > v.mark || v.chain.isBad(l.key) {
			return
		}
		if action.IsAmendment(l.rec.Action.Body) && action.IsAmendment(layout.RootOf(l.rec, v.byID).Action.Body) {
			unsure[l.key] = true
			return
		}
		value := layout.SeqKey(l.key)
		for _, k := range layout.IndexKeys(l.rec, v.byID) {
			if mine(k) {
				want[string(k)] = wanted{l.key, value, dayOf(l)}
			}
			value = nil
		}
	})
	quiet := v.pages.walker(func(uint64, string) {}) // told already
	quiet.walk(v.parts[string(layout.Index)], func(e entry) bool {
		if !mine(e.key) {
			return true
		}
		if w, ok := want[string(e.key)]; ok && bytes.Equal(w.value, e.value) {
			delete(want, string(e.key))
			return true
		}
		seq := seqOf(e)
		if unsure[seq] || v.chain.isBad(seq) {
			return true
		}
		day := ""
		if raw, ok := v.pages.find(v.parts[string(layout.Log)], layout.SeqKey(seq)); ok {
			if r, err := record.Decode(raw); err == nil {
				day = r.Stamp.At.Format("2006-01-02")
			}
		}
		odd = append(odd, oddEntry{seq, day, "an index entry too many, " + entryText(e.key)})
		return true
	})
	for k, w := range want {
		odd = append(odd, oddEntry{w.seq, w.day, "cannot be found " + entryText([]byte(k))})
	}
	return odd
}

// seqOf gives the number of the record that an entry leads to, 0 where that cannot
// be told.
func seqOf(e entry) uint64 {
	b := e.value
	if e.key[0] != 'i' && len(e.key) > 8 {
		b = e.key[len(e.key)-8:]
	}
	if len(b) != 8 {
		return 0
	}
	return binary.BigEndian.Uint64(b)
}

// entryText says what an entry is for.
func entryText(key []byte) string {
	of, known := map[byte]string{'f': "flask", 'm': "mix", 'l': "load", 't': "timer", 'b': "readings of bath", 'k': "register", 'j': "lot or equipment", 'n': "case", 'o': "step of a case"}[key[0]]
	switch {
	case key[0] == 'i':
		return "by its id"
	case key[0] == 'd' && len(key) == 17:
		return "by its day"
	case known && len(key) == 13:
		return fmt.Sprintf("by %s %d", of, binary.BigEndian.Uint32(key[1:]))
	case key[0] == 's':
		return "among settings and crew"
	case key[0] == 'c' && len(key) == 17:
		return fmt.Sprintf("as a correction of record %d", binary.BigEndian.Uint64(key[1:]))
	}
	return fmt.Sprintf("of no kind known (%x)", key[:min(len(key), 20)])
}

// bench holds the list of live records, and the bench folded from them, against a
// fresh fold of the whole book.
func (v *verifier) bench(fresh Refold, in Within) {
	if len(v.chain.bad) > 0 {
		v.tell(Fault{Kind: FaultBench, What: "it cannot be held against its records while some are missing or spoilt"})
		return
	}
	want, err := fresh.End()
	if err != nil {
		v.tell(Fault{Kind: FaultPages, What: err.Error()})
		return
	}
	live := map[uint64]bool{}
	for _, r := range v.after {
		live[r.Seq] = true
	}
	quiet := v.pages.walker(func(uint64, string) {}) // told already
	quiet.walk(v.parts[string(layout.Live)], func(e entry) bool {
		if len(e.key) != 8 || len(e.value) != 0 {
			v.tell(Fault{Kind: FaultBench, What: fmt.Sprintf("the list of live records has an entry of %d bytes that is not a number", len(e.key))})
			return true
		}
		live[binary.BigEndian.Uint64(e.key)] = true
		return true
	})
	n := len(v.rep.Faults)
	for _, it := range want.Items {
		if !live[it.Seq] && !passing(it) {
			v.tell(Fault{Kind: FaultBench, Seq: it.Seq, Day: it.Stamp.At.Format("2006-01-02"), What: "the bench rests on it, but it is not in the list of live records"})
		}
	}
	for seq := range live {
		if _, ok := v.pages.find(v.parts[string(layout.Log)], layout.SeqKey(seq)); !ok {
			v.tell(Fault{Kind: FaultBench, Seq: seq, What: "in the list of live records, but not there"})
		}
	}
	if len(v.rep.Faults) > n {
		return
	}
	got, err := in.Bench()
	if err != nil {
		v.tell(Fault{Kind: FaultBench, What: err.Error()})
		return
	}
	// The list may still hold what the bench rests on no longer: it is pruned now and then.
	v.sameBench(got, want)
}

// passing tells whether a record may stay in the list a little longer or shorter than
// a fresh fold has it there, without a difference to the bench: time alone lets go of
// it, and a clock that was wrong for a while has let go of it at another time; or it
// was taken back, or takes back or corrects.
func passing(it bench.Item) bool {
	switch it.Action.Body.(type) {
	case action.Caution, action.BathReading, action.Correct, action.TakeBack:
		return true
	}
	return it.TakenBack != nil
}

// sameBench compares what is at work.
func (v *verifier) sameBench(got, want *bench.Bench) {
	differ := func(what string, a, b any) {
		if !reflect.DeepEqual(a, b) {
			v.tell(Fault{Kind: FaultBench, What: "the bench folded from the live records differs from that of the whole book: " + what})
		}
	}
	differ("places", got.Places, want.Places)
	differ("crew", got.Crew, want.Crew)
	differ("settings", got.House, want.House)
	for no, f := range want.Flasks {
		if f.Stage != bench.Finished {
			differ(fmt.Sprintf("flask %d", no), got.Flasks[no], f)
			differ(fmt.Sprintf("the mix of flask %d", no), got.MixOf(f), want.MixOf(f))
			differ(fmt.Sprintf("the load of flask %d", no), got.LoadOf(f), want.LoadOf(f))
		}
	}
	for _, material := range action.Materials {
		held, withdrawn := got.Lots(material)
		wantHeld, wantWithdrawn := want.Lots(material)
		differ("the lots of "+string(material), [2][]bench.KnownLot{held, withdrawn}, [2][]bench.KnownLot{wantHeld, wantWithdrawn})
	}
	differ("the list of cases", listed(got), listed(want))
	for no, t := range want.Timers {
		if t.Stopped == nil {
			differ(fmt.Sprintf("timer %d", no), got.Timers[no], t)
		}
	}
}

// listed gives the cases on the list, without the records they rest on.
func listed(b *bench.Bench) [][2]any {
	return each.Of(b.Cases(), func(k bench.Case) [2]any { return [2]any{k.CaseIn, [2]int{k.Flask, k.Remakes}} })
}
