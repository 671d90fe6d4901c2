package plot

import (
	"bytes"
	_ "embed"
	"fmt"
	"html"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/rivo/uniseg"
)

// CSS holds the rules for the classes that figures use; it expects the custom
// properties of Palette.
//
//go:embed plot.css
var CSS string

// Palette sets the custom properties for light and dark.
//
//go:embed palette.css
var Palette string

// Kind says how a series is drawn.
type Kind int

// The kinds of series.
const (
	Curve   Kind = iota // line in the style's dash pattern
	Trace               // thin unbroken line, such as measured points close together
	Markers             // the style's marker at places spread along the curve
	Floor               // fine dotted line
	Dots                // a dot for each point
	Dashes              // a short upright dash for each point
	Guide               // plain line in the ink colour
	Reach               // broad line that marks a distance
)

// Series is one curve. A NaN breaks it.
type Series struct {
	Kind  Kind
	Style int    // 0 … Styles-1, further ones start again
	Name  string // label at the curve's end, empty for none
	Group string // what a reader may switch on and off together
	X, Y  []float64
	Half  []float64 // half-width of the band about Y, nil for none
}

// Mark is a labelled point with error bars.
type Mark struct {
	X, Y         float64
	XHalf, YHalf float64 // 0: no bar
	Style        int     // -1: a dot in the ink colour; -2: the label alone
	Label        string
	Group        string
	Place        Place
}

// Place is where a mark's label stands.
type Place int

// The places of a label.
const (
	Right Place = iota // to the right, a little lower
	Under
	Above // to the left, a little higher
)

// Figure is one drawing with two axes.
type Figure struct {
	ID            string // unique in the document
	Class         string // further class of the <svg> element
	Title         string
	Description   string // what the drawing shows, in words, for those who cannot see it
	Width, Height float64
	X, Y          Axis
	Series        []Series
	Marks         []Mark
	// Expected shades ±Expected about 0.
	Expected float64
	// Zoom tells a page's script that the x axis may be zoomed.
	Zoom bool
}

const (
	textSize   = 12.0 // px
	lineHeight = 15.0 // px
	tolerance  = 0.08 // of simplified paths, px

	tickSpacing = 44.0 // least distance of labels on the x axis, px
)

// estimatedWidth is about how wide s is set, in px: on the wide side of common
// sans-serif fonts, since the reader's font is not known.
func estimatedWidth(s string) float64 {
	em := 0.0
	for g := uniseg.NewGraphemes(s); g.Next(); {
		switch {
		case strings.Contains("mwMW@%—", g.Str()):
			em += 0.95
		case strings.Contains("ijlt.,:;'|!()[] ", g.Str()):
			em += 0.4
		default:
			em += 0.64 * float64(g.Width())
		}
	}
	return em * textSize
}

// box is the plot area within the figure.
type box struct{ left, top, right, bottom float64 }

// WriteSVG writes the figure as an <svg> element for a page that carries
// Palette and CSS. Columns, if not nil, collects the numbers, and curves refer
// to them by data attributes.
func (f *Figure) WriteSVG(w io.Writer, columns *Columns) error {
	return f.write(w, columns, "")
}

// WriteFile writes the figure as a complete SVG file that carries its own
// rules.
func (f *Figure) WriteFile(w io.Writer) error {
	return f.write(w, nil, "<style>"+Palette+CSS+"</style>")
}

func (f *Figure) write(w io.Writer, columns *Columns, style string) error {
	d := &drawing{f: f, columns: columns, textWidth: estimatedWidth}
	d.layout()
	d.open(style)
	d.grid()
	d.curves()
	d.marks()
	d.endLabels()
	d.b.WriteString("</svg>\n")
	_, err := w.Write(d.b.Bytes())
	return err
}

// drawing is a figure with everything in its place.
type drawing struct {
	f         *Figure
	textWidth func(string) float64 // px
	box       box
	x, y      []Tick

	b       bytes.Buffer // as SVG for a page
	columns *Columns
}

func (d *drawing) printf(format string, args ...any) { fmt.Fprintf(&d.b, format, args...) }

func (d *drawing) layout() {
	f := d.f
	d.box = box{left: 20, top: 10, right: f.Width - 14, bottom: f.Height - 38}
	d.y = f.Y.Ticks(d.box.bottom-d.box.top, 34)
	widest := d.textWidth("−000") // figures above each other line up
	for _, t := range d.y {
		widest = math.Max(widest, d.textWidth(t.Label))
	}
	d.box.left += widest + 8
	if f.Y.Label != "" {
		d.box.top += 14
	}
	room := 0.0
	for _, s := range f.Series {
		if s.Name != "" {
			room = math.Max(room, 26+d.textWidth(f.endName(s.Name)))
		}
	}
	for _, t := range f.Y.Extra {
		room = math.Max(room, 12+d.textWidth(t.Label))
	}
	d.box.right -= room
	d.x = f.X.Ticks(d.box.right-d.box.left, tickSpacing)
}

// endName shortens a name to what the figure has room for.
func (f *Figure) endName(name string) string {
	if f.Width < 560 {
		return Shortened(name, 11)
	}
	return Shortened(name, 18)
}

// Shortened cuts the middle out of a name that is wider than most cells. Head
// and tail stay: names often differ in a value at their end.
func Shortened(name string, most int) string {
	if uniseg.StringWidth(name) <= most {
		return name
	}
	var parts []string
	var widths []int
	for g := uniseg.NewGraphemes(name); g.Next(); {
		parts, widths = append(parts, g.Str()), append(widths, g.Width())
	}
	head, tail, used := 0, len(parts), 1
	for head < tail {
		next := head
		if head > len(parts)-tail {
			next = tail - 1
		}
		if used += widths[next]; used > most {
			break
		}
		if next == head {
			head++
		} else {
			tail--
		}
	}
	return strings.Join(parts[:head], "") + "…" + strings.Join(parts[tail:], "")
}

func (d *drawing) px(x float64) float64 {
	return d.box.left + d.f.X.at(x, d.box.right-d.box.left)
}

func (d *drawing) py(y float64) float64 {
	return d.box.bottom - d.f.Y.at(y, d.box.bottom-d.box.top)
}

func (d *drawing) open(style string) {
	f, id := d.f, attribute(d.f.ID)
	d.printf(`<svg xmlns="http://www.w3.org/2000/svg" class="%s" id="%s" role="img" aria-labelledby="%s-t %s-d" viewBox="0 0 %s %s" width="%s" height="%s"`,
		attribute(strings.TrimSpace("figure "+f.Class)), id, id, id, short(f.Width), short(f.Height), short(f.Width), short(f.Height))
	d.printf(` data-box="%s %s %s %s"`, short(d.box.left), short(d.box.top), short(d.box.right), short(d.box.bottom))
	d.printf(` data-x="%s" data-y="%s"`, f.X.attribute(), f.Y.attribute())
	if f.Zoom {
		d.b.WriteString(` data-zoom=""`)
	}
	d.printf(`><title id="%s-t">%s</title><desc id="%s-d">%s</desc>%s`, id, text(f.Title), id, text(f.Description), style)
	b := d.box
	d.printf(`<clipPath id="%s-c"><rect x="%s" y="%s" width="%s" height="%s"/></clipPath>`,
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
	return kind + " " + strconv.FormatFloat(a.Min, 'g', 9, 64) + " " + strconv.FormatFloat(a.Max, 'g', 9, 64)
}

func (d *drawing) grid() {
	b, f := d.box, d.f
	if f.Expected > 0 {
		d.printf(`<rect class="expected" x="%s" y="%s" width="%s" height="%s"/>`, short(b.left), short(d.py(f.Expected)),
			short(b.right-b.left), short(d.py(-f.Expected)-d.py(f.Expected)))
	}
	d.b.WriteString(`<g class="grid grid-x">`)
	for _, t := range d.x {
		class := ""
		if t.Label == "" {
			class = ` class="minor"`
		}
		x := short(d.px(t.Value))
		d.printf(`<path%s d="M%s %sV%s"/>`, class, x, short(b.top), short(b.bottom))
		if t.Label != "" {
			d.printf(`<text x="%s" y="%s" text-anchor="middle">%s</text>`, x, short(b.bottom+16), text(t.Label))
		}
	}
	d.b.WriteString(`</g><g class="grid grid-y">`)
	for _, t := range d.y {
		class := ""
		if t.Value == 0 {
			class = ` class="zero"`
		}
		y := d.py(t.Value)
		d.printf(`<path%s d="M%s %sH%s"/><text x="%s" y="%s" text-anchor="end">%s</text>`,
			class, short(b.left), short(y), short(b.right), short(b.left-7), short(y+4), text(t.Label))
	}
	d.b.WriteString(`</g>`)
	for _, t := range f.Y.Extra {
		if y := d.py(t.Value); y >= b.top-1 && y <= b.bottom+1 {
			d.printf(`<path class="tick" d="M%s %sh5"/><text x="%s" y="%s">%s</text>`, short(b.right), short(y), short(b.right+8), short(y+4), text(t.Label))
		}
	}
	d.printf(`<path class="frame" d="M%s %sV%sH%s"/>`, short(b.left), short(b.top), short(b.bottom), short(b.right))
	d.printf(`<text class="axis" x="%s" y="%s" text-anchor="end">%s</text>`, short(b.right), short(b.bottom+32), text(f.X.Label))
	d.printf(`<text class="axis" x="4" y="12">%s</text>`, text(f.Y.Label))
	if f.Y.ExtraLabel != "" {
		d.printf(`<text class="axis" x="%s" y="12" text-anchor="end">%s</text>`, short(f.Width-4), text(f.Y.ExtraLabel))
	}
}

func (d *drawing) curves() {
	d.printf(`<g clip-path="url(#%s-c)">`, attribute(d.f.ID))
	for _, s := range d.f.Series {
		if s.Half != nil {
			d.path(s, "band", d.band(s), "")
		}
	}
	for i, s := range d.f.Series {
		class := [...]string{"curve", "trace", "markers", "floor", "dots", "dashes", "guide", "reach"}[s.Kind]
		dash := ""
		if s.Kind == Curve && Dash(s.Style) != "" {
			dash = ` stroke-dasharray="` + Dash(s.Style) + `"`
		}
		switch s.Kind {
		case Markers:
			d.markers(s)
		case Dots, Dashes:
			d.path(s, class, d.cloud(s), dash)
		default:
			if s.Name != "" && d.columns != nil {
				dash += fmt.Sprintf(` data-end="%d"`, i)
			}
			d.path(s, class, d.line(s), dash)
		}
	}
	d.b.WriteString(`</g>`)
}

// path writes one path of a series with the attributes that a page's script
// needs to draw it again.
func (d *drawing) path(s Series, class string, data []byte, dash string) {
	if len(data) == 0 {
		return
	}
	d.printf(`<path class="%s s%d"%s%s d="%s"/>`, class, style(s.Style), dash, d.reference(s, class == "band"), data)
}

func (d *drawing) reference(s Series, band bool) string {
	ref := ""
	if s.Group != "" {
		ref = ` data-group="` + attribute(s.Group) + `"`
	}
	if d.columns == nil {
		return ref
	}
	ref += fmt.Sprintf(` data-c="%d %d`, d.columns.Number(s.X), d.columns.Number(s.Y))
	if band {
		ref += fmt.Sprintf(" %d", d.columns.Number(s.Half))
	}
	return ref + `"`
}

func (d *drawing) points(s Series, sign float64) []point {
	out := make([]point, 0, len(s.X))
	for i := range min(len(s.X), len(s.Y)) {
		y := s.Y[i]
		if sign != 0 {
			if i >= len(s.Half) {
				break
			}
			y += sign * s.Half[i]
		}
		out = append(out, point{d.px(s.X[i]), d.py(y)})
	}
	return out
}

func (d *drawing) line(s Series) []byte {
	var p pathData
	for _, run := range stretches(d.points(s, 0)) {
		p.polyline(simplified(run, tolerance))
	}
	return p.b
}

func (d *drawing) cloud(s Series) []byte {
	var p pathData
	for _, q := range d.points(s, 0) {
		switch {
		case !finite(q.x) || !finite(q.y):
		case s.Kind == Dots:
			p.dot(q)
		default:
			p.dash(q)
		}
	}
	return p.b
}

func (d *drawing) band(s Series) []byte {
	var p pathData
	upper, lower := stretches(d.points(s, 1)), stretches(d.points(s, -1))
	for i := range min(len(upper), len(lower)) {
		p.polyline(simplified(upper[i], tolerance))
		back := simplified(lower[i], tolerance)
		for j := len(back) - 1; j >= 0; j-- {
			p.line(back[j])
		}
		p.b = append(p.b, 'Z')
	}
	return p.b
}

// markerPlaces are about one in 70 px, shifted by style so that the markers of
// neighbouring curves do not meet.
func (d *drawing) markerPlaces(s Series) []point {
	const every = 72.0
	next := d.box.left + every*(0.3+float64(style(s.Style))/Styles)
	var out []point
	for _, q := range d.points(s, 0) {
		if q.x < next || !finite(q.y) {
			continue
		}
		out = append(out, q)
		for next <= q.x {
			next += every
		}
	}
	return out
}

func (d *drawing) markers(s Series) {
	d.printf(`<g class="markers s%d"%s>`, style(s.Style), d.reference(s, false))
	for _, q := range d.markerPlaces(s) {
		d.printf(`<path transform="translate(%s %s)" d="%s"/>`, short(q.x), short(q.y), Marker(s.Style))
	}
	d.b.WriteString(`</g>`)
}

func (d *drawing) marks() {
	for _, m := range d.f.Marks {
		x, y := d.px(m.X), d.py(m.Y)
		group := ""
		if m.Group != "" {
			group = ` data-group="` + attribute(m.Group) + `"`
		}
		class := "mark"
		if m.Style >= 0 {
			class += " s" + strconv.Itoa(style(m.Style))
		}
		d.printf(`<g class="%s"%s>`, class, group)
		if m.XHalf > 0 {
			d.bar(d.px(m.X-m.XHalf), y, d.px(m.X+m.XHalf), y)
		}
		if m.YHalf > 0 {
			d.bar(x, d.py(m.Y-m.YHalf), x, d.py(m.Y+m.YHalf))
		}
		switch {
		case m.Style >= 0:
			d.printf(`<path class="point" transform="translate(%s %s) scale(1.4)" d="%s"/>`, short(x), short(y), Marker(m.Style))
		case m.Style == -1:
			d.printf(`<circle class="ring" cx="%s" cy="%s" r="3"/>`, short(x), short(y))
		}
		d.b.WriteString(`</g>`)
	}
	for _, l := range d.markLabels() {
		d.printf(`<text class="name" x="%s" y="%s">%s</text>`, short(l.x), short(l.y), text(l.text))
	}
}

// markLabels are the labels of marks, moved apart and kept within the figure.
func (d *drawing) markLabels() []label {
	var labels []label
	for _, m := range d.f.Marks {
		if m.Label == "" {
			continue
		}
		x, y, width := d.px(m.X), d.py(m.Y), d.textWidth(m.Label)
		switch m.Place {
		case Above:
			x, y = x-7-width, y-7
		case Under:
			x, y = x-width/2, y+19
		default:
			x, y = x+9, y+11
		}
		x = math.Max(d.box.left+4, math.Min(x, d.box.right-width))
		labels = append(labels, label{x: x, want: y, text: m.Label})
	}
	spread(labels, d.box.top+lineHeight, d.box.bottom-4)
	return labels
}

// bar is an error bar with its end strokes.
func (d *drawing) bar(x0, y0, x1, y1 float64) {
	if x0 == x1 {
		d.printf(`<path class="bar" d="M%s %sV%sM%s %sh8M%s %sh8"/>`, short(x0), short(y0), short(y1), short(x0-4), short(y0), short(x0-4), short(y1))
		return
	}
	d.printf(`<path class="bar" d="M%s %sH%sM%s %sv8M%s %sv8"/>`, short(x0), short(y0), short(x1), short(x0), short(y0-4), short(x1), short(y0-4))
}

// endPlaces are the names of curves beside their ends, moved apart where
// curves end close together.
func (d *drawing) endPlaces() []label {
	var labels []label
	for i, s := range d.f.Series {
		if s.Name == "" {
			continue
		}
		points := d.points(s, 0)
		end := point{d.box.right, d.box.bottom}
		for i := len(points) - 1; i >= 0; i-- {
			if finite(points[i].x) && finite(points[i].y) {
				end = points[i]
				break
			}
		}
		end.y = math.Min(math.Max(end.y, d.box.top), d.box.bottom)
		labels = append(labels, label{x: end.x, end: end.y, want: end.y, text: d.f.endName(s.Name), style: s.Style, group: s.Group, series: i})
	}
	spread(labels, d.box.top+4, d.box.bottom-2)
	return labels
}

// endLabels writes the names of curves; a fine line leads from the end to the
// name.
func (d *drawing) endLabels() {
	labels := d.endPlaces()
	if labels == nil {
		return
	}
	d.b.WriteString(`<g class="ends">`)
	for _, l := range labels {
		group := ""
		if l.group != "" {
			group = ` data-group="` + attribute(l.group) + `"`
		}
		if d.columns != nil {
			group += fmt.Sprintf(` data-end="%d"`, l.series)
		}
		d.printf(`<g class="s%d"%s><path class="lead" d="M%s %sL%s %s"/>`, style(l.style), group,
			short(l.x+1), short(l.end), short(d.box.right+9), short(l.y))
		d.printf(`<path class="point" transform="translate(%s %s)" d="%s"/>`, short(d.box.right+14), short(l.y), Marker(l.style))
		d.printf(`<text class="name" x="%s" y="%s">%s</text></g>`, short(d.box.right+22), short(l.y+4), text(l.text))
	}
	d.b.WriteString(`</g>`)
}

func style(n int) int { return ((n % Styles) + Styles) % Styles }

// short writes a coordinate to a tenth of a pixel.
func short(v float64) string {
	s := strconv.FormatFloat(math.Round(v*10)/10, 'f', 1, 64)
	s = strings.TrimSuffix(s, ".0")
	if s == "-0" {
		return "0"
	}
	return s
}

// text makes s safe between tags; what XML 1.0 cannot hold is replaced.
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

// attribute makes s safe within double quotes.
func attribute(s string) string { return text(s) }

// fine writes a length to a thousandth of a px.
func fine(v float64) string { return strconv.FormatFloat(math.Round(v*1000)/1000, 'f', -1, 64) }
