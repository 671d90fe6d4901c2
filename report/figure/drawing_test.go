package figure

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"coilsweep/fit"
	"coilsweep/fit/response"
	"coilsweep/report/internal/invented"
	"coilsweep/report/plot"
)

// drawsForPages: each drawing is well-formed figures without a style of their
// own, which a page's policy would not let through.
func drawsForPages(t *testing.T, what string, d Drawing) {
	t.Helper()
	for _, s := range []string{d.Wide, d.Narrow} {
		if !strings.HasPrefix(s, "<svg") || strings.Contains(s, "style=") || strings.Contains(s, "<style") {
			t.Errorf("%s is no figure for a page: %.80q", what, s)
		}
		dec := xml.NewDecoder(strings.NewReader("<p>" + s + "</p>"))
		for {
			if _, err := dec.Token(); err == io.EOF {
				break
			} else if err != nil {
				t.Fatalf("%s: %v", what, err)
			}
		}
	}
}

// A second-order low-pass with a Q of 10 peaks 20 dB above its plateau.
func TestDrawUnderway(t *testing.T) {
	r := &response.Response{}
	for hz := 50.0; hz < 20000; hz *= 1.01 {
		s := complex(0, hz/5000)
		h := 0.003 / (1 + s/10 + s*s)
		r.FrequencyHz = append(r.FrequencyHz, hz)
		r.H = append(r.H, h)
		r.Variance = append(r.Variance, math.Pow(0.01*cmplx.Abs(h), 2))
		r.NoiseFloor = append(r.NoiseFloor, 3e-6)
	}
	d, err := DrawUnderway(Underway{Name: "c470 <b>", Response: r}, Underway{})
	if err != nil {
		t.Fatal(err)
	}
	drawsForPages(t, "response", d)
	if !strings.Contains(d.Wide, "c470 &lt;b&gt;") || !strings.Contains(d.Wide, ">20</text>") ||
		strings.Contains(d.Wide, ">40</text>") {
		t.Errorf("name or scale is wrong: %s", d.Wide)
	}

	// With another one behind it, which alone has no colour of a take.
	quiet := `class="behind"`
	both, err := DrawUnderway(Underway{Name: "now", Response: r}, Underway{Name: "before", Response: r})
	if err != nil {
		t.Fatal(err)
	}
	drawsForPages(t, "response before another", both)
	behind, curve := strings.Index(both.Wide, quiet), strings.Index(both.Wide, `class="curve`)
	if behind < 0 || curve < behind || !strings.Contains(both.Wide, ">before</text>") ||
		strings.Count(both.Wide, `class="markers`) != 1 {
		t.Errorf("what is behind is drawn as %s", both.Wide)
	}
	alone, err := DrawUnderway(Underway{}, Underway{Name: "before", Response: r})
	if err != nil || strings.Contains(alone.Wide, `class="curve`) || !strings.Contains(alone.Wide, quiet) {
		t.Errorf("alone it is %s, %v", alone.Wide, err)
	}
	var nothing *NothingToDrawError
	if _, err := DrawUnderway(Underway{}, Underway{}); !errors.As(err, &nothing) {
		t.Errorf("nothing is drawn: %v", err)
	}
}

func TestDraw(t *testing.T) {
	r := invented.Result(invented.ThreeLoads, 60)
	var nothing *NothingToDrawError
	for _, what := range []Kind{KindResponse, KindFit, KindResiduals, KindLine, KindMeter} {
		d, err := Draw(r, what)
		if errors.As(err, &nothing) && what == KindMeter {
			continue
		}
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		drawsForPages(t, string(what), d)
	}
	if _, err := Draw(fit.Result{}, KindFit); !errors.As(err, &nothing) {
		t.Errorf("nothing was drawn: %v", err)
	}
}

// What is drawn at first is where a curve leaves its plateau, up to where it has fallen far;
// where it never does, or only its noise, everything is.
func TestCrop(t *testing.T) {
	low := func(corner float64) plot.Series { // of second order with Q 2
		s := plot.Series{Kind: plot.Curve}
		for hz := 20.0; hz <= 20000; hz *= 1.02 {
			w := hz / corner
			s.X = append(s.X, hz)
			s.Y = append(s.Y, -10*math.Log10((1-w*w)*(1-w*w)+w*w/4))
		}
		return s
	}
	axis := plot.Axis{Log: true, Min: 20, Max: 20000}
	// It leaves 0 dB by 0.5 dB at w = 0.255 of the corner, and 40 dB under its peak of 6.3 dB at w = 7.0.
	got := crop([]plot.Series{low(1000)}, axis)
	if math.Abs(got[0]/(255/3.0)-1) > 0.03 || math.Abs(got[1]/7000-1) > 0.03 {
		t.Errorf("cropped to %v, want 85 Hz to 7 kHz", got)
	}
	if both := crop([]plot.Series{low(1000), low(4000)}, axis); both[0] != got[0] || both[1] < 19000 {
		t.Errorf("two curves are cropped to %v", both)
	}
	flat := low(1e6)
	for i := range flat.Y {
		flat.Y[i] += 0.8 * float64(i%2*2-1) // noise
	}
	if got := crop([]plot.Series{flat}, axis); got != [2]float64{} {
		t.Errorf("noise about a plateau is cropped to %v", got)
	}
}
