package data

import (
	"io"

	"coilsweep/fit/harness"
	"coilsweep/fit/turns"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

const turnsSchema = "coilsweep.turns/1"

// TurnsJSON writes what to wind for programs, with the response of each option.
func TurnsJSON(w io.Writer, s turns.Sheet) error {
	response := func(points []harness.Point) Object {
		return Object{{"frequency_hz", notation.Each(points, func(p harness.Point) float64 { return p.FrequencyHz })},
			{"level_db", notation.Each(points, func(p harness.Point) any { return p.LevelDB })}}
	}
	options := notation.Each(s.Options, func(o turns.Option) Object {
		row := Object{{"wire", o.Wire.Name}, {"grade", o.Grade}, {"bare_m", o.Wire.BareM}, {"outer_m", o.Wire.OuterM},
			{"turns", o.Turns}}
		if s.Wish.Turns == 0 {
			row = append(row, Object{{"turns_needed", o.Needed}}...)
		}
		row = append(row, Object{{"wire_m", o.WireM}, {"depth_m", o.DepthM}, {"filled", o.Filled}, {"tight", o.Tight},
			{"inductance_h", o.Inductance}, {"resistance_ohm", o.Resistance}, {"capacitance_coil_f", o.Capacitance},
			{"resonance_hz", o.Resonance}, {"q_alone", o.Q}, {"peak_hz", o.Peak}, {"peak_db", o.PeakDB}, {"q", o.Sound.Q},
			{"level_db", o.Level}, {"peak_U95_from_hz", o.PeakFrom}, {"from_wanted_db", o.FromWantedDB},
			{"response", response(o.Response)}}...)
		return row
	})
	refused := notation.Each(s.Refused, func(r turns.Refusal) Object {
		return Object{{"wire", r.Wire.Name}, {"grade", r.Grade}, {"why", r.Why}}
	})
	return writeJSON(w, Object{{"schema", turnsSchema}, {"coils", s.Coils}, {"harness", s.Guitar},
		{"wanted", words.Wish(s)}, {"celsius", s.Celsius}, {"room_m", s.RoomM}, {"room_from", s.RoomFrom},
		{"laws", s.Laws}, {"options", orEmpty(options)}, {"refused", orEmpty(refused)},
		{"assumed", orEmpty(s.Assumed)}, {"warnings", orEmpty(s.Warnings)}})
}
