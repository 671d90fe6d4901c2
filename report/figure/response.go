package figure

import (
	"cmp"
	"fmt"
	"math"
	"slices"
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

// A harmonic is drawn where the median of the points about it, neighbours to each side,
// stands aboveNoiseDB over the noise. Of noise alone one point in fifty does, since its
// power has an exponential distribution, and nine of seventeen hardly ever.
const (
	aboveNoiseDB = 6
	neighbours   = 8
)

// Harmonics shows the second harmonic and the third, each over its noise; none where no
// take has any.
func Harmonics(takes []Take, s Shape) (figures []*plot.Figure) {
	for n, name := range []string{"second", "third"} {
		f := frequencyFigure(fmt.Sprintf("harmonic%d", n+2), notation.UpperFirst(name)+" harmonic", takes, s, 0.6*s.Height)
		e := plot.NoExtent()
		var seen []string
		for _, t := range takes {
			level, floor := t.Curve.Harmonic2DB, t.Curve.Harmonic2FloorDB
			if n == 1 {
				level, floor = t.Curve.Harmonic3DB, t.Curve.Harmonic3FloorDB
			}
			if len(level) == 0 {
				continue
			}
			shown, any := aboveNoise(level, floor)
			e.Take(shown, floor)
			noise := t.line(plot.Floor, "", floor, nil)
			if any {
				seen = append(seen, t.name())
				f.Series = append(f.Series, t.line(plot.Curve, t.name(), shown, nil))
			} else {
				noise.Name = t.name() + ": noise"
			}
			f.Series = append(f.Series, noise)
		}
		if f.Series == nil {
			continue
		}
		e.Lo = math.Max(e.Lo, e.Hi-120)
		f.Y = e.Axis(name+" harmonic, dB over the fundamental", 40)
		f.Description = sentence(fmt.Sprintf("%s harmonic over the frequency of excitation, relative to the response "+
			"itself, where it stands above its noise, which is dotted: %s", notation.UpperFirst(name),
			cmp.Or(strings.Join(seen, ", "), "in no take")))
		figures = append(figures, f)
	}
	return figures
}

// aboveNoise are the levels where they stand above the noise, NaN elsewhere; any tells
// whether a line's worth of them do.
func aboveNoise(level, floor []float64) (shown []float64, any bool) {
	shown = slices.Clone(level)
	count := 0
	for i := range shown {
		from := max(0, min(i-neighbours, len(floor)-2*neighbours-1))
		var over []float64
		for k := from; k < min(len(floor), from+2*neighbours+1); k++ {
			if d := level[k] - floor[k]; !math.IsNaN(d) {
				over = append(over, d)
			}
		}
		slices.Sort(over)
		if floor != nil && (len(over) == 0 || over[len(over)/2] < aboveNoiseDB) {
			shown[i] = math.NaN()
		} else {
			count++
		}
	}
	return shown, count > neighbours/2
}
