package invented

import (
	"coilsweep/fit"
	"coilsweep/fit/pair"
)

// Pair is a pair whose hum rejection is bounded in series and known in parallel, with one
// capacitance that is not known, in a guitar. Made-up numbers.
func Pair() *pair.Result {
	p := ResonantPrediction()
	unknown := fit.Unknown("undetermined: add takes of both coils")
	in := func(wiring, phase, coil, part string) pair.InGuitar {
		return pair.InGuitar{Wiring: wiring, Phase: phase, Coil: coil, Part: part, Sound: p.Sound, Response: p.Response}
	}
	out := in("series", "out", "", "")
	out.PeakDB, out.Level = unknown, unknown
	rejection := Quantity(33.3, 2)
	rejection.Low, rejection.High = 29.6, 39.4
	return &pair.Result{Schema: pair.ResultSchema, Pair: "invented <pair>",
		Halves: [2]pair.Half{
			{Name: "screws", Inductance: Quantity(2.1, 0.01), Resistance: Quantity(4050, 8),
				Capacitance: Quantity(98e-12, 1e-12)},
			{Name: "slugs", Inductance: Quantity(2.3, 0.01), Resistance: Quantity(4160, 8),
				Capacitance: Quantity(104e-12, 1e-12)},
		},
		Takes: []pair.TakeShown{{Folder: "first", Name: "bare", Wiring: "first", Other: "shorted", Place: pair.OverBoth},
			{Folder: "both", Name: "s", Wiring: "series", Reversed: true, Place: pair.OverFirst}},
		Coupling: Quantity(0.055, 0.0002), Mutual: Quantity(0.1218, 0.0005), Between: unknown,
		Ground: Quantity(13e-12, 1e-13),
		Balance: pair.Balance{TurnsArea: Quantity(0.95, 0.01), Resistance: Quantity(1.027, 0.001),
			Inductance: Quantity(1.06, 0.001)},
		HumCancels: new(true),
		Hum: []pair.Hum{{Wiring: "series", Rejection: fit.Unknown("perfect balance lies within U95"), AtLeast: new(34.4)},
			{Wiring: "parallel", Rejection: rejection}},
		Connected: []pair.Whole{{Wiring: "series", Inductance: Quantity(4.6, 0.02), Resistance: Quantity(8200, 16),
			Capacitance: Quantity(70e-12, 1e-12)}, {Wiring: "series", Reversed: true, Inductance: Quantity(4.2, 0.02),
			Resistance: Quantity(8200, 16), Capacitance: Quantity(71e-12, 1e-12)}},
		Guitar: []pair.InGuitar{in("series", "in", "", ""), in("split", "", "slugs", ""),
			in("partial split", "in", "screws", "4.7k"), out},
		Model: pair.Model{Loops: 1, Chi2Reduced: 1.02, DoF: 4000, WidenedDB: 0.0006},
		Basis: []string{"7 takes fitted together"}, Warnings: []string{"an invented warning"}}
}
