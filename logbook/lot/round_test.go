package lot

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"pgregory.net/rapid"

	"flaskside/logbook/action"
)

const (
	set82  = `!"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz`
	alnum  = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
	letter = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
)

// chars draws a text of characters from a set.
func chars(t *rapid.T, name, set string, least, most int) string {
	return string(rapid.SliceOfN(rapid.SampledFrom([]byte(set)), least, most).Draw(t, name))
}

// near draws a date that a two-digit year tells for sure, seen from a year.
func near(t *rapid.T, name string, year int) Date {
	at := time.Date(rapid.IntRange(year-49, year+50).Draw(t, name+" year"), 1, 1, 0, 0, 0, 0, time.UTC)
	return DateOf(at.AddDate(0, 0, rapid.IntRange(0, 364).Draw(t, name+" day")))
}

func (d Date) format(layout string) string {
	return time.Date(d.Year, d.Month, d.Day, 12, 0, 0, 0, time.UTC).Format(layout)
}

func drawGTIN(t *rapid.T) string {
	before := chars(t, "gtin", "0123456789", 13, 13)
	// The rule the other way round than the program has it: from the left.
	sum := 0
	for i, c := range []byte(before) {
		sum += int(c-'0') * (3 - 2*(i%2))
	}
	return before + fmt.Sprint((1000-sum)%10)
}

// TestGS1Round builds element strings of parts, as a scanner sends them and as they
// are printed, and reads them back.
func TestGS1Round(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		year := rapid.IntRange(1950, 2150).Draw(t, "now")
		want := Lot{GTIN: drawGTIN(t), Lot: chars(t, "lot", set82, 1, 20), Serial: chars(t, "serial", set82, 1, 20), Made: near(t, "made", year), Expiry: near(t, "expiry", year)}
		es := rapid.Permutation([]element{
			{"01", want.GTIN}, {"10", want.Lot}, {"21", want.Serial}, {"11", want.Made.format("060102")}, {"17", want.Expiry.format("060102")},
			{"3103", chars(t, "weight", "0123456789", 6, 6)}, {"240", chars(t, "number", set82, 1, 30)}, {"20", "07"}, {"8005", chars(t, "price", "0123456789", 6, 6)},
		}).Draw(t, "order")
		sep := rapid.SampledFrom([]string{"\x1d", "\x1d\x1d", "␝", "{GS}", "{gs}", "<GS>", "[GS]", "{FNC1}", "<fnc1>", "[FNC1]", "^]", `\x1d`, `\X1D`, `\u001D`, "|", "~", "^"}).Draw(t, "separator")
		lone := rapid.Bool().Draw(t, "separator behind all")
		var scan, printed strings.Builder
		for i, e := range es {
			v := e.Value
			if strings.HasPrefix(sep, `\`) || strings.ContainsAny(sep, "<") {
				v = strings.NewReplacer("<", "-", `\`, "-").Replace(v) // or the value might write the separator itself
			}
			scan.WriteString(e.ID + v)
			if i < len(es)-1 && (lone || predefined(e.ID) == 0) {
				scan.WriteString(sep)
			}
			if v != e.Value {
				switch es[i].Value = v; e.ID {
				case "10":
					want.Lot = v
				case "21":
					want.Serial = v
				}
			}
		}
		for _, e := range es {
			printed.WriteString("(" + e.ID + ")" + strings.ReplaceAll(e.Value, "(", `\(`))
		}
		id := rapid.SampledFrom([]string{"]C1", "]d2", "]Q3", "]e0", "]J1"}).Draw(t, "identifier")
		end := rapid.SampledFrom([]string{"", "\r", "\n", "\r\n", "\t", " ", "\x04"}).Draw(t, "end")
		for _, s := range []string{id + scan.String() + end, "\x1d" + scan.String() + end, printed.String() + end, id + scan.String() + id + "10" + want.Lot} {
			got, err := Parse(s, year)
			if err != nil || got.Scheme != GS1 || got.GTIN != want.GTIN || got.Lot != want.Lot || got.Serial != want.Serial || got.Made != want.Made || got.Expiry != want.Expiry || len(got.Others) != 4 {
				t.Fatalf("%q in %d gives %+v, %v", s, year, got, err)
			}
			holdEntry(t, got, year)
		}
	})
}

// TestHIBCRound does the same for HIBC, in one symbol and in two.
func TestHIBCRound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		year := rapid.IntRange(1950, 2150).Draw(t, "now")
		want := Lot{
			LIC: chars(t, "first", letter, 1, 1) + chars(t, "lic", alnum, 3, 3), Product: chars(t, "product", alnum, 1, 18), Unit: chars(t, "unit", "0123456789", 1, 1),
			Expiry: near(t, "expiry", year),
		}
		// A lot that begins with a letter is no date behind a quantity.
		name := chars(t, "begin", letter, 1, 1) + chars(t, "lot", alnum+"-. $%", 0, 16) + chars(t, "end", alnum, 1, 1)
		e := want.Expiry
		julian := fmt.Sprintf("%s%03d", e.format("06"), time.Date(e.Year, e.Month, e.Day, 0, 0, 0, 0, time.UTC).YearDay())
		form := rapid.SampledFrom([]string{"MMYY", "2", "3", "4", "5", "6", "7", "none", "julian"}).Draw(t, "form")
		date := map[string]string{"MMYY": e.format("0106"), "2": "2" + e.format("010206"), "3": "3" + e.format("060102"), "4": "4" + e.format("060102") + "23", "5": "5" + julian, "6": "6" + julian + "00", "7": "7"}[form]
		switch form {
		case "MMYY":
			want.Expiry = DateOf(time.Date(e.Year, e.Month+1, 0, 0, 0, 0, 0, time.UTC))
		case "7", "none":
			want.Expiry = Date{}
		}
		secondary := ""
		quantity := rapid.SampledFrom([]string{"", "842", "900042"}).Draw(t, "quantity")
		serial := form != "julian" && rapid.Bool().Draw(t, "serial")
		switch {
		case form == "julian":
			secondary = julian
		case form == "none":
			secondary = "$"
		default:
			secondary = "$$"
		}
		if serial {
			secondary += "+"
			want.Serial = name
		} else {
			want.Lot = name
		}
		if strings.HasPrefix(secondary, "$$") {
			secondary += quantity + date
		}
		secondary += name
		primary := "+" + want.LIC + want.Product + want.Unit
		check := func(s string) string {
			c, err := checkChar(s)
			if err != nil {
				t.Fatal(err)
			}
			return s + string(rune(c))
		}
		first := check(primary)
		second := check("+" + secondary + first[len(first)-1:])
		for _, s := range []string{check(primary + "/" + secondary), first + second, first + "\r\n" + second, second + "\n" + first} {
			got, err := Parse(s, year)
			if err != nil || got.Scheme != HIBC || got.LIC != want.LIC || got.Product != want.Product || got.Unit != want.Unit || got.Lot != want.Lot || got.Serial != want.Serial || got.Expiry != want.Expiry {
				t.Fatalf("%q in %d gives %+v, %v; want %+v", s, year, got, err, want)
			}
			holdEntry(t, got, year)
		}
		got, err := Parse(second, year)
		if err != nil || got.LIC != "" || got.Lot != want.Lot || got.Serial != want.Serial || got.Expiry != want.Expiry {
			t.Fatalf("%q in %d gives %+v, %v; want %+v", second, year, got, err, want)
		}
		holdEntry(t, got, year)
		// Another product's code does not go with it.
		other := check("+Z999" + want.Product + want.Unit)
		if other[len(other)-1] != first[len(first)-1] {
			if got, err := Parse(other+"\n"+second, year); err == nil {
				t.Fatalf("%q and %q were joined: %+v", other, second, got)
			}
		}
	})
}

// holdEntry holds what is written into the book: it reads back to the same lot, in
// any year from which the dates of the code are the same.
func holdEntry(t interface {
	Fatalf(string, ...any)
}, l Lot, year int) {
	entry := l.Entry()
	if entry == "" {
		if l.Lot != "" || l.Serial != "" || !l.Expiry.IsZero() || l.GTIN != "" || l.LIC != "" {
			t.Fatalf("there is nothing to write of %+v", l)
		}
		return
	}
	back, err := Parse(entry, year)
	same := err == nil && utf8.RuneCountInString(entry) <= maxText && back.Scheme == l.Scheme && back.GTIN == l.GTIN && back.LIC == l.LIC && back.Product == l.Product &&
		back.Lot == l.Lot && (l.Lot != "" || back.Serial == l.Serial) && back.Expiry == l.Expiry
	if !same {
		t.Fatalf("%+v is written as %q, which gives %+v, %v", l, entry, back, err)
	}
	if l.Name() != "" && Compare(l, back) != Same {
		t.Fatalf("%+v and its entry %q do not compare the same", l, entry)
	}
	// Whatever compares with it may be meant by its texts: also a part of its name, or more than it.
	x := []rune(l.Name())
	texts := []string{"A1" + l.Name(), l.Name() + "-77"}
	for i := range x {
		texts = append(texts, string(x[i:]), string(x[:i+1]))
	}
	for _, text := range texts {
		asked := Lot{Scheme: Text, Lot: text}
		for _, said := range []string{l.Raw, entry} {
			if Compare(asked, l) != Different && !asked.May(said) {
				t.Fatalf("%q compares with %+v, and %q may not mean it", text, l, said)
			}
		}
	}
}

// TestOneWrong: a slip in one place is always found, but where the code could have
// lost a check character that is a space, which is warned about.
func TestOneWrong(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := []byte(drawGTIN(t))
		i := rapid.IntRange(0, 13).Draw(t, "place")
		slip := rapid.SampledFrom([]byte("0123456789")).Filter(func(c byte) bool { return c != g[i] }).Draw(t, "slip")
		g[i] = slip
		if got, err := Parse("(01)"+string(g)+"(10)A", now); err == nil {
			t.Fatalf("the GTIN of %+v was taken", got)
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		code := "+" + chars(t, "first", letter, 1, 1) + chars(t, "lic", alnum, 3, 3) + chars(t, "product", alnum, 1, 18) + chars(t, "unit", "0123456789", 1, 1)
		if rapid.Bool().Draw(t, "combined") {
			code += "/$$3280213" + chars(t, "lot", alnum, 1, 18)
		}
		c, err := checkChar(code)
		if err != nil {
			t.Fatal(err)
		}
		b := []byte(code + string(rune(c)))
		i := rapid.IntRange(1, len(b)-1).Draw(t, "place")
		b[i] = rapid.SampledFrom([]byte(alnum)).Filter(func(c byte) bool { return c != b[i] }).Draw(t, "slip")
		if got, err := Parse(string(b), now); err == nil && !strings.Contains(strings.Join(got.Warnings, " "), "got lost") {
			t.Fatalf("%q was taken as %+v", b, got)
		}
	})
}

// TestTyped: what a person types as a lot stays as it is.
func TestTyped(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := chars(t, "lot", alnum+"abc-/. ", 1, 20)
		got, err := Parse("  "+s+" \r", now)
		want := strings.TrimSpace(s)
		if want == "" || len(want) >= 16 && strings.HasPrefix(want, "01") {
			return
		}
		if err != nil || got.Scheme != Text || got.Lot != want || got.Entry() != want {
			t.Fatalf("%q gives %+v, %v", s, got, err)
		}
	})
}

func TestJSON(t *testing.T) {
	l, err := Parse("(01)03453120000011(17)120508(10)ABCD1234", now)
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(l)
	if err != nil {
		t.Fatal(err)
	}
	const want = `{"scheme":"gs1","gtin":"03453120000011","lot":"ABCD1234","expiry":"2012-05-08","raw":"(01)03453120000011(17)120508(10)ABCD1234"}`
	if string(b) != want {
		t.Errorf("JSON is %s, want %s", b, want)
	}
	var back Lot
	if err := json.Unmarshal(b, &back); err != nil || back.Expiry != l.Expiry || back.Lot != l.Lot {
		t.Errorf("it reads back as %+v, %v", back, err)
	}
	if err := json.Unmarshal([]byte(`{"expiry":"8.5.2012"}`), &back); err == nil {
		t.Error("8.5.2012 was taken for a date")
	}
}

func TestExpired(t *testing.T) {
	l := Lot{Expiry: d(2026, 11, 25)}
	for day, want := range map[Date]bool{d(2026, 11, 24): false, d(2026, 11, 25): false, d(2026, 11, 26): true, d(2026, 12, 1): true, d(2027, 1, 1): true, d(2025, 12, 31): false} {
		if got := l.Expired(day); got != want {
			t.Errorf("on %s expired is %v, want %v", day, got, want)
		}
	}
	if (Lot{}).Expired(d(2026, 1, 1)) {
		t.Error("a lot without an expiry is expired")
	}
	// The date is that of the clocks on the wall, not of UTC.
	late := time.Date(2026, 11, 25, 23, 30, 0, 0, time.FixedZone("", -5*3600))
	if got := DateOf(late); got != d(2026, 11, 25) {
		t.Errorf("half past eleven at night is %s", got)
	}
}

func TestCompare(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want Likeness
	}{
		{"P-118", "P-118", Same},
		{"P-118", "p118", Alike},
		{"P-118", "LOT P 118", Alike},
		{"P-118", "P-119", Different},
		{"118", "P-118", Different}, // too short to look for inside
		{"ABCD1234", "(01)03453120000011(17)120508(10)ABCD1234", Same},
		{"(01)03453120000011(10)ABCD1234", "]C1" + "0103453120000011" + "10ABCD1234\x1d17120508", Same},
		{"(01)03453120000011(10)ABCD1234", "(01)04012345678901(10)ABCD1234", Different}, // another product
		{"(10)abcd1234", "(10)ABCD1234", Alike},
		{"1728123110ABCD1234", "ABCD1234", Alike}, // a scan kept as typed
		{"+A99912345/$$52001510X33", "10X3", Same},
		{"+A99912345/$$52001510X33", "+A99912345/$10X3/16D20111231/14D202001313", Same},
		{"+A99912345/$$52001510X33", "+A123BJC5D6E71G+$$52001510X3GD", Different},
		{"+$$52001510X3GD", "+A99912345/$$52001510X33", Same},
		{"+A123BJC5D6E71G", "+A123BJC5D6E71G", Different}, // no lot at all
		{"--", "-", Different},
	} {
		a, err := Parse(c.a, now)
		if err != nil {
			t.Fatal(err)
		}
		b, err := Parse(c.b, now)
		if err != nil {
			t.Fatal(err)
		}
		if got, back := Compare(a, b), Compare(b, a); got != c.want || back != c.want {
			t.Errorf("%q and %q are %q, the other way round %q; want %q", c.a, c.b, got, back, c.want)
		}
	}
}

func TestParseRefused(t *testing.T) {
	for scan, want := range map[string]string{
		"":                        "there is no code",
		" \r\n":                   "there is no code",
		"]C0":                     "there is no code",
		"\x00":                    "there is no code",
		"A\xff":                   "not UTF-8",
		"A\x07B":                  "cannot be shown (U+0007)",
		"A\u202eB":                "cannot be shown (U+202E)",
		"A\ufe0f":                 "cannot be shown (U+FE0F)",
		strings.Repeat("A", 61):   "at most 60 characters, this has 61",
		strings.Repeat("A", 7090): "at most 7089 characters",
		"A\nB\nC\nD\nE":           "5 lines",
		"A\nB":                    "do not belong together",
	} {
		if got, err := Parse(scan, now); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q gives %+v, %v; want an error with %q", scan, got, err, want)
		}
	}
	for _, year := range []int{-1, 0, 1899, 9001} {
		if _, err := Parse("A", year); err == nil {
			t.Errorf("the year %d was taken", year)
		}
	}
}

// FuzzParse throws any text at Parse. What it takes must be clean, and must read
// back from what is written into the book.
func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"P-118", "(01)03453120000011(17)120508(10)ABCD1234(410)9501101020917", "]C1010345312000001117120508" + "10ABCD1234\x1d4109501101020917\r",
		"]E04012345678901", "+A123BJC5D6E71G", "+A99912345/$$52001510X3/16D20111212/S77DEFG457", "+A123BJCMD6E79++$$52001510X3+ ", "*+A123BJC5D6E71G*\n*+$$52001510X3GD*",
		`(10)A\(17)B`, "1728123110LOT5", "10A|17281231", "]D210A{GS}21B", "[)>\x1e06", "https://example.org",
	} {
		f.Add(s, 2026)
	}
	f.Fuzz(func(t *testing.T, scan string, year int) {
		l, err := Parse(scan, year)
		clean := func(s string) {
			if strings.ContainsFunc(s, unicode.IsControl) || !utf8.ValidString(s) || utf8.RuneCountInString(s) > maxText {
				t.Fatalf("%q gives %q", scan, s)
			}
		}
		if err != nil {
			if strings.ContainsFunc(err.Error(), unicode.IsControl) || len(err.Error()) > 400 {
				t.Fatalf("%q: the error %q is not a line", scan, err)
			}
			return
		}
		for _, s := range append([]string{l.GTIN, l.LIC, l.Product, l.Unit, l.Lot, l.Serial, l.Entry()}, "") {
			clean(s)
		}
		if err := (action.Coat{Flask: 1, Half: "both", Lot: l.Entry()}).Valid(); err != nil {
			t.Fatalf("%q: the book does not take the entry %q: %v", scan, l.Entry(), err)
		}
		for _, w := range l.Warnings {
			if strings.ContainsFunc(w, unicode.IsControl) {
				t.Fatalf("%q: the warning %q is not a line", scan, w)
			}
		}
		for _, day := range []Date{l.Made, l.Expiry} {
			if !day.IsZero() && DateOf(time.Date(day.Year, day.Month, day.Day, 0, 0, 0, 0, time.UTC)) != day {
				t.Fatalf("%q gives the date %s", scan, day)
			}
		}
		if l.GTIN != "" && (len(l.GTIN) != 14 || !checkDigitHolds(l.GTIN)) {
			t.Fatalf("%q gives the GTIN %q", scan, l.GTIN)
		}
		if l.Lot == "" && len(l.Warnings) == 0 {
			t.Fatalf("%q gives no lot and no word of it", scan)
		}
		if l.Scheme == Text {
			return // one line as typed may be read otherwise when it comes again
		}
		holdEntry(t, l, year)
	})
}

func BenchmarkParse(b *testing.B) {
	for name, s := range map[string]string{
		"gs1": "]C1010345312000001117120508" + "10ABCD1234\x1d4109501101020917", "hibc": "+A99912345/$$52001510X3/16D20111212/S77DEFG457", "text": "P-118", "longest": "]C1" + strings.Repeat("10A\x1d", 1771),
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Parse(s, now); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
