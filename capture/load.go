package capture

import "coilsweep/excite/quantity"

// Load is what is connected across the coil during a take. A nil field was not given:
// for added parts that means nothing was added, for the fixture that it is
// unknown.
type Load struct {
	AddedC   *quantity.Capacitance `toml:"added_c,omitempty"`
	AddedR   *quantity.Resistance  `toml:"added_r,omitempty"`
	FixtureC *quantity.Capacitance `toml:"fixture_c,omitempty"`
	FixtureR *quantity.Resistance  `toml:"fixture_r,omitempty"`
	// FixtureSeriesR is the resistor that the input has in series, before its capacitance.
	FixtureSeriesR *quantity.SeriesResistance `toml:"fixture_series_r,omitempty"`
}

// CapacitorLoss is the dissipation factor of an added capacitor, a ratio, with its
// standard uncertainty: that of its dielectric where it is stated, else one that
// covers what is sold (typical values, no source).
func CapacitorLoss(dielectric quantity.Dielectric) (d, u float64, stated bool) {
	switch dielectric {
	case quantity.C0G, quantity.Polypropylene:
		return 0.0003, 0.0003, true
	case quantity.Polyester:
		return 0.005, 0.004, true
	}
	return 0.002, 0.003, false
}
