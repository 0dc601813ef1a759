package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// TestSuspend lets the real program look at a bench after a sleep of 8 hours: a time
// namespace (time_namespaces(7)) puts the boot clock of a child ahead, as a suspend does,
// while the wall clock and the boot stay as they are. The window counts the boot clock.
func TestSuspend(t *testing.T) {
	t.Parallel() // it waits more than it works
	const asleep = 8 * time.Hour
	bin, err := built()
	if err != nil {
		t.Fatal(err)
	}
	slept := func(args ...string) *exec.Cmd {
		return exec.Command("unshare", append([]string{"--time", "--boottime", fmt.Sprint(int(asleep.Seconds())), "--fork"}, args...)...)
	}
	if out, err := slept("true").CombinedOutput(); err != nil {
		t.Skipf("no time namespace can be made here: %v, %s", err, out)
	}
	book := filepath.Join(t.TempDir(), "bench.db")
	record := exec.Command(bin, "--book", book, "--by", "KT", "record")
	now := time.Now().Format(time.RFC3339Nano)
	record.Stdin = bytes.NewBufferString(fmt.Sprintf(`{"id":"a","at":%q,"act":"flask-open","body":{"place":1,"case":"4417","base":"upper","size":"small"}}
{"id":"b","at":%q,"act":"coat","body":{"flask":1,"half":"both","dry_min_s":600}}
`, now, now))
	if out, err := record.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	left := func(cmd *exec.Cmd) (s float64, estimated bool) {
		out, err := cmd.Output()
		if err != nil {
			t.Fatal(err)
		}
		var st struct {
			Windows []struct {
				LeftS     float64 `json:"left_s"`
				Estimated bool    `json:"estimated"`
			} `json:"windows"`
		}
		if err := json.Unmarshal(out, &st); err != nil || len(st.Windows) != 1 {
			t.Fatalf("%v: %s", err, out)
		}
		return st.Windows[0].LeftS, st.Windows[0].Estimated
	}
	args := []string{"--book", book, "status", "--json"}
	begun := time.Now()
	awake, _ := left(exec.Command(bin, args...))
	after, estimated := left(slept(append([]string{bin}, args...)...))
	took := time.Since(begun).Seconds() + 1 // whole seconds are told
	if gone := awake - after; math.Abs(gone-asleep.Seconds()) > took || estimated {
		t.Errorf("over a sleep of %v the window lost %.0f s (estimated: %v)", asleep, gone, estimated)
	}
}
