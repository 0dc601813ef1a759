package lot

import (
	"strings"
	"testing"
)

func TestCheckChar(t *testing.T) {
	for _, c := range []struct {
		before string
		want   byte
		source string
	}{
		{"+A123BJC5D6E71", 'G', "ANSI/HIBC 2.6, Appendix B (sum 145): the + is in the sum"},
		{"+A1234BJC5D6E71", 'K', "esatclear.ie, page on HIBC (sum 149)"},
		{"07000503", 'F', "a barcode reader's manual (sum 15)"},
		{"+$$52001510X3G", 'D', "ANSI/HIBC 2.6, section 4.3.2"},
		{"+A99912345/$$52001510X3", '3', "ANSI/HIBC 2.6, section 2.2.1.1"},
		{"+/EO523201", '3', "ANSI/HIBC 1.3 (provider), section 2.2"},
		{"+$$52001510X3+", ' ', "zint 2.11.1"},
	} {
		if got, err := checkChar(c.before); err != nil || got != c.want {
			t.Errorf("CheckChar(%s) = %q, %v; want %q (%s)", c.before, got, err, c.want, c.source)
		}
	}
}

// TestHIBC: the codes with A123, A999 and J123 are examples of ANSI/HIBC 2.6, and of
// the test data of open-source parsers made after it; the others have their check
// character from CheckChar, which the reference cases hold.
func TestHIBC(t *testing.T) {
	with := func(before string) string {
		c, err := checkChar(before)
		if err != nil {
			t.Fatal(err)
		}
		return before + string(rune(c))
	}
	a999 := Lot{LIC: "A999", Product: "1234", Unit: "5", Lot: "10X3", Expiry: d(2020, 1, 15)}
	for _, c := range []struct {
		scan string
		want Lot
	}{
		{"+A123BJC5D6E71G", Lot{LIC: "A123", Product: "BJC5D6E7", Unit: "1"}},
		{"*+A123BJC5D6E71G*", Lot{LIC: "A123", Product: "BJC5D6E7", Unit: "1"}},
		{"+$$52001510X3GD", Lot{Lot: "10X3", Expiry: d(2020, 1, 15)}},
		{"+A99912345/$$52001510X33", a999},
		{"*+A99912345/$$52001510X33*\r", a999},
		{"]C0+A99912345/$$52001510X33", a999},
		{"]d1+a99912345/$$52001510x33\t", a999},
		{"+A99912345/$$52001510X3/16D20111212/S77DEFG457", Lot{LIC: "A999", Product: "1234", Unit: "5", Lot: "10X3", Expiry: d(2020, 1, 15), Made: d(2011, 12, 12), Serial: "77DEFG45"}},
		{"+A99912345/$10X3/16D20111231/14D202001313", Lot{LIC: "A999", Product: "1234", Unit: "5", Lot: "10X3", Expiry: d(2020, 1, 31), Made: d(2011, 12, 31)}},
		{"+A99912349/$10X3/16D20111231/14D20200131/Q500Z", Lot{LIC: "A999", Product: "1234", Unit: "9", Lot: "10X3", Expiry: d(2020, 1, 31), Made: d(2011, 12, 31)}},
		{"+J123AQ3451/$$3231231BC34567/S4012R", Lot{LIC: "J123", Product: "AQ345", Unit: "1", Lot: "BC34567", Expiry: d(2023, 12, 31), Serial: "4012"}},
		{"+A123ABCDEFGHI1234567891/$$420020216LOT123456789012345/SXYZ456789012345678/16D20130202$",
			Lot{LIC: "A123", Product: "ABCDEFGHI123456789", Unit: "1", Lot: "LOT123456789012345", Expiry: d(2020, 2, 2), Made: d(2013, 2, 2), Serial: "XYZ456789012345678"}},
		{"+A99912345/$$81210X3/16D20111212/14D20200906/S77DEFG45$", Lot{LIC: "A999", Product: "1234", Unit: "5", Lot: "10X3", Expiry: d(2020, 9, 6), Made: d(2011, 12, 12), Serial: "77DEFG45"}},
		{"+A99912345/$$90234510X3/16D20111212/14D20200906/S77DEFG458", Lot{LIC: "A999", Product: "1234", Unit: "5", Lot: "10X3", Expiry: d(2020, 9, 6), Made: d(2011, 12, 12), Serial: "77DEFG45"}},
		{"+J123AQ3451/25330BC34567/S4012X", Lot{LIC: "J123", Product: "AQ345", Unit: "1", Lot: "BC34567", Expiry: d(2025, 11, 26), Serial: "4012"}},
		{"+J123AQ3451/$$1125BC34567/S4012L", Lot{LIC: "J123", Product: "AQ345", Unit: "1", Lot: "BC34567", Expiry: d(2025, 11, 30), Serial: "4012"}},
		{"+J123AQ3451/$$0125BC34567/S4012K", Lot{LIC: "J123", Product: "AQ345", Unit: "1", Lot: "BC34567", Expiry: d(2025, 1, 31), Serial: "4012"}},
		// Two symbols in one go.
		{"+A123BJC5D6E71G+$$52001510X3GD", Lot{LIC: "A123", Product: "BJC5D6E7", Unit: "1", Lot: "10X3", Expiry: d(2020, 1, 15)}},
		{"+A123BJC5D6E71G\r\n+$$52001510X3GD\r\n", Lot{LIC: "A123", Product: "BJC5D6E7", Unit: "1", Lot: "10X3", Expiry: d(2020, 1, 15)}},
		{"+$$52001510X3GD+A123BJC5D6E71G", Lot{LIC: "A123", Product: "BJC5D6E7", Unit: "1", Lot: "10X3", Expiry: d(2020, 1, 15)}},
		{"+A123BJC5D6E71G+2001510X3GG", Lot{LIC: "A123", Product: "BJC5D6E7", Unit: "1", Lot: "10X3", Expiry: d(2020, 1, 15)}},
		{"+A123BJC5D6E71G+$$710X3G7", Lot{LIC: "A123", Product: "BJC5D6E7", Unit: "1", Lot: "10X3"}},
		{"+A123BJC5D6E71G+$$+52001510X3GB", Lot{LIC: "A123", Product: "BJC5D6E7", Unit: "1", Serial: "10X3", Expiry: d(2020, 1, 15)}},
		// A link character that is +, and a check character that is a space: sent,
		// lost, and as printed.
		{"+A123BJCMD6E79++$$52001510X3+ ", Lot{LIC: "A123", Product: "BJCMD6E7", Unit: "9", Lot: "10X3", Expiry: d(2020, 1, 15)}},
		{"+A123BJCMD6E79++$$52001510X3+", Lot{LIC: "A123", Product: "BJCMD6E7", Unit: "9", Lot: "10X3", Expiry: d(2020, 1, 15)}},
		{"+A123BJCMD6E79++$$52001510X3+_", Lot{LIC: "A123", Product: "BJCMD6E7", Unit: "9", Lot: "10X3", Expiry: d(2020, 1, 15)}},
		// Every announcement of a date and a quantity.
		{with("+$$0228LOT1G"), Lot{Lot: "LOT1", Expiry: d(2028, 2, 29)}},
		{with("+$$2021328LOT1G"), Lot{Lot: "LOT1", Expiry: d(2028, 2, 13)}},
		{with("+$$3280213LOT1G"), Lot{Lot: "LOT1", Expiry: d(2028, 2, 13)}},
		{with("+$$428021323LOT1G"), Lot{Lot: "LOT1", Expiry: d(2028, 2, 13)}},
		{with("+$$528366LOT1G"), Lot{Lot: "LOT1", Expiry: d(2028, 12, 31)}},
		{with("+$$62836600LOT1G"), Lot{Lot: "LOT1", Expiry: d(2028, 12, 31)}},
		{with("+$$7LOT1G"), Lot{Lot: "LOT1"}},
		{with("+$$8243280213LOT1G"), Lot{Lot: "LOT1", Expiry: d(2028, 2, 13)}},
		{with("+$$9000247LOT1G"), Lot{Lot: "LOT1"}},
		{with("+$$824LOT1G"), Lot{Lot: "LOT1"}},
		{with("+$$8241228LOT1G"), Lot{Lot: "LOT1", Expiry: d(2028, 12, 31)}},
		{with("+$LOT1G"), Lot{Lot: "LOT1"}},
		{with("+$+SER1G"), Lot{Serial: "SER1"}},
		{with("+$$+3280213SER1G"), Lot{Serial: "SER1", Expiry: d(2028, 2, 13)}},
		{with("+28044LOT1G"), Lot{Lot: "LOT1", Expiry: d(2028, 2, 13)}},
		{with("+28044G"), Lot{Expiry: d(2028, 2, 13)}},
		{with("+$$3280200LOT1G"), Lot{Lot: "LOT1", Expiry: d(2028, 2, 29)}},
		{with("+A99912345/+$LOT1/14D20280213"), Lot{LIC: "A999", Product: "1234", Unit: "5", Lot: "LOT1", Expiry: d(2028, 2, 13)}},
		{with("+A99912345/$$3280213LOT1/14D20280213"), Lot{LIC: "A999", Product: "1234", Unit: "5", Lot: "LOT1", Expiry: d(2028, 2, 13)}},
		{with("+$$7LOT-1.2/"), Lot{Lot: "LOT-1.2"}}, // the link character is a /
	} {
		got, err := Parse(c.scan, now)
		if err != nil || got.Scheme != HIBC || got.LIC != c.want.LIC || got.Product != c.want.Product || got.Unit != c.want.Unit ||
			got.Lot != c.want.Lot || got.Serial != c.want.Serial || got.Made != c.want.Made || got.Expiry != c.want.Expiry {
			t.Errorf("%q gives %+v, %v; want %+v", c.scan, got, err, c.want)
		}
	}
}

func TestQuantity(t *testing.T) {
	for scan, want := range map[string]element{
		"+A99912345/$$81210X3/16D20111212/14D20200906/S77DEFG45$":    {"Q", "12"},
		"+A99912345/$$90234510X3/16D20111212/14D20200906/S77DEFG458": {"Q", "02345"},
		"+A99912349/$10X3/16D20111231/14D20200131/Q500Z":             {"Q", "500"},
	} {
		if got, err := Parse(scan, now); err != nil || len(got.Others) != 1 || got.Others[0] != want {
			t.Errorf("%q lists %v, %v; want %v", scan, got.Others, err, want)
		}
	}
}

func TestHIBCRefused(t *testing.T) {
	with := func(before string) string {
		c, err := checkChar(before)
		if err != nil {
			t.Fatal(err)
		}
		return before + string(rune(c))
	}
	for scan, want := range map[string]string{
		"+A123BJC5D6E71":                        "check character 1 is wrong, F would be right (or, if it was left off, G comes behind)",
		"+A123BJC5D6E71H":                       "check character H is wrong, G would be right",
		"+":                                     "at least a labeler",
		"++":                                    "more than + and a check character",
		"+ ":                                    "at least a labeler",
		"+A123BJC5Ö6E71G":                       "is in no HIBC code",
		"+C1010345312000001117120508":           "the scanner types + for ]",
		"+/EO5232013":                           "provider",
		with("+A1"):                             "labeler of 4",
		with("+A123" + strings.Repeat("9", 20)): "labeler of 4",
		with("+A12-BJC5D6E71"):                  "other signs than capitals and digits",
		with("+A123BJC5D6E7X"):                  "unit of measure is a digit",
		with("+$$3281313LOT1G"):                 "no month 13",
		with("+$$1328LOT1G"):                    "no month 13",
		with("+$$3270229LOT1G"):                 "2027-02 has 28 days, not 29",
		with("+$$527366LOT1G"):                  "2027 has the days 1 to 365, not 366",
		with("+$$528000LOT1G"):                  "not 0",
		with("+$$428021324LOT1G"):               "no hour 24",
		with("+$$32802"):                        "6 digits, YYMMDD",
		with("+$$LOT1G"):                        "a digit that announces the date",
		with("+$$8A4LOT1G"):                     "a quantity of 2 digits",
		with("+$LOT4567890123456789G"):          "at most 18 characters",
		with("+A99912345/-LOT1"):                "neither",
		with("+A99912345/$LOT1/$LOT2"):          "the lot is given twice",
		with("+A99912345/$LOT1/14D20280213/14D20280214"): "a date is given twice",
		"+A123BJC5D6E71G+$$52001510X3+ ":                 "do not belong together: the second is linked to a product code that ends in +, the first ends in G",
		"+A123BJC5D6E71G\n+A99912345/$$52001510X33":      "both codes name a product",
		"+$$52001510X3GD\n+$$52001510X3GD":               "both codes are secondary",
		"+A99912345/$$52001510X33\n+$$52001510X3GD":      "the first code is complete",
		"+A123BJC5D6E71G\n(10)LOT":                       "do not belong together",
	} {
		got, err := Parse(scan, now)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q gives %+v, %v; want an error with %q", scan, got, err, want)
		}
	}
}
