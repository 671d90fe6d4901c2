package fit

import (
	"fmt"
	"math"
	"slices"
)

// Limits of what counts as known.
const (
	// knownU is the largest relative standard uncertainty of L, C, R and of a
	// take's numbers.
	knownU = 0.2
	// weakShare is the largest part of u² that may come from weak priors.
	weakShare = 0.1
	// clockU is the relative standard uncertainty of every frequency: that of
	// the sound card's sample clock, a crystal within 50 ppm (common practice).
	// What it does to L and C, twice as much, is far below their parts.
	clockU = 50e-6 / 1.7320508
	// eddyU is the largest relative u of a share or corner.
	eddyU = 0.5
)

// quantity judges an estimate: its value with U95 where the takes and the
// known parts determine it, null with the reason where they do not.
func (a *analysis) quantity(d derived, limit float64) Quantity {
	e := a.known.of(d)
	if math.IsNaN(e.value) {
		return Unknown(d.missing())
	}
	u := math.Hypot(e.u, a.modelU(d))
	if d.isFrequency() {
		u = math.Hypot(u, clockU*e.value)
	}
	if a.unreferenced() {
		u = math.Hypot(u, rippleU(d, e.value))
	}
	if weak := e.shares[sourceWeak]; weak > weakShare*e.u*e.u && e.u > 0.005*math.Abs(e.value) {
		return Unknown("undetermined: " + a.missingFact())
	}
	relative := u
	if !d.linear {
		relative = u / e.value
	}
	if relative > limit {
		if e.shares[sourceAssumed] > 0.5*e.u*e.u {
			return Unknown("it hangs on the input's resistance, which is not stated: measure it and give --fixture-r")
		}
		return Unknown(fmt.Sprintf("undetermined: U95 would be ±%.0f %%; %s", 100*coverage*relative, a.missingFact()))
	}
	return Quantity{Value: e.value, U: u, U95: coverage * u}
}

// rippleDB is the limit of what a sound card's response does between its band
// edges, common practice for the filters of a converter. Without a reference
// it stays in the response, and so in how sharp and how high a peak looks.
const rippleDB = 0.01

// rippleU is the standard uncertainty that the ripple gives a quantity.
func rippleU(d derived, value float64) float64 {
	u := rippleDB / math.Sqrt(3)
	switch d.name {
	case namePeakDB:
		return u
	case nameQ, nameBareQ, nameWidth:
		return u * math.Ln10 / 20 * value
	}
	return 0
}

// unreferenced tells whether a take has no reference channel.
func (a *analysis) unreferenced() bool {
	return slices.ContainsFunc(a.request.takes, func(t Take) bool { return !t.Referenced })
}

// missingFact says which fact is missing for L and C.
func (a *analysis) missingFact() string {
	loads := map[partIndices]bool{}
	for _, at := range a.request.parts.ofTake {
		loads[at] = true
	}
	if len(loads) < 2 {
		if a.resistive {
			return "one load shows resonance and Q, and the losses leave the DC resistance too weak a third fact; add a take with a known capacitor"
		}
		return "one load shows resonance and Q, two numbers for L, C and R; add a take with a known capacitor, or the DC resistance"
	}
	if a.widen > 1 {
		return "no circuit of the ladder explains the takes well enough: look at the residuals, and check the bench"
	}
	return "the takes' loads differ too little against the noise; add a take with a larger known capacitor"
}

// fewValues enlarges a spread that is known from two or three values only: the
// 97.5 % point of Student's t for 2 degrees of freedom over that of the normal
// distribution (JCGM 100:2008, G.3).
const fewValues = 4.303 / coverage

// modelU is the standard uncertainty from the choice of the form: the spread
// of the forms that are nearly as good, weighted by exp(-ΔBIC/2), or the
// largest distance to the solutions that disagree where none fits.
func (a *analysis) modelU(d derived) float64 {
	if d.name == nameShare || d.name == nameCorner || d.name == nameCover {
		return 0 // terms of this form alone
	}
	best := a.best.joint.at(d, a.best.x)
	away := func(s *solution) float64 {
		v := math.Abs(s.joint.at(d, s.x) - best)
		if math.IsNaN(v) {
			return 0
		}
		return v
	}
	weight, sum := 1.0, 0.0
	for _, r := range a.spread {
		weight += r.weight
		sum += r.weight * away(r.solution) * away(r.solution)
	}
	u := math.Sqrt(sum / weight)
	for _, s := range a.disagreeing {
		u = max(u, fewValues*away(s))
	}
	return u
}
