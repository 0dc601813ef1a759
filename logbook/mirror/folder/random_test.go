package folder

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"flaskside/logbook/mirror"
	"flaskside/logbook/mirror/mirrortest"
	"flaskside/logbook/record"
	"flaskside/timers/longrun"
)

// inMemory is a folder whose syncs cost nothing, where the machine has one.
func inMemory(t testing.TB) string {
	if fi, err := os.Stat("/dev/shm"); err == nil && fi.IsDir() {
		if dir, err := os.MkdirTemp("/dev/shm", "flaskside-test-"); err == nil {
			t.Cleanup(func() { _ = os.RemoveAll(dir) })
			return dir
		}
	}
	return t.TempDir()
}

// files reads all that lies below a folder but for what was not finished.
func files(t testing.TB, dir string) map[string]string {
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil || d.IsDir() || unfinished(d.Name()) {
			return err
		}
		b, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		out[rel] = string(b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// world is a mirror to which anything happens: what must hold is in the methods' ends.
type world struct {
	t     testing.TB
	rt    *rapid.T
	dir   string
	p     *Folder
	b     *mirrortest.Invented
	names int
	kept  []map[string]string // the mirror as it was at some moments
	hurt  bool                // files of the mirror were tampered with
	fork  bool                // there is more than one history
}

const id = "RANDOM"

func (w *world) words() string { w.names++; return fmt.Sprintf("h%d", w.names) }

// lines are the lines of all files of a generation.
func (w *world) lines(gen int) map[string]bool {
	out := map[string]bool{}
	for name, text := range files(w.t, w.dir) {
		if strings.HasPrefix(name, filepath.Join(id, generationName(gen))) {
			for l := range strings.Lines(text) {
				out[strings.TrimSuffix(l, "\n")] = true
			}
		}
	}
	return out
}

func (w *world) newest() int {
	n, err := mirror.Newest(context.Background(), w.p, id)
	if err != nil {
		w.rt.Fatal(err)
	}
	return max(1, n)
}

// bring brings the mirror up to date, perhaps broken off, and holds what became of it.
func (w *world) bring(gen int) {
	before := files(w.t, w.dir)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	o := mirror.BringOptions{Bench: "b", Generation: gen, At: mirrortest.Start, Tell: func(e mirror.StreamEnd) {
		// Never said to be there before it is.
		all := w.lines(max(gen, w.newest()))
		if n := len(w.b.Recs); e.Seq > uint64(n) || e.Seq > 0 && !all[string(w.b.Recs[e.Seq-1].Raw)] {
			w.rt.Fatalf("told as there up to %s, and it is not", e)
		}
		if rapid.IntRange(0, 3).Draw(w.rt, "broken off") == 0 {
			cancel()
		}
	}}
	d, err := mirror.Bring(ctx, w.p, w.b, o)
	after := files(w.t, w.dir)
	for name, text := range before {
		if after[name] != text {
			w.rt.Fatalf("%s was changed or taken away", name)
		}
	}
	var f *mirror.Fork
	var old *mirror.Older
	var sp *mirror.Spoilt
	switch {
	case err == nil:
		if n := len(w.b.Recs); n > 0 && !w.lines(d.Stream.Generation)[string(w.b.Recs[n-1].Raw)] {
			w.rt.Fatalf("brought, and the last record is not there")
		}
		if !w.hurt && !w.fork {
			w.same(d.Stream.Generation)
		}
	case errors.As(err, &f), errors.As(err, &old):
		if !w.fork && !w.hurt && len(w.kept) == 0 {
			w.rt.Fatalf("one history alone: %v", err)
		}
		if len(after) != len(before) {
			w.rt.Fatalf("refused, and written: %v", err)
		}
		if f != nil && f.Common > 0 && f.Common < uint64(len(w.b.Recs)) && w.lines(f.Stream.Generation)[string(w.b.Recs[f.Common].Raw)] && !w.hurt {
			w.rt.Fatalf("parts at %d, and the next record is there", f.Common)
		}
	case errors.As(err, &sp):
		if !w.hurt {
			w.rt.Fatalf("nobody spoilt it: %v", err)
		}
	case errors.Is(err, context.Canceled):
	default:
		w.rt.Fatalf("bring: %v", err)
	}
}

func (w *world) same(gen int) {
	c := w.compare(gen)
	if !c.Equal() {
		w.rt.Fatalf("brought, and not the same: %+v", c)
	}
}

// compare holds a comparison to what the files say by themselves.
func (w *world) compare(gen int) mirror.Comparison {
	c, err := mirror.Compare(context.Background(), w.p, w.b, mirror.Stream{Book: id, Generation: gen})
	if err != nil {
		w.rt.Fatal(err)
	}
	all := w.lines(gen)
	lacks := 0
	for i, r := range w.b.Recs {
		if all[string(r.Raw)] {
			continue
		}
		if lacks == 0 && c.Alike > uint64(i) {
			w.rt.Fatalf("called alike up to %d, and record %d is not there", c.Alike, i+1)
		}
		lacks++
	}
	if c.Equal() && lacks > 0 {
		w.rt.Fatalf("called the same, and %d records are not there", lacks)
	}
	if c.Equal() {
		own := map[string]bool{}
		for _, r := range w.b.Recs {
			own[string(r.Raw)] = true
		}
		for l := range all {
			if _, err := record.Decode([]byte(l)); err == nil && !own[l] && !w.hurt {
				w.rt.Fatalf("called the same, and it holds %.80s", l)
			}
		}
	}
	return c
}

// fetch: what is called whole is one chain from the beginning of the book to the end that is
// named.
func (w *world) fetch(gen int) {
	var out bytes.Buffer
	c, err := mirror.Fetch(context.Background(), w.p, mirror.Stream{Book: id, Generation: gen}, &out)
	if err != nil {
		w.rt.Fatal(err)
	}
	if !c.Whole() {
		if c.Records > 0 && c.Lacks() == nil && c.Newest.Head <= c.Newest.Last {
			w.rt.Fatal("not whole, and nothing is named")
		}
		return
	}
	bySeq := map[uint64]record.Record{}
	for l := range bytes.Lines(out.Bytes()) {
		if r, err := record.Decode(bytes.TrimSuffix(l, []byte("\n"))); err == nil {
			bySeq[r.Seq] = r
		}
	}
	at := record.Genesis(id)
	for n := uint64(1); n <= c.End().Seq; n++ {
		if bySeq[n].Prev != at || bySeq[n].Raw == nil {
			w.rt.Fatalf("called whole, and record %d is not there or does not follow", n)
		}
		at = bySeq[n].Hash()
	}
	if at != c.End().Hash {
		w.rt.Fatal("called whole, and its end is another")
	}
}

// some gives one of the runs in the mirror.
func (w *world) some() (path string, ok bool) {
	names := slices.Sorted(maps.Keys(files(w.t, filepath.Join(w.dir, id))))
	if len(names) == 0 {
		return "", false
	}
	return filepath.Join(w.dir, id, rapid.SampledFrom(names).Draw(w.rt, "file")), true
}

// put puts the mirror back to what it was at some moment.
func (w *world) put(was map[string]string) {
	if err := os.RemoveAll(filepath.Join(w.dir, id)); err != nil {
		w.rt.Fatal(err)
	}
	for name, text := range was {
		w.write(filepath.Join(w.dir, name), text)
	}
}

func (w *world) write(path, text string) {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err == nil {
		err = os.WriteFile(path, []byte(text), 0o600)
		if err != nil {
			w.rt.Fatal(err)
		}
	}
}

// tamper does to a file what sync tools, disks and people do.
func (w *world) tamper() {
	path, ok := w.some()
	if !ok {
		return
	}
	b, _ := os.ReadFile(path)
	switch rapid.SampledFrom([]string{"gone", "cut", "bit", "copy", "copy cut", "foreign", "renamed", "elsewhere", "left"}).Draw(w.rt, "tamper") {
	case "gone":
		w.hurt = true
		_ = os.Remove(path)
	case "cut":
		w.hurt = true
		w.write(path, string(b[:rapid.IntRange(0, len(b)).Draw(w.rt, "at")]))
	case "bit":
		if len(b) > 0 {
			w.hurt = true
			b[rapid.IntRange(0, len(b)-1).Draw(w.rt, "at")] ^= 1 << rapid.IntRange(0, 7).Draw(w.rt, "bit")
			w.write(path, string(b))
		}
	case "copy": // as sync tools name a copy of what both sides wrote: harms nothing
		w.write(strings.TrimSuffix(path, runEnd)+" (1)"+runEnd, string(b))
	case "copy cut":
		w.hurt = true // the end may be unclear for it
		w.write(strings.TrimSuffix(path, runEnd)+" (2)"+runEnd, string(b[:len(b)/2]))
	case "foreign":
		w.write(filepath.Join(filepath.Dir(path), "Thumbs.db"), "x")
		w.write(filepath.Join(filepath.Dir(path), ".DS_Store"), "x")
	case "renamed":
		w.hurt = true
		_ = os.Rename(path, filepath.Join(filepath.Dir(path), "copy of "+filepath.Base(path)))
	case "elsewhere":
		w.hurt = true
		w.write(filepath.Join(filepath.Dir(path), "999999999999.jsonl"), string(b))
	case "left":
		w.write(filepath.Join(filepath.Dir(path), "."+filepath.Base(path)+newPart+"KILLED"), string(b[:len(b)/3]))
	}
}

// TestWhateverHappens: books that grow, are cut, are restored and go on; a mirror that is put
// back to an older copy, loses parts, has them spoilt, copied, renamed; programs ended in the
// middle; a second writer. Nothing that was there is changed or taken away, nothing is called
// there or the same that is not, no fork is hidden, and what comes back as whole is.
func TestWhateverHappens(t *testing.T) {
	longrun.Checks(t, 40, 100)
	base := inMemory(t)
	runs := 0
	rapid.Check(t, func(rt *rapid.T) {
		runs++
		w := &world{t: t, rt: rt, dir: filepath.Join(base, fmt.Sprint(runs)), b: mirrortest.NewBook(id, 0, "")}
		defer func() { _ = os.RemoveAll(w.dir) }()
		w.p = begin(t, w.dir)
		rt.Repeat(map[string]func(*rapid.T){
			"record": func(rt *rapid.T) {
				w.b.Add(rapid.SampledFrom([]int{1, 2, 7, 40}).Draw(rt, "n"), w.words())
			},
			"bring": func(*rapid.T) { w.bring(0) },
			"an old copy goes on": func(rt *rapid.T) {
				if n := len(w.b.Recs); n > 0 {
					at := rapid.IntRange(0, n-1).Draw(rt, "at")
					w.b = w.b.Upto(at)
					w.kept = append(w.kept, files(t, w.dir))
					if more := rapid.IntRange(0, 9).Draw(rt, "more"); more > 0 {
						w.fork = true
						w.b.Add(more, w.words())
					}
				}
			},
			"a person begins a generation": func(*rapid.T) {
				if n := w.newest(); n < 4 {
					w.bring(n + 1)
				}
			},
			"remember": func(*rapid.T) { w.kept = append(w.kept, files(t, w.dir)) },
			"the mirror is an older copy": func(rt *rapid.T) {
				if len(w.kept) > 0 {
					w.put(rapid.SampledFrom(w.kept).Draw(rt, "which"))
				}
			},
			"tamper": func(*rapid.T) { w.tamper() },
			"":       func(*rapid.T) { g := w.newest(); w.compare(g); w.fetch(g) },
		})
	})
}
