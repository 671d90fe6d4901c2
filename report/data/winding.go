package data

import (
	"io"

	"coilsweep/fit/winding"
	"coilsweep/report/notation"
)

const windingSchema = "coilsweep.winding/1"

// WindingJSON writes the check for programs.
func WindingJSON(w io.Writer, v winding.Sheet) error {
	c := v.Check
	shorted := notation.Each(v.Shorted, func(s winding.Shorted) Object {
		return Object{{"part", s.Part}, {"resonance_hz", finiteOrNil(s.ResonanceHz)}, {"q", finiteOrNil(s.Q)}}
	})
	return writeJSON(w, Object{{"schema", windingSchema}, {"coil", v.Coil}, {"turns_stated", v.Plan.Turns},
		{"celsius", c.Celsius}, {"resistance_ohm", c.Measured}, {"resistance_expected_ohm", c.Expected}, {"en", c.En},
		{"turns", c.Turns}, {"bare_winding_h", finiteOrNil(c.AirH)}, {"inductance_factor", finiteOrNil(c.Factor)},
		{"suspicions", orEmpty(c.Suspicions)}, {"remarks", orEmpty(c.Remarks)}, {"shorted_turns", shorted}})
}
