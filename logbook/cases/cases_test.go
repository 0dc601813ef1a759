package cases_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/bench"
	"flaskside/logbook/cases"
	"flaskside/logbook/record"
	"flaskside/timers"
	_ "flaskside/timers/longrun" // room for the collector, scratch folders in memory
)

func berlin(t *testing.T) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skip(err)
	}
	return loc
}

// Due times as people write them. The hour that the clocks of Berlin leave out in March
// 2027 is that of the tz database (IANA, zone Europe/Berlin).
func TestDueTimesAsPeopleWriteThem(t *testing.T) {
	now := time.Date(2026, 11, 28, 14, 0, 0, 0, berlin(t)) // a Saturday
	for in, want := range map[string]string{
		"17:00": "2026-11-28T17:00:00+01:00", "today 1730": "2026-11-28T17:30:00+01:00", "tomorrow 12": "2026-11-29T12:00:00+01:00",
		"Sat 12:00": "2026-12-05T12:00:00+01:00", "sunday 9.15": "2026-11-29T09:15:00+01:00", "Mon 930": "2026-11-30T09:30:00+01:00",
		"2026-12-03 17:00": "2026-12-03T17:00:00+01:00", "2027-07-01 08:00": "2027-07-01T08:00:00+02:00",
		"2026-12-03T17:00:00Z": "2026-12-03T17:00:00Z", "08:00": "2026-11-28T08:00:00+01:00", // over: the bench asks
		"": "", "soon": "", "today": "", "today 25:00": "", "su 12:00": "", "2026-02-30 12:00": "", "tomorrow 12:00 rush": "", "2027-03-28 02:30": "", "-1": "",
	} {
		got, err := cases.ParseDue(in, now)
		switch {
		case want == "" && err == nil:
			t.Errorf("%q is read as %s", in, got)
		case want != "" && (err != nil || got.Format(time.RFC3339) != want):
			t.Errorf("%q: %s, %v; want %s", in, got.Format(time.RFC3339), err, want)
		case err != nil && strings.Contains(err.Error(), "\n"):
			t.Errorf("%q: %v", in, err)
		}
	}
}

var now = time.Date(2026, 11, 28, 14, 0, 0, 0, time.UTC)

// Of a table each bad row is named by its line, and the good ones are read.
func TestTableNamesEachBadRow(t *testing.T) {
	lines, err := cases.ReadCSV(strings.NewReader("\ufeffDue;case;base;size;rush\r\ntoday 17:00;4417;Upper;small;x\r\n\r\ntoday 17:00;4417;upper;large;\r\n"+
		"today;4418;upper;large;\r\ntoday 17;4419;top;large;\r\ntoday 17;4420;lower;medium;perhaps\r\ntoday 17;4421;lower;medium;no;more\r\ntoday 17;4422;lower;medium\r\n"), now)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, l := range lines {
		s := l.Case.Case
		if l.Err != nil {
			s = l.Err.Error()
		}
		got = append(got, s)
	}
	want := []string{"4417", "case 4417 upper is on line 2 already", `"today" is not a due time: write ` + cases.DueForms, `base must be one of upper, lower, partial, reline, not "top"`,
		`rush is yes or no, not "perhaps"`, "it has 6 fields, the first line names 5", "4422"}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if lines[1].No != 4 || lines[6].No != 9 {
		t.Errorf("the lines are numbered %d and %d, want 4 and 9", lines[1].No, lines[6].No)
	}
	for text, want := range map[string]string{
		"": "the table is empty", "case,base,size\n": `lacks the column "due"`, "case,base,size,due,due\n": "twice", "case,base,size,due,patient\n": `a column "patient"`,
	} {
		if _, err := cases.ReadCSV(strings.NewReader(text), now); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}

// A file that is no such table, or not all of one, is refused in one short line: a table that
// was cut off would be taken in as the whole.
func TestTablesThatAreNone(t *testing.T) {
	long := strings.Repeat("x", 1<<20)
	head := "case,base,size,due\n"
	for name, c := range map[string]struct{ text, says string }{
		"longer than is read":        {head + "4417,upper,small,today 17" + strings.Repeat(" ", 8<<20) + "\n4418,upper,small,today 17\n", "more than 8 MiB"},
		"blank lines past the bound": {head + strings.Repeat("\n", 9<<20) + "4418,upper,small,today 17\n", "more than 8 MiB"},
		"UTF-16":                     {"\xff\xfec\x00a\x00s\x00e\x00,\x00", "save it as CSV in UTF-8"},
		"Latin-1":                    {head + "4417,upper,small,today 17,m\xfcde\n", "save it as CSV in UTF-8"},
		"a long name of a column":    {"case,base,size,due," + long + "\n", "a column \"xxx"},
		"a column named over lines":  {"case,base,size,due,\"a\nb\"\n", "a column \"a·b\""},
	} {
		_, err := cases.ReadCSV(strings.NewReader(c.text), now)
		if err == nil || !strings.Contains(err.Error(), c.says) || len(err.Error()) > 300 {
			t.Errorf("%s: %.400v, want %s", name, err, c.says)
		}
	}
	lines, err := cases.ReadCSV(strings.NewReader("case,base,size,due,rush\n1,upper,small,"+long+",\n2,upper,small,today 17,"+long+"\n"+long+",upper,small,today 17,\n3,"+long+",small,today 17,\n"), now)
	if err != nil || len(lines) != 4 {
		t.Fatal(len(lines), err)
	}
	for _, l := range lines {
		if l.Err == nil || len(l.Err.Error()) > 300 {
			t.Errorf("line %d: %.400v", l.No, l.Err)
		}
	}
	// Lines that end as on old machines.
	lines, err = cases.ReadCSV(strings.NewReader("case,base,size,due\r4417,upper,small,today 17\r4418,upper,small,today 17\r"), now)
	if err != nil || len(lines) != 2 || lines[0].Err != nil || lines[1].Case.Case != "4418" {
		t.Errorf("lines that end in CR: %+v, %v", lines, err)
	}
}

// listOf is a bench with cases taken in.
func listOf(t interface{ Fatal(...any) }, in []action.CaseIn) *bench.Bench {
	var recs []record.Record
	prev := record.Genesis("test")
	for i, c := range in {
		read := timers.Reading{Wall: now.Add(time.Duration(i) * time.Second), Boot: time.Duration(i) * time.Second, BootID: "b"}
		r, err := record.Write(uint64(i+1), prev, read, timers.StampAt(read.Wall, read), action.Action{ID: "a" + string(rune('a'+i)), At: read.Wall, By: "KT", Body: c})
		if err != nil {
			t.Fatal(err)
		}
		recs, prev = append(recs, r), r.Hash()
	}
	return bench.Fold(recs, bench.Counters{})
}

// A list that was written is read back as it was, whatever stands in it.
func TestListIsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringMatching(`[A-Za-z0-9 ;,"=+\-é]{0,12}`)
		var in []action.CaseIn
		for i := range rapid.IntRange(1, 6).Draw(t, "cases") {
			c := action.CaseIn{Case: "K-" + string(rune('1'+i)), Base: rapid.SampledFrom(action.Bases).Draw(t, "base"), Size: rapid.SampledFrom(action.Sizes).Draw(t, "size"),
				Due: now.Add(time.Duration(rapid.IntRange(-3000, 3000).Draw(t, "due")) * time.Minute).Format(time.RFC3339), Rush: rapid.Bool().Draw(t, "rush"),
				Shade: strings.TrimSpace(strings.TrimLeft(word.Draw(t, "shade"), "=+- ")), Remark: strings.TrimSpace(strings.TrimLeft(word.Draw(t, "remark"), "=+- "))}
			if c.Valid() != nil {
				t.Skip("not a case")
			}
			in = append(in, c)
		}
		b := listOf(t, in)
		var out bytes.Buffer
		if err := cases.CSV(&out, b, now); err != nil {
			t.Fatal(err)
		}
		lines, err := cases.ReadCSV(&out, now)
		if err != nil {
			t.Fatal(err)
		}
		all := b.Cases()
		if len(lines) != len(all) {
			t.Fatalf("%d lines of %d cases", len(lines), len(all))
		}
		for i, l := range lines {
			if l.Err != nil || l.Case != all[i].CaseIn {
				t.Errorf("%+v came back as %+v, %v", all[i].CaseIn, l.Case, l.Err)
			}
		}
	})
}

// Whatever a file holds, each row read is a case that could be recorded, and no error
// takes more than a line.
func FuzzReadCSV(f *testing.F) {
	f.Add("case,base,size,due\n4417,upper,small,today 17:00\n")
	f.Add("case;base;size;due;rush\n\"4417;upper;small;17\n")
	f.Add("\ufeffdue,case,size,base,remark\n17,\"a\"\"b\",large,lower,=1+1\n")
	f.Fuzz(func(t *testing.T, text string) {
		lines, err := cases.ReadCSV(strings.NewReader(text), now)
		if err != nil && strings.Contains(err.Error(), "\n") {
			t.Errorf("an error of several lines: %q", err)
		}
		seen := map[string]bool{}
		for _, l := range lines {
			key := l.Case.Case + "\x00" + l.Case.Base
			switch {
			case l.Err != nil && strings.Contains(l.Err.Error(), "\n"):
				t.Errorf("an error of several lines: %q", l.Err)
			case l.Err == nil && (l.Case.Valid() != nil || seen[key]):
				t.Errorf("taken: %+v", l.Case)
			}
			if l.Err == nil {
				seen[key] = true
			}
		}
	})
}
