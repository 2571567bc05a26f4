// Package codes draws barcodes that a scanner reads, as SVG.
package codes

import (
	"fmt"
	"image/color"
	"strconv"

	"github.com/boombuler/barcode/code128"
)

// quiet is the empty margin at each side of a symbol, in modules (ISO/IEC 15417:2007, 4.2.1: at least 10).
const quiet = 10

// Code128 returns a Code 128 symbol of a text as an SVG element, one module a unit wide and height units
// high, with its quiet zones. It is drawn black on white whatever the page looks like, since scanners
// need the contrast. The text must be ASCII and is what assistive technology reads.
func Code128(text string, height int) ([]byte, error) {
	symbol, err := code128.Encode(text)
	if err != nil {
		return nil, fmt.Errorf("%q as Code 128: %w", text, err)
	}
	modules := symbol.Bounds().Dx()
	width := modules + 2*quiet
	b := fmt.Appendf(nil, `<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="Code %s" viewBox="0 0 %d %d" `+
		`preserveAspectRatio="none"><rect width="%d" height="%d" fill="#fff"/><path fill="#000" d="`, escaped(text), width, height, width, height)
	for x := 0; x < modules; {
		run := 0
		for x+run < modules && dark(symbol.At(x+run, 0)) {
			run++
		}
		if run > 0 {
			b = append(b, 'M')
			b = strconv.AppendInt(b, int64(x+quiet), 10)
			b = fmt.Appendf(b, " 0h%dv%dh-%dz", run, height, run)
		}
		x += max(run, 1)
	}
	return append(b, `"/></svg>`...), nil
}

func dark(c color.Color) bool {
	r, g, b, _ := c.RGBA()
	return r+g+b < 3*0x8000
}

// escaped returns a text for an attribute.
func escaped(text string) string {
	var b []byte
	for _, c := range []byte(text) {
		switch c {
		case '&', '<', '>', '"', '\'':
			b = fmt.Appendf(b, "&#%d;", c)
		default:
			b = append(b, c)
		}
	}
	return string(b)
}
