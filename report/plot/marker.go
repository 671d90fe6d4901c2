package plot

import (
	"fmt"
	"strings"
)

// Styles is how many curve styles there are; a style is a colour, a dash
// pattern and a marker shape, any one of which tells curves apart. Further
// curves start again from the first.
const Styles = 8

// dashes are the line patterns by style: lengths of strokes and gaps in px.
var dashes = [Styles][]float64{nil, {9, 3}, {3, 2.5}, {12, 3, 2, 3}, {6, 2, 2, 2, 2, 2}, {16, 4}, {1.5, 3},
	{9, 2, 4, 2}}

// discRadius is that of the marker without corners.
const discRadius = 3.6

// markers are the corners of the shapes by style, about 0, 0 within ±4.6 px;
// no corners: a disc.
var markers = [Styles][]point{
	nil,
	{{-3.3, -3.3}, {3.3, -3.3}, {3.3, 3.3}, {-3.3, 3.3}}, // square
	{{0, -4.4}, {4.2, 3.2}, {-4.2, 3.2}},                 // triangle up
	{{0, -4.6}, {4.6, 0}, {0, 4.6}, {-4.6, 0}},           // lozenge
	{{-1.4, -4.4}, {1.4, -4.4}, {1.4, -1.4}, {4.4, -1.4}, {4.4, 1.4}, {1.4, 1.4},
		{1.4, 4.4}, {-1.4, 4.4}, {-1.4, 1.4}, {-4.4, 1.4}, {-4.4, -1.4}, {-1.4, -1.4}}, // cross
	{{0, 4.4}, {4.2, -3.2}, {-4.2, -3.2}},                                          // triangle down
	{{-4.4, -1.7}, {4.4, -1.7}, {4.4, 1.7}, {-4.4, 1.7}},                           // bar
	{{-4, -4}, {0, -1.4}, {4, -4}, {1.4, 0}, {4, 4}, {0, 1.4}, {-4, 4}, {-1.4, 0}}, // star of four
}

// Marker is the path data of a style's marker shape about 0, 0.
func Marker(n int) string {
	corners := markers[style(n)]
	if corners == nil {
		return "M-3.6 0a3.6 3.6 0 1 0 7.2 0a3.6 3.6 0 1 0-7.2 0Z"
	}
	var p pathData
	p.polyline(corners)
	return string(p.b) + "Z"
}

// Dash is a style's stroke-dasharray; empty for an unbroken line.
func Dash(n int) string {
	return strings.Trim(fmt.Sprint(dashes[style(n)]), "[]")
}
