package plot

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the golden files anew")

var numberPattern = regexp.MustCompile(`-?(?:\d+\.\d+|\.\d+|\d+)`)

// golden compares a drawing with testdata/name: the text between numbers
// exactly, each number to 0.15 px.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	want := string(b)
	if complaint := differs(want, got); complaint != "" {
		if err := os.WriteFile(path+".got", []byte(got), 0o644); err != nil {
			t.Error(err)
		}
		t.Errorf("%s: %s", path, complaint)
	}
}

func differs(want, got string) string {
	a, b := numberPattern.FindAllString(want, -1), numberPattern.FindAllString(got, -1)
	if len(a) != len(b) {
		return "has " + strconv.Itoa(len(b)) + " numbers, want " + strconv.Itoa(len(a))
	}
	for i := range a {
		x, _ := strconv.ParseFloat(a[i], 64)
		y, _ := strconv.ParseFloat(b[i], 64)
		if math.Abs(x-y) > 0.15 {
			return "number " + strconv.Itoa(i) + " is " + b[i] + ", want " + a[i]
		}
	}
	// A separating blank may come and go with a sign.
	blank := strings.NewReplacer(" ", "")
	if blank.Replace(numberPattern.ReplaceAllString(want, "#")) != blank.Replace(numberPattern.ReplaceAllString(got,
		"#")) {
		return "differs in more than numbers"
	}
	return ""
}

func TestGoldenCompareCanFail(t *testing.T) {
	for _, pair := range [][2]string{{`M1 2l3 4`, `M1 2l3 4.5`}, {`M1 2l3 4`, `M1 2l3`}, {`<a x="1"/>`, `<b x="1"/>`}} {
		if differs(pair[0], pair[1]) == "" {
			t.Errorf("%q passes for %q", pair[1], pair[0])
		}
	}
	if c := differs(`M1 2l3-4`, `M1.1 2l3-4.1`); c != "" {
		t.Errorf("rounding is not tolerated: %s", c)
	}
}

// resonant is an invented curve with a gap: a second-order peak at f0.
func resonant(f0 float64) (x, y, half []float64) {
	for i := range 60 {
		f := 20 * math.Pow(1000, float64(i)/59)
		r := f / f0
		v := -10 * math.Log10((1-r*r)*(1-r*r)+r*r/16)
		if i == 20 {
			v = math.NaN()
		}
		x, y, half = append(x, f), append(y, v), append(half, 1+math.Abs(v)/20)
	}
	return x, y, half
}

func example(width float64) *Figure {
	f := &Figure{ID: "example", Title: "Invented curves", Description: "Two invented resonances.", Width: width,
		Height: 260,
		X:      Axis{Label: "frequency, Hz", Log: true, Min: 20, Max: 20000},
		Y:      Axis{Label: "magnitude, dB", Min: -45, Max: 18}, Zoom: true}
	for i, f0 := range []float64{3000, 3400} {
		x, y, half := resonant(f0)
		f.Series = append(f.Series,
			Series{Kind: Curve, Style: i, Name: "invented " + strconv.Itoa(i), Group: "t" + strconv.Itoa(i), X: x,
				Y: y, Half: half},
			Series{Kind: Markers, Style: i, Group: "t" + strconv.Itoa(i), X: x, Y: y})
	}
	return f
}

func svg(t *testing.T, f *Figure, columns *Columns) string {
	t.Helper()
	var b bytes.Buffer
	if err := f.WriteSVG(&b, columns); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestFigureGolden(t *testing.T) {
	golden(t, "curves-wide.svg", svg(t, example(700), &Columns{}))
	golden(t, "curves-narrow.svg", svg(t, example(360), nil))
	points := &Figure{ID: "points", Title: "Points", Width: 500, Height: 300,
		X: Axis{Label: "added, pF", Min: -200, Max: 600},
		Y: Axis{Label: "1/w², µs²", Min: -100, Max: 1500, Extra: []Tick{{500, "7.1"}}, ExtraLabel: "kHz"}, Expected: 50,
		Series: []Series{
			{Kind: Guide, X: []float64{-120, 600}, Y: []float64{0, 1400}},
			{Kind: Reach, X: []float64{-120, 0}, Y: []float64{0, 0}},
			{Kind: Dots, X: []float64{100, 200}, Y: []float64{40, -60}},
			{Kind: Dashes, X: []float64{100, 200}, Y: []float64{-40, 60}},
			{Kind: Trace, X: []float64{100, 200}, Y: []float64{200, 300}},
			{Kind: Floor, X: []float64{100, 200}, Y: []float64{250, 350}},
		},
		Marks: []Mark{{X: 0, Y: 234, YHalf: 60, Label: "bare"}, {X: 220, Y: 660, YHalf: 60, Style: 1, Label: "220 pF"},
			{X: -120, XHalf: 30, Style: -1, Label: "−C", Place: Above},
			{X: -60, Style: -2, Label: "120 pF", Place: Under}}}
	golden(t, "points.svg", svg(t, points, nil))
	var b bytes.Buffer
	if err := example(700).WriteFile(&b); err != nil {
		t.Fatal(err)
	}
	wellFormed(t, b.String())
	if !strings.Contains(b.String(), "--ink:") {
		t.Error("a file of its own lacks the palette")
	}
}

// wellFormed reads s as strict XML.
func wellFormed(t *testing.T, s string) (text string) {
	t.Helper()
	in := xml.NewDecoder(strings.NewReader(s))
	for {
		token, err := in.Token()
		if errors.Is(err, io.EOF) {
			return text
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
		if chars, ok := token.(xml.CharData); ok {
			text += string(chars)
		}
	}
}

// Any name is shown as text and nothing else.
func FuzzNames(f *testing.F) {
	for _, name := range []string{"bare", `</title><script>alert(1)</script>`, `"><&'`, "שלום", "\x00\x1b\ufffe",
		"a\xffb", strings.Repeat("w", 200), "e\u0301👩‍🔧"} {
		f.Add(name)
	}
	f.Fuzz(func(t *testing.T, name string) {
		x, y, half := resonant(3000)
		figure := &Figure{ID: name, Title: name, Description: name, Width: 400, Height: 200,
			X: Axis{Label: name, Log: true, Min: 20, Max: 20000},
			Y: Axis{Label: name, Min: -40, Max: 20}, Series: []Series{{Name: name, Group: name, X: x, Y: y,
				Half: half}}, Marks: []Mark{{X: 100, Label: name}}}
		s := svg(t, figure, &Columns{})
		wellFormed(t, s)
		for _, tag := range regexp.MustCompile(`<[a-zA-Z]+`).FindAllString(s, -1) {
			switch tag {
			case "<svg", "<title", "<desc", "<clipPath", "<rect", "<g", "<path", "<text", "<circle":
			default:
				t.Errorf("element %s in the drawing of %q", tag, name)
			}
		}
	})
}

// Curves that cannot be drawn leave axes, not an error.
func TestFigureOfLittle(t *testing.T) {
	nan := math.NaN()
	for name, series := range map[string][]Series{
		"none": nil, "empty": {{Name: "empty"}}, "one point": {{Name: "one", X: []float64{100}, Y: []float64{1},
			Half: []float64{1}}},
		"not finite": {{Name: "nan", X: []float64{100, 200}, Y: []float64{nan, math.Inf(1)},
			Half: []float64{nan, nan}}},
		"uneven": {{Name: "uneven", X: []float64{100, 200, 300}, Y: []float64{1, 2}, Half: []float64{1}}},
	} {
		f := &Figure{ID: "x", Width: 300, Height: 200, X: Axis{Log: true, Min: 20, Max: 20000},
			Y: Axis{Min: -1, Max: 1}, Series: series}
		s := svg(t, f, &Columns{})
		wellFormed(t, s)
		if strings.Contains(s, "NaN") || strings.Contains(s, "Inf") {
			t.Errorf("%s: %s", name, s)
		}
	}
}

func TestShortened(t *testing.T) {
	for _, test := range []struct {
		name string
		most int
		want string
	}{
		{"bare", 8, "bare"}, {"plus 470 pF 1% film", 11, "plus … film"}, {"線圈線圈線圈", 7, "線圈…圈"}, {"abcdef", 5, "ab…ef"},
	} {
		if got := Shortened(test.name, test.most); got != test.want {
			t.Errorf("Shortened(%q, %d) = %q, want %q", test.name, test.most, got, test.want)
		}
	}
}
