package words

import (
	"math"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// A colon in a text stands in an hour of the day, which has two digits on each side of
// it, and in a length of time only with its unit behind it.
var colon = regexp.MustCompile(`^\+?\d+:\d\d min$`)

func TestLengthNeverLooksLikeAnHour(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := time.Duration(rapid.Int64Range(-int64(400*24*time.Hour), int64(400*24*time.Hour)).Draw(t, "length"))
		b := Brief(d)
		if strings.Contains(b, ":") || !regexp.MustCompile(`^\+?\d+ (s|min|h|h \d\d|d)$`).MatchString(b) || utf8.RuneCountInString(b) > 7 {
			t.Fatalf("%s is shown as %q", d, b)
		}
		digits, unit := Digits(d, 10*time.Minute)
		if strings.Contains(digits, ":") && !colon.MatchString(digits+" "+unit) || unit == "" && !strings.Contains(digits, "h") {
			t.Fatalf("%s is shown in large as %q %q", d, digits, unit)
		}
	})
}

// What is left is never shown as more than a second more than it is, what has passed
// never as more than has passed.
func TestLengthShowsNoMoreThanIsLeft(t *testing.T) {
	unit := map[string]time.Duration{"s": time.Second, "min": time.Minute, "h": time.Hour, "d": 24 * time.Hour}
	rapid.Check(t, func(t *rapid.T) {
		d := time.Duration(rapid.Int64Range(-int64(99*24*time.Hour), int64(99*24*time.Hour)).Draw(t, "length"))
		fs := strings.Fields(strings.TrimPrefix(Brief(d), "+"))
		n, err := time.ParseDuration(fs[0] + "ns")
		if err != nil {
			t.Fatal(err)
		}
		shown := n * unit[fs[1]]
		if len(fs) == 3 {
			m, err := time.ParseDuration(fs[2] + "m")
			if err != nil {
				t.Fatal(err)
			}
			shown += m
		}
		if most := d.Abs() + time.Second; shown >= most || d < 0 && shown > -d {
			t.Fatalf("%s is shown as %q", d, Brief(d))
		}
	})
}

func TestInstantAlwaysHasItsColon(t *testing.T) {
	zones := []string{"UTC", "Europe/Berlin", "America/Chicago", "Australia/Lord_Howe", "Asia/Kathmandu"}
	hour := regexp.MustCompile(`^(Mon |Tue |Wed |Thu |Fri |Sat |Sun )?(\d{1,2} [A-Z][a-z]{2} )?(\d{4} )?[0-2]\d:[0-5]\d( \(UTC[+-]\d\d:\d\d\))?$`)
	rapid.Check(t, func(t *rapid.T) {
		loc, err := time.LoadLocation(rapid.SampledFrom(zones).Draw(t, "zone"))
		if err != nil {
			t.Skip(err)
		}
		now := time.Unix(rapid.Int64Range(1_600_000_000, 1_900_000_000).Draw(t, "now"), 0).In(loc)
		at := now.Add(time.Duration(rapid.Int64Range(-500*24*3600, 500*24*3600).Draw(t, "ahead")) * time.Second)
		got := Instant(at, now)
		if !hour.MatchString(got) {
			t.Fatalf("%s is shown as %q", at, got)
		}
		sameDay := at.Format(time.DateOnly) == now.Format(time.DateOnly)
		if bare := strings.IndexByte(got, ':') == 2; bare != sameDay {
			t.Fatalf("at %s, %s is shown as %q", now, at, got)
		}
	})
}

// Worked by hand.
func TestTimes(t *testing.T) {
	for d, want := range map[time.Duration]string{0: "0 s", 48 * time.Second: "48 s", 59500 * time.Millisecond: "1 min", 161 * time.Second: "2 min", 11 * time.Minute: "11 min", 160 * time.Minute: "2 h 40", -160 * time.Minute: "+2 h 40", 46 * time.Hour: "46 h", -5 * 24 * time.Hour: "+5 d"} {
		if got := Brief(d); got != want {
			t.Errorf("%s is %q, want %q", d, got, want)
		}
	}
	for d, want := range map[time.Duration]string{161 * time.Second: "2:41 min", 48 * time.Second: "48 s", 11 * time.Minute: "11 min", 160 * time.Minute: "2h40 "} {
		if a, b := Digits(d, 10*time.Minute); a+" "+b != want {
			t.Errorf("%s is %q %q in large, want %q", d, a, b, want)
		}
	}
	now := time.Date(2026, 11, 25, 8, 19, 0, 0, time.UTC)
	for at, want := range map[time.Time]string{now.Add(11 * time.Minute): "08:30", now.Add(24*time.Hour + 11*time.Minute): "Thu 08:30", now.Add(7 * 24 * time.Hour): "Wed 2 Dec 08:19", now.Add(60 * 24 * time.Hour): "Sun 24 Jan 2027 08:19"} {
		if got := Instant(at, now); got != want {
			t.Errorf("%s is %q, want %q", at, got, want)
		}
	}
}

func TestClipCutsNoCharacter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, n := rapid.String().Draw(t, "text"), rapid.IntRange(1, 80).Draw(t, "most")
		got := Clip(s, n)
		if utf8.ValidString(s) && !utf8.ValidString(got) || utf8.RuneCountInString(got) > n+1 {
			t.Fatalf("%q cut to %d is %q", s, n, got)
		}
	})
}

// What the screen and the sheet say when time is up must not say more than that.
func TestTimeAloneMakesNothingGood(t *testing.T) {
	for what := range timerNames {
		for g := ToEarliest; g <= Counting; g++ {
			long, short := TimerLine(what, "soak", "B", g)
			told(t, long)
			told(t, short)
			if n := utf8.RuneCountInString(short); n > 16 {
				t.Errorf("%q has %d characters, the list of the bench 16", short, n)
			}
		}
		for _, end := range []string{earliest, aim, soon, latest} {
			told(t, TimerAlarm(what, end, "soak", "B"))
		}
	}
	for _, table := range []map[string]string{halves, steps, kinds, hazards, fieldNames, outcomes, defects, unusual, alarmStates} {
		for _, w := range table {
			told(t, w)
		}
	}
}

func told(t *testing.T, s string) {
	t.Helper()
	for _, bad := range []string{" done", "cured", "safe", "passed", "released", "conform", " dry"} {
		if strings.Contains(strings.ToLower(" "+s), bad) && !strings.Contains(s, "drying") {
			t.Errorf("%q says %q", s, bad)
		}
	}
	if strings.Contains(s, "  ") || s == "" {
		t.Errorf("%q", s)
	}
}

// TestPercent: never nothing, never certainty.
func TestPercent(t *testing.T) {
	for p, want := range map[float64]string{0: "<1 %", 0.004: "<1 %", 0.006: "1 %", 0.5: "50 %", 0.984: "98 %", 0.9949: "99 %", 0.996: ">99 %", 1: ">99 %"} {
		if got := Percent(p); got != want {
			t.Errorf("Percent(%g) = %s, want %s", p, got, want)
		}
	}
	if got := Percent(math.NaN()); got != "?" {
		t.Errorf("Percent(NaN) = %s", got)
	}
}

// Breaking a text loses no word, and only a word that is longer makes a line longer.
func TestLinesLoseNoWord(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOf(rapid.StringMatching(`[a-zäß%·]{1,30}`)).Draw(t, "words"), " ")
		width, hang := rapid.IntRange(1, 60).Draw(t, "width"), rapid.IntRange(0, 4).Draw(t, "hang")
		lines := Lines(text, width, hang)
		if got := strings.Join(strings.Fields(strings.Join(lines, " ")), " "); got != text {
			t.Fatalf("%q becomes %q", text, lines)
		}
		for i, l := range lines {
			if utf8.RuneCountInString(l) > width && len(strings.Fields(l)) > 1 {
				t.Fatalf("line %d of %q is longer than %d", i+1, lines, width)
			}
			if i > 0 && !strings.HasPrefix(l, strings.Repeat(" ", hang)) {
				t.Fatalf("line %d of %q does not hang by %d", i+1, lines, hang)
			}
		}
	})
}
