package dayplan

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/asked"
	"flaskside/logbook/bench"
	"flaskside/logbook/house"
	"flaskside/timers"
)

// What is typed of a day is taken or refused before anything is planned: hours that are hours, a
// case that was given and no other, and of a file that is none nothing.
func TestTypedOfADay(t *testing.T) {
	now := timers.Reading{Wall: time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)}
	none := func() (*bench.Bench, error) { return nil, nil }
	one := "4417 medium resin A due 17:00 rush"
	dir := t.TempDir()
	file := filepath.Join(dir, "today.csv")
	if err := os.WriteFile(file, []byte("1004,medium,A,17:00,\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		ty    Typed
		cases string // that are planned; "" where it is refused
		wrong bool   // as a question put wrongly
	}{
		{Typed{Cases: []string{one}}, "4417", false},
		{Typed{Cases: []string{one}, Hours: "08:00–17:00"}, "4417", false},
		{Typed{Cases: []string{one}, Hours: "8-5"}, "", true},
		{Typed{Cases: []string{one}, Hours: "08:00"}, "", true},
		{Typed{Cases: []string{one}, At: "noon"}, "", true},
		{Typed{Cases: []string{"rubbish"}}, "", true},
		{Typed{Cases: []string{one}, Room: "hot"}, "", false},
		{Typed{}, "", false},
		{Typed{File: file, Cases: []string{one}}, "1004 4417", false},
		{Typed{File: filepath.Join(dir, "none.csv")}, "", false},
		{Typed{File: dir}, "", false},
	} {
		q, err := c.ty.Read(now, none, strings.NewReader(""))
		var wrong asked.Wrong
		var got []string
		for _, e := range q.Entries {
			got = append(got, e.Case)
		}
		if err != nil {
			got = nil
		}
		if strings.Join(got, " ") != c.cases || (err == nil) != (c.cases != "") || errors.As(err, &wrong) != c.wrong {
			t.Errorf("%+v: %v, %v", c.ty, got, err)
		}
	}
	if _, err := (Typed{Cases: []string{one}}).Read(now, func() (*bench.Bench, error) { return nil, os.ErrPermission }, nil); !errors.Is(err, os.ErrPermission) {
		t.Errorf("a logbook that cannot be read: %v", err)
	}
	rapid.Check(t, func(rt *rapid.T) {
		text := rapid.OneOf(rapid.String(), rapid.StringMatching(`[0-9:–-]{0,12}`), rapid.StringMatching(`[0-2][0-9]:[0-5][0-9]-[0-2][0-9]:[0-5][0-9]`)).Draw(rt, "hours")
		hours, err := typedHours(text)
		if err != nil || text == "" {
			return
		}
		for _, h := range hours {
			if m, ok := house.MinuteOf(h); !ok || m < 0 || m >= 24*60 {
				rt.Fatalf("%q is taken for %q", text, hours)
			}
		}
	})
}
