package plot

// Styles is how many curve styles there are; a style is a colour, a dash
// pattern and a marker shape, any one of which tells curves apart. Further
// curves start again from the first.
const Styles = 8

// dashes are the line patterns by style, for stroke-dasharray.
var dashes = [Styles]string{"", "9 3", "3 2.5", "12 3 2 3", "6 2 2 2 2 2", "16 4", "1.5 3", "9 2 4 2"}

// markers are the shapes by style, drawn about 0, 0 within ±4.5 pixels.
var markers = [Styles]string{
	"M-3.6 0a3.6 3.6 0 1 0 7.2 0a3.6 3.6 0 1 0-7.2 0Z", // disc
	"M-3.3-3.3h6.6v6.6h-6.6Z",                          // square
	"M0-4.4L4.2 3.2H-4.2Z",                             // triangle up
	"M0-4.6L4.6 0L0 4.6L-4.6 0Z",                       // lozenge
	"M-1.4-4.4h2.8v3h3v2.8h-3v3h-2.8v-3h-3v-2.8h3Z",    // cross
	"M0 4.4L4.2-3.2H-4.2Z",                             // triangle down
	"M-4.4-1.7h8.8v3.4h-8.8Z",                          // bar
	"M-4-4L0-1.4L4-4L1.4 0L4 4L0 1.4L-4 4L-1.4 0Z",     // star of four
}

// Marker is the path data of a style's marker shape about 0, 0.
func Marker(style int) string { return markers[style%Styles] }

// Dash is a style's stroke-dasharray; empty for an unbroken line.
func Dash(style int) string { return dashes[style%Styles] }
