package follow

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook"
	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/folder"
	"flaskside/logbook/mirror/mirrortest"
	"flaskside/logbook/record"
	_ "flaskside/timers/longrun" // room for the collector, scratch folders in memory
)

// desk is a keeper with its hands on everything around it.
type desk struct {
	t     testing.TB
	dir   string
	to    string
	b     *mirrortest.Invented
	k     *Follower
	now   time.Time
	away  bool // the place is not there
	opens int
	told  []mirror.Health
	wrong []string
}

// books is the book as it is at the moment.
type books struct{ *desk }

func (d books) ID() string              { return d.b.ID() }
func (d books) State() logbook.Snapshot { return d.b.State() }
func (d books) Each(from uint64, f func(record.Record) (bool, error)) error {
	return d.b.Each(from, f)
}

func newDesk(t testing.TB, dir string) *desk {
	d := &desk{t: t, dir: dir, to: filepath.Join(dir, "mirror"), b: mirrortest.NewBook("BOOK", 0, "a"), now: mirrortest.Start}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	if _, _, err := folder.Begin(d.to); err != nil {
		t.Fatal(err)
	}
	d.k = &Follower{Book: books{d},
		House: func(logbook.Snapshot) Terms { return Terms{To: d.to, Bench: "bench 1"} },
		Open: func(_ context.Context, to string) (mirror.Remote, error) {
			d.opens++
			if d.away {
				return nil, errors.New("the place is not there")
			}
			f, err := folder.Open(to)
			if err != nil {
				return nil, err
			}
			return leaving{f, d}, nil
		},
		Now:   func() time.Time { return d.now },
		Tell:  func(s mirror.Health) { d.told = append(d.told, s) },
		Wrong: func(s string) { d.wrong = append(d.wrong, s) },
	}
	d.k.due = d.now.Add(firstLook)
	return d
}

// leaving is a place that can go away while it is open.
type leaving struct {
	*folder.Folder
	d *desk
}

func (l leaving) Last(ctx context.Context, s mirror.Stream) (mirror.StreamEnd, error) {
	if l.d.away {
		return mirror.StreamEnd{}, errors.New("the place went away")
	}
	return l.Folder.Last(ctx, s)
}

func (d *desk) step() mirror.Health {
	d.k.Step(context.Background())
	return d.k.Standing()
}

func (d *desk) add(n int) { d.b.Add(n, fmt.Sprint("a", len(d.b.Recs))) }

// holeIn takes away a file of the mirror.
func (d *desk) holeIn(n int) bool {
	all, err := filepath.Glob(filepath.Join(d.to, "BOOK", "*", "*", "*.jsonl"))
	if err != nil || len(all) < 2 {
		return false
	}
	return os.Remove(all[n%(len(all)-1)]) == nil
}

func TestBehindSince(t *testing.T) {
	d := newDesk(t, t.TempDir())
	d.add(3)
	if s := d.step(); s.Behind != 0 || !s.Known || s.Err != "" || s.Short(d.now) != "" {
		t.Errorf("brought: %+v", s)
	}
	d.away = true
	d.add(2)
	first := d.b.Recs[3].Written
	d.now = first.Add(time.Minute)
	if s := d.step(); s.Behind != 2 || !s.Since.Equal(first) || s.Err == "" || s.Short(d.now) != "" {
		t.Errorf("just gone: %+v", s)
	}
	d.now = first.Add(3 * time.Hour)
	d.add(1)
	s := d.step()
	if want := fmt.Sprintf("mirror 3 behind since %s", first.Format("15:04")); s.Short(d.now) != want {
		t.Errorf("gone for hours it says %q, not %q", s.Short(d.now), want)
	}
	if text := strings.Join(s.Sentences(d.now), " "); strings.Contains(text, "has the newest") || !strings.Contains(text, "lacks the newest 3 records") {
		t.Errorf("in full: %s", text)
	}
	d.away = false
	if s := d.step(); s.Behind != 0 || s.Err != "" || s.Short(d.now) != "" {
		t.Errorf("back again: %+v", s)
	}
}

// One that was not seen since the bench was opened is not said to be behind by anything.
func TestNotReached(t *testing.T) {
	d := newDesk(t, t.TempDir())
	d.away = true
	d.add(100)
	d.step()
	d.now = d.now.Add(time.Hour)
	if s := d.step(); s.Behind != 0 || s.Known || s.Short(d.now) != "mirror not reached since 08:00" {
		t.Errorf("%+v: %s", s, s.Short(d.now))
	} else if text := strings.Join(s.Sentences(d.now), " "); strings.Contains(text, "has the newest") {
		t.Error(text)
	}
}

// A hole in the middle is found by the look of the night, told once, and goes away with what a
// person does about it.
func TestAHoleIsFoundAtNight(t *testing.T) {
	d := newDesk(t, t.TempDir())
	for range 4 {
		d.add(2)
		d.step()
	}
	d.holeIn(1)
	if s := d.step(); s.Wrong != "" {
		t.Error("found before it was looked for")
	}
	d.now = time.Date(2026, 11, 26, 3, 1, 0, 0, time.UTC)
	s := d.step()
	if s.Wrong == "" || !strings.Contains(s.Wrong, "records 3 to 4: not in the mirror") || s.Short(d.now) != "MIRROR NOT THE SAME" {
		t.Fatalf("at night: %+v", s)
	}
	d.add(1)
	if s := d.step(); s.Wrong == "" || len(d.wrong) != 1 || s.Behind != 0 {
		t.Errorf("the next records are brought, and the hole stays told: %+v, %q", s, d.wrong)
	}
	f, err := folder.Open(d.to)
	if err == nil {
		_, err = mirror.Bring(context.Background(), f, d.b, mirror.BringOptions{Generation: 2})
	}
	if err != nil {
		t.Fatal(err)
	}
	if s := d.step(); s.Wrong != "" || s.LookedTo != 9 {
		t.Errorf("with a new generation: %+v", s)
	}
}

// A fork is told once, and not read anew each minute; it ends by what a person does.
func TestAForkIsHeld(t *testing.T) {
	d := newDesk(t, t.TempDir())
	d.add(10)
	d.step()
	old := d.b.Upto(6)
	d.b = old
	d.b.Add(2, "ours")
	for range 3 {
		if s := d.step(); s.Wrong == "" || !strings.Contains(s.Wrong, "alike up to record 6") {
			t.Fatalf("%+v", s)
		}
	}
	if len(d.wrong) != 1 {
		t.Errorf("told %d times", len(d.wrong))
	}
	if d.k.stuck == nil {
		t.Error("it is not held")
	}
	f, err := folder.Open(d.to)
	if err == nil {
		_, err = mirror.Bring(context.Background(), f, d.b, mirror.BringOptions{Generation: 2})
	}
	if err != nil {
		t.Fatal(err)
	}
	if s := d.step(); s.Wrong != "" || s.Behind != 0 {
		t.Errorf("with a new generation: %+v", s)
	}
}

// TestWhatIsTold: whatever happens to the place, what is told of the mirror is so: no record
// that is not there is left out of the count of those behind, and nothing is called looked
// through that is not whole.
func TestWhatIsTold(t *testing.T) {
	base := t.TempDir()
	if fi, err := os.Stat("/dev/shm"); err == nil && fi.IsDir() {
		if dir, err := os.MkdirTemp("/dev/shm", "flaskside-test-"); err == nil {
			base = dir
			t.Cleanup(func() { _ = os.RemoveAll(dir) })
		}
	}
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		d := newDesk(t, filepath.Join(base, fmt.Sprint(n)))
		whole := func() bool {
			f, err := folder.Open(d.to)
			if err != nil {
				return false
			}
			g, err := mirror.Newest(context.Background(), f, "BOOK")
			if err != nil {
				return false
			}
			c, err := mirror.Compare(context.Background(), f, d.b, mirror.Stream{Book: "BOOK", Generation: max(1, g)})
			return err == nil && (c.Equal() || c.OnlyBehind()) && len(c.Spoilt) == 0
		}
		rt.Repeat(map[string]func(*rapid.T){
			"record": func(rt *rapid.T) { d.add(rapid.IntRange(1, 5).Draw(rt, "n")) },
			"time": func(rt *rapid.T) {
				d.now = d.now.Add(time.Duration(rapid.IntRange(1, 900).Draw(rt, "min")) * time.Minute)
			},
			"away":   func(*rapid.T) { d.away = true },
			"back":   func(*rapid.T) { d.away = false },
			"a hole": func(rt *rapid.T) { d.holeIn(rapid.IntRange(0, 99).Draw(rt, "which")) },
			"other disk": func(rt *rapid.T) {
				d.to = filepath.Join(d.dir, rapid.SampledFrom([]string{"mirror", "nothing"}).Draw(rt, "to"))
			},
			"an old copy goes on": func(rt *rapid.T) {
				if k := len(d.b.Recs); k > 0 {
					d.b = d.b.Upto(rapid.IntRange(0, k-1).Draw(rt, "at"))
					d.b.Add(rapid.IntRange(0, 2).Draw(rt, "more"), fmt.Sprint("b", k))
				}
			},
			"step": func(rt *rapid.T) {
				before := d.k.Standing().Looked
				s := d.step()
				text := strings.Join(s.Sentences(d.now), " ")
				if strings.Contains(text, "has the newest record") {
					f, err := folder.Open(d.to)
					if err != nil || d.away {
						rt.Fatalf("the place is not there: %s", text)
					}
					g, _ := mirror.Newest(context.Background(), f, "BOOK")
					end, err := f.Last(context.Background(), mirror.Stream{Book: "BOOK", Generation: max(1, g)})
					if head := d.b.State().Head; err != nil || end.Seq != head.Seq || end.Seq > 0 && end.Hash != head.Hash {
						rt.Fatalf("%s, and the mirror ends with %v, %v", text, end, err)
					}
				}
				if s.Looked.After(before) && !whole() {
					rt.Fatalf("looked through, and it is not whole: %s", text)
				}
				if s.Err == "" && s.Wrong == "" && s.To != "" && s.Behind > 0 {
					rt.Fatalf("nothing is wrong, and it is behind: %+v", s)
				}
			},
		})
	})
}
