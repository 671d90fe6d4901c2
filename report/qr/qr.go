// Package qr draws texts as QR codes (ISO/IEC 18004), for pages, print and terminals.
package qr

import (
	"fmt"
	"strings"

	"rsc.io/qr"
)

// quiet is the light margin that a reader needs, in modules (ISO/IEC 18004, 9.1).
const quiet = 4

// code is a text as a code, of which a sixth may be unreadable.
func code(text string) (*qr.Code, error) {
	c, err := qr.Encode(text, qr.M)
	if err != nil {
		return nil, fmt.Errorf("the text is too long for a QR code: %d bytes", len(text))
	}
	return c, nil
}

// SVG is a text as a drawing, dark on white whatever the colours about it, for which
// readers hear label. It is as large as its place.
func SVG(text, label string) (string, error) {
	c, err := code(text)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	n := c.Size + 2*quiet
	label = strings.NewReplacer("&", "&amp;", "<", "&lt;", `"`, "&quot;").Replace(label)
	fmt.Fprintf(&b, `<svg class="qr" role="img" aria-label="%s" viewBox="0 0 %d %d" shape-rendering="crispEdges">`,
		label, n, n)
	fmt.Fprintf(&b, `<path fill="#fff" d="M0 0h%dv%dH0z"/><path fill="#000" d="`, n, n)
	for y := range c.Size {
		for x := 0; x < c.Size; x++ {
			from := x
			for c.Black(x, y) { // beyond its edge it is light
				x++
			}
			if x > from {
				fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", from+quiet, y+quiet, x-from, x-from)
			}
		}
	}
	b.WriteString(`"/></svg>`)
	return b.String(), nil
}

// Terminal is a text as lines of half blocks, two rows of modules a line, dark on light by
// escape sequences: terminals have either colours.
func Terminal(text string) (string, error) {
	c, err := code(text)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	for y := -quiet; y < c.Size+quiet; y += 2 {
		b.WriteString("\x1b[30;107m")
		for x := -quiet; x < c.Size+quiet; x++ {
			top, below := c.Black(x, y), c.Black(x, y+1)
			switch {
			case top && below:
				b.WriteString("█")
			case top:
				b.WriteString("▀")
			case below:
				b.WriteString("▄")
			default:
				b.WriteByte(' ')
			}
		}
		b.WriteString("\x1b[0m\n")
	}
	return b.String(), nil
}
