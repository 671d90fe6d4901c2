package figure

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
	"coilsweep/report/internal/invented"
	"coilsweep/report/plot"
)

// printPicture prints any picture of the invented coil.
func printPicture(what Kind, p Printing) ([]byte, error) {
	var b bytes.Buffer
	var err error
	if what == KindPredict {
		err = PrintPrediction(&b, invented.ResonantPrediction(), p)
	} else {
		err = Print(&b, invented.Result(invented.EightLoads, 120), what, p)
	}
	return b.Bytes(), err
}

// Every picture is made in every format, in the size that was asked for.
func TestPicturesHaveTheirSize(t *testing.T) {
	for _, what := range Kinds() {
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
	for what, wants := range map[Kind][]string{
		KindResponse:  {"frequency, Hz", "phase, degrees", "bare", "plus 470 pF"},
		KindFit:       {"magnitude, dB over the low-frequency plateau", "cable"},
		KindResiduals: {"bare: (measured − fit) / u", "cable: (measured − fit) / u"},
		KindLine:      {"1/w², µs²", "LC frequency, kHz", "C = 210.0 ± 2.4 pF"},
		KindMeter:     {"L at 1 kHz, series", "En 1.25", "distance from what the fit expects, %"},
		KindPredict:   {"3.12 ± 0.11 kHz", "level, dB over the EMF of one coil; band: U95"},
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
	unfitted := invented.Result(invented.ThreeLoads, 20)
	unfitted.Line, unfitted.Meter = nil, nil
	for i := range unfitted.Takes {
		c := unfitted.Takes[i].Curve
		unfitted.Takes[i].Curve = &fit.Curve{FrequencyHz: c.FrequencyHz, MagnitudeDB: c.MagnitudeDB,
			PhaseDeg: c.PhaseDeg}
	}
	for _, test := range []struct {
		result fit.Result
		what   Kind
		why    string
	}{
		{empty, KindResponse, "no take has a response"}, {empty, KindLine, "no line"},
		{empty, KindMeter, "no meter reading"},
		{unfitted, KindFit, "no circuit"}, {unfitted, KindResiduals, "no circuit"},
		{unfitted, KindNoise, "do not show it"},
		{unfitted, KindDistortion, "do not show it"}, {unfitted, KindLine, "no line"},
	} {
		var b bytes.Buffer
		err := Print(&b, test.result, test.what, Printing{Format: plot.SVG})
		var nothing *NothingToDrawError
		if !errors.As(err, &nothing) || nothing.Picture != test.what || !strings.Contains(err.Error(), test.why) ||
			b.Len() > 0 {
			t.Errorf("%s: error %v and %d bytes, want %q and none", test.what, err, b.Len(), test.why)
		}
	}
	if _, err := printPicture(KindResiduals, Printing{Format: plot.SVG, HeightMM: 40}); err == nil ||
		!strings.Contains(err.Error(), "too low") {
		t.Errorf("error %v for eight residual figures in 40 mm", err)
	}
}

func TestWriteLine(t *testing.T) {
	var b bytes.Buffer
	if err := WriteLine(&b, invented.Result(invented.ThreeLoads, 20)); err != nil ||
		!bytes.Contains(b.Bytes(), []byte("<svg")) || !bytes.Contains(b.Bytes(), []byte("−C")) {
		t.Errorf("line: %v, %d bytes", err, b.Len())
	}
	if err := WriteLine(&b, invented.LoneTake()); !errors.Is(err, ErrNoLine) {
		t.Errorf("line of one take: %v", err)
	}
}
