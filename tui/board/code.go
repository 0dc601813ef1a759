package board

import (
	"fmt"
	"strings"

	"github.com/boombuler/barcode/qr"
)

// Code is an address as a QR code, drawn for the dark ground of a terminal.
func Code(address string) (string, error) {
	q, err := qr.Encode(address, qr.L, qr.Unicode)
	if err != nil {
		return "", fmt.Errorf("make the code: %w", err)
	}
	const quiet = 4 // modules around it, as ISO/IEC 18004 wants
	size := q.Bounds().Dx()
	dark := func(x, y int) bool {
		if x < 0 || y < 0 || x >= size || y >= size {
			return false
		}
		r, _, _, _ := q.At(x, y).RGBA()
		return r == 0
	}
	var b strings.Builder
	for y := -quiet; y < size+quiet; y += 2 {
		for x := -quiet; x < size+quiet; x++ {
			// Light is drawn, so that it stands light on the dark ground of a terminal.
			b.WriteString(map[[2]bool]string{{true, true}: " ", {true, false}: "▄", {false, true}: "▀", {false, false}: "█"}[[2]bool{dark(x, y), dark(x, y+1)}])
		}
		b.WriteByte('\n')
	}
	return b.String(), nil
}
