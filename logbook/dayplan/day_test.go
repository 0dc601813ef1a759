package dayplan

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"
	"time"

	ics "github.com/arran4/golang-ical"
	"golang.org/x/net/html"
	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/house"
	"flaskside/timers/longrun"
	"flaskside/timers/plan"
)

var berlin = time.FixedZone("CET", 3600)

var morning = time.Date(2026, 11, 25, 8, 0, 0, 0, berlin) // a Wednesday

func TestParseDue(t *testing.T) {
	at := func(d, h, m int) time.Time { return time.Date(2026, 11, d, h, m, 0, 0, berlin) }
	for in, want := range map[string]time.Time{
		"17:00": at(25, 17, 0), "today 17:00": at(25, 17, 0), " Today  9:05 ": at(25, 9, 5), "tomorrow 12:00": at(26, 12, 0),
		"Fri 12:00": at(27, 12, 0), "friday 08:30": at(27, 8, 30), "Wed 10:00": time.Date(2026, 12, 2, 10, 0, 0, 0, berlin),
		"2026-11-30 17:00": at(30, 17, 0), "2026-11-25T15:00:00Z": at(25, 16, 0),
	} {
		if got, err := parseDue(in, morning); err != nil || !got.Equal(want) {
			t.Errorf("%q: %v, %v, want %v", in, got, err, want)
		}
	}
	for _, in := range []string{"", "noon", "25:00", "today", "Frix 12:00", "2026-02-30 10:00", "tomorrow", "today 17:00 sharp", "\x00"} {
		if got, err := parseDue(in, morning); err == nil || !strings.Contains(err.Error(), "give it as 17:00, tomorrow 12:00, Fri 12:00") {
			t.Errorf("%q: %v, %v", in, got, err)
		}
	}
}

func TestParseCase(t *testing.T) {
	e, err := parseCase("4417 upper medium resin A due tomorrow 12:00 rush", morning)
	want := Entry{"4417 upper", plan.Medium, "resin A", time.Date(2026, 11, 26, 12, 0, 0, 0, berlin), true, nil, time.Time{}, nil}
	if err != nil || e.Case != want.Case || e.Size != want.Size || e.Resin != want.Resin || !e.Due.Equal(want.Due) || !e.Rush {
		t.Errorf("%+v, %v", e, err)
	}
	for in, want := range map[string]string{
		"":                             "give number, size, resin and due",
		"4417 medium due 17:00":        `resin ""`,
		"4417 vast resin due 17:00":    `size "vast": it is small, medium or large`,
		"4417 medium resin 17:00":      "give number, size, resin and due",
		"4417 medium resin due never":  `due "never": give it as 17:00`,
		"due due due due due":          "give number, size, resin and due",
		"4417 medium resin due":        `due ""`,
		"4417 upper due 17:00":         `size ""`,
		"4\u202e417 small A due 17:00": "plain characters",
	} {
		if e, err := parseCase(in, morning); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %+v, %v, want %q", in, e, err, want)
		}
	}
}

func TestReadCases(t *testing.T) {
	for name, in := range map[string]string{
		"plain":     "4417,medium,A,17:00,rush\n4420,small,A,tomorrow 12:00\n",
		"named":     "\ufeffDue,case,rush,size,resin\r\n17:00,4417,yes,M,A\r\ntomorrow 12:00,4420,,s,A\r\n",
		"semicolon": "case;size;resin;due;rush\n4417;medium;A;17:00;x\n# a remark\n4420;small;A;tomorrow 12:00;no\n",
	} {
		list, err := readCases(strings.NewReader(in), morning)
		if err != nil || len(list) != 2 || list[0].Case != "4417" || !list[0].Rush || list[0].Size != plan.Medium || list[1].Rush || list[1].Due.Day() != 26 {
			t.Errorf("%s: %+v, %v", name, list, err)
		}
	}
	list, err := readCases(strings.NewReader("case,base,size,resin,due\n4417,upper,medium,A,17:00\n4417,lower,medium,A,17:00\n"), morning)
	if err != nil || len(list) != 2 || twice(list) != "" || list[1].Case != "4417 lower" {
		t.Errorf("a pair: %+v, %v", list, err)
	}
	for in, want := range map[string]string{
		"4417,vast,A,17:00\n4420,small,A,noon\n1,small,A,17:00\n": `line 1: size "vast": it is small, medium or large; line 2: due "noon": give it as`,
		"case,size,resin\n":                     "line 1: column due is missing",
		"case,size,resin,due,colour\n":          `line 1: column "colour"`,
		"case,size,resin,due,due\n":             "line 1: column due appears twice",
		"4417,medium\n":                         "line 1: 2 fields: want case,size,resin,due,rush",
		"4417,medium,A,17:00,rush,more\n":       "line 1: 6 fields",
		"4417,medium,A,17:00,perhaps\n":         `rush "perhaps": it is yes, no or empty`,
		"4417,\"med\"ium,A,17:00\n":             "line 1:",
		strings.Repeat("x,small,A,noon\n", 9):   "and 4 more lines",
		strings.Repeat("1,small,A,17:00\n", 41): "more than 40 cases",
		"\xff":                                  "not UTF-8",
		strings.Repeat("#", maxFile+1):          "larger than",
	} {
		if list, err := readCases(strings.NewReader(in), morning); err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%.40q: %d cases, %v, want %q", in, len(list), err, want)
		}
	}
}

// Whatever is typed, an answer is a case or one line that says what is wrong.
func TestWhatIsTypedIsReadOrRefusedInOneLine(t *testing.T) {
	word := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"4417", "medium", "due", "17:00", "rush", "upper", "case", "without", "bath", "2", "press", "tomorrow", ",", ";", "\n", "\"", "é", "2026-11-25T15:00:00Z"}))
	rapid.Check(t, func(t *rapid.T) {
		s := strings.Join(rapid.SliceOfN(word, 0, 12).Draw(t, "words"), rapid.SampledFrom([]string{" ", ",", ";", ""}).Draw(t, "by"))
		good := func(e Entry) {
			if e.Case == "" || len([]rune(e.Case)) > mostName+8 || e.Resin == "" || e.Size > plan.Large || e.Due.IsZero() {
				t.Fatalf("%q: taken for %+v", s, e)
			}
		}
		bad := func(err error) {
			if err.Error() == "" || len(err.Error()) > 2000 {
				t.Fatalf("%q: %q", s, err)
			}
		}
		if e, err := parseCase(s, morning); err == nil {
			good(e)
		} else {
			bad(err)
		}
		if list, err := readCases(strings.NewReader(s), morning); err == nil {
			for _, e := range list {
				good(e)
			}
		} else {
			bad(err)
		}
		q := Question{House: house.Default(), Now: morning}
		if c, err := q.Change(s); err != nil {
			bad(err)
		} else if c.People == 0 && c.Presses == 0 && len(c.Entries)+len(c.Down) == 0 {
			t.Fatalf("%q changes nothing", s)
		}
	})
}

func TestLateWordsPromiseNothing(t *testing.T) {
	for p, want := range map[float64]string{
		0: "unlikely, under 5 %", .02: "unlikely, under 5 %", .03: "possible, about 5 %", .12: "possible, about 10 %", .3: "may well be, about 30 %",
		.5: "as likely as not, about 50 %", .9: "likely, about 90 %", .99: "likely, over 95 %", 1: "likely, over 95 %",
	} {
		if got := lateWords(p); got != want {
			t.Errorf("%g: %q, want %q", p, got, want)
		}
	}
	for k := 0; k <= 1000; k++ {
		p := float64(k) / 1000
		if s := lateStep(p); s < .05 || s > .95 || math.Abs(s-p) > .0501 {
			t.Errorf("%g is told as %g", p, s)
		}
	}
}

func anyQuestion(t *rapid.T) Question {
	h := house.Default()
	h.Baths = append(h.Baths, house.Bath{Name: "bath 2", Litres: 10, HeaterW: 1000})
	h.Plan.Day = rapid.SampledFrom([]string{"", "quick and boil", house.NoDayLoads}).Draw(t, "day programme")
	h.Plan.Days = rapid.SampledFrom([]string{"", "Sat Sun", "Mon Tue Wed Thu Fri Sat Sun"}).Draw(t, "days")
	if rapid.Bool().Draw(t, "two resins") {
		r := h.Resins[0]
		r.Name, r.DoughFromMin, r.WorkUntilMin = "quick", 5, 25
		h.Resins = append(h.Resins, r)
	}
	q := Question{House: h, RoomC: 23, Draws: 3, Days: 6, Seed: rapid.Uint64().Draw(t, "seed"),
		Now: morning.Add(time.Duration(rapid.IntRange(-8*60, 24*60*4).Draw(t, "now")) * time.Minute)}
	if rapid.Bool().Draw(t, "hours") {
		q.Hours = [2]string{"07:00", "13:30"}
	}
	if rapid.Bool().Draw(t, "busy") {
		q.Busy = map[string]time.Time{"bath 1": q.Now.Add(5 * time.Hour)}
	}
	if rapid.Bool().Draw(t, "down") {
		q.Down = []string{"bath 2"}
	}
	for i := range rapid.IntRange(0, 4).Draw(t, "cases") {
		q.Entries = append(q.Entries, Entry{Case: fmt.Sprint(4400 + i), Size: plan.Size(rapid.IntRange(0, 2).Draw(t, "size")),
			Resin: rapid.SampledFrom([]string{"heat-cured, general", "Quick A2", "another <b>"}).Draw(t, "resin"),
			Due:   q.Now.Add(time.Duration(rapid.IntRange(-600, 6000).Draw(t, "due")) * time.Minute), Rush: rapid.Bool().Draw(t, "rush")})
	}
	return q
}

var certain = regexp.MustCompile(`(^|[^0-9.])(0|100) %|NaN|Inf|<nil>|%!`)

// What is told of any day promises nothing, names each case once among the cases, tells what is due before now as late,
// and is the same in whatever order the cases are given.
func TestWhatIsToldOfAnyDay(t *testing.T) {
	longrun.Checks(t, 15, 100)
	rapid.Check(t, func(t *rapid.T) {
		q := anyQuestion(t)
		d, err := q.Make(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		write := func(d *Day, how func(*Day, *bytes.Buffer) error) string {
			var b bytes.Buffer
			if err := how(d, &b); err != nil {
				t.Fatal(err)
			}
			return b.String()
		}
		text := write(d, func(d *Day, b *bytes.Buffer) error { return d.Text(b) })
		page := write(d, func(d *Day, b *bytes.Buffer) error { return d.HTML(b) })
		for _, s := range []string{text, page} {
			if m := certain.FindString(strings.ReplaceAll(s, `width="100 %"`, "")); m != "" || !strings.Contains(s, "estimates; you decide") {
				t.Fatalf("%q in\n%s", m, s)
			}
		}
		if strings.Contains(page, "another <b>") {
			t.Fatal("a text is not quoted on the page")
		}
		if _, err := html.Parse(strings.NewReader(page)); err != nil {
			t.Fatal(err)
		}
		s := d.Show()
		checkBaths(t, d, s)
		raw, err := json.Marshal(s)
		if err != nil || bytes.Contains(raw, []byte("null,\"resin")) {
			t.Fatal(err)
		}
		if len(s.Cases) != len(q.Entries) {
			t.Fatalf("%d cases told of %d", len(s.Cases), len(q.Entries))
		}
		for i, c := range s.Cases {
			if c.Mix < 1 || c.Mix > len(s.Mixes) || c.LateStep < .05 || c.LateStep > .95 {
				t.Fatalf("%+v", c)
			}
			if was := !c.Due.After(q.Now); was != (c.Late == alreadyLate) {
				t.Fatalf("due %v, now %v: %s", c.Due, q.Now, c.Late)
			}
			if c.Finished != nil && c.Finished.Before(d.Soonest[i].Add(-time.Hour)) {
				t.Fatalf("%s finished %v, soonest %v", c.Case, c.Finished, d.Soonest[i])
			}
		}
		for _, m := range s.Mixes {
			if m.Latest != nil && m.MixAt != nil && m.Latest.Before(m.MixAt.Add(-time.Minute)) {
				t.Fatalf("mix at %v, at the latest %v", m.MixAt, m.Latest)
			}
			if m.MixAt != nil && m.MixAt.Before(q.Now.Truncate(time.Minute)) {
				t.Fatalf("mix at %v, now is %v", m.MixAt, q.Now)
			}
		}
		for _, l := range s.Loads {
			if l.Programme == "" || l.Bath == "bath 2" && len(q.Down) > 0 {
				t.Fatalf("%+v", l)
			}
			if p, ok := q.House.Programme(l.Programme); !ok || l.In != nil && l.Out != nil && l.Out.Sub(*l.In) < time.Duration(house.LengthS(p.Stages))*time.Second {
				t.Fatalf("%s from %v to %v is shorter than the programme", l.Programme, l.In, l.Out)
			}
		}
		rand.New(rand.NewPCG(q.Seed, 1)).Shuffle(len(q.Entries), func(i, j int) { q.Entries[i], q.Entries[j] = q.Entries[j], q.Entries[i] })
		again, err := q.Make(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		if other := write(again, func(d *Day, b *bytes.Buffer) error { return d.Text(b) }); other != text {
			t.Fatalf("in another order another plan:\n%s\n%s", text, other)
		}
	})
}

func rushDay() Question {
	q := Question{House: asReference(), RoomC: 23, Now: morning, Seed: 1}
	q.House.Programmes[2].Stages = []house.Stage{{TempC: 74, HoldS: 7200}, {TempC: 100, HoldS: 3600}} // three hours, as the reference days
	for _, s := range []string{"1001 medium A due tomorrow 17:00", "1002 large B due tomorrow 17:00", "1003 medium A due tomorrow 17:00", "1004 medium A due 17:00 rush",
		"1005 large B due 17:00 rush", "1006 medium B due tomorrow 17:00", "1007 medium A due 17:00 rush"} {
		e, err := parseCase(s, morning)
		if err != nil {
			panic(err)
		}
		q.Entries = append(q.Entries, e)
	}
	return q
}

// The reference's rush day 2: moving the large case due today makes the others safe.
func TestTheDayAsksForOneCaseLater(t *testing.T) {
	longrun.SkipUnderRace(t)
	d, err := rushDay().Make(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	s := d.Show()
	if s.Ask == nil || s.Ask.Case != "1005" || !s.Ask.To.Equal(time.Date(2026, 11, 26, 17, 0, 0, 0, berlin)) {
		t.Fatalf("%+v", s.Ask)
	}
	var b strings.Builder
	if err := d.Text(&b); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(b.String(), "ask for later"); n != 1 {
		t.Errorf("asks %d times:\n%s", n, b.String())
	}
}

func TestWhatIf(t *testing.T) {
	q := rushDay()
	q.Entries = q.Entries[3:5]
	c, err := q.Compare(context.Background(), []string{"without case 1005", "2 people"})
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Now.Cases) != 2 || len(c.Then.Cases) != 1 || c.Then.People != 2 || c.Now.People != 1 {
		t.Errorf("%+v", c)
	}
	var b strings.Builder
	if err := c.Text(&b); err != nil {
		t.Fatal(err)
	}
	for _, s := range []string{"what if: without case 1005; 2 people", "1004 ", "1005 ", "cost, points"} {
		if !strings.Contains(b.String(), s) {
			t.Errorf("%q is not in\n%s", s, b.String())
		}
	}
	for in, want := range map[string]string{
		"": "say", "0 presses": "say", "99 people": "say", "without case 9": "there is no case 9 to leave out", "case 1 small": "give number, size, resin and due",
		"without": "say", "press": "say",
	} {
		if _, err := q.Compare(context.Background(), []string{in}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", in, err, want)
		}
	}
	if _, err := q.Compare(context.Background(), []string{"without bath 9"}); err == nil || !strings.Contains(err.Error(), `no bath "bath 9"`) {
		t.Error(err)
	}
	if _, err := q.Compare(context.Background(), []string{"without bath 1"}); err == nil || !strings.Contains(err.Error(), "no bath is left") {
		t.Error(err)
	}
}

// The calendar is read back by a parser, its lines end as RFC 5545 (3.1) wants them and are no longer than 75 octets.
func TestCalendarOfThePlan(t *testing.T) {
	d, err := rushDay().Make(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := d.ICS(&b); err != nil {
		t.Fatal(err)
	}
	for _, l := range strings.Split(strings.TrimSuffix(b.String(), "\r\n"), "\r\n") {
		if len(l) > 75 || strings.ContainsAny(l, "\r\n") {
			t.Errorf("line %q", l)
		}
	}
	cal, err := ics.ParseCalendar(&b)
	if err != nil {
		t.Fatal(err)
	}
	s, ids := d.Show(), map[string]bool{}
	for _, e := range cal.Events() {
		if ids[e.Id()] {
			t.Errorf("UID %s twice", e.Id())
		}
		ids[e.Id()] = true
		if p := e.GetProperty(ics.ComponentPropertyStatus); p == nil || p.Value != "TENTATIVE" {
			t.Errorf("%s is not tentative", e.Id())
		}
	}
	if want := len(s.Mixes) + len(s.Loads) + len(s.Cases); len(ids) != want {
		t.Errorf("%d entries, want %d", len(ids), want)
	}
	empty := Question{House: house.Default(), RoomC: 23, Now: morning}
	none, err := empty.Make(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	if err := none.ICS(&b); err != errNothingPlanned {
		t.Error(err)
	}
}

// Hours are those of the clock on the wall, also over the night in which it is put back.
func TestHoursOverAClockChange(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 10, 24, 8, 0, 0, 0, zone) // a Saturday; the clock is put back in the night
	d := &Day{midnight: time.Date(2026, 10, 24, 0, 0, 0, 0, zone), Question: Question{Now: now}}
	due := time.Date(2026, 10, 26, 17, 0, 0, 0, zone)
	if got := d.minutes(due); got != 2*1440+1020 || !d.instant(got).Equal(due) {
		t.Errorf("%g min, %v", got, d.instant(got))
	}
}

// In the night in which the clocks go forward a programme that ends with the opening hour by the wall clock has an hour
// less than it takes: it is told as out when all of it is over. Clocks go back: out not before the opening hour.
func TestANightInWhichTheClocksChange(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	for _, day := range []time.Time{time.Date(2026, 3, 28, 9, 0, 0, 0, zone), time.Date(2026, 10, 24, 9, 0, 0, 0, zone)} {
		h := house.Default()
		h.Plan.Days, h.Plan.Day = "Mon Tue Wed Thu Fri Sat Sun", house.NoDayLoads
		h.Programmes[0].Stages = []house.Stage{{TempC: 74, HoldS: 14*3600 + 1800}}
		q := Question{House: h, RoomC: 23, Now: day, Seed: 1, Draws: 8, Days: 20, Entries: []Entry{{Case: "4417", Size: plan.Medium, Resin: "A", Due: day.AddDate(0, 0, 3)}}}
		q.Hours = [2]string{"09:00", "17:00"}
		d, err := q.Make(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range d.Show().Loads {
			if stay := l.Out.Sub(*l.In); stay < 14*time.Hour+30*time.Minute || l.Out.Hour() < 8 {
				t.Errorf("in %v, out %v: %v", l.In, l.Out, stay)
			}
			if x := d.Record("").Loads[0]; action.PlanInstant(x.Out).Sub(action.PlanInstant(x.In)) < 14*time.Hour+30*time.Minute {
				t.Errorf("recorded %+v", x)
			}
		}
	}
}
