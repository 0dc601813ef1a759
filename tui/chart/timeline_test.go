package chart

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/timeline"
)

var eight = time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)

func after(m int) time.Time { return eight.Add(time.Duration(m) * time.Minute) }

func rowText(row []Cell) string {
	var b strings.Builder
	for _, c := range row {
		b.WriteRune(c.Rune)
	}
	return b.String()
}

// The gauge of a timer, by hand: one cell is a minute.
func TestGauge(t *testing.T) {
	both := timeline.Bar{From: eight, Earliest: after(3), Aim: after(6), Latest: after(9), To: after(9)}
	late := both
	late.Over, late.To = true, after(11)
	for _, c := range []struct {
		bar  timeline.Bar
		now  int
		w    int
		want string
	}{
		{both, 1, 10, "─│─┣━━◆━━┫"},
		{both, 5, 10, "───┣━│◆━━┫"},
		{late, 11, 12, "───┣━━◆━━┫!!"},
		{timeline.Bar{From: eight, Earliest: after(9), To: after(9)}, 4, 10, "────│────┣"}, // a floor alone
		{timeline.Bar{From: eight, Aim: after(9), To: after(9)}, 4, 10, "────│────◆"},      // a count-down
		{timeline.Bar{From: eight, To: after(9)}, 9, 10, "──────────"},                     // a count-up
	} {
		if got := rowText(Gauge(c.bar, after(c.now), c.w, false)); got != c.want {
			t.Errorf("%d min into %+v: %q, want %q", c.now, c.bar, got, c.want)
		}
	}
}

// What a gauge must never do: show a thick line before the earliest, a sign of lateness
// where nothing is late or none where something is, hide the present while the timer runs,
// or lose its last end.
func TestGaugeNeverLies(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		minutes := rapid.IntRange(1, 2000)
		b := timeline.Bar{From: eight}
		last := 0
		next := func(name string) time.Time {
			if !rapid.Bool().Draw(t, "has "+name) {
				return time.Time{}
			}
			last += minutes.Draw(t, name)
			return after(last)
		}
		b.Earliest, b.Aim, b.Latest = next("earliest"), next("aim"), next("latest")
		now := rapid.IntRange(0, last+500).Draw(t, "now")
		b.Over = !b.Latest.IsZero() && now >= last
		b.To = after(last)
		if now >= last {
			b.To = after(now)
		}
		w := rapid.IntRange(3, 60).Draw(t, "width")
		ascii := rapid.Bool().Draw(t, "ascii")
		row := Gauge(b, after(now), w, ascii)
		k := strokesOf(ascii)
		s := rowText(row)
		if strings.ContainsRune(s, k.late) != b.Over {
			t.Fatalf("late is %v: %q", b.Over, s)
		}
		early := strings.IndexRune(s, k.earliest)
		if thick := strings.IndexRune(s, k.thick); thick >= 0 && thick < early {
			t.Fatalf("usable before the earliest: %q", s)
		}
		if n := strings.Count(s, string(k.now)); now < last && n != 1 && !strings.ContainsAny(s, string([]rune{k.earliest, k.aim, k.latest})) {
			t.Fatalf("now is shown %d times: %q", n, s)
		}
		if !b.Latest.IsZero() && !b.Over && !strings.ContainsRune(s, k.latest) {
			t.Fatalf("the latest is lost: %q", s)
		}
		if strings.TrimSpace(s) == "" || len(row) != w {
			t.Fatalf("nothing in %d cells: %q", w, s)
		}
	})
}

// The day by hand: three hours on 36 cells, five minutes a cell, the present at nine.
func TestTimeLineByHand(t *testing.T) {
	l := timeline.DayBars{From: eight, To: after(180), Now: after(60), Rows: []timeline.Row{
		{Kind: timeline.Flask, No: 1, Bars: []timeline.Bar{{From: after(50), Earliest: after(70), Latest: after(90), To: after(90)}}},
		{Kind: timeline.Flask, No: 2, Bars: []timeline.Bar{{From: after(30), Latest: after(50), To: after(60), Over: true}}},
		{Kind: timeline.Press, No: 1, Bars: []timeline.Bar{{From: after(20), To: after(25), Ended: true, Places: []int{2}}}},
		{Kind: timeline.Bath, No: 1, Bars: []timeline.Bar{{From: after(40), Earliest: after(170), To: after(170), Places: []int{3, 4}}}},
	}}
	want := []string{
		"      08:00      now          10:00",
		"1 A             ──│─┣━━━┫",
		"2 B         ━━━━┫!!",
		"                  │",
		"press     2▪      │",
		"bath          ─3 4│─────────────────────┣",
	}
	got := TimeLine(l, Labels{"1 A", "2 B", "press", "bath"}, 42, 6, false)
	for i, row := range got {
		if i >= len(want) || strings.TrimRight(rowText(row), " ") != strings.TrimRight(want[i], " ") {
			t.Errorf("row %d: %q", i, rowText(row))
		}
	}
	if len(got) != len(want) {
		t.Errorf("%d rows, want %d", len(got), len(want))
	}
}

// A line of another day, as that of a plan for tomorrow, has no now.
func TestNoNowOnAnotherDay(t *testing.T) {

	for _, c := range []struct {
		now  time.Time
		want bool
	}{{eight.Add(-time.Hour), false}, {eight, true}, {eight.Add(3 * time.Hour), true}, {eight.Add(9 * time.Hour), true}, {eight.Add(10 * time.Hour), false}} {
		l := timeline.DayBars{From: eight, To: eight.Add(9 * time.Hour), Now: c.now, Rows: []timeline.Row{{Kind: timeline.Bath, Label: "bath 1"}}}
		var text strings.Builder
		for _, cell := range TimeLine(l, Labels{"bath 1"}, 60, 5, false)[0] {
			text.WriteRune(cell.Rune)
		}
		if got := strings.Contains(text.String(), "now"); got != c.want {
			t.Errorf("now at %s: %q", c.now.Format("15:04"), text.String())
		}
	}
}

// The places of two closures side by side must not read as one number; the last of them is
// the one that is named.
func TestPlacesSideBySide(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		row := timeline.Row{Kind: timeline.Press}
		at := 0
		for range rapid.IntRange(1, 12).Draw(t, "closures") {
			from := at + rapid.IntRange(0, 30).Draw(t, "gap")
			at = from + rapid.IntRange(1, 6).Draw(t, "length")
			row.Bars = append(row.Bars, timeline.Bar{From: after(from), To: after(at), Ended: true, Places: []int{rapid.IntRange(1, 9).Draw(t, "place")}})
		}
		l := timeline.DayBars{From: eight, To: after(at + 60), Now: after(at + 30), Rows: []timeline.Row{row}}
		lines := TimeLine(l, Labels{"press"}, rapid.IntRange(24, 200).Draw(t, "width"), 4, false)
		cells := lines[1][6:]
		for i := range cells[1:] {
			if cells[i].Role == Label && cells[i+1].Role == Label {
				t.Fatalf("two places read as one number: %q", rowText(cells))
			}
		}
		last := row.Bars[len(row.Bars)-1]
		if s := strings.TrimRight(rowText(cells), " │"); !strings.ContainsRune(s, rune('0'+last.Places[0])) {
			t.Fatalf("the last closure, on place %d, is not named: %q", last.Places[0], s)
		}
	})
}
