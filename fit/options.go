package fit

import "coilsweep/capture/partsfile"

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
	// AtHand are the parts of which one is proposed; where none of them tells enough, and
	// where there are none, it is one of the usual sizes.
	AtHand partsfile.Parts
	// MonteCarlo is the number of trials by JCGM 101; 0: none. Seed draws them,
	// Progress, if not nil, hears how many are done.
	MonteCarlo int
	Seed       uint64
	Progress   func(done int)
	// Program is written into the result.
	Program string
}
