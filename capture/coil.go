package capture

import "coilsweep/excite/quantity"

// Coil is coil.toml, edited by hand: what is known of the coil apart from its
// takes.
type Coil struct {
	Schema string `toml:"schema"` // "coilsweep.coil/1"
	Name   string `toml:"name"`
	Notes  string `toml:"notes,omitempty"`
	Wire   string `toml:"wire,omitempty"`
	// DCR is the DC resistance with temperature and accuracy, as typed
	// ("7.85k@22C 0.5%").
	DCR *quantity.Resistance `toml:"dcr,omitempty"`
	// CelsiusAtTakes is the coil's temperature during the takes, °C.
	CelsiusAtTakes *float64 `toml:"celsius_at_takes,omitempty"`
	// Meter holds readings of an LCR meter.
	Meter []MeterReading `toml:"meter,omitempty"`
}

// MeterReading is one reading of an LCR meter at the bare coil.
type MeterReading struct {
	What string `toml:"what"` // "L", "C", "R", "Q" or "D"
	// Reading is the value as typed with its accuracy ("2.31H 1%"); plain
	// numbers for Q and D.
	Reading string  `toml:"reading"`
	AtHz    float64 `toml:"at_hz"`
	Mode    string  `toml:"mode,omitempty"` // "series" (default) or "parallel"
	// UseInFit makes the reading prior knowledge of the fit; it is then not
	// scored against that fit.
	UseInFit bool `toml:"use_in_fit,omitempty"`
}
