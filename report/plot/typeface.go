package plot

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"unicode"

	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/bidi"
)

// typeface is the font of printed figures: Liberation Sans, under the SIL Open
// Font License 1.1 (licences/liberation-sans.txt).
type typeface struct {
	font *sfnt.Font
	em   fixed.Int26_6 // units per em
}

var printFace = sync.OnceValues(func() (*typeface, error) {
	f, err := sfnt.Parse(liberationsansregular.TTF)
	if err != nil {
		return nil, fmt.Errorf("font of printed figures: %w", err)
	}
	return &typeface{f, fixed.Int26_6(f.UnitsPerEm())}, nil
})

// missing stands for characters that the font does not have.
const missing = '\u25a1'

// visual is s in the order in which it stands from left to right (Unicode UAX
// #9), with a sign for characters that the font does not have.
func (t *typeface) visual(s string) string {
	var b sfnt.Buffer
	has := make([]rune, 0, len(s))
	for _, r := range s {
		if g, err := t.font.GlyphIndex(&b, r); err != nil || g == 0 {
			r = missing
		}
		has = append(has, r)
	}
	s = string(has)
	var p bidi.Paragraph
	if _, err := p.SetString(s); err != nil {
		return s
	}
	order, err := p.Order()
	if err != nil {
		return s
	}
	// Runs come in the order of reading. Those from right to left, with the
	// numbers among them, are set backwards.
	var out, turned []string
	flush := func() {
		slices.Reverse(turned)
		out, turned = append(out, turned...), nil
	}
	for i := range order.NumRuns() {
		run := order.Run(i)
		text := run.String()
		switch {
		case run.Direction() == bidi.RightToLeft:
			turned = append(turned, bidi.ReverseString(text))
		case !p.IsLeftToRight(), turned != nil && !strings.ContainsFunc(text, unicode.IsLetter):
			turned = append(turned, text)
		default:
			flush()
			out = append(out, text)
		}
	}
	flush()
	return strings.Join(out, "")
}

// width of s in px, set in textSize.
func (t *typeface) width(s string) float64 {
	var b sfnt.Buffer
	total := fixed.Int26_6(0)
	for _, r := range t.visual(s) {
		g, err := t.font.GlyphIndex(&b, r)
		if err != nil {
			continue
		}
		if a, err := t.font.GlyphAdvance(&b, g, t.em, font.HintingNone); err == nil {
			total += a
		}
	}
	return float64(total) / float64(t.em) * textSize
}

// outlines of s in px, set in textSize from 0, 0; s is in visual order.
func (t *typeface) outlines(s string) outline {
	var b sfnt.Buffer
	var out outline
	scale := textSize / float64(t.em)
	x := 0.0
	for _, r := range s {
		g, err := t.font.GlyphIndex(&b, r)
		if err != nil {
			continue
		}
		segments, err := t.font.LoadGlyph(&b, g, t.em, nil)
		if err != nil {
			continue
		}
		at := func(p fixed.Point26_6) point { return point{x + scale*float64(p.X), scale * float64(p.Y)} }
		var pen point
		open := false
		for _, s := range segments {
			end := at(s.Args[0])
			switch s.Op {
			case sfnt.SegmentOpMoveTo:
				if open {
					out.close()
				}
				open = true
				out.move(end)
			case sfnt.SegmentOpLineTo:
				out.line(end)
			case sfnt.SegmentOpQuadTo:
				c := at(s.Args[0])
				end = at(s.Args[1])
				// The cubic curve that a quadratic one is.
				out.cubic(point{pen.x + 2*(c.x-pen.x)/3, pen.y + 2*(c.y-pen.y)/3},
					point{end.x + 2*(c.x-end.x)/3, end.y + 2*(c.y-end.y)/3}, end)
			case sfnt.SegmentOpCubeTo:
				end = at(s.Args[2])
				out.cubic(at(s.Args[0]), at(s.Args[1]), end)
			}
			pen = end
		}
		if open {
			out.close()
		}
		if a, err := t.font.GlyphAdvance(&b, g, t.em, font.HintingNone); err == nil {
			x += scale * float64(a)
		}
	}
	return out
}
