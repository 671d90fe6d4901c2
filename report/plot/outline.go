package plot

import "math"

// outline is a path of straight lines and cubic Bézier curves.
type outline []outlineStep

type outlineStep struct {
	kind byte // 'M', 'L', 'C' or 'Z', as in SVG path data
	p    [3]point
}

func (o *outline) move(p point) { *o = append(*o, outlineStep{'M', [3]point{p}}) }
func (o *outline) line(p point) { *o = append(*o, outlineStep{'L', [3]point{p}}) }
func (o *outline) cubic(a, b, p point) {
	*o = append(*o, outlineStep{'C', [3]point{a, b, p}})
}
func (o *outline) close() { *o = append(*o, outlineStep{kind: 'Z'}) }

// pencil draws lines; what draws curves has another name in each medium.
type pencil interface {
	MoveTo(x, y float64)
	LineTo(x, y float64)
	ClosePath()
}

func (o outline) draw(on pencil, cubic func(x1, y1, x2, y2, x, y float64)) {
	for _, step := range o {
		p := step.p
		switch step.kind {
		case 'M':
			on.MoveTo(p[0].x, p[0].y)
		case 'L':
			on.LineTo(p[0].x, p[0].y)
		case 'C':
			cubic(p[0].x, p[0].y, p[1].x, p[1].y, p[2].x, p[2].y)
		case 'Z':
			on.ClosePath()
		}
	}
}

func (o *outline) polyline(points ...point) {
	for i, p := range points {
		if i == 0 {
			o.move(p)
			continue
		}
		o.line(p)
	}
}

func rectangle(b box) outline {
	var o outline
	o.polyline(point{b.left, b.top}, point{b.right, b.top}, point{b.right, b.bottom}, point{b.left, b.bottom})
	o.close()
	return o
}

// circle is a circle of four cubic curves; its radius is off by 0.03 % at most
// (typical value of this construction).
func circle(at point, r float64) outline {
	const k = 0.5522847498 // 4/3 (sqrt(2) - 1)
	var o outline
	o.move(point{at.x + r, at.y})
	for i := range 4 {
		sin, cos := math.Sincos(float64(i) * math.Pi / 2)
		turned := func(x, y float64) point { return point{at.x + r*(x*cos-y*sin), at.y + r*(x*sin+y*cos)} }
		o.cubic(turned(1, k), turned(k, 1), turned(0, 1))
	}
	o.close()
	return o
}

// markerOutline is a style's marker about a place.
func markerOutline(n int, at point, scale float64) outline {
	corners := markers[style(n)]
	if corners == nil {
		return circle(at, scale*discRadius)
	}
	var o outline
	o.polyline(corners...)
	o.close()
	return o.placed(scale, at)
}

// placed is the outline scaled, then moved.
func (o outline) placed(scale float64, by point) outline {
	out := make(outline, len(o))
	for i, s := range o {
		for k, p := range s.p {
			s.p[k] = point{by.x + scale*p.x, by.y + scale*p.y}
		}
		out[i] = s
	}
	return out
}
