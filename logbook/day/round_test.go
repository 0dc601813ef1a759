package day_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/day"
	"flaskside/logbook/record"
	"flaskside/timers/longrun"
	"flaskside/timers/simclock"
)

// picture writes out what a bench comes to. What a reason was asked for is left
// out of it: "press taken" can be owed to a flask that has no part in the day.
func picture(t *testing.T, b *bench.Bench) string {
	t.Helper()
	flasks := map[int]bench.Flask{}
	for no, f := range b.Flasks {
		c := *f
		c.Oddities = nil
		flasks[no] = c
	}
	out, err := json.MarshalIndent(map[string]any{
		"house": b.House, "crew": b.Crew, "flasks": flasks, "places": b.Places, "mixes": b.Mixes, "loads": b.Loads, "timers": b.Timers,
		"readings": b.Readings, "answers": b.Answers, "cautions": b.Cautions, "windows": b.Windows(),
	}, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

// again reads an export into an empty book and gives its bench.
func again(t *testing.T, lines []byte, clock *simclock.Hand) *bench.Bench {
	t.Helper()
	var as []action.Action
	for _, line := range bytes.Split(bytes.TrimSuffix(lines, []byte("\n")), []byte("\n")) {
		if len(line) == 0 {
			continue
		}
		a, err := action.Decode(line)
		if err != nil {
			t.Fatalf("%s: %v", line, err)
		}
		as = append(as, a)
	}
	s := openShift(t, clock)
	if len(as) > 0 {
		if _, err := s.book.AppendAll(as); err != nil {
			t.Fatal(err)
		}
	}
	b, err := s.book.Whole(time.Unix(0, 0), time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestJSONL checks that an export holds the stored bytes, and that, read into an
// empty book, it gives the same bench.
func TestJSONL(t *testing.T) {
	s := invented(t)
	for _, date := range []string{"2026-11-25", "2026-11-26"} {
		sheet := s.sheet(date)
		lines := written(t, sheet.JSONL)
		for line := range bytes.Lines(lines) {
			r, err := record.Decode(bytes.TrimRight(line, "\n"))
			if err != nil {
				t.Fatal(err)
			}
			err = s.book.Each(r.Seq, func(stored record.Record) (bool, error) {
				if !bytes.Equal(stored.Raw, r.Raw) {
					t.Errorf("record %d is exported as\n%s\nand stored as\n%s", r.Seq, r.Raw, stored.Raw)
				}
				return false, nil
			})
			if err != nil {
				t.Fatal(err)
			}
		}
		same(t, again(t, lines, s.clock), sheet.Bench)
	}
}

// TestJSONLAtRandom lets the bench be worked at random over several days, in any
// order that it takes, and reads the export of each day into an empty book.
func TestJSONLAtRandom(t *testing.T) {
	for seed := range uint64(longrun.Times(2, 4)) { //nolint:gosec // two or four
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			rnd := rand.New(rand.NewPCG(seed, 1))
			s := newShift(t, "2026-10-23 09:00", "Europe/Berlin")
			for range 160 {
				s.clock.Run(time.Duration(rnd.IntN(50)) * time.Minute)
				s.n++
				a := action.Action{ID: fmt.Sprintf("a%03d", s.n), At: s.clock.Read().Wall, By: "KT", Body: some(rnd, s), Why: "8"}
				_, _ = s.book.Append(a) // what the bench refuses is not tried again
			}
			if s.book.State().Head.Seq < 80 {
				t.Fatalf("only %d records were taken", s.book.State().Head.Seq)
			}
			for _, date := range []string{"2026-10-23", "2026-10-24", "2026-10-25", "2026-10-26", "2026-10-27"} {
				sheet := s.sheet(date)
				same(t, again(t, written(t, sheet.JSONL), s.clock), sheet.Bench)
				for _, f := range []func(io.Writer) error{sheet.Text, func(w io.Writer) error { return sheet.CSV(w, day.Records) }} {
					written(t, f)
				}
			}
		})
	}
}

// TestSettingsInForce exports a day with years of settings and crews before it: those
// in force are told, and one that was taken back, the rest stay behind.
func TestSettingsInForce(t *testing.T) {
	s := newShift(t, "2026-11-02 08:00", "UTC")
	set := func(lab string) string {
		h := s.book.State().Bench.House
		h.Lab = lab
		return s.do(time.Hour, action.Settings{House: h})
	}
	for i := range 20 {
		set(fmt.Sprint("old ", i))
		s.do(time.Hour, action.Crew{Initials: fmt.Sprint("C", i)})
	}
	s.clock.Run(24 * time.Hour)
	wrong := set("wrong")
	s.do(0, action.TakeBack{Of: wrong}, "6")
	s.do(0, action.FlaskOpen{Place: 1, Case: "1", Base: "upper", Size: "small"})
	sheet := s.sheet(s.clock.Read().Wall.Format(time.DateOnly))
	if n := len(sheet.Bench.Items); n != 5 { // settings and crew in force, and the three of the day
		t.Errorf("%d records are exported for a day with three", n)
	}
	got := again(t, written(t, sheet.JSONL), s.clock)
	if got.House.Lab != "old 19" || got.Crew != "C19" {
		t.Errorf("the lab is %q, the crew %q", got.House.Lab, got.Crew)
	}
	same(t, got, sheet.Bench)
}

// some gives some action that the bench might take.
func some(rnd *rand.Rand, s *shift) action.Body {
	b := s.book.State().Bench
	var there []int
	for _, no := range b.Places {
		if no > 0 {
			there = append(there, no)
		}
	}

	if len(there) == 0 {
		return action.FlaskOpen{Place: 1 + rnd.IntN(9), Case: fmt.Sprint(4400 + s.n), Base: pick(rnd, action.Bases), Size: action.Sizes[rnd.IntN(3)]}
	}
	flask, mix := there[rnd.IntN(len(there))], 1+rnd.IntN(max(1, b.Top.Mix))
	earlier := "nothing"
	if it := b.Items[rnd.IntN(len(b.Items))]; len(it.Body.Subjects()) > 0 && slices.Contains(there, it.Body.Subjects()[0].No) {
		earlier = it.Action.ID
	}
	switch rnd.IntN(28) {
	case 0, 1:
		return action.FlaskOpen{Place: 1 + rnd.IntN(9), Case: fmt.Sprint(4400 + s.n), Base: pick(rnd, action.Bases), Size: action.Sizes[rnd.IntN(3)]}
	case 2:
		return action.FlaskMove{Flask: flask, Place: 1 + rnd.IntN(9)}
	case 3:
		return action.Coat{Flask: flask, Half: pick(rnd, action.Halves)}
	case 4, 5:
		return action.MixMake{Flasks: []int{flask}}
	case 6:
		return action.MixServe{Mix: mix, Flasks: []int{flask}}
	case 7:
		return action.MixDough{Mix: mix}
	case 8, 9:
		return action.PressIn{Flask: flask}
	case 10:
		return action.PressAt{Flask: flask}
	case 11:
		return action.PressOpen{Flask: flask}
	case 12:
		return action.Flash{Flask: flask, Grade: pick(rnd, action.Grades)}
	case 13:
		return action.MetalToMetal{Flask: flask}
	case 14:
		return action.Clamp{Flask: flask}
	case 15, 16:
		return action.BathLoad{Flasks: []int{flask}, Programme: "quick and boil"}
	case 17:
		return action.BathUnload{Flasks: []int{flask}}
	case 18, 19:
		return action.Outcome{Flask: flask, Outcome: pick(rnd, action.Outcomes)}
	case 20:
		return action.TakeBack{Of: earlier}
	case 21:
		return action.Correct{Of: earlier, Set: json.RawMessage(`{"grade":"slight"}`)}
	case 22:
		return action.Correct{Of: earlier, Set: json.RawMessage(`{"case":"9999"}`)}
	case 23:
		return action.BathReading{Bath: 1, TempC: 70 + rnd.Float64()}
	case 24:
		h := b.House
		h.Lab = pick(rnd, []string{"one", "two", "three"})
		return action.Settings{House: h}
	case 25:
		return action.TimerStart{Label: "other", Count: "down", AimS: 600}
	}
	for _, al := range b.Alarms(s.book.Now()) {
		return action.AlarmHeard{Alarm: al.Key}
	}
	return action.Note{Flask: flask, Text: "nothing"}
}

func pick[T any](rnd *rand.Rand, ts []T) T { return ts[rnd.IntN(len(ts))] }
