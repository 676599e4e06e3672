package pairing

import (
	"fmt"
	"strings"

	"rsc.io/qr"
)

// quiet is the white border a QR code needs, in modules (ISO/IEC 18004).
const quiet = 4

// SVG draws a QR code of the text, black on white in any theme.
func SVG(text string) (string, error) {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	side := code.Size + 2*quiet
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img" aria-label="QR code of the phone page's address"><path fill="#fff" d="M0 0h%dv%dH0z"/><path fill="#000" d="`, side, side, side, side)
	for y := 0; y < code.Size; y++ {
		for x := 0; x < code.Size; x++ {
			if code.Black(x, y) {
				fmt.Fprintf(&b, "M%d %dh1v1h-1z", x+quiet, y+quiet)
			}
		}
	}
	b.WriteString(`"/></svg>`)
	return b.String(), nil
}

// Terminal draws a QR code with half blocks, two rows of modules a line, in
// black on white whatever the terminal's own colours.
func Terminal(text string) (string, error) {
	code, err := qr.Encode(text, qr.L)
	if err != nil {
		return "", err
	}
	black := func(x, y int) bool {
		return x >= 0 && y >= 0 && x < code.Size && y < code.Size && code.Black(x, y)
	}
	var b strings.Builder
	for y := -quiet / 2; y < code.Size+quiet/2; y += 2 {
		b.WriteString("\x1b[30;107m")
		for x := -quiet / 2; x < code.Size+quiet/2; x++ {
			switch up, down := black(x, y), black(x, y+1); {
			case up && down:
				b.WriteString("█")
			case up:
				b.WriteString("▀")
			case down:
				b.WriteString("▄")
			default:
				b.WriteByte(' ')
			}
		}
		b.WriteString("\x1b[0m\n")
	}
	return b.String(), nil
}
