package data

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"
	"strings"

	"coilsweep/fit"
)

// tidyColumn is one column of response.csv.
type tidyColumn struct {
	name, unit, means string
	of                func(c *fit.Curve, i int) float64
}

func at(column func(*fit.Curve) []float64) func(*fit.Curve, int) float64 {
	return func(c *fit.Curve, i int) float64 {
		if x := column(c); i < len(x) {
			return x[i]
		}
		return math.NaN()
	}
}

// tidyColumns are the columns after take, added C and added R.
var tidyColumns = []tidyColumn{
	{"frequency", "Hz", "frequency", at(func(c *fit.Curve) []float64 { return c.FrequencyHz })},
	{"magnitude", "dB", "measured magnitude over the low-frequency plateau", at(func(c *fit.Curve) []float64 { return c.MagnitudeDB })},
	{"magnitude_U95", "dB", "its expanded uncertainty by noise, 95 %", at(func(c *fit.Curve) []float64 { return c.MagnitudeU95DB })},
	{"phase", "deg", "measured phase, delay and polarity taken off", at(func(c *fit.Curve) []float64 { return c.PhaseDeg })},
	{"noise_floor", "dB", "noise at that frequency", at(func(c *fit.Curve) []float64 { return c.NoiseFloorDB })},
	{"fit_magnitude", "dB", "magnitude of the fitted circuit", at(func(c *fit.Curve) []float64 { return c.FitMagnitudeDB })},
	{"fit_magnitude_U95", "dB", "its expanded uncertainty, 95 %", at(func(c *fit.Curve) []float64 { return c.FitU95DB })},
	{"fit_phase", "deg", "phase of the fitted circuit", at(func(c *fit.Curve) []float64 { return c.FitPhaseDeg })},
	{"residual_re", "1", "real part of (measured - fitted)/u", func(c *fit.Curve, i int) float64 {
		if i < len(c.Residual) {
			return real(c.Residual[i])
		}
		return math.NaN()
	}},
	{"residual_im", "1", "imaginary part of the same", func(c *fit.Curve, i int) float64 {
		if i < len(c.Residual) {
			return imag(c.Residual[i])
		}
		return math.NaN()
	}},
	{"harmonic_2", "dB", "second harmonic against the fundamental", at(func(c *fit.Curve) []float64 { return c.Harmonic2DB })},
	{"harmonic_3", "dB", "third harmonic against the fundamental", at(func(c *fit.Curve) []float64 { return c.Harmonic3DB })},
}

// writeTidy writes the curves as a tidy table: a row of names, a row of units,
// then a row for each take and frequency. What is not known is empty.
func writeTidy(w io.Writer, r fit.Result) error {
	out := csv.NewWriter(w)
	names, units := []string{"take", "added_c", "added_r"}, []string{"", "F", "ohm"}
	for _, c := range tidyColumns {
		names, units = append(names, c.name), append(units, c.unit)
	}
	out.Write(names)
	out.Write(units)
	number := func(x float64) string {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return ""
		}
		return strconv.FormatFloat(x, 'g', 9, 64)
	}
	for _, t := range r.Takes {
		if t.Curve == nil {
			continue
		}
		// Take names are letters, digits, - and _: a - first would be a formula.
		name := t.Name
		if strings.HasPrefix(name, "-") {
			name = "'" + name
		}
		addedR := ""
		if t.AddedR != nil {
			addedR = number(*t.AddedR)
		}
		for i := range t.Curve.FrequencyHz {
			row := []string{name, number(t.AddedC), addedR}
			for _, c := range tidyColumns {
				row = append(row, number(c.of(t.Curve, i)))
			}
			out.Write(row)
		}
	}
	out.Flush()
	return out.Error()
}
