package invented

import (
	"math"

	"coilsweep/fit"
	"coilsweep/fit/harness"
)

// Prediction is a coil in a guitar: made-up numbers.
func Prediction() (harness.Prediction, harness.Solution) {
	sound := func(hz, db, q, level float64) harness.Sound {
		return harness.Sound{Peak: Quantity(hz, 0.02*hz), PeakDB: Quantity(db, 0.3), Q: Quantity(q, 0.05*q),
			Level: Quantity(level, 0.01)}
	}
	p := harness.Prediction{Harness: "an invented guitar", Coils: []string{"neck", "bridge"},
		Sound:       sound(4140, 6.37, 2.0, -0.2),
		Assumptions: []string{"volume pot 500k: a tolerance of 20 % is assumed"}}
	for _, at := range []float64{10, 5} {
		p.Positions = append(p.Positions, harness.Position{Volume: &at, Sound: sound(4140*at/10, 6, 2, -0.2)})
	}
	quiet := sound(570, 2.76, 1.26, -0.2)
	quiet.Peak, quiet.PeakDB = fit.Unknown("the response falls from the plateau without a peak"),
		fit.Unknown("the response falls from the plateau without a peak")
	p.Positions = append(p.Positions, harness.Position{Tone: new(3.0), Sound: quiet})
	p.Without = []harness.Removal{{Part: "cable", Sound: sound(8540, 2.3, 1.2, -0.2)},
		{Part: "tone control", Sound: quiet}}
	p.Response = []harness.Point{{FrequencyHz: 1000, LevelDB: Quantity(0.5, 0.01)},
		{FrequencyHz: 2000, LevelDB: fit.Unknown("undetermined")}}
	return p, harness.Solution{Part: harness.CableC, TargetHz: 3200, Farad: Quantity(869e-12, 6e-12), LengthM: new(7.9)}
}

// ResonantPrediction is a prediction whose response is a resonance with a gap.
func ResonantPrediction() harness.Prediction {
	p := harness.Prediction{Coils: []string{"invented <coil>"}, Sound: harness.Sound{
		Peak: Quantity(3120, 55), PeakDB: Quantity(4.1, 0.2), Q: Quantity(1.6, 0.02), Level: Quantity(-0.14, 0.01)}}
	p.Positions = []harness.Position{{Volume: new(5.0), Sound: p.Sound}, {Tone: new(0.0), Sound: harness.Sound{
		Peak: fit.Unknown("no peak"), PeakDB: fit.Unknown("no peak"), Q: Quantity(0.9, 0.02),
		Level: Quantity(-0.2, 0.01)}}}
	p.Without = []harness.Removal{{Part: "cable", Sound: p.Sound}}
	for i := range 120 {
		f := 50 * math.Pow(400, float64(i)/119)
		r := f / 3300
		point := harness.Point{FrequencyHz: f, LevelDB: Quantity(-10*math.Log10((1-r*r)*(1-r*r)+r*r/2.6),
			0.05+0.2*r/(1+r))}
		if i == 60 {
			point.LevelDB = fit.Unknown("a gap")
		}
		p.Response = append(p.Response, point)
	}
	return p
}
