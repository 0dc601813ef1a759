// Package label makes labels for a flask and for a finished base: the case, where its flask
// stands, when it is due, and a code that the scanner of the bench reads back. It is pure.
package label

import (
	"errors"
	"fmt"
	"image/color"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"github.com/boombuler/barcode/code128"

	"flaskside/logbook/action"
	"flaskside/logbook/letters"
	"flaskside/logbook/words"
)

// Label is what stands on one label.
type Label struct {
	Case  string
	Base  string
	Size  action.Size
	Place int       // on the bench; 0 for none
	Tag   string    // painted on the flask
	Due   time.Time // in the zone of the house; zero where no due time is known
}

// Code is what the code of the label says: the case and its base, as the bench finds them.
func (l Label) Code() string { return strings.TrimSpace(l.Case + " " + l.Base) }

// Dimensions are those of a label, mm.
type Dimensions struct{ W, H float64 }

// Usual is a label of the rolls that many small printers take (common practice, no source).
var Usual = Dimensions{57, 32}

// Limits of a label, mm (house defaults).
const (
	leastW, leastH = 38, 19
	most           = 200
)

// ParseSize reads a size as it is typed, in mm: 57x32.
func ParseSize(s string) (Dimensions, error) {
	w, h, ok := strings.Cut(strings.ToLower(strings.ReplaceAll(s, " ", "")), "x")
	width, werr := strconv.ParseFloat(w, 64)
	height, herr := strconv.ParseFloat(strings.TrimSuffix(h, "mm"), 64)
	switch {
	case !ok || werr != nil || herr != nil:
		return Dimensions{}, fmt.Errorf("%q is no size of a label: type width and height in mm, as in 57x32", words.Clip(s, 20))
	case !(width >= leastW && height >= leastH && width <= most && height <= most):
		return Dimensions{}, fmt.Errorf("a label is %d to %d mm wide and %d to %d mm high, not %s", leastW, most, leastH, most, words.Clip(s, 20))
	}
	return Dimensions{width, height}, nil
}

// Measures of a label. The narrowest bar that scanners at hand read well, and the light zone
// of ten bars beside the code, are those of ISO/IEC 15417 for Code 128 (from memory: X no
// less than 0.19 mm in the health trade's profile; light zone 10 X).
const (
	edgeMM     = 1.5
	leastBarMM = 0.19
	mostBarMM  = 0.5
	lightBars  = 10
	ptMM       = 25.4 / 72
	lineGap    = 1.15
	casePt     = 20.0
	wordsPt    = 9.0
	leastPt    = 5.5
)

// PDF writes labels, a page each.
func PDF(w io.Writer, size Dimensions, labels []Label) error {
	if len(labels) == 0 {
		return errors.New("there is no label to print")
	}
	pdf := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: size.W, Ht: size.H}})
	font, err := letters.Into(pdf)
	if err != nil {
		return err
	}
	pdf.SetTitle("labels", true)
	for _, l := range labels {
		pdf.AddPageFormat("P", fpdf.SizeType{Wd: size.W, Ht: size.H})
		if err := l.draw(pdf, font, size); err != nil {
			return err
		}
	}
	if err := pdf.Output(w); err != nil {
		return fmt.Errorf("write the labels: %w", err)
	}
	return nil
}

func (l Label) draw(pdf *fpdf.Fpdf, font *letters.Letters, size Dimensions) error {
	bars, err := l.bars(size)
	if err != nil {
		return err
	}
	// Where the label is low, letters give way before the code does.
	scale := math.Min(1, (size.H-2*edgeMM)*0.62/((casePt+2*wordsPt)*ptMM*lineGap))
	y := edgeMM
	put := func(text, style string, pt, x float64, right bool, room float64) {
		pt *= scale
		text = font.Plain(text)
		for pdf.SetFont(letters.Font, style, pt); pt > leastPt && pdf.GetStringWidth(text) > room; pdf.SetFontSize(pt) {
			pt -= 0.5
		}
		for r := []rune(text); len(r) > 1 && pdf.GetStringWidth(text) > room; {
			r = r[:len(r)-1]
			text = string(r) + "…"
		}
		if right {
			x -= pdf.GetStringWidth(text)
		}
		pdf.Text(x, y+pt*ptMM*0.85, text)
	}
	room := size.W - 2*edgeMM
	place := ""
	if l.Place > 0 {
		place = strconv.Itoa(l.Place)
	}
	put(l.Case, "B", casePt, edgeMM, false, room*0.82)
	put(place, "B", casePt, size.W-edgeMM, true, room*0.15)
	y += casePt * scale * ptMM * lineGap
	put(l.what(), "", wordsPt, edgeMM, false, room)
	y += wordsPt * scale * ptMM * lineGap
	put(l.due(), "B", wordsPt, edgeMM, false, room)
	y += wordsPt * scale * ptMM * lineGap
	bars.draw(pdf, size, y)
	return pdf.Error()
}

func (l Label) what() string {
	out := []string{l.Base}
	if l.Size != "" {
		out = append(out, string(l.Size))
	}
	if l.Tag != "" {
		out = append(out, "tag "+l.Tag)
	}
	if l.Place > 0 {
		out = append(out, fmt.Sprintf("place %d", l.Place))
	}
	return strings.Join(out, " · ")
}

func (l Label) due() string {
	if l.Due.IsZero() {
		return "no due time known"
	}
	return "due " + l.Due.Format("Mon 2 Jan 15:04")
}

// bars are the dark ones of a code.
type bars struct {
	dark  []bool // for each module
	width float64
}

// bars gives the code of a label as wide as fits.
func (l Label) bars(size Dimensions) (bars, error) {
	for _, r := range l.Code() {
		if r < ' ' || r > '~' {
			return bars{}, fmt.Errorf("a code holds plain letters, digits and signs, and %q is none of them: print no label for case %s, or give it another number", r, l.Case)
		}
	}
	code, err := code128.Encode(l.Code())
	if err != nil {
		return bars{}, fmt.Errorf("make the code of case %s: %w", l.Case, err)
	}
	b := bars{dark: make([]bool, code.Bounds().Dx())}
	for x := range b.dark {
		r, _, _, _ := color.GrayModel.Convert(code.At(x, 0)).RGBA()
		b.dark[x] = r < 0x8000
	}
	all := float64(len(b.dark) + 2*lightBars)
	if b.width = math.Min(size.W/all, mostBarMM); b.width < leastBarMM {
		return bars{}, fmt.Errorf("the code of case %s does not fit on %g mm: scanners need %.0f mm for it; choose a wider label with --size", l.Case, size.W, math.Ceil(all*leastBarMM))
	}
	return b, nil
}

// draw puts the code into the middle, from y to the lower edge.
func (b bars) draw(pdf *fpdf.Fpdf, size Dimensions, y float64) {
	x := (size.W - float64(len(b.dark))*b.width) / 2
	pdf.SetFillColor(0, 0, 0)
	for i := 0; i < len(b.dark); i++ {
		n := 0
		for i+n < len(b.dark) && b.dark[i+n] {
			n++
		}
		if n > 0 {
			pdf.Rect(x+float64(i)*b.width, y, float64(n)*b.width, size.H-edgeMM-y, "F")
			i += n
		}
	}
}
