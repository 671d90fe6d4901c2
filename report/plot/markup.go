package plot

import (
	"bytes"
	"fmt"
	"html"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// markup is a figure as an <svg> element of a page: shapes have classes, which
// CSS draws, and refer to the numbers behind them.
type markup struct {
	b       bytes.Buffer
	columns *Columns // nil: no script draws the figure again
}

func (m *markup) printf(format string, args ...any) { fmt.Fprintf(&m.b, format, args...) }

// write writes the figure with a style of its own, or none.
func (f *Figure) write(w io.Writer, columns *Columns, style string) error {
	d := newDrawing(f, estimatedWidth)
	m := &markup{columns: columns}
	m.head(d, style)
	for _, s := range d.drawn() {
		m.shape(s, f)
	}
	m.b.WriteString("</svg>\n")
	_, err := w.Write(m.b.Bytes())
	return err
}

func (m *markup) head(d *drawing, style string) {
	f, b, id := d.f, d.box, text(d.f.ID)
	m.printf(`<svg xmlns="http://www.w3.org/2000/svg" class="%s" id="%s" role="img" aria-labelledby="%s-t %s-d"`,
		text(strings.TrimSpace("figure "+f.Class)), id, id, id)
	width, height := short(f.Width), short(f.Height)
	m.printf(` viewBox="0 0 %s %s" width="%s" height="%s"`, width, height, width, height)
	m.printf(` data-box="%s %s %s %s"`, short(b.left), short(b.top), short(b.right), short(b.bottom))
	m.printf(` data-x="%s" data-y="%s"`, f.X.attribute(), f.Y.attribute())
	if f.Zoom {
		m.b.WriteString(` data-zoom=""`)
		if f.Crop[1] > 0 {
			m.printf(` data-crop="%s"`, plain(f.Crop[:]...))
		}
	}
	m.printf(`><title id="%s-t">%s</title><desc id="%s-d">%s</desc>%s`, id, text(f.Title), id, text(f.Description),
		style)
	m.printf(`<clipPath id="%s-c"><rect x="%s" y="%s" width="%s" height="%s"/></clipPath>`,
		id, short(b.left), short(b.top), short(b.right-b.left), short(b.bottom-b.top))
}

// attribute describes the axis to a page's script: kind, ends.
func (a Axis) attribute() string {
	kind := "lin"
	switch {
	case a.Log:
		kind = "log"
	case a.Degrees:
		kind = "deg"
	}
	return kind + " " + plain(a.Min, a.Max)
}

// plain are numbers for a page's script.
func plain(numbers ...float64) string {
	var words []string
	for _, x := range numbers {
		words = append(words, strconv.FormatFloat(x, 'g', 9, 64))
	}
	return strings.Join(words, " ")
}

func (m *markup) shape(s shape, f *Figure) {
	switch s.kind {
	case opened:
		m.printf(`<g%s%s%s%s%s>`, m.class(s, true), m.group(s), m.numbers(s), m.end(s), m.mark(s, f))
	case clipped:
		m.printf(`<g clip-path="url(#%s-c)">`, text(f.ID))
	case closed:
		m.b.WriteString(`</g>`)
	case area:
		a, b := s.points[0][0], s.points[0][1]
		m.printf(`<rect%s x="%s" y="%s" width="%s" height="%s"/>`,
			m.class(s, false), short(a.x), short(a.y), short(b.x-a.x), short(b.y-a.y))
	case straight:
		m.printf(`<path%s d="%s"/>`, m.class(s, false), strokes(s.points))
	case marker:
		at, scale := s.points[0][0], ""
		if s.scale != 1 {
			scale = " scale(" + short(s.scale) + ")"
		}
		class := m.class(s, false)
		if s.role == markersRole { // its group has the class
			class = ""
		}
		m.printf(`<path%s transform="translate(%s %s)%s" d="%s"/>`, class, short(at.x), short(at.y), scale,
			Marker(s.style))
	case disc:
		at := s.points[0][0]
		m.printf(`<circle%s cx="%s" cy="%s" r="%s"/>`, m.class(s, false), short(at.x), short(at.y), short(s.scale))
	case words:
		at, name := s.points[0][0], ""
		switch s.anchor {
		case middle:
			name = ` text-anchor="middle"`
		case end:
			name = ` text-anchor="end"`
		}
		m.printf(`<text%s x="%s" y="%s"%s%s>%s</text>`, m.class(s, false), short(at.x), short(at.y), name, m.mark(s, f),
			text(s.text))
	default:
		m.curve(s)
	}
}

// curve writes a series as one path.
func (m *markup) curve(s shape) {
	var p pathData
	for _, run := range s.points {
		switch s.kind {
		case dots:
			p.dot(run[0])
		case dashed:
			p.dash(run[0])
		default:
			p.polyline(run)
		}
		if s.kind == band {
			p.b = append(p.b, 'Z')
		}
	}
	if len(p.b) == 0 {
		return
	}
	dash, end := "", ""
	if s.kind != band {
		end = m.end(s)
		if s.series.Kind == Curve && Dash(s.style) != "" {
			dash = ` stroke-dasharray="` + Dash(s.style) + `"`
		}
	}
	m.printf(`<path%s%s%s%s%s d="%s"/>`, m.class(s, true), dash, end, m.group(s), m.numbers(s), p.b)
}

// class is the class attribute; a shape within a group has the style of that.
func (m *markup) class(s shape, styled bool) string {
	class := s.role.class
	if styled && s.style != noStyle {
		class = strings.TrimSpace(class + " s" + strconv.Itoa(style(s.style)))
	}
	if class == "" {
		return ""
	}
	return ` class="` + class + `"`
}

func (m *markup) group(s shape) string {
	if s.group == "" {
		return ""
	}
	return ` data-group="` + text(s.group) + `"`
}

// numbers refers to the columns behind a shape.
func (m *markup) numbers(s shape) string {
	if m.columns == nil || s.series == nil || !s.role.data {
		return ""
	}
	numbers := fmt.Sprintf("%d %d", m.columns.Number(s.series.X), m.columns.Number(s.series.Y))
	if s.kind == band {
		numbers += fmt.Sprintf(" %d", m.columns.Number(s.series.Half))
	}
	return ` data-c="` + numbers + `"`
}

// end ties a curve and the name at its end together.
func (m *markup) end(s shape) string {
	if m.columns == nil || s.end == noEnd {
		return ""
	}
	return fmt.Sprintf(` data-end="%d"`, s.end)
}

// mark is where a mark or its name stands on the axes, with its error bars, in a figure
// that a script draws again.
func (m *markup) mark(s shape, f *Figure) string {
	if m.columns == nil || !f.Zoom || s.mark == nil {
		return ""
	}
	return ` data-m="` + plain(s.mark.X, s.mark.Y, s.mark.XHalf, s.mark.YHalf) + `"`
}

// strokes is path data of straight lines to a tenth of a pixel; short ones
// along an axis are written by their length.
func strokes(runs [][]point) string {
	var b strings.Builder
	along := func(upper, lower string, from, to float64) {
		if math.Abs(to-from) < 10 {
			b.WriteString(lower + short(to-from))
			return
		}
		b.WriteString(upper + short(to))
	}
	for _, run := range runs {
		last := run[0]
		b.WriteString("M" + short(last.x) + " " + short(last.y))
		for _, q := range run[1:] {
			switch {
			case q.x == last.x:
				along("V", "v", last.y, q.y)
			case q.y == last.y:
				along("H", "h", last.x, q.x)
			default:
				b.WriteString("L" + short(q.x) + " " + short(q.y))
			}
			last = q
		}
	}
	return b.String()
}

// short writes a coordinate to a tenth of a pixel; + 0 makes −0 a plain 0.
func short(v float64) string {
	return strconv.FormatFloat(math.Round(v*10)/10+0, 'f', -1, 64)
}

// text makes s safe between tags and within double quotes; what XML 1.0 cannot hold is replaced.
func text(s string) string {
	if !utf8.ValidString(s) {
		s = strings.ToValidUTF8(s, "\ufffd")
	}
	return html.EscapeString(strings.Map(func(r rune) rune {
		if r < 0x20 && r != '\t' && r != '\n' && r != '\r' || r == 0xfffe || r == 0xffff {
			return '\ufffd'
		}
		return r
	}, s))
}
