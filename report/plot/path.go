package plot

import (
	"math"
	"strconv"
)

type point struct{ x, y float64 }

// pathData writes SVG path data in tenths of a pixel, relative and short.
type pathData struct {
	b     []byte
	x, y  int // pen, in steps
	perPx int // steps in a px: 10 or 100; 0 means 10
}

// steps is a coordinate as a whole number of steps.
func (p *pathData) steps(v float64) int {
	return int(math.Round(float64(max(p.perPx, 10)) * math.Min(math.Max(v, -2e4), 2e4)))
}

func (p *pathData) number(n int) {
	if l := len(p.b); l > 0 && n >= 0 && p.b[l-1] >= '0' && p.b[l-1] <= '9' {
		p.b = append(p.b, ' ')
	}
	if n < 0 {
		p.b = append(p.b, '-')
		n = -n
	}
	one := max(p.perPx, 10)
	if n >= one || n == 0 {
		p.b = strconv.AppendInt(p.b, int64(n/one), 10)
	}
	if n %= one; n == 0 {
		return
	}
	p.b = append(p.b, '.')
	for one > 1 && n > 0 {
		one /= 10
		p.b = append(p.b, byte('0'+n/one))
		n %= one
	}
}

func (p *pathData) move(q point) {
	p.x, p.y = p.steps(q.x), p.steps(q.y)
	p.b = append(p.b, 'M')
	p.number(p.x)
	p.number(p.y)
}

func (p *pathData) line(q point) {
	x, y := p.steps(q.x), p.steps(q.y)
	if n := len(p.b); n == 0 || p.b[n-1] == 'Z' {
		p.move(q)
		return
	}
	p.b = append(p.b, 'l')
	p.number(x - p.x)
	p.number(y - p.y)
	p.x, p.y = x, y
}

func (p *pathData) cubic(a, b, q point) {
	p.b = append(p.b, 'c')
	x, y := p.x, p.y
	for _, c := range []point{a, b, q} {
		p.number(p.steps(c.x) - x)
		p.number(p.steps(c.y) - y)
	}
	p.x, p.y = p.steps(q.x), p.steps(q.y)
}

// dot is a stroke of no length: a round dot with round line caps.
func (p *pathData) dot(q point) {
	p.move(q)
	p.b = append(p.b, "h0"...)
}

// dash is a short upright stroke.
func (p *pathData) dash(q point) {
	p.move(point{q.x, q.y - 2})
	p.b = append(p.b, "v4"...)
}

func (p *pathData) polyline(points []point) {
	p.move(points[0])
	for _, q := range points[1:] {
		p.line(q)
	}
}

// simplified drops points that lie within tolerance pixels of the line drawn
// without them (Ramer 1972; Douglas and Peucker 1973).
func simplified(points []point, tolerance float64) []point {
	if len(points) < 3 {
		return points
	}
	keep := make([]bool, len(points))
	keep[0], keep[len(points)-1] = true, true
	type stretch struct{ from, to int }
	work := []stretch{{0, len(points) - 1}}
	for len(work) > 0 {
		s := work[len(work)-1]
		work = work[:len(work)-1]
		a, b := points[s.from], points[s.to]
		length := math.Hypot(b.x-a.x, b.y-a.y)
		far, at := tolerance, -1
		for i := s.from + 1; i < s.to; i++ {
			d := math.Hypot(points[i].x-a.x, points[i].y-a.y)
			if length > 0 {
				d = math.Abs((b.x-a.x)*(a.y-points[i].y)-(a.x-points[i].x)*(b.y-a.y)) / length
			}
			if d > far {
				far, at = d, i
			}
		}
		if at >= 0 {
			keep[at] = true
			work = append(work, stretch{s.from, at}, stretch{at, s.to})
		}
	}
	out := make([]point, 0, len(points)/2)
	for i, k := range keep {
		if k {
			out = append(out, points[i])
		}
	}
	return out
}

// stretches are the runs of finite points.
func stretches(points []point) [][]point {
	var out [][]point
	from := 0
	for i := 0; i <= len(points); i++ {
		if i < len(points) && finite(points[i].x) && finite(points[i].y) {
			continue
		}
		if i > from {
			out = append(out, points[from:i])
		}
		from = i + 1
	}
	return out
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
