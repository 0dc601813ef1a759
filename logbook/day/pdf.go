package day

import (
	"fmt"
	"io"
	"strings"

	"codeberg.org/go-pdf/fpdf"

	"flaskside/logbook/letters"
)

// PaperSize is that of a sheet of paper.
type PaperSize string

// The sizes in use: ISO 216 A4, 210 × 297 mm, and ANSI A or US Letter, 8.5 × 11 in.
const (
	A4     PaperSize = "A4"
	Letter PaperSize = "Letter"
)

// ParseSize reads the name of a size, in large or small letters.
func ParseSize(name string) (PaperSize, error) {
	for _, s := range []PaperSize{A4, Letter} {
		if strings.EqualFold(name, string(s)) {
			return s, nil
		}
	}
	return "", fmt.Errorf("there is no paper %q: it is a4 or letter", name)
}

// Measures of a page: mm, and points for the height of letters (house defaults).
const (
	margin, foot = 14.0, 16.0
	bodyPt       = 8.0
	headPt       = 7.0
	namePt       = 10.0
	titlePt      = 17.0
	ptMM         = 25.4 / 72
	leading      = 1.3
	gapMM        = 4.5 // between blocks
	gutterMM     = 5.0 // between a table and what stands beside it
	cellGapMM    = 1.5
	rowGapMM     = 0.5
	longestCell  = 40 // lines of a cell before its row is torn
	bodyMM       = bodyPt * ptMM * leading
	headMM       = headPt * ptMM * leading
)

// PDF writes the day sheet as a PDF: what [Sheet.HTML] shows, on paper of a size.
// Letters that its font lacks (it has Latin, Greek and Cyrillic) are printed as an
// empty box; how many they are stands at the head of the sheet.
func (s Sheet) PDF(w io.Writer, size PaperSize) error {
	size, err := ParseSize(string(size))
	if err != nil {
		return err
	}
	t, err := newTypesetter(size)
	if err != nil {
		return err
	}
	p := s.paper()
	if n := t.missing(p); n > 0 {
		p.Provisos = append(p.Provisos, lacking(n))
	}
	t.pdf.SetTitle(t.plain(p.Kind+", "+p.Day), true)
	t.pdf.SetLang("en")
	made := s.Made // the same sheet is the same file
	if made.IsZero() {
		made = s.Until
	}
	t.pdf.SetCreationDate(made.UTC())
	t.pdf.SetModificationDate(made.UTC())
	t.pdf.SetCatalogSort(true)
	t.pdf.AliasNbPages("{nb}")
	t.pdf.SetFooterFunc(func() {
		y := t.h - 9
		t.put(margin, y, headPt, false, faint, p.Kind+", "+p.Day+" · logbook head "+p.Chain)
		t.put(t.w-margin-10, y, headPt, false, faint, fmt.Sprintf("%d / {nb}", t.pdf.PageNo()))
	})
	t.pdf.AddPage()
	t.y = margin
	t.title(p)
	for i, b := range p.Blocks {
		slabs := t.block(b)
		if i == len(p.Blocks)-1 { // the lines for signature stand with something that is signed
			for n := max(0, len(slabs)-2); n < len(slabs); n++ {
				slabs[n].with = true
			}
			slabs = append(slabs, t.close(p)...)
		}
		if t.y > margin {
			t.y += gapMM
		}
		t.flow(slabs, !b.Long, 3)
	}
	if len(p.Blocks) == 0 {
		t.flow(t.close(p), true, 1)
	}
	if err := t.pdf.Output(w); err != nil {
		return fmt.Errorf("write day sheet: %w", err)
	}
	return nil
}

// typesetter lays text and drawings on pages, from the top down.
type typesetter struct {
	pdf     *fpdf.Fpdf
	letters *letters.Letters
	w, h    float64 // of the page, mm
	y       float64 // where the next slab goes
}

func newTypesetter(size PaperSize) (*typesetter, error) {
	pdf := fpdf.New("P", "mm", string(size), "")
	l, err := letters.Into(pdf)
	if err != nil {
		return nil, err
	}
	w, h := pdf.GetPageSize()
	return &typesetter{pdf: pdf, letters: l, w: w, h: h}, pdf.Error()
}

// plain gives a text in letters that the font has.
func (t *typesetter) plain(text string) string { return t.letters.Plain(text) }

// missing counts the letters of a sheet that the font has not.
func (t *typesetter) missing(p paper) int {
	n := 0
	count := func(texts ...string) {
		for _, text := range texts {
			n += strings.Count(t.plain(text), string(letters.Missing)) - strings.Count(text, string(letters.Missing))
		}
	}
	count(p.Head...)
	count(p.Provisos...)
	for _, b := range p.Blocks {
		count(b.Name, b.Aside)
		count(b.Lines...)
		count(b.Beside...)
		for _, tb := range b.Tables {
			for _, row := range tb.Rows {
				for _, c := range row {
					count(c.Text)
				}
			}
		}
	}
	return n
}

// lacking says that letters could not be printed, and where they are to be read.
func lacking(n int) string {
	what := fmt.Sprintf("%d letters", n)
	if n == 1 {
		what = "1 letter"
	}
	return fmt.Sprintf("%s could not be printed: %c stands for each. The HTML sheet shows them, and the jsonl export holds them.", what, letters.Missing)
}

func (t *typesetter) use(pt float64, bold bool) {
	style := ""
	if bold {
		style = "B"
	}
	t.pdf.SetFont("go", style, pt)
}

// put writes a text with its upper edge at y.
func (t *typesetter) put(x, y, pt float64, bold bool, i ink, text string) {
	t.use(pt, bold)
	t.pdf.SetTextColor(i.rgb())
	t.pdf.Text(x, y+pt*ptMM, t.plain(text))
}

// putRight writes a text that ends at x.
func (t *typesetter) putRight(x, y, pt float64, bold bool, i ink, text string) {
	t.use(pt, bold)
	t.put(x-t.pdf.GetStringWidth(t.plain(text)), y, pt, bold, i, text)
}

func (t *typesetter) rule(y, wide float64, i ink) {
	t.pdf.SetDrawColor(i.rgb())
	t.pdf.SetLineWidth(wide)
	t.pdf.SetDashPattern(nil, 0)
	t.pdf.Line(margin, y, t.w-margin, y)
}

// wrap breaks a text into lines of a width, between words where it can.
func (t *typesetter) wrap(text string, wide, pt float64, bold bool) []string {
	t.use(pt, bold)
	fits := func(s string) bool { return t.pdf.GetStringWidth(s) <= wide }
	var out []string
	row := ""
	for _, word := range strings.Fields(t.plain(text)) {
		if row != "" {
			if fits(row + " " + word) {
				row += " " + word
				continue
			}
			out = append(out, row)
			row = ""
		}
		for _, r := range word {
			if row != "" && !fits(row+string(r)) {
				out = append(out, row)
				row = ""
			}
			row += string(r)
		}
	}
	if row != "" || len(out) == 0 {
		out = append(out, row)
	}
	return out
}

// slab is a piece of a page that is not torn.
type slab struct {
	h    float64
	draw func(x, y float64)
	head *slab // drawn again above it on a new page
	with bool  // not torn from the next one
}

func height(slabs []slab) float64 {
	sum := 0.0
	for _, s := range slabs {
		sum += s.h
	}
	return sum
}

// room is what is left of the page.
func (t *typesetter) room() float64 { return t.h - foot - t.y }

func (t *typesetter) page() {
	t.pdf.AddPage()
	t.y = margin
}

// flow sets slabs one below the other; whole keeps them on one page where one can
// hold them, and keep is how many first ones stay together anyhow.
func (t *typesetter) flow(slabs []slab, whole bool, keep int) {
	all := height(slabs)
	first := height(slabs[:min(keep, len(slabs))])
	if t.y > margin && (whole && all > t.room() && all <= t.h-foot-margin || first > t.room()) {
		t.page()
	}
	for i, s := range slabs {
		need := s.h
		for n := i; slabs[n].with && n+1 < len(slabs); n++ {
			need += slabs[n+1].h
		}
		if need > t.room() && t.y > margin && (s.h > t.room() || need <= t.h-foot-margin) {
			t.page()
			if s.head != nil {
				s.head.draw(margin, t.y)
				t.y += s.head.h
			}
		}
		s.draw(margin, t.y)
		t.y += s.h
	}
}

func (t *typesetter) title(p paper) {
	t.put(margin, t.y, headPt+1, false, accent, strings.ToUpper(p.Kind))
	t.put(margin, t.y+4.2, titlePt, true, black, p.Day)
	y := t.y
	for _, l := range append(p.Head, p.Zone) {
		t.putRight(t.w-margin, y, bodyPt, false, black, l)
		y += bodyMM
	}
	t.y = max(t.y+4.2+titlePt*ptMM*1.25, y) + 1
	t.rule(t.y, 0.5, accent)
	t.y += 2
	for _, l := range p.Provisos {
		t.flow(t.lines([]string{l}, t.w-2*margin, bodyPt, true, black), true, 1)
	}
}

// lines are paragraphs, a slab for each line of text.
func (t *typesetter) lines(texts []string, wide, pt float64, bold bool, i ink) []slab {
	var out []slab
	for _, text := range texts {
		rows := t.wrap(text, wide, pt, bold)
		for n, row := range rows {
			h := pt * ptMM * leading
			if n == len(rows)-1 {
				h += rowGapMM
			}
			out = append(out, slab{h: h, draw: func(x, y float64) { t.put(x, y, pt, bold, i, row) }})
		}
	}
	return out
}

// rows are the slabs of a table of a width, its head first.
func (t *typesetter) rows(tb table, wide float64) []slab {
	sum := 0.0
	for _, c := range tb.Columns {
		sum += c.Share
	}
	lefts, widths := make([]float64, len(tb.Columns)), make([]float64, len(tb.Columns))
	at := 0.0
	for i, c := range tb.Columns {
		lefts[i], widths[i] = at, c.Share/sum*wide
		at += widths[i]
	}
	row := func(cells []cell, pt, lineMM float64, i ink) []slab {
		text := make([][]string, len(cells))
		most := 1
		for c, cl := range cells {
			text[c] = t.wrap(cl.Text, widths[c]-cellGapMM, pt, cl.Strong)
			most = max(most, len(text[c]))
		}
		var out []slab
		for from := 0; from < most; from += longestCell {
			to := min(from+longestCell, most)
			out = append(out, slab{h: float64(to-from)*lineMM + rowGapMM, draw: func(x, y float64) {
				for c, cl := range cells {
					for n := from; n < min(to, len(text[c])); n++ {
						top := y + float64(n-from)*lineMM
						if tb.Columns[c].Right {
							t.putRight(x+lefts[c]+widths[c]-2*cellGapMM, top, pt, cl.Strong, i, text[c][n])
						} else {
							t.put(x+lefts[c], top, pt, cl.Strong, i, text[c][n])
						}
					}
				}
			}})
		}
		return out
	}
	names := make([]cell, len(tb.Columns))
	for i, c := range tb.Columns {
		names[i] = cell{Text: c.Name}
	}
	titles := row(names, headPt, headMM, faint)[0]
	head := slab{h: titles.h + rowGapMM, draw: func(x, y float64) {
		titles.draw(x, y)
		t.pdf.SetDrawColor(pale.rgb())
		t.pdf.SetLineWidth(0.1)
		t.pdf.SetDashPattern(nil, 0)
		t.pdf.Line(x, y+titles.h, x+wide, y+titles.h)
	}}
	out := []slab{head}
	for _, r := range tb.Rows {
		for _, s := range row(r, bodyPt, bodyMM, black) {
			s.head = &head
			out = append(out, s)
		}
	}
	return out
}

// tables are those of a block.
func (t *typesetter) tables(b block, wide float64) []slab {
	var out []slab
	for i, tb := range b.Tables {
		if i > 0 {
			out = append(out, slab{h: 1.5, draw: func(float64, float64) {}})
		}
		out = append(out, t.rows(tb, wide)...)
	}
	return out
}

// block gives the slabs of a block, its heading first.
func (t *typesetter) block(b block) []slab {
	wide := t.w - 2*margin
	name, aside := t.wrap(b.Name, wide*0.6, namePt, true), t.wrap(b.Aside, wide*0.4-4, bodyPt, false)
	nameMM := namePt * ptMM * leading
	h := max(float64(len(name))*nameMM, float64(len(aside))*bodyMM+0.8)
	heading := slab{h: h + 1.6, draw: func(x, y float64) {
		t.use(namePt, true) // the letters of a bookmark are those of the font in use
		t.pdf.Bookmark(t.plain(b.Name), 0, y)
		for i, l := range name {
			t.put(x, y+float64(i)*nameMM, namePt, true, black, l)
		}
		for i, l := range aside {
			t.putRight(x+wide, y+float64(i)*bodyMM+0.7, bodyPt, false, black, l)
		}
		t.rule(y+h+0.4, 0.2, pale)
	}}
	left, right := wide-trendW-gutterMM, float64(trendW)
	beside := b.Picture != nil || len(b.Beside) > 0
	if b.Wide {
		left, right = curveW, wide-curveW-gutterMM
	}
	var slabs []slab
	switch {
	case !beside:
		slabs = t.tables(b, wide)
	case b.Wide:
		slabs = append(t.abreast(t.picture(b.Picture), left, t.lines(b.Beside, right, bodyPt, false, black)), t.tables(b, wide)...)
	default:
		slabs = t.abreast(t.tables(b, left), left, append(t.picture(b.Picture), t.lines(b.Beside, right, bodyPt, false, black)...))
	}
	slabs = append(slabs, t.lines(b.Lines, wide, bodyPt, false, black)...)
	return append([]slab{heading}, slabs...)
}

// abreast sets slabs side by side, or one below the other where no page holds them
// so.
func (t *typesetter) abreast(left []slab, wide float64, right []slab) []slab {
	h := max(height(left), height(right))
	if h > t.h-foot-margin-20 {
		return append(left, right...)
	}
	return []slab{{h: h, draw: func(x, y float64) {
		for i, col := range [][]slab{left, right} {
			cx, cy := x+float64(i)*(wide+gutterMM), y
			for _, s := range col {
				s.draw(cx, cy)
				cy += s.h
			}
		}
	}}}
}

// picture is a drawing as a slab, none where there is none.
func (t *typesetter) picture(d *drawing) []slab {
	if d == nil {
		return nil
	}
	return []slab{{h: d.h + 1, draw: func(x, y float64) { t.draw(*d, x, y) }}}
}

// draw draws a drawing with its left upper corner at a point.
func (t *typesetter) draw(d drawing, x, y float64) {
	polygon := func(at []point) {
		ps := make([]fpdf.PointType, len(at))
		for i, p := range at {
			ps[i] = fpdf.PointType{X: x + p.x, Y: y + p.y}
		}
		t.pdf.Polygon(ps, "F")
	}
	for _, s := range d.shapes {
		p := s.at[0]
		t.pdf.SetDrawColor(s.ink.rgb())
		t.pdf.SetFillColor(s.ink.rgb())
		t.pdf.SetDashPattern(nil, 0)
		//exhaustive:enforce
		switch s.form {
		case stroke:
			t.pdf.SetLineWidth(s.size)
			if s.dash > 0 {
				t.pdf.SetDashPattern([]float64{s.dash, s.dash}, 0)
			}
			t.pdf.MoveTo(x+p.x, y+p.y)
			for _, q := range s.at[1:] {
				t.pdf.LineTo(x+q.x, y+q.y)
			}
			t.pdf.DrawPath("D")
		case area:
			polygon(s.at)
		case disc:
			t.pdf.Circle(x+p.x, y+p.y, s.size, "F")
		case hollow:
			t.pdf.SetFillColor(255, 255, 255)
			t.pdf.SetLineWidth(0.3)
			t.pdf.Circle(x+p.x, y+p.y, s.size, "DF")
		case diamond:
			polygon(corners(p, s.size))
		case lettering:
			pt := s.size / ptMM * 0.9 // this font is larger of its size than that of the screen
			t.use(pt, false)
			wide := t.pdf.GetStringWidth(t.plain(s.text))
			t.put(x+p.x-wide*float64(1+s.side)/2, y+p.y-pt*ptMM, pt, false, s.ink, s.text)
		}
	}
	t.pdf.SetDashPattern(nil, 0)
}

// close gives the lines for signature and the foot, which stay together.
func (t *typesetter) close(p paper) []slab {
	wide := t.w - 2*margin
	half := wide/2 - 5
	slabs := []slab{{h: 14 + bodyMM + 4, draw: func(x, y float64) {
		t.pdf.SetDrawColor(black.rgb())
		t.pdf.SetLineWidth(0.25)
		for i, who := range []string{"Technician", "Supervisor"} {
			left := x + float64(i)*(half+10)
			t.pdf.Line(left, y+13, left+half, y+13)
			t.put(left, y+14, bodyPt, false, black, who)
			t.putRight(left+half, y+14, bodyPt, false, faint, "date, time")
		}
	}}}
	foot := append(p.Foot, "Logbook head when this sheet was made: "+p.Chain)
	slabs = append(slabs, t.lines(foot, wide, headPt, false, faint)...)
	for i := range slabs[1:] {
		slabs[i].with = true
	}
	return slabs
}
