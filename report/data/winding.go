package data

import (
	"io"

	"coilsweep/fit"
	"coilsweep/fit/winding"
)

const windingSchema = "coilsweep.winding/1"

// WindingJSON writes the check for programs.
func WindingJSON(w io.Writer, v winding.Sheet) error {
	type shorted struct {
		Part        float64  `json:"part"`
		ResonanceHz *float64 `json:"resonance_hz"`
		Q           *float64 `json:"q"`
	}
	out := struct {
		Schema     string       `json:"schema"`
		Coil       string       `json:"coil"`
		Turns      int          `json:"turns_stated"`
		Celsius    float64      `json:"celsius"`
		Measured   fit.Quantity `json:"resistance_ohm"`
		Expected   fit.Quantity `json:"resistance_expected_ohm"`
		En         *float64     `json:"en"`
		TurnsOf    fit.Quantity `json:"turns"`
		AirH       *float64     `json:"bare_winding_h"`
		Factor     *float64     `json:"inductance_factor"`
		Suspicions []string     `json:"suspicions"`
		Remarks    []string     `json:"remarks"`
		Shorted    []shorted    `json:"shorted_turns"`
	}{windingSchema, v.Coil, v.Plan.Turns, v.Check.Celsius, v.Check.Measured, v.Check.Expected, v.Check.En,
		v.Check.Turns,
		finiteOrNil(v.Check.AirH), finiteOrNil(v.Check.Factor), orEmpty(v.Check.Suspicions),
		orEmpty(v.Check.Remarks), []shorted{}}
	for _, s := range v.Shorted {
		out.Shorted = append(out.Shorted, shorted{s.Part, finiteOrNil(s.ResonanceHz), finiteOrNil(s.Q)})
	}
	return writeJSON(w, out)
}
