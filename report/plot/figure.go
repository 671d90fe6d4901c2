package plot

import (
	_ "embed"
	"io"
	"strings"

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

// Script gives figures a cursor and zoom: the class Figures, as a module. A page that holds
// its scripts itself takes InlineScript.
//
//go:embed figures.js
var Script string

// InlineScript is Script for a page whose own script follows in the same element.
func InlineScript() string { return strings.ReplaceAll(Script, "\nexport ", "\n") }

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
	Behind              // quiet line that others are seen against
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
	// Zoom tells a page's script that the x axis may be zoomed, and Crop where on it there
	// is something to see; zero: everywhere.
	Zoom bool
	Crop [2]float64
}

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
