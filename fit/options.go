package fit

// Options of an analysis. The zero value is what a winder wants.
type Options struct {
	// Forms are the models to try, all of them; nil climbs Ladder() for as long
	// as more losses help.
	Forms []Form
	// SharedGain: the exciter was not moved between the takes, and all have
	// one gain.
	SharedGain bool
	// Advise proposes the next take even where everything is determined.
	Advise bool
	// MonteCarlo is the number of trials by JCGM 101; 0: none. Seed draws them,
	// Progress, if not nil, hears how many are done.
	MonteCarlo int
	Seed       uint64
	Progress   func(done int)
	// Program is written into the result.
	Program string
}

// CardLimits are limits of a sound card's errors, within its band.
type CardLimits struct {
	// RippleDB is that of its response, in dB; where a reference or a calibration
	// takes the card out, 0.3 of it is left.
	RippleDB float64
	// RippleTakeDB is by how much its response may differ from take to take, in dB.
	RippleTakeDB float64
	// ClockPPM is that of its sample clock, in parts per million.
	ClockPPM float64
}

// DefaultCardLimits are common practice for the filters of converters and for
// crystals; that between takes is a judgement.
func DefaultCardLimits() CardLimits {
	return CardLimits{RippleDB: 0.01, RippleTakeDB: 0.001, ClockPPM: 50}
}
