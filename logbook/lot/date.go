package lot

import (
	"fmt"
	"strings"
	"time"
)

// Date is a date of the calendar, without a clock or a zone. The zero Date stands
// for none.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// DateOf gives the date that the clocks show at t, in t's own zone.
func DateOf(t time.Time) Date {
	y, m, d := t.Date()
	return Date{y, m, d}
}

// IsZero tells whether there is no date.
func (d Date) IsZero() bool { return d == Date{} }

// After tells whether d is a later date than e.
func (d Date) After(e Date) bool {
	if d.Year != e.Year {
		return d.Year > e.Year
	}
	if d.Month != e.Month {
		return d.Month > e.Month
	}
	return d.Day > e.Day
}

// String writes the date as 2026-11-25 (ISO 8601), and nothing for none.
func (d Date) String() string {
	if d.IsZero() {
		return ""
	}
	return fmt.Sprintf("%04d-%02d-%02d", d.Year, int(d.Month), d.Day)
}

// MarshalText is String.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (d *Date) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*d = Date{}
		return nil
	}
	t, err := time.Parse(time.DateOnly, string(b))
	if err != nil {
		return fmt.Errorf("%q is not a date: write it as 2026-11-25", b)
	}
	*d = DateOf(t)
	return nil
}

// monthDays gives the length of a month in days.
func monthDays(year int, month time.Month) int {
	return time.Date(year, month+1, 0, 0, 0, 0, 0, time.UTC).Day()
}

// century gives the full year of a two-digit one, seen from the current year: from
// 49 years back to 50 ahead (GS1 General Specifications 7.12, "Determination of
// century in dates"). A fixed split at 50 would go wrong more every year.
func century(yy, now int) int {
	year := now - now%100 + yy
	switch d := yy - now%100; {
	case d >= 51:
		return year - 100
	case d <= -50:
		return year + 100
	}
	return year
}

// digits reads a number of nothing but the digits 0 to 9.
func digits(s string) (n int, ok bool) {
	if s == "" || strings.Trim(s, "0123456789") != "" || len(s) > 9 {
		return 0, false
	}
	for _, c := range []byte(s) {
		n = 10*n + int(c-'0')
	}
	return n, true
}

// reckon makes a date of the parts of a code by a pattern such as YYMMDD, whose
// letters stand for the digits of a two-digit year (YY), a full one (YYYY), the
// month (MM), the day of the month (DD), the day of the year (JJJ) and the hour
// (HH, held to its bounds and left out). A month alone, or its day 00, is its last
// day: the General Specifications say so of AI 17; of other codes it is common
// practice, no source.
func reckon(pattern, s string, now int) (Date, error) {
	if _, ok := digits(s); !ok || len(s) != len(pattern) {
		return Date{}, fmt.Errorf("%s: the date is %d digits, %s", quoted(s), len(pattern), pattern)
	}
	part := func(letter string) (n int, there bool) {
		i, j := strings.Index(pattern, letter), strings.LastIndex(pattern, letter)
		if i < 0 {
			return 0, false
		}
		n, _ = digits(s[i : j+1])
		return n, true
	}
	year, _ := part("Y")
	if strings.Count(pattern, "Y") == 2 {
		year = century(year, now)
	}
	if hour, there := part("H"); there && hour > 23 {
		return Date{}, fmt.Errorf("%s: there is no hour %d: the date is %s", s, hour, pattern)
	}
	if n, there := part("J"); there {
		long := time.Date(year, time.December, 31, 0, 0, 0, 0, time.UTC).YearDay()
		if n < 1 || n > long {
			return Date{}, fmt.Errorf("%s: %d has the days 1 to %d, not %d: the date is %s", s, year, long, n, pattern)
		}
		return DateOf(time.Date(year, time.January, n, 0, 0, 0, 0, time.UTC)), nil
	}
	month, _ := part("M")
	if month < 1 || month > 12 {
		return Date{}, fmt.Errorf("%s: there is no month %d: the date is %s", s, month, pattern)
	}
	last := monthDays(year, time.Month(month))
	day, there := part("D")
	if !there || day == 0 {
		day = last
	}
	if day > last {
		return Date{}, fmt.Errorf("%s: %d-%02d has %d days, not %d: the date is %s", s, year, month, last, day, pattern)
	}
	return Date{year, time.Month(month), day}, nil
}

// TypedDate reads a last day of use as typed, with a number pad too: 2027-04-30, 20270430
// or 30.04.2027; a month alone, 2027-04, 202704 or 04.2027, is its last day, as it is on a
// label that names no day (common practice, no source). Blanks around it do not matter.
func TypedDate(s string) (Date, error) {
	s = strings.TrimSpace(s)
	for _, layout := range []struct {
		is    string
		month bool
	}{{"2006-01-02", false}, {"20060102", false}, {"02.01.2006", false}, {"2006-01", true}, {"200601", true}, {"01.2006", true}} {
		t, err := time.Parse(layout.is, s)
		if err != nil {
			continue
		}
		d := DateOf(t)
		if layout.month {
			d.Day = monthDays(d.Year, d.Month)
		}
		return d, nil
	}
	return Date{}, fmt.Errorf("%s is not a date: type it as 2027-04-30, 30.04.2027 or 20270430, or the month alone", quoted(s))
}
