package label_test

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/oned"
	"pgregory.net/rapid"

	"flaskside/logbook/action"
	"flaskside/logbook/label"
	"flaskside/timers/longrun"
)

// decoded reads the code of a picture by another reader, which knows nothing of how it was
// made.
func decoded(img image.Image) (string, error) {
	bmp, err := gozxing.NewBinaryBitmapFromImage(img)
	if err != nil {
		return "", err
	}
	r, err := oned.NewCode128Reader().Decode(bmp, nil)
	if err != nil {
		return "", err
	}
	return r.GetText(), nil
}

var (
	stream = regexp.MustCompile(`(?s)stream\r?\n(.*?)\r?\nendstream`)
	filled = regexp.MustCompile(`([\d.-]+) ([\d.-]+) ([\d.-]+) ([\d.-]+) re f`)
)

// drawn draws the rectangles that the pages of a PDF fill, at so many dots a millimetre.
func drawn(pdf []byte, size label.Dimensions, dots float64) (pages []image.Image, err error) {
	for _, m := range stream.FindAllSubmatch(pdf, -1) {
		z, err := zlib.NewReader(bytes.NewReader(m[1]))
		if err != nil {
			continue
		}
		text, _ := io.ReadAll(z)
		rects := filled.FindAllStringSubmatch(string(text), -1)
		if rects == nil {
			continue
		}
		img := image.NewGray(image.Rect(0, 0, int(size.W*dots), int(size.H*dots)))
		draw.Draw(img, img.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
		for _, r := range rects {
			var v [4]float64
			for i := range v {
				if v[i], err = strconv.ParseFloat(r[i+1], 64); err != nil {
					return nil, err
				}
				v[i] *= dots * 25.4 / 72
			}
			x, y := int(v[0]+0.5), int(size.H*dots-v[1]+0.5)
			draw.Draw(img, image.Rect(x, y, int(v[0]+v[2]+0.5), int(size.H*dots-v[1]-v[3]+0.5)), image.NewUniform(color.Black), image.Point{}, draw.Src)
		}
		pages = append(pages, img)
	}
	return pages, nil
}

// Whatever the case is called, on a label of whatever size: the code that is printed reads
// back as the case and its base by another reader, or the label is refused with the reason.
func TestTheCodeReadsBack(t *testing.T) {
	longrun.Checks(t, 15, 100)
	read, refused := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		l := label.Label{Case: rapid.StringMatching(`[A-Za-z0-9][ -~]{0,14}[A-Z0-9]|[0-9]{3,12}|[0-9]{2}é`).Draw(t, "case"), Base: rapid.SampledFrom(action.Bases).Draw(t, "base"), Size: "medium", Place: rapid.IntRange(0, 9).Draw(t, "place"),
			Tag: rapid.SampledFrom([]string{"", "red 3", "Ω", strings.Repeat("W", 24)}).Draw(t, "tag")}
		size := rapid.SampledFrom([]label.Dimensions{label.Usual, {W: 62, H: 29}, {W: 38, H: 19}, {W: 100, H: 50}}).Draw(t, "size")
		var b bytes.Buffer
		if err := label.PDF(&b, size, []label.Label{l}); err != nil {
			if s := err.Error(); !strings.Contains(s, "choose a wider label with --size") && !strings.Contains(s, "plain letters, digits and signs") {
				t.Fatal(err)
			}
			refused++
			return
		}
		pages, err := drawn(b.Bytes(), size, 20)
		if len(pages) != 1 {
			t.Fatalf("%d pages have bars (%v)", len(pages), err)
		}
		got, err := decoded(pages[0])
		if err != nil || got != l.Code() {
			t.Fatalf("%+v on %+v reads %q (%v)", l, size, got, err)
		}
		read++
	})
	if !testing.Short() && (read < 4 || refused == 0) { // rapid tries a fifth as often in a short run
		t.Errorf("%d read, %d refused: too little was tried", read, refused)
	}
}

// The page as a printer gets it, with all its letters: drawn by another program where there is
// one, it has the size that was asked for and its code is read.
func TestTheWholeLabelReadsBack(t *testing.T) {
	tool, err := exec.LookPath("pdftoppm")
	if err != nil {
		t.Skip("pdftoppm is not at hand")
	}
	dir := t.TempDir()
	labels := []label.Label{{Case: "4417", Base: "upper", Size: "large", Place: 3, Tag: "red 3", Due: time.Date(2026, 11, 26, 17, 0, 0, 0, time.UTC)}, {Case: "K-2031", Base: "lower"}}
	for i, size := range []label.Dimensions{label.Usual, {W: 62, H: 29}, {W: 90, H: 19}} {
		file := filepath.Join(dir, fmt.Sprint(i))
		var b bytes.Buffer
		if err := label.PDF(&b, size, labels); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file+".pdf", b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		const dpi = 300 // of a common label printer
		if out, err := exec.Command(tool, "-r", fmt.Sprint(dpi), "-png", file+".pdf", file).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		for n, l := range labels {
			f, err := os.Open(fmt.Sprintf("%s-%d.png", file, n+1))
			if err != nil {
				t.Fatal(err)
			}
			img, err := png.Decode(f)
			_ = f.Close()
			if err != nil {
				t.Fatal(err)
			}
			if got, err := decoded(img); err != nil || got != l.Code() {
				t.Errorf("%s on %gx%g reads %q (%v)", l.Code(), size.W, size.H, got, err)
			}
			if w, h := float64(img.Bounds().Dx())*25.4/dpi, float64(img.Bounds().Dy())*25.4/dpi; w < size.W-0.2 || w > size.W+0.2 || h < size.H-0.2 || h > size.H+0.2 {
				t.Errorf("a label of %gx%g mm is printed as %.1fx%.1f", size.W, size.H, w, h)
			}
		}
	}
}

func TestSizes(t *testing.T) {
	for typed, want := range map[string]string{"57x32": "", "62 X 29": "", "57x32mm": "", "": "type width and height in mm", "57": "type width", "NaNx32": "19 to 200 mm high", "57xInf": "19 to 200 mm high", "-5x32": "38 to 200 mm wide", "1000x32": "38 to 200 mm wide", "57x32x2": "type width"} {
		got, err := label.ParseSize(typed)
		if want == "" && (err != nil || got.W < 50) || want != "" && (err == nil || !strings.Contains(err.Error(), want)) {
			t.Errorf("%q: %+v, %v", typed, got, err)
		}
	}
	var b bytes.Buffer
	if err := label.PDF(&b, label.Usual, nil); err == nil || b.Len() > 0 {
		t.Error("no labels make a file")
	}
}
