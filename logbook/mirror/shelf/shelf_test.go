package shelf

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/lot/recall"
	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/folder"
	"flaskside/logbook/mirror/mirrortest"
	"flaskside/logbook/record"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

// TestWhatIsOnTheShelf: whatever grows, is spoilt, thrown away or begun anew, what is read is
// record by record what the mirror holds, or it is said what is not.
func TestWhatIsOnTheShelf(t *testing.T) {
	longrun.Checks(t, 40, 300)
	base := t.TempDir()
	if fi, err := os.Stat("/dev/shm"); err == nil && fi.IsDir() {
		if dir, err := os.MkdirTemp("/dev/shm", "flaskside-test-"); err == nil {
			base = dir
			t.Cleanup(func() { _ = os.RemoveAll(dir) })
		}
	}
	ctx, n := context.Background(), 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		dir := filepath.Join(base, fmt.Sprint(n))
		if err := os.MkdirAll(dir, 0o700); err != nil {
			rt.Fatal(err)
		}
		p, _, err := folder.Begin(filepath.Join(dir, "mirror"))
		if err != nil {
			rt.Fatal(err)
		}
		s := Shelf{Place: p, Dir: filepath.Join(dir, "shelf"), Clock: simclock.At(time.Date(2026, 11, 30, 8, 0, 0, 0, time.UTC), "boot")}
		b, gen, holed, quiet := mirrortest.NewBook("BOOK", 0, "a"), 1, false, false
		bring := func() {
			if _, err := mirror.Bring(ctx, p, b, mirror.BringOptions{Bench: "b", Generation: gen}); err != nil && !holed {
				rt.Fatal(err)
			}
		}
		rt.Repeat(map[string]func(*rapid.T){
			"records": func(rt *rapid.T) {
				b.Add(rapid.IntRange(1, 20).Draw(rt, "n"), fmt.Sprint("a", len(b.Recs)))
				bring()
			},
			"notes stay": func(rt *rapid.T) {
				quiet = true
				b.Add(rapid.IntRange(1, 4).Draw(rt, "n"), fmt.Sprint("a", len(b.Recs)))
				if _, err := mirror.Bring(ctx, p, b, mirror.BringOptions{Generation: gen, NoNotes: true}); err != nil && !holed {
					rt.Fatal(err)
				}
			},
			"an old copy goes on, and is kept beside": func(rt *rapid.T) {
				if k := len(b.Recs); k > 1 && gen < 3 {
					b = b.Upto(k / 2)
					b.Add(3, fmt.Sprint("b", k))
					gen++
					holed = false
					bring()
				}
			},
			"a hole": func(rt *rapid.T) {
				all, _ := filepath.Glob(filepath.Join(dir, "mirror", "BOOK", fmt.Sprintf("g%04d", gen), "*", "*"))
				if len(all) > 1 {
					holed = true
					_ = os.Remove(all[rapid.IntRange(0, len(all)-2).Draw(rt, "which")])
				}
			},
			"thrown away": func(*rapid.T) { _ = os.RemoveAll(s.Dir) },
			"the copy is spoilt": func(rt *rapid.T) {
				all, _ := filepath.Glob(filepath.Join(s.Dir, "*"))
				if len(all) > 0 {
					_ = os.Truncate(rapid.SampledFrom(all).Draw(rt, "which"), 100)
				}
			},
			"ask for a lot": func(rt *rapid.T) {
				text := fmt.Sprint("S-", rapid.IntRange(0, 11).Draw(rt, "lot"))
				var got [][]uint64
				err := s.EachNaming(ctx, func(is string) bool { return is == text }, func(k Kept, at []uint64) error {
					if k.Err != nil && len(b.Recs) > 0 && !holed && !quiet {
						rt.Fatalf("not read: %v", k.Err)
					}
					if k.Err == nil && k.Book == nil && len(at) > 0 {
						rt.Fatal("records are named, and no book is opened")
					}
					got = append(got, at)
					return nil
				})
				if err != nil {
					rt.Fatal(err)
				}
				err = s.Each(ctx, func(k Kept) error {
					at := got[0]
					if got = got[1:]; k.Err != nil {
						return nil //nolint:nilerr // it was told above
					}
					var want []uint64
					if err := k.Book.Each(1, func(r record.Record) (bool, error) {
						if slices.Contains(recall.Texts(r.Action.Body), text) {
							want = append(want, r.Seq)
						}
						return true, nil
					}); err != nil {
						rt.Fatal(err)
					}
					if !slices.Equal(at, want) {
						rt.Fatalf("%s stands in the records %v, and %v are found", text, want, at)
					}
					return nil
				})
				if err != nil || len(got) > 0 {
					rt.Fatal(got, err)
				}
			},
			"look": func(rt *rapid.T) {
				err := s.Each(ctx, func(k Kept) error {
					if k.Err != nil {
						if len(b.Recs) > 0 && !holed && !quiet {
							rt.Fatalf("not read: %v", k.Err)
						}
						return nil
					}
					at := 0
					err := k.Book.Each(1, func(r record.Record) (bool, error) {
						at++
						if r.Seq > uint64(len(b.Recs)) || !bytes.Equal(r.Raw, b.Recs[r.Seq-1].Raw) {
							rt.Fatalf("record %d on the shelf is another", r.Seq)
						}
						return true, nil
					})
					if err != nil {
						rt.Fatal(err)
					}
					if at < len(b.Recs) && len(k.Lacks) == 0 && !holed {
						rt.Fatalf("%d of %d records, and nothing is said to lack", at, len(b.Recs))
					}
					if at == 0 {
						rt.Fatal("nothing is read, and no word")
					}
					return nil
				})
				if err != nil {
					rt.Fatal(err)
				}
			},
		})
	})
}
