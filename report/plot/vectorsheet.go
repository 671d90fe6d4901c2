package plot

import (
	"bytes"
	"fmt"
	"image/color"
	"io"
	"math"
	"strconv"
	"strings"
)

// vectorSheet is a sheet as SVG. Text is outlines, so that it looks alike
// everywhere; what it says stands in the labels of its groups.
type vectorSheet struct {
	b     bytes.Buffer
	face  *typeface
	clips int
}

func newVectorSheet(a about, face *typeface) *vectorSheet {
	s := &vectorSheet{face: face}
	s.printf(`<svg xmlns="http://www.w3.org/2000/svg" width="%.3fmm" height="%.3fmm" viewBox="0 0 %s %s" role="img">`,
		a.width*a.mmPerPx, a.height*a.mmPerPx, fine(a.width), fine(a.height))
	s.printf("<title>%s</title><desc>%s</desc>\n", text(a.title), text(a.description))
	return s
}

func (s *vectorSheet) printf(format string, args ...any) { fmt.Fprintf(&s.b, format, args...) }

func rgb(c color.NRGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

func (s *vectorSheet) fill(o outline, c color.NRGBA, opacity float64) {
	s.printf(`<path fill="%s"`, rgb(c))
	if opacity < 1 {
		s.printf(` fill-opacity="%g"`, opacity)
	}
	s.printf(` d="%s"/>`+"\n", o.svg())
}

func (s *vectorSheet) stroke(o outline, c color.NRGBA, p pen) {
	s.printf(`<path fill="none" stroke="%s" stroke-width="%g" stroke-linejoin="round"`, rgb(c), p.width)
	if p.round {
		s.printf(` stroke-linecap="round"`)
	}
	if p.opacity < 1 {
		s.printf(` stroke-opacity="%g"`, p.opacity)
	}
	if p.dash != nil {
		s.printf(` stroke-dasharray="%s"`, strings.Trim(fmt.Sprint(p.dash), "[]"))
	}
	s.printf(` d="%s"/>`+"\n", o.svg())
}

func (s *vectorSheet) text(at point, t string, c color.NRGBA) {
	s.printf(`<g aria-label="%s"><path fill="%s" d="%s"/></g>`+"\n", text(t), rgb(c),
		s.face.outlines(t).placed(1, at).svg())
}

func (s *vectorSheet) clip(b box) {
	s.clips++
	s.printf(`<clipPath id="c%d"><path d="%s"/></clipPath><g clip-path="url(#c%d)">`+"\n", s.clips,
		rectangle(b).svg(), s.clips)
}

func (s *vectorSheet) unclip() { s.printf("</g>\n") }

func (s *vectorSheet) writeTo(w io.Writer) error {
	s.printf("</svg>\n")
	_, err := w.Write(s.b.Bytes())
	return err
}

// svg is the outline as path data, to a hundredth of a px.
func (o outline) svg() []byte {
	var p pathData
	p.perPx = 100
	for _, s := range o {
		switch s.kind {
		case 'M':
			p.move(s.p[0])
		case 'L':
			p.line(s.p[0])
		case 'C':
			p.cubic(s.p[0], s.p[1], s.p[2])
		case 'Z':
			p.b = append(p.b, 'Z')
		}
	}
	return p.b
}

// fine writes a length to a thousandth of a px.
func fine(v float64) string { return strconv.FormatFloat(math.Round(v*1000)/1000, 'f', -1, 64) }
