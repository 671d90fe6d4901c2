package plot

import (
	"math"
	"slices"
	"strings"

	"github.com/rivo/uniseg"
)

const (
	textSize   = 12.0 // px
	lineHeight = 15.0 // px
	tolerance  = 0.08 // of simplified paths, px

	tickSpacing = 44.0 // least distance of labels on the x axis, px
)

// box is the plot area within the figure.
type box struct{ left, top, right, bottom float64 }

// drawing is a figure with everything in its place: first its box and ticks,
// which a sheet may still align, then its shapes. All sinks draw the same
// shapes.
type drawing struct {
	f         *Figure
	textWidth func(string) float64 // px
	box       box
	x, y      []Tick
	shapes    []shape
}

// shape is one thing that is drawn, in px of the figure.
type shape struct {
	kind   shapeKind
	role   *role
	style  int       // colour, dash and marker of a curve; noStyle for what has none
	points [][]point // runs of lines; the corners of an area; places of dots
	scale  float64   // of a marker; the radius of a disc
	text   string
	anchor anchor
	// What a page's script needs to draw it again.
	group  string  // what is switched on and off together
	series *Series // whose numbers it shows
	end    int     // number of the curve with a name at its end; noEnd for others
	clip   bool    // what is closed was clipped
	mark   *Mark   // that it shows or names
}

type shapeKind int

const (
	area     shapeKind = iota // filled rectangle
	band                      // filled between an upper and a lower line, one polygon a run
	straight                  // straight strokes as they are
	curved                    // strokes through many points
	dots                      // round dots
	dashed                    // short upright strokes
	marker                    // the marker of the style
	disc                      // filled circle
	words                     // text
	opened                    // begin of a group
	clipped                   // begin of a group of which only what lies in the box is seen
	closed                    // end of a group
)

const noStyle, noEnd = -1, -1

// anchor is where a text's place is.
type anchor float64

const (
	start  anchor = 0
	middle anchor = 0.5
	end    anchor = 1
)

// newDrawing lays the figure out for text of a given width.
func newDrawing(f *Figure, textWidth func(string) float64) *drawing {
	d := &drawing{f: f, textWidth: textWidth}
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
	return d
}

// endName shortens a name to what the figure has room for.
func (f *Figure) endName(name string) string {
	if f.Width < 560 {
		return Shortened(name, 11)
	}
	return Shortened(name, 18)
}

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

func (d *drawing) px(x float64) float64 { return d.box.left + d.f.X.at(x, d.box.right-d.box.left) }
func (d *drawing) py(y float64) float64 { return d.box.bottom - d.f.Y.at(y, d.box.bottom-d.box.top) }

// drawn are the shapes of the figure, those at the back first.
func (d *drawing) drawn() []shape {
	d.shapes = nil
	d.ground()
	d.add(shape{kind: clipped})
	for i := range d.f.Series {
		if s := &d.f.Series[i]; s.Half != nil {
			d.add(shape{kind: band, role: bandRole, style: s.Style, points: d.around(s), group: s.Group, series: s})
		}
	}
	for i := range d.f.Series {
		d.series(i)
	}
	d.add(shape{kind: closed, clip: true})
	for _, m := range d.f.Marks {
		d.mark(m)
	}
	for _, l := range d.markLabels() {
		d.text(haloRole, point{l.x, l.y}, start, l.text)
		d.shapes[len(d.shapes)-1].mark = l.of
	}
	d.ends()
	return d.shapes
}

// add adds a shape; one that is not of a named curve has no end.
func (d *drawing) add(s shape) {
	if s.series == nil || s.series.Name == "" {
		s.end = noEnd
	}
	d.shapes = append(d.shapes, s)
}

func (d *drawing) open(r *role) { d.add(shape{kind: opened, role: r, style: noStyle}) }
func (d *drawing) close()       { d.add(shape{kind: closed}) }

func (d *drawing) stroke(r *role, style int, runs ...[]point) {
	d.add(shape{kind: straight, role: r, style: style, points: runs})
}

func (d *drawing) text(r *role, at point, a anchor, s string) {
	d.add(shape{kind: words, role: r, style: noStyle, points: [][]point{{at}}, anchor: a, text: s})
}

// ground is the axes with their grid. The line of zero is dark: across the y
// axis, or where that has names, across the x axis.
func (d *drawing) ground() {
	b, f := d.box, d.f
	if f.Expected > 0 {
		corners := []point{{b.left, d.py(f.Expected)}, {b.right, d.py(-f.Expected)}}
		d.add(shape{kind: area, role: expectedRole, style: noStyle, points: [][]point{corners}})
	}
	d.open(gridXRole)
	for _, t := range d.x {
		x, line := d.px(t.Value), gridRole
		switch {
		case t.Label == "":
			line = minorRole
		case t.Value == 0 && f.Y.Fixed != nil:
			line = zeroRole
		}
		d.stroke(line, noStyle, []point{{x, b.top}, {x, b.bottom}})
		if t.Label != "" {
			d.text(tickRole, point{x, b.bottom + 16}, middle, t.Label)
		}
	}
	d.close()
	d.open(gridYRole)
	for _, t := range d.y {
		y, line := d.py(t.Value), gridRole
		if t.Value == 0 && f.Y.Fixed == nil {
			line = zeroRole
		}
		d.stroke(line, noStyle, []point{{b.left, y}, {b.right, y}})
		d.text(tickRole, point{b.left - 7, y + 4}, end, t.Label)
	}
	d.close()
	for _, t := range f.Y.Extra {
		if y := d.py(t.Value); y >= b.top-1 && y <= b.bottom+1 {
			d.stroke(sideRole, noStyle, []point{{b.right, y}, {b.right + 5, y}})
			d.text(tickRole, point{b.right + 8, y + 4}, start, t.Label)
		}
	}
	d.stroke(frameRole, noStyle, []point{{b.left, b.top}, {b.left, b.bottom}, {b.right, b.bottom}})
	d.text(axisRole, point{b.right, b.bottom + 32}, end, f.X.Label)
	d.text(axisRole, point{4, 12}, start, f.Y.Label)
	if f.Y.ExtraLabel != "" {
		d.text(axisRole, point{f.Width - 4, 12}, end, f.Y.ExtraLabel)
	}
}

// series draws the series of that number.
func (d *drawing) series(number int) {
	s := &d.f.Series[number]
	one := shape{role: seriesRoles[s.Kind], style: s.Style, group: s.Group, series: s, end: number}
	switch s.Kind {
	case Markers:
		one.kind = opened
		d.add(one)
		for _, q := range d.markerPlaces(s) {
			d.marker(markersRole, s.Style, q, 1)
		}
		d.close()
		return
	case Dots, Dashes:
		one.kind = dots
		if s.Kind == Dashes {
			one.kind = dashed
		}
		for _, q := range d.places(s, 0) {
			if finite(q.x) && finite(q.y) {
				one.points = append(one.points, []point{q})
			}
		}
	default:
		if s.Kind == Behind {
			one.style = noStyle
		}
		one.kind = curved
		for _, run := range stretches(d.places(s, 0)) {
			one.points = append(one.points, simplified(run, tolerance))
		}
	}
	if one.points != nil {
		d.add(one)
	}
}

// places are the points of a series, sign times its half-width away.
func (d *drawing) places(s *Series, sign float64) []point {
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

// around is the band of a series: there along its upper side and back.
func (d *drawing) around(s *Series) (polygons [][]point) {
	upper, lower := stretches(d.places(s, 1)), stretches(d.places(s, -1))
	for i := range min(len(upper), len(lower)) {
		back := slices.Clone(simplified(lower[i], tolerance))
		slices.Reverse(back)
		polygons = append(polygons, slices.Concat(simplified(upper[i], tolerance), back))
	}
	return polygons
}

// markerPlaces are about one in 70 px, shifted by style so that the markers of
// neighbouring curves do not meet.
func (d *drawing) markerPlaces(s *Series) []point {
	const every = 72.0
	next := d.box.left + every*(0.3+float64(style(s.Style))/Styles)
	var out []point
	for _, q := range d.places(s, 0) {
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

func (d *drawing) marker(r *role, style int, at point, scale float64) {
	d.add(shape{kind: marker, role: r, style: style, points: [][]point{{at}}, scale: scale})
}

// mark is a point with its error bars; their ends have strokes across.
func (d *drawing) mark(m Mark) {
	at := point{d.px(m.X), d.py(m.Y)}
	own := max(m.Style, noStyle)
	d.add(shape{kind: opened, role: markRole, style: own, group: m.Group, mark: &m})
	if m.XHalf > 0 {
		from, to := d.px(m.X-m.XHalf), d.px(m.X+m.XHalf)
		d.stroke(barRole, own, []point{{from, at.y}, {to, at.y}},
			[]point{{from, at.y - 4}, {from, at.y + 4}}, []point{{to, at.y - 4}, {to, at.y + 4}})
	}
	if m.YHalf > 0 {
		from, to := d.py(m.Y-m.YHalf), d.py(m.Y+m.YHalf)
		d.stroke(barRole, own, []point{{at.x, from}, {at.x, to}},
			[]point{{at.x - 4, from}, {at.x + 4, from}}, []point{{at.x - 4, to}, {at.x + 4, to}})
	}
	switch {
	case m.Style >= 0:
		d.marker(pointRole, m.Style, at, 1.4)
	case m.Style == -1:
		d.add(shape{kind: disc, role: ringRole, style: noStyle, points: [][]point{{at}}, scale: 3})
	}
	d.close()
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
		labels = append(labels, label{x: x, want: y, text: m.Label, of: &m})
	}
	spread(labels, d.box.top+lineHeight, d.box.bottom-4)
	return labels
}

// ends are the names of curves beside their ends, moved apart where curves end
// close together; a fine line leads from the end to the name.
func (d *drawing) ends() {
	var labels []label
	for i := range d.f.Series {
		s := &d.f.Series[i]
		if s.Name == "" {
			continue
		}
		points := d.places(s, 0)
		last := point{d.box.right, d.box.bottom}
		for _, q := range points {
			if finite(q.x) && finite(q.y) {
				last = q
			}
		}
		last.y = math.Min(math.Max(last.y, d.box.top), d.box.bottom)
		labels = append(labels, label{x: last.x, end: last.y, want: last.y, text: d.f.endName(s.Name), series: i})
	}
	if labels == nil {
		return
	}
	spread(labels, d.box.top+4, d.box.bottom-2)
	d.open(endsRole)
	right := d.box.right
	for _, l := range labels {
		s := &d.f.Series[l.series]
		if s.Kind == Behind {
			d.text(tickRole, point{right + 22, l.y + 4}, start, l.text)
			continue
		}
		d.add(shape{kind: opened, role: endRole, style: s.Style, group: s.Group, series: s, end: l.series})
		d.stroke(leadRole, s.Style, []point{{l.x + 1, l.end}, {right + 9, l.y}})
		d.marker(pointRole, s.Style, point{right + 14, l.y}, 1)
		d.text(nameRole, point{right + 22, l.y + 4}, start, l.text)
		d.close()
	}
	d.close()
}

func style(n int) int { return ((n % Styles) + Styles) % Styles }
