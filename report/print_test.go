package report

import (
	"bytes"
	"errors"
	"image/png"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/plot"
)

func resonantPrediction() harness.Prediction {
	p := harness.Prediction{Coils: []string{"invented <coil>"}, Sound: harness.Sound{
		Peak: invented(3120, 55), PeakDB: invented(4.1, 0.2), Q: invented(1.6, 0.02), Level: invented(-0.14, 0.01)}}
	p.Positions = []harness.Position{{Volume: new(5.0), Sound: p.Sound}, {Tone: new(0.0), Sound: harness.Sound{
		Peak: fit.Unknown("no peak"), PeakDB: fit.Unknown("no peak"), Q: invented(0.9, 0.02), Level: invented(-0.2, 0.01)}}}
	p.Without = []harness.Removal{{Part: "cable", Sound: p.Sound}}
	for i := range 120 {
		f := 50 * math.Pow(400, float64(i)/119)
		r := f / 3300
		point := harness.Point{FrequencyHz: f, LevelDB: invented(-10*math.Log10((1-r*r)*(1-r*r)+r*r/2.6), 0.05+0.2*r/(1+r))}
		if i == 60 {
			point.LevelDB = fit.Unknown("a gap")
		}
		p.Response = append(p.Response, point)
	}
	return p
}

// printPicture prints any picture of the invented coil.
func printPicture(what Picture, p Printing) ([]byte, error) {
	var b bytes.Buffer
	var err error
	if what == PicturePredict {
		err = PrintPrediction(&b, resonantPrediction(), p)
	} else {
		err = Print(&b, inventedResult(eightLoads, 120), what, p)
	}
	return b.Bytes(), err
}

// Every picture is made in every format, in the size that was asked for.
func TestPicturesHaveTheirSize(t *testing.T) {
	for _, what := range Pictures() {
		t.Run(string(what), func(t *testing.T) {
			t.Parallel()
			svg, err := printPicture(what, Printing{Format: plot.SVG, WidthMM: 85, HeightMM: 180, TextPt: 7})
			if err != nil {
				t.Fatal(err)
			}
			m := regexp.MustCompile(`width="([\d.]+)mm" height="([\d.]+)mm"`).FindSubmatch(svg)
			for i, want := range []float64{85, 180} {
				if got, err := strconv.ParseFloat(string(m[i+1]), 64); err != nil || math.Abs(got-want) > 0.01 {
					t.Errorf("size %s × %s mm, want 85 × 180", m[1], m[2])
				}
			}
			if bytes.Contains(svg, []byte("NaN")) {
				t.Error("a coordinate is not a number")
			}
			pdf, err := printPicture(what, Printing{Format: plot.PDF})
			if err != nil || !bytes.HasPrefix(pdf, []byte("%PDF-")) {
				t.Errorf("PDF of %d bytes, error %v", len(pdf), err)
			}
			image, err := printPicture(what, Printing{Format: plot.PNG, DPI: 60})
			if err != nil {
				t.Fatal(err)
			}
			// 170 mm at 60 pixels an inch.
			if c, err := png.DecodeConfig(bytes.NewReader(image)); err != nil || c.Width != 402 {
				t.Errorf("PNG %d pixels wide, error %v; want 402", c.Width, err)
			}
		})
	}
}

// Axes have units, and each take its name.
func TestPicturesNameWhatTheyShow(t *testing.T) {
	for what, wants := range map[Picture][]string{
		PictureResponse:  {"frequency, Hz", "phase, degrees", "bare", "plus 470 pF"},
		PictureFit:       {"magnitude, dB over the low-frequency plateau", "cable"},
		PictureResiduals: {"bare: (measured − fit) / u", "cable: (measured − fit) / u"},
		PictureLine:      {"1/w², µs²", "LC frequency, kHz", "C = 210.0 ± 2.4 pF"},
		PictureMeter:     {"L at 1 kHz, series", "En 1.25", "distance from what the fit expects, %"},
		PicturePredict:   {"3.12 ± 0.11 kHz", "level, dB over the EMF of one coil; band: U95"},
	} {
		svg, err := printPicture(what, Printing{Format: plot.SVG})
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range wants {
			if !strings.Contains(string(svg), `aria-label="`+want+`"`) {
				t.Errorf("%s does not say %q", what, want)
			}
		}
	}
}

func TestNothingToDraw(t *testing.T) {
	empty := fit.Result{Coil: "invented", Takes: []fit.TakeResult{{Name: "bare"}}}
	unfitted := inventedResult(threeLoads, 20)
	unfitted.Line, unfitted.Meter = nil, nil
	for i := range unfitted.Takes {
		c := unfitted.Takes[i].Curve
		unfitted.Takes[i].Curve = &fit.Curve{FrequencyHz: c.FrequencyHz, MagnitudeDB: c.MagnitudeDB, PhaseDeg: c.PhaseDeg}
	}
	for _, test := range []struct {
		result fit.Result
		what   Picture
		why    string
	}{
		{empty, PictureResponse, "no take has a response"}, {empty, PictureLine, "no line"}, {empty, PictureMeter, "no meter reading"},
		{unfitted, PictureFit, "no circuit"}, {unfitted, PictureResiduals, "no circuit"}, {unfitted, PictureNoise, "do not show it"},
		{unfitted, PictureDistortion, "do not show it"}, {unfitted, PictureLine, "no line"},
	} {
		var b bytes.Buffer
		err := Print(&b, test.result, test.what, Printing{Format: plot.SVG})
		var nothing *NothingToDrawError
		if !errors.As(err, &nothing) || nothing.Picture != test.what || !strings.Contains(err.Error(), test.why) || b.Len() > 0 {
			t.Errorf("%s: error %v and %d bytes, want %q and none", test.what, err, b.Len(), test.why)
		}
	}
	if _, err := printPicture(PictureResiduals, Printing{Format: plot.SVG, HeightMM: 40}); err == nil || !strings.Contains(err.Error(), "too low") {
		t.Errorf("error %v for eight residual figures in 40 mm", err)
	}
}

// A reading that is far out does not squeeze the others: its distance stands
// in words at the edge.
func TestMeterFigureWithAnOutlier(t *testing.T) {
	readings := []fit.MeterResult{
		{What: "L", AtHz: 1000, Mode: "series", Reading: 2.45, U95: 0.03, Expected: fit.Quantity{Value: 2.4, U95: 0.024}, En: new(1.30)},
		{What: "R", AtHz: 100, Mode: "parallel", Reading: 78, U95: 0.5, Expected: fit.Quantity{Value: 7800, U95: 31}, En: new(-249.0)},
		{What: "C", Expected: fit.Unknown("fixture")},
	}
	f := meterFigure(readings, wide)
	if len(f.Marks) != 2 {
		t.Fatalf("%d marks, want 2", len(f.Marks))
	}
	// 0.05 of 2.4 is 2.083 %, and 0.03 of it 1.25 %.
	if m := f.Marks[0]; math.Abs(m.X-2.0833) > 1e-3 || math.Abs(m.XHalf-1.25) > 1e-9 || m.Label != "En 1.30" {
		t.Errorf("first reading drawn as %+v", m)
	}
	if f.X.Max > 5 || f.Marks[1].X != f.X.Min || !strings.Contains(f.Marks[1].Label, "−99 %") {
		t.Errorf("axis to %g, far reading drawn as %+v", f.X.Max, f.Marks[1])
	}
	if meterFigure(readings[2:], wide) != nil {
		t.Error("a figure of nothing")
	}
}
