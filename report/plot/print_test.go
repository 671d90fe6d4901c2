package plot

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"image/color"
	"image/png"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"codeberg.org/go-fonts/liberation/liberationsansregular"
)

func exampleSheet() *Sheet {
	a, b := example(480), example(480)
	b.Height = 150
	b.Series = b.Series[:1]
	b.Series[0].Name = "שלום"
	b.Marks = []Mark{{X: 3000, Y: 12, XHalf: 300, YHalf: 4, Style: -1, Label: "3 kΩ → µs² − 5"}}
	return &Sheet{Figures: []*Figure{a, b}, Title: `<Invented> & "curves"`}
}

func printed(t *testing.T, s *Sheet, f Format) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := s.Print(&b, f); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// A px is 1/12 of the size of the text, and a point 25.4/72 mm: 480 px with
// text of 8 pt are 320 pt, or 112.889 mm.
func TestSheetHasItsSizeInEveryFormat(t *testing.T) {
	s := exampleSheet()
	const width, height = 320.0, (260.0 + 10 + 150) * 8 / 12 // pt
	svg := string(printed(t, s, SVG))
	m := regexp.MustCompile(`width="([\d.]+)mm" height="([\d.]+)mm"`).FindStringSubmatch(svg)
	if m == nil || !near3(m[1], width*25.4/72) || !near3(m[2], height*25.4/72) {
		t.Errorf("SVG of %v, want %.3f × %.3f mm", m, width*25.4/72, height*25.4/72)
	}
	m = regexp.MustCompile(`/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]`).FindStringSubmatch(string(printed(t, s, PDF)))
	if m == nil || !near3(m[1], width) || !near3(m[2], height) {
		t.Errorf("PDF of %v, want %.2f × %.2f pt", m, width, height)
	}
	s.DPI = 144
	file := printed(t, s, PNG)
	image, err := png.Decode(bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	if got := image.Bounds().Size(); got.X != 640 || got.Y != 560 {
		t.Errorf("PNG of %v, want 640 × 560", got)
	}
	// 144 per inch are 5669 per m; chunk pHYs of ISO/IEC 15948.
	at := bytes.Index(file, []byte("pHYs"))
	if at < 0 || binary.BigEndian.Uint32(file[at+4:]) != 5669 || binary.BigEndian.Uint32(file[at+8:]) != 5669 ||
		file[at+12] != 1 {
		t.Error("PNG does not state its resolution")
	}
}

func near3(text string, want float64) bool {
	v, err := strconv.ParseFloat(text, 64)
	return err == nil && math.Abs(v-want) < 6e-3
}

// Nothing of a printed SVG depends on what the reader has: no fonts, no style
// sheet, no reference out of it; what its outlines say stands in labels.
func TestPrintedSVGNeedsNothing(t *testing.T) {
	s := string(printed(t, exampleSheet(), SVG))
	wellFormed(t, s)
	for _, tag := range regexp.MustCompile(`<[a-zA-Z]+`).FindAllString(s, -1) {
		switch tag {
		case "<svg", "<title", "<desc", "<clipPath", "<g", "<path":
		default:
			t.Errorf("element %s", tag)
		}
	}
	for _, want := range []string{`aria-label="magnitude, dB"`, `aria-label="3 kΩ → µs² − 5"`,
		`aria-label="invented 1"`, "&lt;Invented&gt; &amp; &#34;curves&#34;"} {
		if !strings.Contains(s, want) {
			t.Errorf("no %s", want)
		}
	}
	if strings.Contains(s, "NaN") || strings.Contains(s, "Inf") {
		t.Error("a coordinate is not a number")
	}
}

// The font is in the PDF, cut down to what is used, with a map back to text
// (ISO 32000-1, 9.8 and 9.10.3).
func TestPrintedPDFEmbedsItsFont(t *testing.T) {
	file := printed(t, exampleSheet(), PDF)
	for _, want := range []string{"/FontFile2", "/ToUnicode", "/CIDFontType2", "/Lang"} {
		if !bytes.Contains(file, []byte(want)) {
			t.Errorf("no %s", want)
		}
	}
	if len(file) > len(liberationsansregular.TTF)/4 {
		t.Errorf("%d bytes: the font is not cut down", len(file))
	}
	drawn := false
	for _, m := range regexp.MustCompile(`(?s)stream\n(.*?)\nendstream`).FindAllSubmatch(file, -1) {
		r, err := zlib.NewReader(bytes.NewReader(m[1]))
		if err != nil {
			continue
		}
		content, err := io.ReadAll(r)
		if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
			t.Fatal(err)
		}
		drawn = drawn || bytes.Contains(content, []byte(" Tj ET")) && bytes.Contains(content, []byte(" re W n"))
	}
	if !drawn {
		t.Error("no page with text and clipped curves")
	}
}

// The image has the curves in their colours, on white.
func TestPrintedImageIsDrawn(t *testing.T) {
	s := exampleSheet()
	s.DPI = 144
	image, err := png.Decode(bytes.NewReader(printed(t, s, PNG)))
	if err != nil {
		t.Fatal(err)
	}
	count := map[color.NRGBA]int{}
	b := image.Bounds()
	for y := range b.Dy() {
		for x := range b.Dx() {
			count[color.NRGBAModel.Convert(image.At(x, y)).(color.NRGBA)]++
		}
	}
	ink := printInk()
	if n := count[color.NRGBA{255, 255, 255, 255}]; n < b.Dx()*b.Dy()/2 {
		t.Errorf("%d white pixels", n)
	}
	for _, name := range []string{"s0", "s1", "ink"} {
		if count[ink[name]] < 50 {
			t.Errorf("%d pixels of %s", count[ink[name]], name)
		}
	}
	if count[ink["s2"]] > 0 {
		t.Error("pixels in a colour that is not used")
	}
	s.DPI = 1e6
	if err := s.Print(io.Discard, PNG); err == nil || !strings.Contains(err.Error(), "too large") {
		t.Errorf("error %v for an image of a million pixels an inch", err)
	}
}

// Figures of a column have their axes above each other.
func TestSheetLinesUp(t *testing.T) {
	face, err := printFace()
	if err != nil {
		t.Fatal(err)
	}
	s := exampleSheet()
	s.Figures[1].Y = Axis{Label: "y", Min: -1e5, Max: 1e5}
	d := s.drawings(face)
	if d[0].box.left != d[1].box.left || d[0].box.right != d[1].box.right {
		t.Errorf("axes from %g to %g and from %g to %g", d[0].box.left, d[0].box.right, d[1].box.left, d[1].box.right)
	}
	s.Columns = 2
	if at, width, height := s.places(); at[1] != (point{480 + columnGap, 0}) || width != 960+columnGap ||
		height != 260 {
		t.Errorf("side by side at %v, %g × %g", at, width, height)
	}
}

// Widths from the font's own table hmtx, in 2048 units an em: digits 1139,
// "A" 1366, space 569, as in fonts of the same metrics.
func TestTextWidth(t *testing.T) {
	face, err := printFace()
	if err != nil {
		t.Fatal(err)
	}
	for text, units := range map[string]float64{"0": 1139, "A 1": 1366 + 569 + 1139, "": 0} {
		if got, want := face.width(text), units/2048*textSize; math.Abs(got-want) > 1e-9 {
			t.Errorf("%q is %g px wide, want %g", text, got, want)
		}
	}
}

// Right-to-left text is set from right to left, numbers within it are not
// (Unicode UAX #9); what the font lacks is shown to be there.
func TestVisualOrder(t *testing.T) {
	face, err := printFace()
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		"plain": "plain", "שלום": "םולש", "סליל 12": "12 לילס",
		"abc סליל 12 של def": "abc לש 12 לילס def", "a\U0001f527b": "a□b", "": "",
	} {
		if got := face.visual(text); got != want {
			t.Errorf("%q is set as %q, want %q", text, got, want)
		}
	}
}

// A circle's outline lies on the circle.
func TestDisc(t *testing.T) {
	o := circle(point{10, 20}, 5)
	pen := o[0].p[0]
	for _, s := range o[1:5] {
		for i := range 11 {
			u := float64(i) / 10
			at := func(a, b, c, d float64) float64 {
				return (1-u)*(1-u)*(1-u)*a + 3*u*(1-u)*(1-u)*b + 3*u*u*(1-u)*c + u*u*u*d
			}
			x, y := at(pen.x, s.p[0].x, s.p[1].x, s.p[2].x), at(pen.y, s.p[0].y, s.p[1].y, s.p[2].y)
			if r := math.Hypot(x-10, y-20); math.Abs(r-5) > 5*3e-4 {
				t.Fatalf("radius %g, want 5", r)
			}
		}
		pen = s.p[2]
	}
}

// Path data in hundredths reads back, and curves end where they should.
func TestFinePathData(t *testing.T) {
	p := pathData{perPx: 100}
	p.polyline([]point{{1.234, -0.056}, {1.30, 0}, {-7, 0.04}})
	if got, want := string(p.b), "M1.23-.06l.07 .06l-8.3 .04"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	p.cubic(point{-7, 1}, point{-6.5, 1}, point{-6, 2})
	if got, want := string(p.b[len("M1.23-.06l.07 .06l-8.3 .04"):]), "c0 .96 .5 .96 1 1.96"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestPrintOfNothing(t *testing.T) {
	if err := (&Sheet{}).Print(io.Discard, SVG); err == nil {
		t.Error("an empty sheet is printed")
	}
	if err := exampleSheet().Print(io.Discard, "gif"); err == nil || !strings.Contains(err.Error(), "svg, pdf or png") {
		t.Errorf("error %v for a format that does not exist", err)
	}
}

func BenchmarkPrint(b *testing.B) {
	for _, f := range []Format{SVG, PDF, PNG} {
		b.Run(string(f), func(b *testing.B) {
			for b.Loop() {
				if err := exampleSheet().Print(io.Discard, f); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
