package day_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash/crc32"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flaskside/logbook/day/browsertest"
)

// sheetPicture is the day sheet as the README shows it: the first page of the demo's
// day, made by a browser.
const (
	sheetPicture = "../../testdata/screens/day-sheet.png"
	pictureW     = 728
	pictureH     = 1030
)

// pngText reads or adds a text chunk of a PNG (PNG specification, 11.3.3.2 tEXt: keyword,
// 0, text). It stands behind the header, which has 13 bytes.
const pngHead = 8 + 12 + 13

func withText(pic []byte, keyword, text string) []byte {
	body := append([]byte("tEXt"), keyword+"\x00"+text...)
	chunk := binary.BigEndian.AppendUint32(nil, uint32(len(body)-4))
	chunk = binary.BigEndian.AppendUint32(append(chunk, body...), crc32.ChecksumIEEE(body))
	return append(append(bytes.Clone(pic[:pngHead]), chunk...), pic[pngHead:]...)
}

func textOf(pic []byte, keyword string) string {
	for at := 8; at+12 <= len(pic); {
		n := int(binary.BigEndian.Uint32(pic[at:]))
		if at+12+n > len(pic) {
			break
		}
		if body := string(pic[at+8 : at+8+n]); string(pic[at+4:at+8]) == "tEXt" && strings.HasPrefix(body, keyword+"\x00") {
			return body[len(keyword)+1:]
		}
		at += 12 + n
	}
	return ""
}

// TestSheetPicture: the picture of the day sheet in the README was made from the page
// as it is, whose hash it carries. It is made anew with -update, by a browser.
func TestSheetPicture(t *testing.T) {
	page, err := os.ReadFile(filepath.Join(goldenDir, "demo.html"))
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(page)
	want := hex.EncodeToString(sum[:])
	if *update {
		if pic, err := os.ReadFile(sheetPicture); err != nil || textOf(pic, "page") != want {
			pic := browsertest.Open(t, browsertest.Find(t), page, "--screenshot", "sheet.png", "--window-size="+fmt.Sprintf("%d,%d", pictureW, pictureH), "--hide-scrollbars")
			if err := os.WriteFile(sheetPicture, withText(pic, "page", want), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	pic, err := os.ReadFile(sheetPicture)
	if err != nil {
		t.Fatal(err)
	}
	if got := textOf(pic, "page"); got != want {
		t.Errorf("the picture was made from the page %.12s, which is now %.12s: make it anew with -update and look at it", got, want)
	}
	if c, err := png.DecodeConfig(bytes.NewReader(pic)); err != nil || c.Width != pictureW || c.Height != pictureH {
		t.Errorf("the picture is %d × %d, %v", c.Width, c.Height, err)
	}
}
