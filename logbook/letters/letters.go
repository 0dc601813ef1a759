// Package letters sets text in a PDF: in fonts that the program carries, so that it is the
// same on every machine, with a sign for each letter that they have not.
package letters

import (
	"fmt"
	"strings"
	"unicode"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
)

// Missing stands for a letter that the fonts have not.
const Missing = '□'

// Font is the family, plain or with the style B.
const Font = "go"

// Letters know which there are.
type Letters struct {
	font *sfnt.Font
	buf  sfnt.Buffer
}

// Into gives a document the fonts, no margins and no breaks of its own.
func Into(pdf *fpdf.Fpdf) (*Letters, error) {
	font, err := sfnt.Parse(goregular.TTF)
	if err != nil {
		return nil, fmt.Errorf("read the font of the program: %w", err)
	}
	pdf.AddUTF8FontFromBytes(Font, "", goregular.TTF)
	pdf.AddUTF8FontFromBytes(Font, "B", gobold.TTF)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(0, 0, 0)
	pdf.SetLineCapStyle("butt")
	return &Letters{font: font}, pdf.Error()
}

// Plain gives a text in letters that the fonts have.
func (l *Letters) Plain(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case unicode.Is(unicode.Cf, r): // marks of direction and joining
			return -1
		}
		if i, err := l.font.GlyphIndex(&l.buf, r); err != nil || i == 0 || r > 0xffff {
			return Missing
		}
		return r
	}, text)
}
