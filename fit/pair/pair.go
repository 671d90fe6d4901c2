// Package pair works out the two coils of a hum-cancelling pickup together: from takes of
// each coil alone and of both connected it finds, beside the circuit of each, the coupling
// and the capacitances between them, how well the halves are balanced, how much hum
// is left because they are not, and what their connections do in a guitar.
//
// All takes are fitted at once, each as the circuit (circuit.Pair) with what was connected
// and open during it. A field that both coils are in is not known over frequency: what
// all takes have in common drops out, as the response of the sound card and of
// the exciter does, and the numbers come from how the takes differ. The uncertainty is
// that of JCGM 100:2008, 5.1 and 5.2, in matrix form, with the tolerances of the parts
// as prior knowledge; a circuit that does not explain the takes widens it.
package pair

import (
	"errors"
	"fmt"

	"coilsweep/capture"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/joint"
)

// Place is where the exciter is during a take. Takes of one place have one field.
type Place string

// The places.
const (
	OverBoth   Place = "both" // both coils answer the same field
	OverFirst  Place = "first"
	OverSecond Place = "second"
)

// Take is a take of one coil or of both.
type Take struct {
	joint.Take
	Folder     string // "first", "second" or "both"
	Connection circuit.PairConnection
	Place      Place
	// LevelChanged: a level was turned for this take, so that its size says nothing.
	LevelChanged bool
}

// Request is a pair with its takes.
type Request struct {
	Name  string
	Coils [2]capture.Coil
	// Start are the coils about where they are searched for, fixture taken off.
	Start [2]circuit.Coil
	Takes []Take
	// FieldLimit is by how much, as a ratio, the field at the second coil may differ from
	// that at the first in takes with the exciter over both.
	FieldLimit float64
	// Assumed is what was assumed of the record and left out by it, and Missing are takes that it describes and
	// that are not there.
	Assumed, Missing []string
}

// Result is what a pair is found to be.
type Result struct {
	Schema string      `json:"schema"` // ResultSchema
	Pair   string      `json:"pair"`
	Halves [2]Half     `json:"halves"`
	Takes  []TakeShown `json:"takes"`

	Coupling fit.Quantity `json:"coupling"`
	Mutual   fit.Quantity `json:"mutual_inductance_h"`
	// Between is the capacitance between the windings, Ground that of each winding to the
	// metal.
	Between fit.Quantity `json:"capacitance_between_f"`
	Ground  fit.Quantity `json:"capacitance_to_metal_f"`

	Balance Balance `json:"balance"`
	// HumCancels says which connection cancels hum, by the leads: true where it is the one
	// with the second coil's leads swapped; nil: not known.
	HumCancels *bool `json:"hum_cancels_reversed"`
	Hum        []Hum `json:"hum"`

	Connected []Whole `json:"connected"`
	// Guitar is what the connections do in a guitar; none where it was not asked for.
	Guitar []InGuitar `json:"guitar"`

	Model    Model    `json:"model"`
	Basis    []string `json:"basis"`
	Warnings []string `json:"warnings"`

	fitted *fitted
}

// ResultSchema names the format of a Result.
const ResultSchema = "coilsweep.pair-result/1"

// Half is one coil of the pair.
type Half struct {
	Name        string       `json:"name"`
	Inductance  fit.Quantity `json:"inductance_h"`
	Resistance  fit.Quantity `json:"resistance_ohm"`
	Capacitance fit.Quantity `json:"capacitance_f"` // between its leads
}

// TakeShown says how a take was used.
type TakeShown struct {
	Folder   string `json:"folder"`
	Name     string `json:"name"`
	Wiring   string `json:"wiring"`
	Reversed bool   `json:"reversed"`
	Other    string `json:"other_coil,omitempty"`
	Place    Place  `json:"exciter"`
}

// Balance is the second coil over the first.
type Balance struct {
	// TurnsArea is how strongly each answers the same field: turns times area.
	TurnsArea  fit.Quantity `json:"turns_area"`
	Resistance fit.Quantity `json:"resistance"`
	Inductance fit.Quantity `json:"inductance"`
}

// Hum is how much of a field that is the same at both coils is left in the
// connection that cancels it, against the one that adds it up.
type Hum struct {
	Wiring string `json:"wiring"`
	// Rejection is 20 log10 |(e1 + e2)/(e1 - e2)| in dB.
	Rejection fit.Quantity `json:"rejection_db"`
	// AtLeast bounds it in place of an interval where perfect balance is within U95.
	AtLeast *float64 `json:"at_least_db"`
}

// Whole is the pair connected as one coil, nothing added.
type Whole struct {
	Wiring string `json:"wiring"`
	// Reversed is as in a take.
	Reversed    bool         `json:"reversed"`
	Inductance  fit.Quantity `json:"inductance_h"`
	Resistance  fit.Quantity `json:"resistance_ohm"`
	Capacitance fit.Quantity `json:"capacitance_f"`
}

// Model is how well the circuit explains the takes.
type Model struct {
	Loops       int     `json:"loops_each"` // eddy-current loops of each coil
	Chi2Reduced float64 `json:"chi2_reduced"`
	DoF         int     `json:"dof"`
	// WidenedDB is what the circuit leaves unexplained in the responses, rms; U95 covers
	// it.
	WidenedDB float64 `json:"unexplained_db"`
}

// ErrTooLittle: there are not the takes that a pair needs.
var ErrTooLittle = errors.New("a pair needs takes of the first coil alone, of the second alone, and of both " +
	"connected: pair.toml says what to connect in each")

// check refuses takes that cannot be fitted together.
func (q Request) check() error {
	alone := [2]bool{}
	both := false
	for _, t := range q.Takes {
		switch t.Connection.Wiring {
		case circuit.FirstAlone:
			alone[0] = true
		case circuit.SecondAlone:
			alone[1] = true
		default:
			both = true
		}
		if t.Load.FixtureC == nil {
			return fmt.Errorf("take %s of %s does not state the fixture's capacitance, without which that between the "+
				"coils cannot be told: state fixture_c with every take", t.Name, t.Folder)
		}
	}
	if !alone[0] || !alone[1] || !both {
		return ErrTooLittle
	}
	return nil
}
