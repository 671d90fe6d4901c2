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

// OrUsual is c, with the usual limits for what was not stated: those of converters'
// filters and of crystals (typical values, no source); that from take to take is a
// judgement. With a reference or a calibration, the difference between two inputs
// is left of the ripple.
func (c Card) OrUsual(referenced bool) Card {
	ripple := 0.01
	if referenced {
		ripple = 0.003
	}
	return Card{
		RippleDB:     cmp.Or(c.RippleDB, ripple),
		RippleTakeDB: cmp.Or(c.RippleTakeDB, 0.001),
		ClockPPM:     cmp.Or(c.ClockPPM, 50),
	}
}

// CardLimits are the limits that hold for the take: those stated with it, and
// the usual ones for the others.
func (t Take) CardLimits() Card { return t.Card.OrUsual(t.Referenced()) }
