package sound

import (
	"context"
	"fmt"
	"math"
	"slices"

	"coilsweep/fit/harness"
)

// Recording is one channel of sound that is made to go through coils.
type Recording struct {
	Name    string // what people call it
	RateHz  int
	Samples []float64
	Remarks []string
}

// Listening is two sounds to compare: how they sound, and how they differ.
type Listening struct {
	Recording string    // its name
	Guitar    string    // the name of the harness; may be empty
	Names     [2]string // of the sounds
	// RecordedWith names the coil whose response is taken out; empty: none.
	RecordedWith string
	*harness.Heard
	*Pair
}

// Listen sends a recording through the coils of paths a and b in a guitar for one coil.
// Where ctx ends its error is returned.
func Listen(ctx context.Context, h harness.Harness, coils []harness.Coil, a, b harness.Path, r Recording) (*Listening,
	error) {
	weights := Weights(r.Samples, r.RateHz)
	heard, err := h.Differ(coils, a, b, weights)
	if err != nil {
		return nil, err
	}
	l := &Listening{Recording: r.Name, Guitar: h.Name, Heard: heard}
	hz := Frequencies(r.RateHz)
	var filters [2]Filter
	for i, p := range []harness.Path{a, b} {
		l.Names[i] = "the recording as it is"
		if p.Through >= 0 {
			l.Names[i] = coils[p.Through].Name
		}
		if p.Without >= 0 {
			l.RecordedWith = coils[p.Without].Name
		}
		if p.AsItIs() {
			continue
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		gains, err := h.Gains(coils, p, hz)
		if err != nil {
			return nil, err
		}
		filters[i] = NewFilter(gains)
		l.warnOfBoost(l.Names[i], hz, gains, p)
	}
	if l.Pair, err = NewPair(ctx, r.Samples, r.RateHz, filters[0], filters[1]); err != nil {
		return nil, err
	}
	l.Heard.Matched(l.Pair.LouderDB, weightsDB/math.Sqrt(3))
	l.Heard.Warnings = append(slices.Clone(r.Remarks), l.Heard.Warnings...)
	return l, nil
}

const mostBoostDB = 12.0

// warnOfBoost tells where taking a coil out raises what was recorded so much that its
// noise is raised to be heard.
func (l *Listening) warnOfBoost(name string, hz, gains []float64, p harness.Path) {
	if p.Without < 0 {
		return
	}
	most, at := 0.0, 0.0
	for i, g := range gains {
		if hz[i] >= lowestHz && hz[i] <= highestHz && g/gains[0] > most {
			most, at = g/gains[0], hz[i]
		}
	}
	if db := 20 * math.Log10(most); db > mostBoostDB {
		l.Heard.Warnings = append(l.Heard.Warnings, fmt.Sprintf("%s: taking out the coil that recorded raises what is "+
			"near %.2g kHz by %.0f dB, its noise too", name, at/1000, db))
	}
}
