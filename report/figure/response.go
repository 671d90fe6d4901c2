package figure

import (
	"fmt"
	"math"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
)

// measuredAndFitted adds a take's measured points and its fit; without a fit
// the measured points take the place of the curve.
func measuredAndFitted(f *plot.Figure, t Take, measured, half, fitted, fittedHalf []float64) {
	common := plot.Series{Style: t.Style, Group: t.Group, X: t.Curve.FrequencyHz}
	if len(fitted) == 0 {
		s := common
		s.Kind, s.Y, s.Half, s.Name = plot.Curve, measured, half, notation.Visible(t.Take.Name)
		f.Series = append(f.Series, s)
	} else {
		s := common
		s.Kind, s.Y, s.Half = plot.Trace, measured, half
		f.Series = append(f.Series, s)
		s = common
		s.Kind, s.Y, s.Half, s.Name = plot.Curve, fitted, fittedHalf, notation.Visible(t.Take.Name)
		f.Series = append(f.Series, s)
	}
	s := common
	s.Kind, s.Y = plot.Markers, measured
	f.Series = append(f.Series, s)
}

func frequencyFigure(id, title string, takes []Take, s Shape, height float64) *plot.Figure {
	return &plot.Figure{ID: id + "-" + s.Name, Title: title, Width: s.Width, Height: height, X: FrequencyAxis(takes),
		Zoom: true}
}

// Magnitude shows the response of all takes with their fits.
func Magnitude(takes []Take, s Shape) *plot.Figure {
	f := frequencyFigure("magnitude", "Magnitude of the response", takes, s, s.Height+20)
	e := plot.NoExtent()
	said := []string{}
	for _, t := range takes {
		c := t.Curve
		e.Take(c.MagnitudeDB, c.FitMagnitudeDB)
		measuredAndFitted(f, t, c.MagnitudeDB, c.MagnitudeU95DB, c.FitMagnitudeDB, c.FitU95DB)
		if t.Take.Peak.Known() && t.Take.PeakDB.Known() {
			said = append(said, fmt.Sprintf("%s peaks at %s, %s above the plateau", notation.Visible(t.Take.Name),
				notation.Rounded(t.Take.Peak, quantity.Hertz), notation.Rounded(t.Take.PeakDB, quantity.Decibel)))
		}
	}
	e.Lo = math.Max(e.Lo, e.Hi-90)
	f.Y = e.Axis("magnitude, dB over the low-frequency plateau", 20)
	f.Description = sentence(fmt.Sprintf("Magnitude over frequency for %s. %s", notation.Count(len(takes), "take"),
		strings.Join(said, "; ")))
	return f
}

// Phase shows the phases of all takes with their fits.
func Phase(takes []Take, s Shape) *plot.Figure {
	f := frequencyFigure("phase", "Phase of the response", takes, s, 0.72*s.Height)
	e := plot.NoExtent()
	for _, t := range takes {
		c := t.Curve
		if len(c.FitPhaseDeg) > 0 {
			e.Take(c.FitPhaseDeg)
		} else {
			e.Take(c.PhaseDeg)
		}
		measuredAndFitted(f, t, c.PhaseDeg, nil, c.FitPhaseDeg, nil)
	}
	f.Y = e.Axis("phase, degrees", 90)
	f.Y.Degrees = true
	f.Description = sentence(fmt.Sprintf("Phase over frequency for %s; it turns fastest at the resonance",
		notation.Count(len(takes), "take")))
	return f
}

// Delay shows the group delays of all takes; nil where none are known.
func Delay(takes []Take, s Shape) *plot.Figure {
	f := frequencyFigure("delay", "Group delay", takes, s, 0.72*s.Height)
	e := plot.NoExtent()
	for _, t := range takes {
		if t.DelayUs == nil {
			continue
		}
		e.Take(t.DelayUs)
		f.Series = append(f.Series, plot.Series{Kind: plot.Curve, Style: t.Style, Group: t.Group,
			Name: notation.Visible(t.Take.Name),
			X:    t.Curve.FrequencyHz, Y: t.DelayUs})
	}
	if f.Series == nil {
		return nil
	}
	f.Y = e.Axis("group delay, µs", 40)
	f.Description = sentence(fmt.Sprintf("Group delay over frequency for %s, from the slope of the fitted phase",
		notation.Count(len(takes), "take")))
	return f
}

// Noise shows each take over its noise floor; nil where no floor is
// known.
func Noise(takes []Take, s Shape) *plot.Figure {
	f := frequencyFigure("noise", "Response and noise floor", takes, s, 0.85*s.Height)
	e := plot.NoExtent()
	floors := 0
	for _, t := range takes {
		c := t.Curve
		e.Take(c.MagnitudeDB)
		f.Series = append(f.Series, plot.Series{Kind: plot.Trace, Style: t.Style, Group: t.Group,
			Name: notation.Visible(t.Take.Name), X: c.FrequencyHz, Y: c.MagnitudeDB})
		if len(c.NoiseFloorDB) > 0 {
			floors++
			e.Take(c.NoiseFloorDB)
			f.Series = append(f.Series, plot.Series{Kind: plot.Floor, Style: t.Style, Group: t.Group,
				X: c.FrequencyHz, Y: c.NoiseFloorDB})
		}
	}
	if floors == 0 {
		return nil
	}
	e.Lo = math.Max(e.Lo, e.Hi-160)
	f.Y = e.Axis("dB over the low-frequency plateau", 40)
	f.Description = sentence(fmt.Sprintf("Measured response of %s as thin lines, the noise floor of each dotted "+
		"below it", notation.Count(len(takes), "take")))
	return f
}

// Harmonics shows second and third harmonic; nil where none are known.
func Harmonics(takes []Take, s Shape) *plot.Figure {
	f := frequencyFigure("harmonics", "Harmonic distortion", takes, s, 0.85*s.Height)
	e := plot.NoExtent()
	for _, t := range takes {
		c := t.Curve
		if len(c.Harmonic2DB) > 0 {
			e.Take(c.Harmonic2DB)
			f.Series = append(f.Series, plot.Series{Kind: plot.Trace, Style: t.Style, Group: t.Group, Name: "2nd, " +
				notation.Visible(t.Take.Name), X: c.FrequencyHz, Y: c.Harmonic2DB})
		}
		if len(c.Harmonic3DB) > 0 {
			e.Take(c.Harmonic3DB)
			f.Series = append(f.Series, plot.Series{Kind: plot.Floor, Style: t.Style, Group: t.Group, Name: "3rd, " +
				notation.Visible(t.Take.Name), X: c.FrequencyHz, Y: c.Harmonic3DB})
		}
	}
	if f.Series == nil {
		return nil
	}
	f.Y = e.Axis("harmonic, dB re fundamental", 40)
	f.Description = sentence("Second and third harmonic over the excitation frequency, relative to the response itself")
	return f
}
