package logbook

import (
	"encoding/binary"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/layout"
	"flaskside/logbook/record"
	"flaskside/timers"
	"flaskside/timers/simclock"
)

var bigRecords = flag.Int("book-big", 20_000, "how many records the big book of the benchmarks has; the aim is set for 1000000")

// BenchmarkDurableRecord sets one durable record of the book beside a bare bbolt
// Update of the same bytes, and a bare write and fsync of them; the three take turns,
// so that a busy disk is the same to all. The figures are medians, and ratios of the
// medians; the aim is at most 1.3 of the bare bbolt. The book is of the newest format, as a
// bench makes it with its first load; in one of an older format the index is never left behind.
func BenchmarkDurableRecord(b *testing.B) {
	dir := b.TempDir()
	ck := simclock.At(start, "boot-1")
	book, err := Open(filepath.Join(dir, "book.db"), ck)
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = book.Close() }() // nothing is asked of it afterwards
	bare, err := bolt.Open(filepath.Join(dir, "bare.db"), 0o600, options(false))
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = bare.Close() }()
	if err := bare.Update(func(tx *bolt.Tx) error { _, err := tx.CreateBucket(layout.Log); return err }); err != nil {
		b.Fatal(err)
	}
	plain, err := os.Create(filepath.Join(dir, "plain.log"))
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = plain.Close() }()
	raiseFormat(b, book, ck)
	s := newBusy(book, ck, 1)
	var took [3][]time.Duration
	var cost [3]time.Duration
	timed := func(i int, f func() error) {
		from, before := time.Now(), costOf(b)
		err := f()
		took[i] = append(took[i], time.Since(from))
		cost[i] += costOf(b) - before
		if err != nil {
			b.Fatal(err)
		}
	}
	n := 0
	for b.Loop() {
		n++
		a := s.next()
		var saved Saved
		timed(0, func() (err error) { saved, err = book.Append(a); return err })
		timed(1, func() error {
			return bare.Update(func(tx *bolt.Tx) error {
				log := tx.Bucket(layout.Log)
				log.FillPercent = logFill
				return log.Put(binary.BigEndian.AppendUint64(nil, uint64(n)), saved.Raw)
			})
		})
		timed(2, func() error {
			if _, err := plain.Write(saved.Raw); err != nil {
				return err
			}
			return plain.Sync()
		})
	}
	median := func(ds []time.Duration) float64 {
		slices.Sort(ds)
		return float64(ds[len(ds)/2])
	}
	rec, upd, raw := median(took[0]), median(took[1]), median(took[2])
	b.ReportMetric(rec/1e3, "µs/record")
	b.ReportMetric(upd/1e3, "µs/bbolt-update")
	b.ReportMetric(raw/1e3, "µs/write+fsync")
	b.ReportMetric(rec/upd, "x-bbolt")
	b.ReportMetric(rec/raw, "x-write+fsync")
	b.ReportMetric(float64(cost[0].Microseconds())/float64(n), "cpu-µs/record")
	b.ReportMetric(float64(cost[1].Microseconds())/float64(n), "cpu-µs/bbolt-update")
	pages := func(db *bolt.DB) float64 {
		s := db.Stats().TxStats
		return float64(s.GetPageAlloc()) / float64(db.Info().PageSize) / float64(n)
	}
	b.ReportMetric(pages(book.db.Load()), "pages/record")
	b.ReportMetric(pages(bare), "pages/bbolt-update")
	b.ReportMetric(float64(len(book.State().Bench.Items)), "live-records")
	b.ReportMetric(0, "ns/op") // of all three together: it says nothing
}

// bigBook makes a book of many records with nine flasks at work at its end, straight
// through the store in large transactions. It is made once for all benchmarks.
func bigBook(b *testing.B) string {
	b.Helper()
	if bigPath != "" {
		return bigPath
	}
	dir, err := os.MkdirTemp("", "flaskside-big-")
	if err != nil {
		b.Fatal(err)
	}
	path := filepath.Join(dir, "big.db")
	bigPath = path
	ck := simclock.At(start, "boot-1")
	if err := create(path, ck); err != nil {
		b.Fatal(err)
	}
	db, err := bolt.Open(path, 0o600, &bolt.Options{NoSync: true, FreelistType: bolt.FreelistMapType})
	if err != nil {
		b.Fatal(err)
	}
	w := bigWriter{db: db, ck: ck}
	if err := db.View(func(tx *bolt.Tx) error {
		w.head = record.Genesis(string(tx.Bucket(layout.Meta).Get([]byte("book"))))
		return nil
	}); err != nil {
		b.Fatal(err)
	}
	// Flasks that are finished, one after the other, each with a route of 14 records;
	// then nine that are left at work.
	for flask := 1; int(w.seq) < *bigRecords-9*4; flask++ {
		w.route(b, flask, 1+flask%9, true)
	}
	top := w.flasks
	for p := 1; p <= 9; p++ {
		w.route(b, top+p, p, false)
	}
	w.flush(b)
	if err := db.Sync(); err != nil {
		b.Fatal(err)
	}
	if err := db.Close(); err != nil {
		b.Fatal(err)
	}
	bigEnds = ck.Read().Wall
	return path
}

// The big book, and the instant it ends at.
var (
	bigPath string
	bigEnds time.Time
)

// dropBigBook takes the big book away, when all is done.
func dropBigBook() {
	if bigPath != "" {
		_ = os.RemoveAll(filepath.Dir(bigPath)) // a leftover in the folder for such
	}
}

type bigWriter struct {
	db     *bolt.DB
	ck     *simclock.Hand
	seq    uint64
	head   record.Hash
	flasks int
	mixes  int
	batch  []record.Record
	live   []uint64
}

func (w *bigWriter) add(b *testing.B, live bool, body action.Body) {
	w.ck.Run(2 * minute)
	now := w.ck.Read()
	w.seq++
	r, err := record.Write(w.seq, w.head, now, timers.StampAt(now.Wall, now), action.Action{ID: fmt.Sprintf("big-%d", w.seq), At: now.Wall, By: "KT", Body: body})
	if err != nil {
		b.Fatal(err)
	}
	w.head = r.Hash()
	w.batch = append(w.batch, r)
	if live {
		w.live = append(w.live, r.Seq)
	}
	if len(w.batch) == 10_000 {
		w.flush(b)
	}
}

// route is one flask's day, or its beginning.
func (w *bigWriter) route(b *testing.B, flask, place int, whole bool) {
	add := func(body action.Body) { w.add(b, !whole, body) }
	w.flasks = flask
	add(action.FlaskOpen{Flask: flask, Place: place, Case: fmt.Sprint(1000 + flask%9000), Base: "upper", Size: "medium"})
	add(action.Coat{Flask: flask, Half: "both", DryMinS: 600})
	w.mixes++
	add(action.MixMake{Mix: w.mixes, Flasks: []int{flask}, Resin: "ours", PowderG: 22.5, LiquidG: 9.4, RoomC: 23, DoughS: 480, WorkS: 2700})
	add(action.PressIn{Flask: flask, Press: 1})
	if !whole {
		return
	}
	add(action.PressAt{Flask: flask, PressurePSI: 3000, HoldS: 60})
	add(action.PressOpen{Flask: flask})
	add(action.Flash{Flask: flask, Grade: "slight", Grams: 0.4, Where: []string{"posterior"}})
	add(action.SheetOut{Flask: flask})
	add(action.MetalToMetal{Flask: flask, Press: 1, PressurePSI: 3000})
	add(action.Clamp{Flask: flask, BackedOffTurn: 0.25, BenchMinS: 1800, BenchMaxS: 3600})
	add(action.Deflask{Flasks: []int{flask}})
	add(action.Remount{Flask: flask, PinMM: 0.4})
	add(action.Note{Flask: flask, Text: "nothing out of the ordinary"})
	add(action.Outcome{Flask: flask, Outcome: "finished here"})
}

// flush writes what has gathered in one transaction, as the book would have.
func (w *bigWriter) flush(b *testing.B) {
	none := func(string) (record.Record, bool) { return record.Record{}, false }
	err := w.db.Update(func(tx *bolt.Tx) error {
		log, index, live := tx.Bucket(layout.Log), tx.Bucket(layout.Index), tx.Bucket(layout.Live)
		log.FillPercent = logFill
		for _, r := range w.batch {
			if err := log.Put(layout.SeqKey(r.Seq), r.Raw); err != nil {
				return err
			}
			value := layout.SeqKey(r.Seq)
			for _, k := range layout.IndexKeys(r, none) {
				if err := index.Put(k, value); err != nil {
					return err
				}
				value = nil
			}
		}
		for _, s := range w.live {
			if err := live.Put(layout.SeqKey(s), nil); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
	w.batch, w.live = w.batch[:0], nil
}

// BenchmarkOpen opens a book with a long history and nine flasks at work. The aim is
// under 50 ms, and no more for a longer history.
func BenchmarkOpen(b *testing.B) {
	path := bigBook(b)
	ck := simclock.At(bigEnds, "boot-1")
	for b.Loop() {
		book, err := Open(path, ck)
		if err != nil {
			b.Fatal(err)
		}
		b.StopTimer()
		if n := len(book.State().Bench.Windows()); n < 9 {
			b.Fatalf("%d windows run on the big book", n)
		}
		if got := book.State().Head.Seq; got < uint64(*bigRecords) {
			b.Fatalf("it holds %d records", got)
		}
		if err := book.Close(); err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
	}
	b.ReportMetric(float64(*bigRecords), "records")
	fi, err := os.Stat(path)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(fi.Size())/float64(*bigRecords), "bytes/record")
}

// BenchmarkFill tells how much room a record takes in the log, page packing set as the
// book has it and as the store would have it of itself, each record in a transaction of
// its own as at the bench.
func BenchmarkFill(b *testing.B) {
	const n = 5000
	for _, fill := range []float64{logFill, bolt.DefaultFillPercent} {
		b.Run(fmt.Sprint(fill), func(b *testing.B) {
			for b.Loop() {
				db, err := bolt.Open(filepath.Join(b.TempDir(), "fill.db"), 0o600, &bolt.Options{NoSync: true, FreelistType: bolt.FreelistMapType})
				if err != nil {
					b.Fatal(err)
				}
				raw := 0
				for r, err := range longBook(b, "FILL", n) {
					if err != nil {
						b.Fatal(err)
					}
					if err := db.Update(func(tx *bolt.Tx) error {
						log, err := tx.CreateBucketIfNotExists(layout.Log)
						if err != nil {
							return err
						}
						log.FillPercent = fill
						return log.Put(layout.SeqKey(r.Seq), r.Raw)
					}); err != nil {
						b.Fatal(err)
					}
					raw += len(r.Raw)
				}
				if err := db.View(func(tx *bolt.Tx) error {
					st := tx.Bucket(layout.Log).Stats()
					b.ReportMetric(float64(st.LeafAlloc+st.BranchAlloc)/n, "bytes/record")
					b.ReportMetric(float64(raw)/n, "bytes-of-its-own/record")
					return nil
				}); err != nil {
					b.Fatal(err)
				}
				if err := db.Close(); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(0, "ns/op") // it says nothing
		})
	}
}

// BenchmarkDay reads a day out of the middle of the long history, with all that is
// needed to read it. The aim is under 20 ms.
func BenchmarkDay(b *testing.B) {
	path := bigBook(b)
	ck := simclock.At(bigEnds, "boot-1")
	book, err := OpenReading(path, ck)
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = book.Close() }() // only read from
	from := start.Add(bigEnds.Sub(start) / 2)
	var day *bench.Bench
	for b.Loop() {
		if day, err = book.Whole(from, from.AddDate(0, 0, 1)); err != nil {
			b.Fatal(err)
		}
	}
	if n := len(day.Items); n < 500 || n > 1500 {
		b.Fatalf("the day has %d records", n)
	}
	b.ReportMetric(float64(len(day.Items)), "records")
}

// BenchmarkAsOf folds the bench as of an instant in the middle of the history.
func BenchmarkAsOf(b *testing.B) {
	path := bigBook(b)
	book, err := OpenReading(path, simclock.At(bigEnds, "boot-1"))
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = book.Close() }() // only read from
	at := start.Add(bigEnds.Sub(start) / 2)
	for b.Loop() {
		if _, err := book.AsOf(at); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkLongInput records many actions in one transaction.
func BenchmarkLongInput(b *testing.B) {
	ck := simclock.At(start, "boot-1")
	book, err := Open(filepath.Join(b.TempDir(), "book.db"), ck)
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = book.Close() }() // nothing is asked of it afterwards
	n, in := 0, 1000
	for b.Loop() {
		as := make([]action.Action, in)
		for i := range as {
			n++
			as[i] = action.Action{ID: fmt.Sprint(n), At: ck.Read().Wall, Body: action.BathReading{Bath: 1, TempC: 74}}
		}
		if _, err := book.AppendAll(as); err != nil {
			b.Fatal(err)
		}
		ck.Run(time.Hour)
	}
	b.ReportMetric(float64(in)*float64(b.N)/b.Elapsed().Seconds(), "records/s")
}
