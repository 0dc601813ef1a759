package logbook

import (
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"flaskside/logbook/action"
	"flaskside/logbook/check"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

var fullDisks = flag.Int("fulldisks", longrun.Times(2, 8), "how many sizes of a disk that runs full to try")

// smallDisk mounts a disk of some bytes in memory; that takes root.
func smallDisk(t *testing.T, size int) string {
	t.Helper()
	if os.Geteuid() != 0 {
		t.Skip("only root can mount the small disk that this test fills")
	}
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%d", size)); err != nil {
		t.Skipf("no disk can be mounted here: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Errorf("unmount: %v", err)
		}
	})
	return dir
}

// notes writes notes until one is refused, or most are written.
func notes(h *hands, most int) (ids []string, refused error) {
	for len(ids) < most {
		s, err := h.try(second, action.Note{Flask: 1, Text: strings.Repeat("x", 300)})
		if err != nil {
			return ids, err
		}
		ids = append(ids, s.Action.ID)
	}
	return ids, nil
}

// have fails the test for every record that is not in the book.
func have(t *testing.T, h *hands, ids []string) {
	t.Helper()
	for _, id := range ids {
		if _, ok, err := h.b.ByID(id); !ok || err != nil {
			t.Fatalf("record %s was saved and is gone: %v", id, err)
		}
	}
}

// TestFullDisk lets the disk run full under a book, at many places of its growth:
// what was saved stays, the next record is not saved and that is said, also after the
// book was opened anew; with room again the work goes on.
func TestFullDisk(t *testing.T) {
	t.Parallel()
	rnd := rand.New(rand.NewPCG(20261125, 3))
	saved, told, disks := 0, map[string]int{}, *fullDisks
	if testing.Short() {
		disks = min(disks, 2)
	}
	for range disks {
		size := 256<<10 + rnd.IntN(384<<10)&^4095
		t.Run(fmt.Sprint(size), func(t *testing.T) {
			path := filepath.Join(smallDisk(t, size+64<<10), "bench.db")
			filler := filepath.Join(filepath.Dir(path), "filler")
			if err := os.WriteFile(filler, make([]byte, 64<<10), 0o600); err != nil {
				t.Fatal(err)
			}
			ck := simclock.At(start, "boot-1")
			b, err := Open(path, ck)
			if err != nil {
				t.Fatal(err)
			}
			h := &hands{t: t, b: b, ck: ck}
			t.Cleanup(func() { _ = h.b.Close() }) // closed below when all went well
			h.do(0, action.FlaskOpen{Place: 1, Case: "4417", Base: "upper", Size: "medium"})
			ids, refused := notes(h, 5000)
			refusal := func(when string) {
				t.Helper()
				switch {
				case errors.Is(refused, ErrNotSaved):
					told["not saved"]++
				case errors.Is(refused, ErrUnknown):
					told["unknown"]++
				}
				if !errors.Is(refused, ErrNotSaved) || !errors.Is(refused, syscall.ENOSPC) {
					t.Errorf("%s: %v, want not saved, no space", when, refused)
				}
			}
			refusal("full")
			have(t, h, ids)
			if s, err := h.try(second, action.Inspect{Flask: 1}, "1"); err == nil {
				ids = append(ids, s.Action.ID) // a short record may still find room
			} else {
				refused = err
				refusal("still full")
			}
			_ = h.b.Close() // the last sign of life may find no room
			if h.b, err = Open(path, ck); err != nil {
				t.Fatalf("opened on the full disk: %v", err)
			}
			have(t, h, ids)
			var more []string
			more, refused = notes(h, 5000)
			ids = append(ids, more...)
			refusal("opened on the full disk")
			have(t, h, ids)
			if err := os.Remove(filler); err != nil {
				t.Fatal(err)
			}
			more, err = notes(h, 10)
			ids = append(ids, more...)
			if err != nil {
				t.Errorf("with room again: %v", err)
			}
			have(t, h, ids)
			if err := h.b.Close(); err != nil {
				t.Error(err)
			}
			wholeBook(t, path)
			if rep := verified(t, path, check.Verifying{Journals: beside(t, path)}); len(rep.Faults) > 0 {
				t.Errorf("faults:\n%s", lines(rep.Faults))
			}
			saved += len(ids)
		})
	}
	t.Logf("%d disks run full, %d records saved on them and kept; refusals: %v", disks, saved, told)
}
