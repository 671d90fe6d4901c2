package invented

import (
	"coilsweep/excite/exciter"
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/fit/turns"
)

// Turns is what to wind for the peak of another coil: an option with all, one whose
// response is not known, and a wire that is out of the question. Made-up numbers.
func Turns() turns.Sheet {
	p := ResonantPrediction()
	wire := func(mm float64, grade int) exciter.Wire {
		w, _ := exciter.Enamelled(mm * 1e-3).WithGrade(grade)
		return w
	}
	unknown := fit.Unknown("the response falls from the plateau without a peak")
	first := turns.Option{Wire: wire(0.063, 1), Grade: 1, Turns: 8123, Needed: Quantity(8123.4, 60), WireM: 1130,
		DepthM: 4.1e-3, Filled: 0.91, Tight: true, Inductance: Quantity(2.4, 0.03), Resistance: Quantity(6200, 300),
		Capacitance: Quantity(110e-12, 14e-12), Resonance: Quantity(9800, 600), Q: Quantity(7.4, 0.5), Sound: p.Sound,
		PeakFrom: &turns.Shares{Coils: 20, Laws: 90, Guitar: 40}, Response: p.Response, FromWantedDB: new(0.4)}
	second := first
	second.Wire, second.Grade, second.Needed, second.PeakFrom, second.FromWantedDB = wire(0.056, 2), 2, unknown, nil, nil
	second.Peak, second.PeakDB, second.Tight, second.Response = unknown, unknown, false, nil
	for _, point := range p.Response {
		second.Response = append(second.Response, harness.Point{FrequencyHz: point.FrequencyHz, LevelDB: unknown})
	}
	return turns.Sheet{Coils: []string{"invented <coil>"}, Guitar: "an invented guitar",
		Wish: turns.Wish{Like: &harness.Coil{Name: "wanted <coil>"}}, Celsius: 20, RoomM: 5e-3, RoomFrom: "coil.toml",
		Laws: []turns.Law{{Of: "L", With: "turns", Assumed: Quantity(2, 0.06), Fitted: Quantity(2.03, 0.02)},
			{Of: "C", With: "turns", Assumed: Quantity(-0.5, 0.6), Fitted: fit.Unknown("one coil alone cannot tell it")}},
		Options: []turns.Option{first, second},
		Refused: []turns.Refusal{{Wire: wire(0.1, 1), Grade: 1, Why: "the bobbin holds 3000 turns of it"},
			{Wire: wire(0.1, 2), Grade: 2, Why: "the bobbin holds 3000 turns of it"}},
		Wanted: p.Response, WantedAt: p.Peak,
		Warnings: []string{"amplifier: an input of 1M 20% is assumed"}}
}
