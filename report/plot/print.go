package plot

import (
	"cmp"
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

const (
	columnGap     = 14.0
	rowGap        = 10.0
	farOutside    = 4000.0 // px beyond which nothing is drawn
	maxImagePixel = 200e6
)

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
	a := about{title: s.Title, width: width, height: height, mmPerPx: 1 / PxPerMM(cmp.Or(s.TextPt, DefaultTextPt)),
		dpi: cmp.Or(s.DPI, DefaultDPI), made: s.Made}
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
		p := &printer{at: places[i], m: m, face: face, box: d.box}
		for _, one := range d.drawn() {
			p.shape(one)
		}
	}
	return m.writeTo(w)
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
		all[i] = newDrawing(f, face.width)
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

// printer draws the shapes of one figure of a sheet on a medium.
type printer struct {
	at   point
	m    medium
	face *typeface
	box  box
}

// ink is what a shape is printed in.
func (p *printer) ink(s shape) color.NRGBA {
	switch {
	case s.role.ink != "":
		return printInk()[s.role.ink]
	case s.style == noStyle:
		return printInk()["ink"]
	}
	return printInk()["s"+strconv.Itoa(style(s.style))]
}

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

func (p *printer) shape(s shape) {
	var o outline
	switch s.kind {
	case clipped:
		b := p.box
		p.m.clip(box{p.at.x + b.left, p.at.y + b.top, p.at.x + b.right, p.at.y + b.bottom})
	case closed:
		if s.clip {
			p.m.unclip()
		}
	case area:
		a, b := s.points[0][0], s.points[0][1]
		p.fill(rectangle(box{a.x, a.y, b.x, b.y}), p.ink(s), s.role.opacity)
	case band:
		for _, round := range s.points {
			o.polyline(near(round)...)
			o.close()
		}
		p.fill(o, p.ink(s), s.role.opacity)
	case marker:
		// With a rim in the colour of the paper.
		o = markerOutline(s.style, s.points[0][0], s.scale)
		p.stroke(o, printInk()["paper"], pen{width: 1.4})
		p.fill(o, p.ink(s), 1)
	case disc:
		p.fill(circle(s.points[0][0], s.scale), p.ink(s), s.role.opacity)
	case words:
		p.text(s)
	case straight, curved, dots, dashed:
		p.lines(s)
	}
}

// lines are strokes of any kind.
func (p *printer) lines(s shape) {
	var o outline
	for _, run := range s.points {
		switch run = near(run); s.kind {
		case dots: // a line of hardly any length: a disc with round ends
			o.polyline(point{run[0].x - 0.01, run[0].y}, point{run[0].x + 0.01, run[0].y})
		case dashed:
			o.polyline(point{run[0].x, run[0].y - 2}, point{run[0].x, run[0].y + 2})
		default:
			o.polyline(run...)
		}
	}
	l := s.role.pen
	if s.series != nil && s.series.Kind == Curve {
		l.dash = dashes[style(s.style)]
	}
	p.stroke(o, p.ink(s), l)
}

func (p *printer) text(s shape) {
	set := p.face.visual(s.text)
	at := s.points[0][0]
	at.x -= float64(s.anchor) * p.face.width(set)
	if s.role.pen.width > 0 { // a halo, so that it can be read across lines
		p.stroke(p.face.outlines(set).placed(1, at), printInk()["paper"], s.role.pen)
	}
	p.m.text(point{p.at.x + at.x, p.at.y + at.y}, set, p.ink(s))
}

// near are points, those far outside brought nearer.
func near(points []point) []point {
	out := make([]point, len(points))
	for i, q := range points {
		out[i] = point{min(max(q.x, -farOutside), farOutside), min(max(q.y, -farOutside), farOutside)}
	}
	return out
}
