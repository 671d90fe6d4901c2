package terminal

import (
	"bytes"
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/rivo/uniseg"

	"coilsweep/fit"
	"coilsweep/report/internal/golden"
	"coilsweep/report/internal/invented"
)

func textPlotOf(t *testing.T, r fit.Result, o Options) string {
	t.Helper()
	var b bytes.Buffer
	if err := Plot(&b, r, o); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestTextPlotGolden(t *testing.T) {
	r := invented.Result(invented.ThreeLoads, 300)
	golden.Same(t, "textplot.txt", []byte(textPlotOf(t, r, Options{Width: 80})))
	golden.Same(t, "textplot-ascii.txt", []byte(textPlotOf(t, r, Options{Width: 60, Height: 12, ASCII: true})))
}

// No line is wider than the terminal, and ASCII is ASCII, whatever the names.
func TestTextPlotFits(t *testing.T) {
	r := invented.Result(invented.EightLoads[2:6], 50)
	for i, name := range invented.HostileNames {
		r.Takes[i].Name = name
	}
	for _, width := range []int{40, 57, 80, 200} {
		for _, ascii := range []bool{false, true} {
			out := textPlotOf(t, r, Options{Width: width, ASCII: ascii})
			for line := range strings.Lines(out) {
				if n := uniseg.StringWidth(strings.TrimSuffix(line, "\n")); n > width {
					t.Errorf("width %d: a line of %d cells: %q", width, n, line)
				}
				for _, r := range line {
					if ascii && (r > 0x7e || r < 0x20 && r != '\n') || r == 0x1b || r == 0x202e {
						t.Errorf("character %q", r)
					}
				}
			}
		}
	}
}

// Taking the colours out leaves the same text.
func TestTextPlotColourCarriesNothing(t *testing.T) {
	r := invented.Result(invented.ThreeLoads, 100)
	coloured := textPlotOf(t, r, Options{Colour: true})
	if !strings.Contains(coloured, "\x1b[") {
		t.Fatal("there is no colour")
	}
	if plain := textPlotOf(t, r, Options{}); regexp.MustCompile(`\x1b\[[0-9;]*m`).ReplaceAllString(coloured,
		"") != plain {
		t.Error("without its colours the text differs")
	}
}

// A straight line in ASCII: each decade of frequency is a third of the width,
// and falls by a third of the height.
func TestTextPlotDrawsWhereItIs(t *testing.T) {
	c := &fit.Curve{}
	for i := range 301 {
		f := 20 * math.Pow(1000, float64(i)/300)
		c.FrequencyHz = append(c.FrequencyHz, f)
		c.MagnitudeDB = append(c.MagnitudeDB, -20*math.Log10(f/20)+13) // 13 … -47
	}
	r := fit.Result{Takes: []fit.TakeResult{{Name: "line", Curve: c, Peak: fit.Unknown("none"),
		PeakDB: fit.Unknown("none")}}}
	lines := strings.Split(textPlotOf(t, r, Options{Width: 68, Height: 61, ASCII: true}), "\n")[1:62]
	for row, line := range lines {
		// Rows from 15 dB down to -45, 60 columns over 60 dB after the axis.
		at := strings.LastIndexByte(line, 'a')
		want := textLeft + row - 2
		if row < 2 {
			if at >= 0 {
				t.Errorf("row %d: %q", row, line)
			}
			continue
		}
		if at < want-1 || at > want+1 {
			t.Errorf("row %d ends in column %d, want %d: %q", row, at, want, line)
		}
	}
	if !strings.HasPrefix(lines[15], "   0 +") || !strings.HasPrefix(lines[35], " -20 +") {
		t.Errorf("levels stand at %q and %q", lines[15], lines[35])
	}
}

func TestTextPlotOfLittle(t *testing.T) {
	if out := textPlotOf(t, fit.Result{Takes: []fit.TakeResult{{Name: "bare"}}},
		Options{}); !strings.Contains(out, "no response") {
		t.Errorf("got %q", out)
	}
	nan := math.NaN()
	r := fit.Result{Takes: []fit.TakeResult{{Name: "bare",
		Curve: &fit.Curve{FrequencyHz: []float64{100, 200}, MagnitudeDB: []float64{nan, nan}}}}}
	textPlotOf(t, r, Options{})
}
