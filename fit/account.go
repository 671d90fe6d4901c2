package fit

import "coilsweep/excite/quantity"

// Terminals are the stated capacitances at a coil's terminals; nil where not
// known.
type Terminals struct {
	Winding, Lead, Cable, Input *quantity.Capacitance
	// CableM is the length of the cable in m by the name of the take; "" is
	// that of every take.
	CableM map[string]float64
}

// Account is all the capacitance at a coil's terminals with nothing added, and
// its parts.
type Account struct {
	Total Quantity      `json:"total_f"` // as the takes show it
	Lines []AccountLine `json:"lines"`
	Sum   Quantity      `json:"sum_f"`
	// Unaccounted is Total less all that is stated, the fixture of the takes included: what
	// belongs to parts that are not stated. En is its number against zero, nil where it
	// is not known; Verdict says what follows.
	Unaccounted Quantity `json:"unaccounted_f"`
	En          *float64 `json:"en"`
	Verdict     string   `json:"verdict"`
	// Fixture is cable and input as stated against the fixture as stated with the takes;
	// nil where they are not independent.
	Fixture *AccountCheck `json:"fixture,omitempty"`
	// Warnings name the assumptions.
	Warnings []string      `json:"warnings"`
	Added    []AccountLine `json:"added"`
	// PerMetre is the capacitance of a metre of cable, where its length is known.
	PerMetre *Quantity `json:"cable_per_metre_f,omitempty"`
}

// AccountLine is one capacitance and where its value comes from.
type AccountLine struct {
	What   string   `json:"what"`
	Farad  Quantity `json:"capacitance_f"`
	Source string   `json:"source"`
}

// AccountCheck is a comparison of two capacitances.
type AccountCheck struct {
	En      float64 `json:"en"`
	Verdict string  `json:"verdict"`
}
