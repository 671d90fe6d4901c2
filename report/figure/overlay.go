package figure

import (
	"fmt"
	"io"
	"strings"

	"coilsweep/fit"
	"coilsweep/fit/batch"
	"coilsweep/fit/comparison"
	"coilsweep/report/notation"
	"coilsweep/report/plot"
	"coilsweep/report/words"
)

// Overlaid are the responses of coils with the same load.
type Overlaid struct {
	Load   string
	Curves []*fit.Curve // by coil
}

// Bounds of the loads for which responses are overlaid, and of the points of a curve.
const mostOverlays, overlayPoints = 3, 400

// Overlays are the responses of coils with each load that all have, the least first.
func Overlays(coils []comparison.Coil) (list []Overlaid) {
	loads := comparison.CommonLoads(coils)
	for _, load := range loads[:min(len(loads), mostOverlays)] {
		o := Overlaid{Load: load.String()}
		for _, coil := range coils {
			if t, ok := comparison.TakeWith(coil.Result, load); ok && t.Curve != nil {
				o.Curves = append(o.Curves, ThinnedTo(t.Curve, overlayPoints))
			}
		}
		if len(o.Curves) == len(coils) {
			list = append(list, o)
		}
	}
	return list
}

// PrintOverlays writes the responses of several coils for print, as measured or as fitted,
// a figure for each load that all have. All have a style of their own. Where there are too
// many, the first and those that are furthest from it have; of a production run (run) those
// that stand out. A *NothingToDrawError says why there is no figure.
func PrintOverlays(w io.Writer, specimens []batch.Specimen, run bool, what Kind, p Printing) error {
	coils := notation.Each(specimens, func(s batch.Specimen) comparison.Coil { return s.Coil })
	var styles []CoilStyle
	var names []string
	if run && len(coils) > plot.Styles {
		b, err := batch.Analyse(specimens, batch.Options{Guard: 1})
		if err != nil {
			return &NothingToDrawError{what, err.Error()}
		}
		styles, names = BatchStyles(b), words.BatchTable(b).Names
		coils = notation.Each(b.Coils, func(c batch.Coil) comparison.Coil { return b.Specimens[c.Specimens[0]].Coil })
	} else {
		c, err := comparison.Compare(coils, 0, false)
		if err != nil {
			return &NothingToDrawError{what, err.Error()}
		}
		styles, names = ComparisonStyles(c, words.ComparisonOrder(c, "")), words.CoilNames(coils)
	}
	order := make([]int, len(coils))
	for i := range order {
		order[i] = i
	}
	var figures []*plot.Figure
	for n, o := range Overlays(coils) {
		if what == KindFit {
			for i, c := range o.Curves {
				o.Curves[i] = &fit.Curve{FrequencyHz: c.FrequencyHz, MagnitudeDB: c.FitMagnitudeDB,
					MagnitudeU95DB: c.FitU95DB}
			}
		}
		f := Overlay(n, o.Load, o.Curves, names, order, styles, p.shape())
		f.Y.Label = o.Load + ": " + f.Y.Label
		figures = append(figures, f)
	}
	if figures == nil {
		return &NothingToDrawError{what, "the coils have no usable take with the same load"}
	}
	return p.print(w, fmt.Sprintf("%s: %s", strings.Join(names[:min(len(names), 3)], ", "), what), figures, 1)
}
