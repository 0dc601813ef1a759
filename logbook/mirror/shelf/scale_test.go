package shelf

import (
	"context"
	"flag"
	"fmt"
	"hash/fnv"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/lot"
	"flaskside/logbook/lot/recall"
	"flaskside/logbook/mirror"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/simclock"
)

// scaleBenches: a thousand take minutes to be invented.
var scaleBenches = flag.Int("scale-benches", 100, "benches of the recall")

// inMind is a mirror that knows of many benches how each ends, and has the book of one.
type inMind struct {
	mirror.Remote

	ends map[mirror.Stream]mirror.Run
}

func (p inMind) Streams(context.Context) (out []mirror.Stream, err error) {
	for s := range p.ends {
		out = append(out, s)
	}
	return out, nil
}

func (p inMind) LastRun(_ context.Context, s mirror.Stream) (mirror.Run, error) {
	return p.ends[s], nil
}

func (p inMind) Last(_ context.Context, s mirror.Stream) (mirror.StreamEnd, error) {
	return p.ends[s].End(), nil
}

// jar is the code of a jar, as makers number them: by no order that a bench knows of.
func jar(what, bench string, no int) string {
	h := fnv.New32a()
	fmt.Fprint(h, what, bench, no)
	return fmt.Sprintf("%s%07d", what, h.Sum32()%1e7)
}

// BenchmarkRecallOfAYear: a recall over many benches with a year each (7,300 flasks, 350 jars
// and bags) from what is kept of their lots, and the book of the one bench that had it. The time
// to ask the mirror for its ends is not in it: see the benchmarks beside JetStream.
func BenchmarkRecallOfAYear(b *testing.B) {
	benches, flasks := *scaleBenches, 7300
	start := time.Date(2026, 1, 5, 8, 0, 0, 0, time.UTC)
	p := inMind{ends: map[mirror.Stream]mirror.Run{}}
	s := Shelf{Place: p, Dir: b.TempDir(), Clock: simclock.At(start.AddDate(1, 0, 0), "boot")}
	for i := range benches {
		id := fmt.Sprintf("B%06d", i)
		st := mirror.Stream{Book: id, Generation: 1}
		seq, prev := uint64(0), record.Genesis(id)
		err := logbook.Shelve(s.path(st), id, func(yield func(record.Record, error) bool) {
			tell := func(body action.Body) bool {
				seq++
				at := start.Add(time.Duration(seq) * 11 * time.Minute)
				r, err := record.Write(seq, prev, timers.Reading{Wall: at}, timers.Stamp{At: at}, action.Action{ID: fmt.Sprint(id, seq), At: at, By: "KT", Body: body})
				prev = r.Hash()
				return yield(r, err)
			}
			for no := 1; no <= flasks; no++ {
				if i > 0 && no%50 != 1 { // the other benches have the same lots, and a flask of each
					continue
				}
				if !tell(action.FlaskOpen{Flask: no, Place: 1, Case: fmt.Sprint("K-", no), Base: "upper", Size: "medium"}) ||
					!tell(action.FlaskLots{Flask: no, StoneLot: jar("G", id, no/50)}) ||
					!tell(action.MixMake{Mix: no, Flasks: []int{no}, PowderLot: jar("P", id, no/50), LiquidLot: jar("L", "all", no/70)}) ||
					!tell(action.Outcome{Flask: no, Outcome: action.Finished}) {
					return
				}
			}
		})
		if err != nil {
			b.Fatal(err)
		}
		end := mirror.StreamEnd{Seq: seq, Hash: prev}
		book, err := logbook.OpenReading(s.path(st), s.Clock)
		if err == nil {
			err = keepLots(s.path(st), book, end, nil)
			_ = book.Close() // only read from
		}
		if err == nil {
			err = writeNote(s.path(st), note{Book: id, End: end, Head: logbook.Head{Seq: seq, Hash: prev}})
		}
		if err != nil {
			b.Fatal(err)
		}
		p.ends[st] = mirror.Run{Header: mirror.Header{Mirror: 1, Book: id, Generation: 1, Bench: id, First: seq, Last: seq, Hash: prev, Head: seq, At: start}}
	}
	asked, err := lot.Parse(jar("P", "B000000", 77), 2026)
	if err != nil {
		b.Fatal(err)
	}
	found := 0
	for b.Loop() {
		q := recall.Ask(asked, 2026)
		found = 0
		if err := s.EachNaming(context.Background(), q.Means, func(k Kept, at []uint64) error {
			if k.Err != nil || k.Book == nil {
				return k.Err
			}
			l, err := q.At(k.Book, at, time.UTC)
			found += len(l.Uses)
			return err
		}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(found), "flasks-found")
}
