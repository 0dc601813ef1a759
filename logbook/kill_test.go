package logbook

import (
	"bufio"
	"flag"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"flaskside/logbook/record"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

var kills = flag.Int("book-kills", longrun.Times(8, 60), "how often the process that writes is killed")

// A process that writes is killed at random instants, and in every round each record
// that it had acknowledged is in the book, at most one more is, and the chain, the
// index and the bench are whole.
func TestKill(t *testing.T) {
	t.Parallel()
	const seed = 20261125
	rnd := rand.New(rand.NewPCG(seed, 2))
	dir := t.TempDir()
	var path string
	acked := map[string]uint64{} // of the book at hand
	total, extra, young := 0, 0, 0
	for round := range *kills {
		if round%15 == 0 { // a fresh book now and then: killed while it is made, too
			path = filepath.Join(dir, fmt.Sprintf("%d.db", round))
			acked = map[string]uint64{}
		}
		before := len(acked)
		opened, got := runAndKill(t, path, uint64(round)+1, time.Duration(rnd.IntN(60))*time.Millisecond)
		for id, seq := range got {
			acked[id] = seq
		}
		total += len(got)
		if !opened {
			young++
		}
		if _, err := os.Stat(path); os.IsNotExist(err) {
			if len(acked) > 0 {
				t.Fatalf("round %d: the book is gone with %d acknowledged records", round, len(acked))
			}
			continue
		}
		recs := wholeBook(t, path)
		extra += heldAgainst(t, round, recs, acked)
		b, err := Open(path, simclock.At(start.Add(time.Duration(len(recs)+1)*24*time.Hour), "boot-2"))
		if err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
		if got := b.State().Head.Seq; got != uint64(len(recs)) {
			t.Errorf("round %d: opened at record %d of %d", round, got, len(recs))
		}
		if err := b.Close(); err != nil {
			t.Errorf("round %d: %v", round, err)
		}
		if t.Failed() {
			t.Fatalf("round %d: %d records before, %d acknowledged in it", round, before, len(got))
		}
	}
	t.Logf("%d kills: %d records acknowledged, none lost; %d saved and not yet acknowledged; %d killed before the book was open", *kills, total, extra, young)
	if total < *kills {
		t.Errorf("%d records in %d rounds: the test hardly wrote", total, *kills)
	}
}

// heldAgainst holds the records of a book against those acknowledged, by id: all of these
// are in it, and at most one more, which counts as acknowledged from now on: a later round
// builds on it.
func heldAgainst(t *testing.T, round int, recs []record.Record, acked map[string]uint64) (extra int) {
	t.Helper()
	byID := map[string]uint64{}
	for _, r := range recs {
		byID[r.Action.ID] = r.Seq
	}
	for id, seq := range acked {
		if byID[id] != seq {
			t.Errorf("round %d: record %d (%s) was acknowledged and stands at %d", round, seq, id, byID[id])
		}
	}
	extra = max(0, len(recs)-len(acked))
	if extra > 1 {
		t.Errorf("round %d: %d records more than were acknowledged", round, extra)
	}
	maps.Copy(acked, byID)
	return extra
}

// runAndKill lets a process write and kills it some time after it has the book open;
// with no time at all, while it opens it. It gives the numbers acknowledged, by id.
func runAndKill(t *testing.T, path string, seed uint64, after time.Duration) (opened bool, acks map[string]uint64) {
	t.Helper()
	c := spawn(t, "write", path, seed)
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	var words []string
	lines := bufio.NewReader(out)
	if after > 5*time.Millisecond {
		// Some acknowledgements are waited for, so that the kill falls among writes however
		// slow the machine is.
		for range 1 + int(after/(15*time.Millisecond)) {
			line, err := lines.ReadString('\n')
			if words = append(words, line); err != nil {
				break // the child could not open
			}
		}
	}
	time.Sleep(after)
	if err := c.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	rest, err := io.ReadAll(lines)
	if err != nil {
		t.Fatal(err)
	}
	_ = c.Wait() // killed: that is the point
	whole := string(rest)
	if i := strings.LastIndexByte(whole, '\n'); i >= 0 {
		words = append(words, strings.SplitAfter(whole[:i+1], "\n")...)
	}
	return acksIn(t, words)
}

// acksIn reads what a process that writes has said.
func acksIn(t *testing.T, words []string) (opened bool, acks map[string]uint64) {
	t.Helper()
	acks = map[string]uint64{}
	for _, line := range words {
		f := strings.Fields(line)
		switch {
		case len(f) == 1 && f[0] == "open":
			opened = true
		case len(f) == 3 && f[0] == "ack":
			seq, err := strconv.ParseUint(f[1], 10, 64)
			if err != nil {
				t.Fatalf("the child says %q", line)
			}
			acks[f[2]] = seq
		case len(f) > 0:
			t.Fatalf("the child says %q", line)
		}
	}
	return opened, acks
}
