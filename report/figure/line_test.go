package figure

import (
	"math"
	"testing"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/internal/invented"
	"coilsweep/report/plot"
)

// The figure of 1/w² draws L as the slope, -C as the crossing, U95 as bars.
func TestLineFigure(t *testing.T) {
	r := invented.Result(invented.ThreeLoads, 20)
	f := Line(r, map[string]int{"bare": 0, "plus 220 pF": 1, "plus 470 pF": 2}, Wide)
	var guide *plot.Series
	for i := range f.Series {
		if f.Series[i].Kind == plot.Guide {
			guide = &f.Series[i]
		}
	}
	// µs² over pF is H.
	if slope := (guide.Y[1] - guide.Y[0]) / (guide.X[1] - guide.X[0]); math.Abs(slope-r.Line.Slope.Value) > 1e-9 {
		t.Errorf("slope drawn is %g H, want %g", slope, r.Line.Slope.Value)
	}
	if guide.X[0] != r.Line.AxisCrossing.Value*1e12 || guide.Y[0] != 0 {
		t.Errorf("the line starts at %g pF, %g µs²; want %g, 0", guide.X[0], guide.Y[0], r.Line.AxisCrossing.Value*1e12)
	}
	for i, p := range r.Line.Points {
		m := f.Marks[i]
		if math.Abs(m.YHalf-quantity.Coverage95*1e12*p.UInverseW2) > 1e-9*m.YHalf || m.Y != p.InverseW2*1e12 ||
			m.Style != i {
			t.Errorf("point %d drawn as %+v of %+v", i, m, p)
		}
	}
	if m := f.Marks[3]; m.XHalf != r.Line.AxisCrossing.U95*1e12 {
		t.Errorf("bar of ±%g pF at the crossing, want ±%g", m.XHalf, r.Line.AxisCrossing.U95*1e12)
	}
	// 1/(2 pi 5 kHz)² is 1013.2 µs².
	for _, tick := range f.Y.Extra {
		if tick.Label == "5" && math.Abs(tick.Value-1013.2) > 0.1 {
			t.Errorf("5 kHz at %g µs², want 1013.2", tick.Value)
		}
	}
	if len(f.Y.Extra) < 3 {
		t.Errorf("%d frequencies at the side", len(f.Y.Extra))
	}
	r.Line.Slope = fit.Unknown("too few takes")
	if Line(r, nil, Wide) != nil {
		t.Error("a line is drawn where its slope is not known")
	}
}
