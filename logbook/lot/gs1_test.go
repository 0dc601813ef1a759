package lot

import (
	"encoding/json"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"
)

const now = 2026

// d is a date for tests.
func d(y, m, day int) Date { return Date{y, time.Month(m), day} }

func TestCheckDigit(t *testing.T) {
	for _, c := range []struct {
		before string
		want   int
		source string
	}{
		{"629104150021", 3, "gs1.org, how to calculate a check digit (sum 57)"},
		{"890400021003", 7, "gs1india.org (sum 63)"},
		{"730001100001", 7, "gs1.se (sum 23)"},
		{"501234567890", 0, "gs1uk, its example number"},
		{"0345312000001", 1, "morovia.com, example GTIN 03453120000011"},
		{"950110102091", 7, "morovia.com, example GLN 9501101020917"},
	} {
		if got, err := checkDigit(c.before); err != nil || got != c.want {
			t.Errorf("CheckDigit(%s) = %d, %v; want %d (%s)", c.before, got, err, c.want, c.source)
		}
	}
	for _, bad := range []string{"", "12a", "1 2", "٣"} {
		if _, err := checkDigit(bad); err == nil {
			t.Errorf("CheckDigit(%q) was taken", bad)
		}
	}
}

// TestCentury holds the sliding rule of GS1 General Specifications 7.12.
func TestCentury(t *testing.T) {
	for _, c := range []struct{ yy, now, want int }{
		// Worked by hand from the rule, current year 2026: differences 50, 51, 73,
		// -26, 0, 49.
		{76, 2026, 2076}, {77, 2026, 1977}, {99, 2026, 1999}, {0, 2026, 2000}, {26, 2026, 2026}, {75, 2026, 2075},
		// The other edge: a difference of -50 is the next century, -49 this one.
		{0, 2050, 2100}, {1, 2050, 2001}, {49, 2099, 2149}, {50, 2099, 2050}, {0, 2099, 2100}, {99, 2100, 2099}, {51, 2000, 1951}, {50, 2000, 2050},
	} {
		if got := century(c.yy, c.now); got != c.want {
			t.Errorf("century(%02d) in %d = %d, want %d", c.yy, c.now, got, c.want)
		}
	}
}

func TestGS1(t *testing.T) {
	morovia := Lot{GTIN: "03453120000011", Expiry: d(2012, 5, 8), Lot: "ABCD1234"}
	both := Lot{GTIN: "12345678909879", Serial: "123456", Expiry: d(2012, 4, 28), Lot: "123456"}
	for _, c := range []struct {
		scan, source string
		want         Lot
	}{
		{"(01)03453120000011(17)120508(10)ABCD1234(410)9501101020917", "morovia.com, as printed", morovia},
		{"010345312000001117120508" + "10ABCD1234\x1d4109501101020917", "morovia.com, as scanned", morovia},
		{"]C1010345312000001117120508" + "10ABCD1234\x1d4109501101020917\r", "with identifier and Enter", morovia},
		// easymanua.ls gives (01)12345678909876(21)123456 GS (17)120428(10)123456; its
		// GTIN has a wrong check digit and stands here with the right one.
		{"01123456789098792" + "1123456\x1d1712042810123456", "easymanua.ls, separator behind the serial", both},
		{"]d201123456789098792" + "1123456{GS}17120428\x1d10123456\x1d", "a separator where none is needed", both},
		{"\x1d01123456789098792" + "1123456|1712042810123456", "FNC1 in front sent as GS", both},
		{"]Q301123456789098792" + `1123456\x1d1712042810123456`, "GS typed out", both},
		{"]e001123456789098792" + "1123456^]1712042810123456", "GS as Ctrl+]", both},
		{"^01123456789098792" + "1123456^1712042810123456", "FNC1 as ^", both},
		{"]C1" + "011234567890987921123456]C11712042810123456", "two symbols in one go", both},
		{"]C1" + "011234567890987921123456\r\n]C11712042810123456\r\n", "two symbols, a line each", both},
		{" ( 01", "no bracketed AI", Lot{Scheme: Text, Lot: "( 01"}},
		{"(01) 12345678909879 (17) 120428 (10) 123456 (21) 123456", "blanks as printed", both},
		{`(10)A\(17)B(17)120428`, "a bracket within a lot", Lot{Lot: "A(17)B", Expiry: d(2012, 4, 28)}},
		{"(10)A(X)B", "brackets that are no AI", Lot{Lot: "A(X)B"}},
		{"]C110LOT\x1d11260229", "made on a day that was not", Lot{}},
		{"]C11126020010LOT", "day 00 of AI 11", Lot{Made: d(2026, 2, 28), Lot: "LOT"}},
		{"]C11728020010LOT", "day 00 of a leap year", Lot{Expiry: d(2028, 2, 29), Lot: "LOT"}},
		{"]C11799020010LOT", "day 00 in 1999", Lot{Expiry: d(1999, 2, 28), Lot: "LOT"}},
		{"]C13103001250" + "10LOT", "unknown of predefined length, AI of four digits", Lot{Lot: "LOT"}},
		{"]C104123456789012345" + "\x1d10LOT", "04 has 18 (General Specifications, Figure 7.8.5-2)", Lot{}},
		{"]C1041234567890123456" + "10LOT", "04 has 18 (General Specifications, Figure 7.8.5-2)", Lot{Lot: "LOT"}},
		{"]C119123456" + "10LOT", "19 has 8", Lot{Lot: "LOT"}},
		{"]C12001" + "10LOT", "20 has 4", Lot{Lot: "LOT"}},
		{"]C100123456789012345678" + "10LOT", "00 has 20", Lot{Lot: "LOT"}},
		{"]C18005001250\x1d" + "10LOT", "an AI of four digits up to the separator", Lot{Lot: "LOT"}},
		{"]C191" + strings.Repeat("x", 90) + "\x1d10LOT", "the longest value there is", Lot{Lot: "LOT"}},
		{"]E04012345678901", "EAN-13", Lot{GTIN: "04012345678901"}},
		{"]E0012345678905", "UPC-A sent with 12 digits", Lot{GTIN: "00012345678905"}},
		{"]E496385074", "EAN-8, 9638507 with check digit 4: worked by hand", Lot{GTIN: "00000096385074"}},
		{"]C1" + `10!"%&'()*+,-./_:;<=>?`, "signs of character set 82", Lot{Lot: `!"%&'()*+,-./_:;<=>?`}},
		{"]c1" + "10LOT", "identifier in the other case", Lot{Lot: "LOT"}},
	} {
		got, err := Parse(c.scan, now)
		if c.want.Scheme == "" && c.want.Lot == "" && c.want.GTIN == "" {
			if err == nil {
				t.Errorf("%q was read as %+v (%s)", c.scan, got, c.source)
			}
			continue
		}
		if c.want.Scheme == "" {
			c.want.Scheme = GS1
		}
		if err != nil || got.Scheme != c.want.Scheme || got.GTIN != c.want.GTIN || got.Lot != c.want.Lot || got.Serial != c.want.Serial || got.Made != c.want.Made || got.Expiry != c.want.Expiry {
			t.Errorf("%q gives %+v, %v; want %+v (%s)", c.scan, got, err, c.want, c.source)
		}
	}
}

// TestEqualExpiry: 210331 and 210300 mean the same date (General Specifications,
// AI 17).
func TestEqualExpiry(t *testing.T) {
	a, err := Parse("(17)210331(10)A", now)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Parse("(17)210300(10)A", now)
	if err != nil || a.Expiry != b.Expiry || a.Expiry != d(2021, 3, 31) {
		t.Errorf("%v and %v (%v) are not both 2021-03-31", a.Expiry, b.Expiry, err)
	}
}

func TestListed(t *testing.T) {
	got, err := Parse("(01)03453120000011(17)120508(10)ABCD1234(410)9501101020917(3103)001250", now)
	if err != nil || len(got.Others) != 2 || got.Others[0] != (element{"410", "9501101020917"}) || got.Others[1] != (element{"3103", "001250"}) {
		t.Errorf("what is not read is listed as %v (%v)", got.Others, err)
	}
}

func TestGS1Refused(t *testing.T) {
	for scan, want := range map[string]string{
		"]C1":                                  "nothing behind the symbology identifier",
		"]C1ABC":                               "AI of 2 to 4 digits in front",
		"]C1" + "05123":                        "no AI begins with 05",
		"]C1" + "0103453120000012":             "check digit 2, 1 would be right",
		"0103453120000012" + "10AB":            "check digit 2, 1 would be right",
		"]C1" + "01034531":                     "GTIN (AI 01) has 14 digits, this has 6",
		"(01)3453120000011(10)A":               "put zeros in front",
		"(01)003453120000011(10)A":             "15 digits, not 14",
		"]C1" + "17121308":                     "no month 13",
		"]C1" + "17120532":                     "2012-05 has 31 days, not 32",
		"]C1" + "17250229":                     "2025-02 has 28 days, not 29",
		"]C1" + "17000000":                     "no month 0",
		"]C1" + "1712O508":                     "YYMMDD",
		"]C1" + "10" + strings.Repeat("A", 21): "at most 20 characters, this has 21: has the scanner left out the separator",
		"]C1" + "10\x1d17120508":               "it is empty",
		"]C1" + "10AB\x1d10CD":                 "lot (AI 10) is there twice",
		"]C1" + "10AÖ":                         "which no GS1 code can",
		"]C1" + "10A B":                        "which no GS1 code can",
		"]C1" + "310":                          "begins with 31 has 4 digits",
		"]C1" + "20A1":                         "AI 20: it has 2 digits",
		"]C1" + "91" + strings.Repeat("x", 91): "at most 90 characters",
		"(17)120508 10 ABC":                    "YYMMDD",
		"(10)AB(05)":/* no AI: part of the lot */ "",
		"]E04012345678902":           "check digit 2, 1 would be right",
		"]E0401234567890":            "check digit 0, 3 would be right",
		"]E040123456789012":          "8, 12 or 13 digits",
		"]E0ABC":                     "8, 12 or 13 digits",
		"[)>\x1e06\x1d9NMYC\x1e\x04": "ISO/IEC 15434",
		"https://example.org/01/03453120000011/10/AB": "web address",
	} {
		got, err := Parse(scan, now)
		if want == "" {
			if err != nil {
				t.Errorf("%q was refused: %v", scan, err)
			}
			continue
		}
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q gives %+v, %v; want an error with %q", scan, got, err, want)
		} else if strings.ContainsAny(err.Error(), "\n\x1d") {
			t.Errorf("the error %q is not a single line", err)
		}
		if err != nil && got.Raw == "" {
			t.Errorf("%q: what came is lost", scan)
		}
	}
}

func TestWarnings(t *testing.T) {
	for scan, want := range map[string]string{
		"]D2" + "17281231" + "10LOT":   "Caps Lock",
		"]C1" + "0103453120000011":     "names no lot",
		"]C1" + "10LOT517281231":       "reads as expiry (AI 17)",
		"]C1" + "10LOT\x1d21A11260101": "reads as date of making (AI 11)",
		"]C1" + "10LOT\x1d15280101":    "best before 280101",
		"4012345678901":                "reads as a product number (GTIN)",
		"1728123110LOT5":               "reads as (17)281231(10)LOT5",
		"+a123bjc5d6e71g":              "small letters",
		"+A123BJC5D6E71G":              "names no lot",
	} {
		got, err := Parse(scan, now)
		if err != nil || !strings.Contains(strings.Join(got.Warnings, "\n"), want) {
			t.Errorf("%q warns %q, %v; want %q", scan, got.Warnings, err, want)
		}
	}
	for _, scan := range []string{
		"]C1" + "10LOT5\x1d17281231", "(17)281231(10)LOT5", "P-118", "17281231", "]C1" + "17281231" + "10LOT517281231", "20261125",
		"+A99912345/$$52001510X33",
	} {
		if got, err := Parse(scan, now); err != nil || len(got.Warnings) > 0 {
			t.Errorf("%q warns %q, %v; want none", scan, got.Warnings, err)
		}
	}
}

// TestReference holds the reading to other people's programs; which, the file says.
func TestReference(t *testing.T) {
	raw, err := os.ReadFile("testdata/reference.json")
	if err != nil {
		t.Fatal(err)
	}
	var ref struct {
		CheckDigits [][2]string `json:"check_digits"`
		HIBC        []string    `json:"hibc"`
		GS1         []struct {
			Scan  string      `json:"scan"`
			Items [][2]string `json:"items"`
		} `json:"gs1"`
	}
	if err := json.Unmarshal(raw, &ref); err != nil {
		t.Fatal(err)
	}
	if len(ref.CheckDigits) < 40 || len(ref.HIBC) < 60 || len(ref.GS1) < 60 {
		t.Fatal("reference cases are missing")
	}
	for _, c := range ref.CheckDigits {
		if got, err := checkDigit(c[0]); err != nil || strconv.Itoa(got) != c[1] {
			t.Errorf("CheckDigit(%s) = %d, %v; want %s", c[0], got, err, c[1])
		}
	}
	for _, code := range ref.HIBC {
		before := code[:len(code)-1]
		want := code[len(code)-1]
		if got, err := checkChar(before); err != nil || got != want {
			t.Errorf("CheckChar(%s) = %q, %v; want %q", before, got, err, want)
		}
		if _, err := Parse(code, now); err != nil {
			t.Errorf("%s: %v", code, err)
		}
	}
	for _, c := range ref.GS1 {
		l, err := Parse(c.Scan, now)
		if err != nil || len(l.elements) != len(c.Items) {
			t.Errorf("%q gives %v, %v; want %v", c.Scan, l.elements, err, c.Items)
			continue
		}
		for i, it := range c.Items {
			e := l.elements[i]
			want := it[1]
			got := e.Value
			switch e.ID {
			case "17":
				got = l.Expiry.String()
			case "11":
				got = l.Made.String()
			case "15":
				made, err := reckon("YYMMDD", e.Value, now)
				if err != nil {
					t.Fatal(err)
				}
				got = made.String()
			case "3103": // told as a weight there
				n, err := strconv.ParseFloat(want, 64)
				if err != nil {
					t.Fatal(err)
				}
				want = strconv.FormatFloat(n*1000, 'f', 0, 64)
				got = strings.TrimLeft(got, "0")
			}
			if e.ID != it[0] || got != want {
				t.Errorf("%q: element %d is (%s)%s, want (%s)%s", c.Scan, i, e.ID, got, it[0], want)
			}
		}
	}
}
