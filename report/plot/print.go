package plot

import (
	"errors"
	"fmt"
	"image/color"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Sheet is figures for print, side by side and below each other, as a file of
// its own: dark on nothing (on white as PNG), text in an embedded font or as
// outlines, lines of widths that presses hold.
type Sheet struct {
	Figures []*Figure // row by row; those of a column have one width
	Columns int       // 0: 1
	TextPt  float64   // size of the text in pt; 0: 8
	DPI     float64   // of PNG; 0: 600
	Title   string
	Made    time.Time // for the record in PDF
}

// Format is a kind of file for print.
type Format string

// The formats.
const (
	SVG Format = "svg"
	PDF Format = "pdf"
	PNG Format = "png"
)

// Defaults of a sheet.
const (
	DefaultTextPt = 8
	DefaultDPI    = 600
)

// mmPerPt is a point of 1/72 inch.
const mmPerPt = 25.4 / 72

// PxPerMM is how many px of a figure make a mm on paper with text of so many
// pt.
func PxPerMM(textPt float64) float64 { return textSize / (textPt * mmPerPt) }

// Widths of printed lines in px; a px is 2/3 pt at the usual size.
const (
	printedCurve  = 1.6
	printedTrace  = 0.55
	printedFrame  = 0.75
	printedGrid   = 0.5
	printedMinor  = 0.35
	printedBar    = 1.1
	printedReach  = 4.0
	printedDot    = 2.0
	printedHalo   = 2.6
	bandOpacity   = 0.2
	reachOpacity  = 0.45
	columnGap     = 14.0
	rowGap        = 10.0
	farOutside    = 4000.0 // px beyond which nothing is drawn
	maxImagePixel = 200e6
)

// pen is how a line is drawn, in px.
type pen struct {
	width   float64
	dash    []float64
	round   bool // ends
	opacity float64
}

// medium takes what is drawn, in px of the sheet.
type medium interface {
	fill(o outline, c color.NRGBA, opacity float64)
	stroke(o outline, c color.NRGBA, p pen)
	// text draws s, in visual order, from at to the right.
	text(at point, s string, c color.NRGBA)
	clip(b box)
	unclip()
	writeTo(w io.Writer) error
}

// about is what a file says of itself.
type about struct {
	title, description string
	width, height      float64 // px
	mmPerPx, dpi       float64
	made               time.Time
}

// Print writes the sheet.
func (s *Sheet) Print(w io.Writer, format Format) error {
	if len(s.Figures) == 0 {
		return errors.New("there is nothing to draw")
	}
	face, err := printFace()
	if err != nil {
		return err
	}
	places, width, height := s.places()
	a := about{title: s.Title, width: width, height: height, mmPerPx: 1 / PxPerMM(orDefault(s.TextPt, DefaultTextPt)),
		dpi: orDefault(s.DPI, DefaultDPI), made: s.Made}
	for _, f := range s.Figures {
		a.description = strings.TrimSpace(a.description + " " + f.Description)
	}
	var m medium
	switch format {
	case SVG:
		m = newVectorSheet(a, face)
	case PDF:
		m = newPDFSheet(a)
	case PNG:
		if m, err = newImageSheet(a, face); err != nil {
			return err
		}
	default:
		return fmt.Errorf("%q is not a format for figures: want svg, pdf or png", string(format))
	}
	for i, d := range s.drawings(face) {
		p := &printer{drawing: d, at: places[i], m: m, face: face, ink: printInk()}
		p.print()
	}
	return m.writeTo(w)
}

func orDefault(v, otherwise float64) float64 {
	if v == 0 {
		return otherwise
	}
	return v
}

// places are the upper left corners of the figures and the size of all.
func (s *Sheet) places() (at []point, width, height float64) {
	columns := max(s.Columns, 1)
	x, y, tallest := 0.0, 0.0, 0.0
	for i, f := range s.Figures {
		if i%columns == 0 {
			if i > 0 {
				y += tallest + rowGap
			}
			x, tallest = 0, 0
		}
		at = append(at, point{x, y})
		width = math.Max(width, x+f.Width)
		x += f.Width + columnGap
		tallest = math.Max(tallest, f.Height)
	}
	return at, width, y + tallest
}

// FigureWidth is the width in px of each of so many figures side by side on a
// sheet of so many px.
func FigureWidth(sheet float64, columns int) float64 {
	return (sheet - float64(columns-1)*columnGap) / float64(columns)
}

// RowsHeight is the height in px that is left for so many rows.
func RowsHeight(sheet float64, rows int) float64 { return sheet - float64(rows-1)*rowGap }

// drawings are the figures laid out, those of a column with their axes above
// each other.
func (s *Sheet) drawings(face *typeface) []*drawing {
	columns := max(s.Columns, 1)
	all := make([]*drawing, len(s.Figures))
	for i, f := range s.Figures {
		all[i] = &drawing{f: f, textWidth: face.width}
		all[i].layout()
	}
	for c := range columns {
		left, right := 0.0, math.Inf(1)
		for i := c; i < len(all); i += columns {
			left, right = math.Max(left, all[i].box.left), math.Min(right, all[i].box.right)
		}
		for i := c; i < len(all); i += columns {
			d := all[i]
			d.box.left, d.box.right = left, right
			d.x = d.f.X.Ticks(right-left, tickSpacing)
		}
	}
	return all
}

// printInk is the light palette.
var printInk = sync.OnceValue(func() map[string]color.NRGBA {
	light, _, _ := strings.Cut(Palette, "@media")
	ink := map[string]color.NRGBA{}
	for _, m := range regexp.MustCompile(`--([a-z0-9-]+): #([0-9a-f]{6})`).FindAllStringSubmatch(light, -1) {
		if v, err := strconv.ParseUint(m[2], 16, 32); err == nil {
			ink[m[1]] = color.NRGBA{uint8(v >> 16), uint8(v >> 8), uint8(v), 255}
		}
	}
	return ink
})

// printer draws one figure of a sheet.
type printer struct {
	*drawing
	at   point
	m    medium
	face *typeface
	ink  map[string]color.NRGBA
}

func (p *printer) styleInk(n int) color.NRGBA { return p.ink["s"+strconv.Itoa(style(n))] }

func (p *printer) fill(o outline, c color.NRGBA, opacity float64) {
	if len(o) > 0 {
		p.m.fill(o.placed(1, p.at), c, opacity)
	}
}

func (p *printer) stroke(o outline, c color.NRGBA, l pen) {
	if l.opacity == 0 {
		l.opacity = 1
	}
	if len(o) > 0 {
		p.m.stroke(o.placed(1, p.at), c, l)
	}
}

// anchor is where a text's place is.
type anchor float64

const (
	start  anchor = 0
	middle anchor = 0.5
	end    anchor = 1
)

func (p *printer) text(at point, a anchor, s string, c color.NRGBA, halo bool) {
	s = p.face.visual(s)
	at.x -= float64(a) * p.face.width(s)
	if halo {
		p.stroke(p.face.outlines(s).placed(1, at), p.ink["paper"], pen{width: printedHalo, round: true})
	}
	p.m.text(point{p.at.x + at.x, p.at.y + at.y}, s, c)
}

func (p *printer) print() {
	p.ground()
	b := p.box
	p.m.clip(box{p.at.x + b.left, p.at.y + b.top, p.at.x + b.right, p.at.y + b.bottom})
	for _, s := range p.f.Series {
		if s.Half != nil {
			p.fill(p.bandOutline(s), p.styleInk(s.Style), bandOpacity)
		}
	}
	for _, s := range p.f.Series {
		p.series(s)
	}
	p.m.unclip()
	p.printMarks()
	p.printEnds()
}

// ground is the axes with their grid.
func (p *printer) ground() {
	b, f, quiet := p.box, p.f, p.ink["quiet"]
	if f.Expected > 0 {
		p.fill(rectangle(box{b.left, p.py(f.Expected), b.right, p.py(-f.Expected)}), p.ink["expected"], 1)
	}
	var major, minor, zero outline
	for _, t := range p.x {
		x := p.px(t.Value)
		if t.Label == "" {
			minor.segment(point{x, b.top}, point{x, b.bottom})
			continue
		}
		line := &major
		if t.Value == 0 && f.Y.Fixed != nil {
			line = &zero
		}
		line.segment(point{x, b.top}, point{x, b.bottom})
		p.text(point{x, b.bottom + 16}, middle, t.Label, quiet, false)
	}
	for _, t := range p.y {
		y := p.py(t.Value)
		line := &major
		if t.Value == 0 && f.Y.Fixed == nil {
			line = &zero
		}
		line.segment(point{b.left, y}, point{b.right, y})
		p.text(point{b.left - 7, y + 4}, end, t.Label, quiet, false)
	}
	p.stroke(minor, p.ink["hair-2"], pen{width: printedMinor})
	p.stroke(major, p.ink["hair"], pen{width: printedGrid})
	p.stroke(zero, quiet, pen{width: printedGrid})
	var frame outline
	for _, t := range f.Y.Extra {
		if y := p.py(t.Value); y >= b.top-1 && y <= b.bottom+1 {
			frame.segment(point{b.right, y}, point{b.right + 5, y})
			p.text(point{b.right + 8, y + 4}, start, t.Label, quiet, false)
		}
	}
	frame.polyline([]point{{b.left, b.top}, {b.left, b.bottom}, {b.right, b.bottom}})
	p.stroke(frame, quiet, pen{width: printedFrame})
	p.text(point{b.right, b.bottom + 32}, end, f.X.Label, p.ink["ink"], false)
	p.text(point{4, 12}, start, f.Y.Label, p.ink["ink"], false)
	if f.Y.ExtraLabel != "" {
		p.text(point{f.Width - 4, 12}, end, f.Y.ExtraLabel, p.ink["ink"], false)
	}
}

func (p *printer) series(s Series) {
	ink := p.styleInk(s.Style)
	switch s.Kind {
	case Curve:
		p.stroke(p.lineOutline(s), ink, pen{width: printedCurve, dash: dashes[style(s.Style)]})
	case Trace:
		p.stroke(p.lineOutline(s), ink, pen{width: printedTrace})
	case Floor:
		p.stroke(p.lineOutline(s), ink, pen{width: printedTrace, dash: []float64{1, 1.5}})
	case Guide:
		p.stroke(p.lineOutline(s), p.ink["ink"], pen{width: printedCurve})
	case Reach:
		p.stroke(p.lineOutline(s), p.ink["accent"], pen{width: printedReach, opacity: reachOpacity})
	case Markers:
		for _, q := range p.markerPlaces(s) {
			p.marker(s.Style, q, 1)
		}
	case Dots:
		var o outline
		for _, q := range p.near(p.points(s, 0)) {
			// A line of hardly any length: a disc with round ends.
			o.segment(point{q.x - 0.01, q.y}, point{q.x + 0.01, q.y})
		}
		p.stroke(o, ink, pen{width: printedDot, round: true})
	case Dashes:
		var o outline
		for _, q := range p.near(p.points(s, 0)) {
			o.segment(point{q.x, q.y - 2}, point{q.x, q.y + 2})
		}
		p.stroke(o, ink, pen{width: printedTrace})
	}
}

// marker draws a style's marker with a rim in the colour of the paper.
func (p *printer) marker(n int, at point, scale float64) {
	o := markerOutline(n, at, scale)
	p.stroke(o, p.ink["paper"], pen{width: 1.4})
	p.fill(o, p.styleInk(n), 1)
}

// near are the finite points, those far outside brought nearer.
func (p *printer) near(points []point) []point {
	out := make([]point, 0, len(points))
	for _, q := range points {
		if finite(q.x) && finite(q.y) {
			out = append(out, near(q))
		}
	}
	return out
}

func near(q point) point {
	return point{math.Min(math.Max(q.x, -farOutside), farOutside), math.Min(math.Max(q.y, -farOutside), farOutside)}
}

func (p *printer) lineOutline(s Series) outline {
	var o outline
	for _, run := range stretches(p.points(s, 0)) {
		o.polyline(p.near(simplified(run, tolerance)))
	}
	return o
}

func (p *printer) bandOutline(s Series) outline {
	var o outline
	upper, lower := stretches(p.points(s, 1)), stretches(p.points(s, -1))
	for i := range min(len(upper), len(lower)) {
		o.polyline(p.near(simplified(upper[i], tolerance)))
		back := p.near(simplified(lower[i], tolerance))
		for j := len(back) - 1; j >= 0; j-- {
			o.line(back[j])
		}
		o.close()
	}
	return o
}

func (p *printer) printMarks() {
	for _, m := range p.f.Marks {
		at := point{p.px(m.X), p.py(m.Y)}
		ink := p.ink["ink"]
		if m.Style >= 0 {
			ink = p.styleInk(m.Style)
		}
		var bars outline
		if m.XHalf > 0 {
			for _, x := range []float64{p.px(m.X - m.XHalf), p.px(m.X + m.XHalf)} {
				bars.segment(at, point{x, at.y})
				bars.segment(point{x, at.y - 4}, point{x, at.y + 4})
			}
		}
		if m.YHalf > 0 {
			for _, y := range []float64{p.py(m.Y - m.YHalf), p.py(m.Y + m.YHalf)} {
				bars.segment(at, point{at.x, y})
				bars.segment(point{at.x - 4, y}, point{at.x + 4, y})
			}
		}
		p.stroke(bars, ink, pen{width: printedBar})
		switch {
		case m.Style >= 0:
			p.marker(m.Style, at, 1.4)
		case m.Style == -1:
			p.fill(disc(at, 3), ink, 1)
		}
	}
	for _, l := range p.markLabels() {
		p.text(point{l.x, l.y}, start, l.text, p.ink["ink"], true)
	}
}

func (p *printer) printEnds() {
	for _, l := range p.endPlaces() {
		ink := p.styleInk(l.style)
		var lead outline
		lead.segment(point{l.x + 1, l.end}, point{p.box.right + 9, l.y})
		p.stroke(lead, ink, pen{width: printedTrace, opacity: 0.6})
		p.marker(l.style, point{p.box.right + 14, l.y}, 1)
		p.text(point{p.box.right + 22, l.y + 4}, start, l.text, p.ink["ink"], false)
	}
}
