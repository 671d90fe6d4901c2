package plot

// role is what a shape is in a figure: the class by which a page's style sheet
// (plot.css) draws it, and the ink and the pen of print.
type role struct {
	class   string
	ink     string // of the palette; empty: that of the shape's style, or "ink"
	pen     pen    // of strokes
	opacity float64
	data    bool // a page's script needs the numbers behind it
}

// pen is how a line is drawn, in px.
type pen struct {
	width   float64
	dash    []float64
	round   bool // ends
	opacity float64
}

// Widths of printed lines are in px; a px is 2/3 pt at the usual size. Lines
// are of widths that presses hold.
var (
	gridXRole = &role{class: "grid grid-x"}
	gridYRole = &role{class: "grid grid-y"}
	gridRole  = &role{ink: "hair", pen: pen{width: 0.5}}
	minorRole = &role{class: "minor", ink: "hair-2", pen: pen{width: 0.35}}
	zeroRole  = &role{class: "zero", ink: "quiet", pen: pen{width: 0.5}}
	tickRole  = &role{ink: "quiet"}
	sideRole  = &role{class: "tick", ink: "quiet", pen: pen{width: 0.75}}
	frameRole = &role{class: "frame", ink: "quiet", pen: pen{width: 0.75}}
	axisRole  = &role{class: "axis", ink: "ink"}

	expectedRole = &role{class: "expected", ink: "expected", opacity: 1}
	bandRole     = &role{class: "band", opacity: 0.2, data: true}

	markersRole = &role{class: "markers", data: true}
	pointRole   = &role{class: "point"}
	markRole    = &role{class: "mark"}
	barRole     = &role{class: "bar", pen: pen{width: 1.1}}
	ringRole    = &role{class: "ring", ink: "ink", opacity: 1}
	haloRole    = &role{class: "name", ink: "ink", pen: pen{width: 2.6, round: true}}

	endsRole = &role{class: "ends"}
	endRole  = &role{}
	leadRole = &role{class: "lead", pen: pen{width: 0.55, opacity: 0.6}}
	nameRole = &role{class: "name", ink: "ink"}
)

// seriesRoles are those of the kinds of series. A curve has the dash of its
// style.
var seriesRoles = map[Kind]*role{
	Curve:   {class: "curve", pen: pen{width: 1.6}, data: true},
	Trace:   {class: "trace", pen: pen{width: 0.55}, data: true},
	Markers: markersRole,
	Floor:   {class: "floor", pen: pen{width: 0.55, dash: []float64{1, 1.5}}, data: true},
	Dots:    {class: "dots", pen: pen{width: 2, round: true}, data: true},
	Dashes:  {class: "dashes", pen: pen{width: 0.55}, data: true},
	Guide:   {class: "guide", ink: "ink", pen: pen{width: 1.6}, data: true},
	Behind:  {class: "behind", ink: "quiet", pen: pen{width: 1.6}, data: true},
	Reach:   {class: "reach", ink: "accent", pen: pen{width: 4, opacity: 0.45}, data: true},
}
