package capture

import (
	"cmp"

	"coilsweep/capture/benchfile"
)

// Card says how far a sound card is from an ideal one: limits, as half-widths of
// rectangular distributions, of what no recording tells. 0 is a limit that was
// not stated.
type Card struct {
	// RippleDB is by how much its response departs from a flat one within an
	// octave, in dB: what a reference or a calibration leaves, or all of it.
	RippleDB float64 `toml:"ripple_db,omitempty"`
	// RippleTakeDB is how much of that changes from take to take, in dB.
	RippleTakeDB float64 `toml:"ripple_take_db,omitempty"`
	// ClockPPM is the error of its sample clock, in parts per million.
	ClockPPM float64 `toml:"clock_ppm,omitempty"`
}

// Limits of a card of which nothing is stated: typical values, no source.
const (
	rippleDB           = 0.01
	rippleReferencedDB = 0.003
	rippleTakeDB       = 0.001
	clockPPM           = 50
)

// check reports the first limit that no card has; one that is not stated is fine.
func (c Card) check() error {
	for _, l := range []struct {
		key   string
		value float64
	}{{"ripple_db", c.RippleDB}, {"ripple_take_db", c.RippleTakeDB}, {"clock_ppm", c.ClockPPM}} {
		if l.value == 0 {
			continue
		}
		if err := benchfile.CheckLimit(l.key, l.value); err != nil {
			return err
		}
	}
	return nil
}

// CardLimits are the limits that hold for the take: those stated with it, and
// the usual ones for the others.
func (t Take) CardLimits() Card {
	ripple := rippleDB
	if t.Referenced() {
		ripple = rippleReferencedDB
	}
	return Card{
		RippleDB:     cmp.Or(t.Card.RippleDB, ripple),
		RippleTakeDB: cmp.Or(t.Card.RippleTakeDB, rippleTakeDB),
		ClockPPM:     cmp.Or(t.Card.ClockPPM, clockPPM),
	}
}
