// Package lot reads the code on a jar, a bottle or a box: what a scanner types or a
// person enters. It is pure: no disk, no screen, no clock.
//
// [Parse] takes three kinds of text.
//
// # GS1 element strings
//
// As scanned: a symbology identifier of GS1 (]C1 ]e0 ]e1 ]e2 ]d2 ]Q3 ]J1, ISO/IEC
// 15424), then element strings one after the other. Without an identifier a text
// counts as GS1 when it begins with a separator, with 01 and a GTIN of 14 digits,
// or holds a separator that is no lot's character. As printed: (01)…(17)…(10)…,
// with spaces around the values or without; a bracket within a value that would
// read as an AI is written \( then. A bare GTIN counts where the scanner names the
// symbol (]E0 EAN-13 and UPC-A, ]E4 EAN-8).
//
// Read are AI 01 (GTIN, with its check digit), 10 (lot), 11 (made), 17 (expiry) and
// 21 (serial); all others are skipped by their length where it is predefined, else
// up to the separator, and listed. Dates are YYMMDD; day 00 is the last of the
// month; the century slides with the current year.
//
// # The separator
//
// After a value of no fixed length the standard wants the character GS (ASCII 29),
// which a keyboard cannot type. A scanner that plays a keyboard sends it as Ctrl+]
// or as what it was set to. Taken for GS: the character itself, its picture ␝, and
// typed out {GS} <GS> [GS] {FNC1} <FNC1> [FNC1] ^] \x1d \u001d in any case; in what
// is known to be GS1 also | ^ and ~ (none of these can stand in a GS1 value). A
// scanner that leaves the separator out makes two values into one: that is
// refused where the value gets too long, and warned about where its end reads as a
// date.
//
// # HIBC
//
// The Supplier Labeling Standard (ANSI/HIBC 2.6): + and a primary code (labeler,
// product, unit of measure), a secondary one (lot or serial, expiry, quantity), or
// both with / between, further data (serial S, made 16D, expiry 14D, quantity Q)
// behind. The check character (modulus 43) must hold. Two symbols read one after
// the other, in one text or two lines, are joined when the link character of the
// second is the check character of the first; see also [Scanned]. Asterisks around
// the code, small letters, an underscore for a check character that is a space,
// and such a space cut off at the end are forgiven.
//
// # Anything else
//
// Text is a lot as a person types it. The keys that end a scan (Enter, Tab), other
// control characters at the ends and blanks around are dropped.
package lot

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Scheme says how a code was read.
type Scheme string

// The schemes.
const (
	GS1  Scheme = "gs1"
	HIBC Scheme = "hibc"
	Text Scheme = "text" // a lot as typed
)

// element is a part of a code that is listed, not read: a GS1 application
// identifier, or a data identifier of HIBC, with its value.
type element struct {
	ID    string `json:"id"`
	Value string `json:"value"`
}

// Lot is what a code says.
type Lot struct {
	Scheme   Scheme    `json:"scheme"`
	GTIN     string    `json:"gtin,omitempty"`    // 14 digits
	LIC      string    `json:"lic,omitempty"`     // HIBC: labeler, 4 characters
	Product  string    `json:"product,omitempty"` // HIBC: the labeler's product number
	Unit     string    `json:"unit,omitempty"`    // HIBC: unit of measure, 1 digit
	Lot      string    `json:"lot,omitempty"`
	Serial   string    `json:"serial,omitempty"`
	Made     Date      `json:"made,omitzero"`
	Expiry   Date      `json:"expiry,omitzero"` // the last day of use
	Others   []element `json:"others,omitempty"`
	Raw      string    `json:"raw"` // as it came, without the keys that end a scan
	Warnings []string  `json:"warnings,omitempty"`

	elements []element // GS1: all of them, in order
	hibc     hibcCode  // HIBC: what join and Entry need
}

// Longest texts. QR codes hold no more than 7,089 characters (ISO/IEC 18004,
// version 40-L); a lot field of the book holds 60.
const (
	maxScan = 7089
	maxText = 60
	maxRows = 4 // symbols on one label
)

// Parse reads a code; year is the current year, which two-digit years are seen
// from. After an error, one line that says what is wrong and what would be right,
// the Lot holds Raw and the Scheme that was tried, so that what was typed can be
// kept.
func Parse(scan string, year int) (Lot, error) {
	raw := strings.TrimLeft(strings.TrimFunc(scan, ending), " ")
	l := Lot{Scheme: Text, Raw: raw}
	switch {
	case year < 1900 || year > 9000:
		return l, fmt.Errorf("the current year must be 1900 to 9000, not %d", year)
	case len(scan) > maxScan:
		l.Raw = ""
		return l, fmt.Errorf("a code has at most %d characters, this has %d", maxScan, len(scan))
	case !utf8.ValidString(scan):
		return l, errors.New("the code is not text (not UTF-8): have the scanner send plain characters")
	case strings.TrimSpace(raw) == "":
		return l, errors.New("there is no code: scan one, or type the lot")
	}
	rows := strings.FieldsFunc(raw, func(r rune) bool { return r == '\n' || r == '\r' })
	if len(rows) > maxRows {
		return l, fmt.Errorf("%d lines are more than one label has: scan one jar at a time", len(rows))
	}
	out, err := read(rows[0], year)
	for _, row := range rows[1:] {
		if err != nil {
			break
		}
		var next Lot
		if next, err = read(row, year); err == nil {
			out, err = join(out, next, year)
		}
	}
	out.Raw = raw
	if err != nil {
		return out, err
	}
	return out.complete(), nil
}

// noLot is the warning about a code that is only half of what a label tells.
const noLot = "this code names no lot: scan the other code of the label, or type the lot"

func (l Lot) complete() Lot {
	if l.Lot == "" {
		l.Warnings = append(l.Warnings, noLot)
	}
	return l
}

// ending tells the keys and signs that a scanner puts around a code; GS belongs to
// the code.
func ending(r rune) bool { return unicode.IsControl(r) && r != gs }

// read finds the scheme of one symbol and reads by it.
func read(row string, year int) (Lot, error) {
	id, data := identifier(strings.TrimLeft(strings.TrimFunc(row, ending), " "))
	var warn []string
	if gs1 := otherCase(id); gs1 != "" {
		warn = append(warn, fmt.Sprintf("the letters came in the other case (%s for %s): switch Caps Lock off and scan again", id, gs1))
		id = gs1
	}
	data = separate(data)
	bare := strings.TrimSpace(data)
	begins := func(prefix string) bool { return strings.HasPrefix(strings.ToLower(bare), prefix) }
	var l Lot
	var err error
	switch {
	case begins("[)>"):
		l.Scheme, err = Text, errors.New("this is a code of ISO/IEC 15434, which is not read here: scan the GS1 or HIBC code of the label, or type the lot")
	case begins("http://"), begins("https://"):
		l.Scheme, err = Text, errors.New("this is a web address and no lot: scan the GS1 or HIBC code of the label, or type the lot")
	case id == idEAN13, id == idEAN8:
		l, err = parseBareGTIN(bare)
	case isGS1(id):
		l, err = parseGS1(bare, year)
	case begins("+"), begins("*+"):
		l, err = parseHIBC(data, year) // a blank at its end may be its check character
	case looksGS1(bare):
		l, err = parseGS1(bare, year)
	default:
		l, err = parseText(bare, year)
	}
	l.Raw = row
	l.Warnings = append(warn, l.Warnings...)
	return l, err
}

// parseText takes a lot as it was typed.
func parseText(s string, year int) (Lot, error) {
	l := Lot{Scheme: Text, Lot: s}
	if s == "" {
		return l, errors.New("there is no code: scan one, or type the lot")
	}
	if n := utf8.RuneCountInString(s); n > maxText {
		return l, fmt.Errorf("a lot has at most %d characters, this has %d: it is not a GS1 or HIBC code either", maxText, n)
	}
	for _, r := range s {
		// A book takes no marks that only change the sign before them.
		if !unicode.IsPrint(r) || r >= 0xFE00 && r <= 0xFE0F || r == utf8.RuneError {
			return l, fmt.Errorf("the lot holds a character that cannot be shown (%U): use letters, digits and signs", r)
		}
	}
	if n := len(s); n >= 12 && n <= 14 && checkDigitHolds(s) {
		l.Warnings = append(l.Warnings, "this reads as a product number (GTIN), not as a lot: scan the code with the lot, or type it")
	}
	if e, ok := unmarked(s, year); ok {
		l.Warnings = append(l.Warnings, fmt.Sprintf("taken as typed; if it is a scan it reads as %s: have the scanner send the symbology identifier, or type it in brackets", e))
	}
	return l, nil
}

// Expired tells whether a date lies after the last day of use. Without an expiry
// nothing expires.
func (l Lot) Expired(today Date) bool { return !l.Expiry.IsZero() && today.After(l.Expiry) }

// Entry is what to write in a lot field of the book: at most 60 characters that
// read back to the same product, lot (serial, where there is no lot) and expiry; ""
// where the code tells none of them.
func (l Lot) Entry() string {
	switch l.Scheme {
	case GS1:
		return l.gs1Entry()
	case HIBC:
		return l.hibc.entry(l)
	}
	return l.Lot
}

// join brings together two codes of one label: GS1 element strings in two symbols,
// or HIBC primary and secondary, whose link character must be the check character
// of the primary.
func join(a, b Lot, year int) (Lot, error) {
	var out Lot
	var err error
	switch {
	case a.Scheme == GS1 && b.Scheme == GS1:
		out, err = assemble(slices.Concat(a.elements, b.elements), year)
	case a.Scheme == HIBC && b.Scheme == HIBC:
		out, err = joinHIBC(a.hibc, b.hibc, year)
	default:
		err = fmt.Errorf("a code read as %s and one read as %s do not belong together: scan two codes of one label", a.Scheme, b.Scheme)
	}
	out.Raw = a.Raw + "\n" + b.Raw
	for _, w := range slices.Concat(a.Warnings, b.Warnings) {
		if w != noLot && !slices.Contains(out.Warnings, w) {
			out.Warnings = append(out.Warnings, w)
		}
	}
	return out, err
}
