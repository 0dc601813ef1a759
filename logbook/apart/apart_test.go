//go:build !windows

package apart

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"flaskside/logbook"
	_ "flaskside/timers/longrun" // room for the collector, scratch folders in memory
)

// The process that looks through a file may die or hang: what it said until then
// counts, and that it did is a fault. Whoever waits for one that hangs waits a day.
func TestApart(t *testing.T) {
	const said = `echo '{"fault":{"kind":"changed","seq":7,"what":"x"}}'; echo '{"report":{"book":"B","records":9}}'; `
	left := filepath.Join(t.TempDir(), "left")
	defer func() { // it holds whatever was open when the tests began
		b, _ := os.ReadFile(left)
		if pid, err := strconv.Atoi(strings.TrimSpace(string(b))); err == nil && pid > 1 {
			_ = syscall.Kill(pid, syscall.SIGKILL)
		} else {
			t.Errorf("the child that hangs is not known: %q", b)
		}
	}()
	for _, c := range []struct {
		what, script string
		faults       int
		last         string
		fails        error
	}{
		{"it ends well", said + `echo '{"end":true}'`, 1, "x", nil},
		{"it is killed", said + `kill -9 $$`, 2, "ended before it was done (signal: killed)", nil},
		{"it dies of a bus error", said + `kill -BUS $$`, 2, "ended before it was done (signal: bus error", nil},
		{"it gives up", said + `exit 2`, 2, "ended before it was done (exit status 2)", nil},
		{"it gives up and says why", said + `echo 'panic: index out of range' >&2; echo 'goroutine 1 [running]:' >&2; exit 2`, 2, "ended before it was done (exit status 2: panic: index out of range)", nil},
		{"it stops in the middle of a line", said + `printf '{"fault":{"ki'`, 2, "ended before it was done", nil},
		{"it hangs", said + `exec sleep 86400`, 2, "did not end within 300ms", nil},
		{"it leaves a child that hangs", said + `sleep 86400 & echo $! >` + left + `; exit 2`, 2, "", nil},
		{"it says nonsense", `echo hello`, 1, "ended before it was done", nil},
		{"it says nothing", `true`, 1, "ended before it was done", nil},
		{"the logbook is in use", `echo '{"failed":": x","held":true}'`, 0, "", logbook.ErrHeld},
	} {
		rep, err := runApart(context.Background(), 300*time.Millisecond, nil, "sh", "-c", c.script)
		if !errors.Is(err, c.fails) {
			t.Errorf("%s: %v", c.what, err)
		}
		if n := len(rep.Faults); n != c.faults || n > 0 && !strings.Contains(rep.Faults[n-1].What, c.last) {
			t.Errorf("%s: %d faults, want %d, the last %q:\n%v", c.what, n, c.faults, c.last, rep.Faults)
		}
		if strings.HasPrefix(c.script, said) && (rep.Book != "B" || rep.Records != 9 || rep.Faults[0].Seq != 7) {
			t.Errorf("%s: what was said is lost: %+v", c.what, rep)
		}
		if len(rep.Proven) > 0 {
			t.Errorf("%s: proven %v", c.what, rep.Proven)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := runApart(ctx, time.Minute, nil, "sleep", "86400"); !errors.Is(err, context.Canceled) {
		t.Errorf("given up: %v", err)
	}
}
