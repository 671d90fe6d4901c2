package figure

import (
	"fmt"
	"math"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
)

// line is a take's numbers as a series of its style.
func (t Take) line(kind plot.Kind, name string, y, half []float64) plot.Series {
	return plot.Series{Kind: kind, Style: t.Style, Group: t.Group, Name: name, X: t.Curve.FrequencyHz, Y: y, Half: half}
}

// name is the take's name as it is shown.
func (t Take) name() string { return notation.Visible(t.Take.Name) }

// measuredAndFitted adds a take's measured points and its fit; without a fit
// the measured points take the place of the curve.
func measuredAndFitted(f *plot.Figure, t Take, measured, half, fitted, fittedHalf []float64) {
	if len(fitted) == 0 {
		f.Series = append(f.Series, t.line(plot.Curve, t.name(), measured, half))
	} else {
		f.Series = append(f.Series, t.line(plot.Trace, "", measured, half),
			t.line(plot.Curve, t.name(), fitted, fittedHalf))
	}
	f.Series = append(f.Series, t.line(plot.Markers, "", measured, nil))
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
			said = append(said, fmt.Sprintf("%s peaks at %s, %s above the plateau", t.name(),
				notation.Rounded(t.Take.Peak, quantity.Hertz), notation.Rounded(t.Take.PeakDB, quantity.Decibel)))
		}
	}
	e.Lo = math.Max(e.Lo, e.Hi-90)
	f.Y, f.Crop = e.Axis("magnitude, dB over the low-frequency plateau", 20), crop(f.Series, f.X)
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
		measuredAndFitted(f, t, c.PhaseDeg, c.PhaseU95Deg, c.FitPhaseDeg, c.FitPhaseU95Deg)
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
		f.Series = append(f.Series, t.line(plot.Curve, t.name(), t.DelayUs, nil))
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
		f.Series = append(f.Series, t.line(plot.Trace, t.name(), c.MagnitudeDB, nil))
		if len(c.NoiseFloorDB) > 0 {
			floors++
			e.Take(c.NoiseFloorDB)
			f.Series = append(f.Series, t.line(plot.Floor, "", c.NoiseFloorDB, nil))
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
		e.Take(c.Harmonic2DB, c.Harmonic3DB)
		if len(c.Harmonic2DB) > 0 {
			f.Series = append(f.Series, t.line(plot.Trace, "2nd, "+t.name(), c.Harmonic2DB, nil))
		}
		if len(c.Harmonic3DB) > 0 {
			f.Series = append(f.Series, t.line(plot.Floor, "3rd, "+t.name(), c.Harmonic3DB, nil))
		}
	}
	if f.Series == nil {
		return nil
	}
	f.Y = e.Axis("harmonic, dB re fundamental", 40)
	f.Description = sentence("Second and third harmonic over the excitation frequency, relative to the response itself")
	return f
}
