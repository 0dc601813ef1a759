//go:build unix

package jetstream

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"flaskside/logbook"
	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/logbook/lot"
	"flaskside/logbook/lot/recall"
	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/shelf"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/simclock"
)

// How large the benchmarks of scale are. SCALE.md says with which they were run, and what they
// found.
var (
	scaleBenches = flag.Int("scale-benches", 1000, "benches of a recall and of a day")
	scaleADay    = flag.Int("scale-a-day", 20, "records that each brings one by one; a busy day has 500")
	scaleEach    = flag.Int("scale-each", 500, "records that each has for the recall; a busy year has 182,500")
	scaleRecords = flag.Int("scale-records", 1_000_000, "records of the one book that catches up and is made anew")
)

const needed = 1000 * 500 / 86400.0 // records a second of 1,000 benches with 500 a day

var scaleStart = time.Date(2026, 1, 5, 8, 0, 0, 0, time.UTC)

// madeBook is a book in memory that takes 350 bytes a record.
type madeBook struct {
	id   string
	raws [][]byte
	head logbook.Head
}

func (b *madeBook) ID() string              { return b.id }
func (b *madeBook) State() logbook.Snapshot { return logbook.Snapshot{Head: b.head} }

func (b *madeBook) Each(from uint64, f func(record.Record) (bool, error)) error {
	for i := max(from, 1) - 1; i < uint64(len(b.raws)); i++ {
		seq, prev, ok := record.Begins(b.raws[i])
		if !ok {
			return fmt.Errorf("record %d of the invented book cannot be read", i+1)
		}
		if more, err := f(record.Record{Seq: seq, Prev: prev, Raw: b.raws[i]}); err != nil || !more {
			return err
		}
	}
	return nil
}

// add has a bench go on: flasks that are opened, coated, packed, closed three times, cured and
// finished, 25 records each, with lots of which each jar serves some fifty flasks.
func (b *madeBook) add(tb testing.TB, n int) {
	for range n {
		seq := uint64(len(b.raws) + 1)
		no, step := int(seq-1)/25+1, int(seq-1)%25
		prev := b.head.Hash
		if seq == 1 {
			prev = record.Genesis(b.id)
		}
		at := scaleStart.Add(time.Duration(seq) * 173 * time.Second)
		a := action.Action{ID: fmt.Sprintf("%s%08x", b.id, seq), At: at, By: "KT", Body: flaskLife(b.id, no, step)}
		r, err := record.Write(seq, prev, timers.Reading{Wall: at}, timers.Stamp{At: at, BootID: "boot-1", Boot: time.Duration(seq) * time.Second}, a)
		if err != nil {
			tb.Fatal(err)
		}
		b.raws, b.head = append(b.raws, r.Raw), logbook.Head{Seq: seq, Hash: r.Hash()}
	}
}

func flaskLife(bench string, no, step int) action.Body {
	f := []int{no}
	switch step {
	case 0:
		return action.FlaskOpen{Flask: no, Place: no%9 + 1, Case: fmt.Sprint("K-", no), Base: "upper", Size: "medium"}
	case 1:
		return action.FlaskLots{Flask: no, StoneLot: fmt.Sprintf("G-%s-%d", bench[:6], no/50), SheetLot: fmt.Sprint("T-", no/200)}
	case 2, 3:
		return action.Coat{Flask: no, Half: "both", Lot: fmt.Sprint("S-", no/100)}
	case 4:
		return action.MixMake{Mix: no, Flasks: f, PowderG: 21, LiquidG: 9, PowderLot: fmt.Sprintf("P-%s-%d", bench[:6], no/50), LiquidLot: fmt.Sprint("L-", no/70), RoomC: 21.5}
	case 18:
		return action.BathLoad{Load: no, Flasks: f, Bath: 1, Programme: "long, 9 h"}
	case 20:
		return action.BathUnload{Flasks: f}
	case 21:
		return action.CoolWater{Flasks: f}
	case 22:
		return action.Deflask{Flasks: f}
	case 23:
		return action.Remount{Flask: no, PinMM: 0.3}
	case 24:
		return action.Outcome{Flask: no, Outcome: action.Finished}
	case 17:
		return action.Clamp{Flask: no}
	}
	return []action.Body{action.PressIn{Flask: no}, action.PressAt{Flask: no, PressurePSI: 3000}, action.PressOpen{Flask: no}, action.Flash{Flask: no, Grade: "slight"}}[step%4]
}

// cpu is the time that this process has worked, servers and all; on a busy machine it says more
// than the clock does.
func cpu() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// onDisk are three servers on the disk of the machine, each a copy, synced always.
func onDisk(b *testing.B) string {
	b.Helper()
	scratchDir = b.TempDir
	defer func() { scratchDir = nil }()
	return at(three(b)...)
}

func beginAt(b *testing.B, to string) *JetStream {
	b.Helper()
	var err error
	for range 100 {
		j, _, e := Begin(context.Background(), to, Access{})
		if err = e; e == nil {
			return j
		}
		time.Sleep(100 * time.Millisecond)
	}
	b.Fatal(err)
	return nil
}

// BenchmarkScaleADay: benches bring their records one by one as they come about, 32 at once.
func BenchmarkScaleADay(b *testing.B) {
	to := onDisk(b)
	j := beginAt(b, to)
	defer func() { _ = j.Close() }()
	books := make([]*madeBook, *scaleBenches)
	for i := range books {
		books[i] = &madeBook{id: fmt.Sprintf("B%06d", i)}
	}
	var bytes atomic.Int64
	worked := cpu()
	for b.Loop() {
		var all sync.WaitGroup
		next := make(chan *madeBook)
		for range 32 {
			all.Go(func() {
				for k := range next {
					end, err := j.Last(context.Background(), mirror.Stream{Book: k.id, Generation: 1})
					for range *scaleADay {
						k.add(b, 1)
						d, e := mirror.Bring(context.Background(), j, k, mirror.BringOptions{Bench: k.id, Generation: 1, At: scaleStart})
						if e != nil || err != nil || d.End.Seq != end.Seq+1 {
							b.Errorf("%v, %v: %s after %s", err, e, d.End, end)
							return
						}
						end = d.End
						bytes.Add(int64(len(k.raws[len(k.raws)-1])))
					}
				}
			})
		}
		for _, k := range books {
			next <- k
		}
		close(next)
		all.Wait()
	}
	n := float64(*scaleBenches * *scaleADay * b.N)
	b.ReportMetric(n/b.Elapsed().Seconds(), "records/s")
	b.ReportMetric(n/b.Elapsed().Seconds()/needed, "times-what-1000-benches-need")
	b.ReportMetric(float64(bytes.Load())/n, "bytes/record")
	b.ReportMetric(float64((cpu()-worked).Microseconds())/n, "CPU-µs/record")
	if info, err := j.stream.Info(context.Background()); err == nil {
		b.ReportMetric(float64(info.State.Bytes)/n, "stored-bytes/record-and-copy")
	}
}

// BenchmarkScaleOneBook: a book that was away for years catches up, is looked through, and is
// made anew from its mirror.
func BenchmarkScaleOneBook(b *testing.B) {
	to := onDisk(b)
	j := beginAt(b, to)
	defer func() { _ = j.Close() }()
	k := &madeBook{id: "LONGLONG"}
	k.add(b, *scaleRecords)
	dir, gen := b.TempDir(), 0
	var caught, compared, rebuilt, verified [2]time.Duration // by the clock, and of work
	for b.Loop() {
		gen++
		begun, worked := time.Now(), cpu()
		lap := func(to *[2]time.Duration) {
			to[0], to[1] = to[0]+time.Since(begun), to[1]+cpu()-worked
			begun, worked = time.Now(), cpu()
		}
		if _, err := mirror.Bring(context.Background(), j, k, mirror.BringOptions{Bench: "b", Generation: gen, At: scaleStart}); err != nil {
			b.Fatal(err)
		}
		lap(&caught)
		s := mirror.Stream{Book: k.id, Generation: gen}
		if c, err := mirror.Compare(context.Background(), j, k, s); err != nil || !c.Equal() {
			b.Fatalf("%v, %v", c.Lines(), err)
		}
		lap(&compared)
		made := filepath.Join(dir, fmt.Sprint(gen, ".db"))
		if _, err := mirror.Rebuild(context.Background(), j, s, made, simclock.At(scaleStart, "boot")); err != nil {
			b.Fatal(err)
		}
		lap(&rebuilt)
		if rep, err := logbook.Verify(made, check.Verifying{}); err != nil || len(rep.Faults) > 0 || rep.Head != k.head {
			b.Fatalf("%+v, %v", rep.Faults, err)
		}
		lap(&verified)
		_ = os.Remove(made)
	}
	for what, d := range map[string][2]time.Duration{"catch-up": caught, "check": compared, "rebuild": rebuilt, "verify": verified} {
		b.ReportMetric(d[0].Seconds()/float64(b.N), what+"-s")
		b.ReportMetric(d[1].Seconds()/float64(b.N), what+"-CPU-s")
	}
}

// BenchmarkScaleRecall: one asks all benches for a lot. The first time every book is read and put
// on the shelf; then what is on the shelf answers, as long as the ends of the mirror are those.
func BenchmarkScaleRecall(b *testing.B) {
	to := onDisk(b)
	j := beginAt(b, to)
	defer func() { _ = j.Close() }()
	for i := range *scaleBenches {
		k := &madeBook{id: fmt.Sprintf("B%06d", i)}
		k.add(b, *scaleEach)
		if _, err := mirror.Bring(context.Background(), j, k, mirror.BringOptions{Bench: k.id, At: scaleStart}); err != nil {
			b.Fatal(err)
		}
	}
	s := shelf.Shelf{Place: j, Dir: b.TempDir(), Clock: simclock.At(scaleStart.AddDate(1, 0, 0), "boot")}
	asked, err := lot.Parse(fmt.Sprintf("P-B00000-%d", *scaleEach/25/50), 2026)
	if err != nil {
		b.Fatal(err)
	}
	ask := func() (benches, flasks int) {
		q := recall.Ask(asked, 2026)
		if err := s.EachNaming(context.Background(), q.Means, func(k shelf.Kept, at []uint64) error {
			if k.Err != nil || len(k.Lacks) > 0 {
				return fmt.Errorf("%s: %v, %w", k.Name(), k.Lacks, k.Err)
			}
			benches++
			if k.Book == nil {
				return nil
			}
			l, err := q.At(k.Book, at, time.UTC)
			flasks += len(l.Uses)
			return err
		}); err != nil {
			b.Fatal(err)
		}
		return benches, flasks
	}
	begun := time.Now()
	ask()
	first := time.Since(begun)
	b.ResetTimer()
	var benches, flasks int
	for b.Loop() {
		benches, flasks = ask()
	}
	b.ReportMetric(first.Seconds(), "first-time-s")
	b.ReportMetric(float64(benches), "benches")
	b.ReportMetric(float64(flasks), "flasks-found")
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N), "recall-s")
	begun = time.Now()
	if _, err := mirror.Hear(context.Background(), j); err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(time.Since(begun).Seconds(), "of-it-asking-the-ends-s")
}
