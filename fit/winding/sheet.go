package winding

import (
	"coilsweep/capture"
	"coilsweep/fit"
)

// Sheet is a coil checked against how it was wound, ready to be shown.
type Sheet struct {
	Coil  string
	Plan  Plan
	Check Check
	// Shorted is the effect of shorted turns; nil where the coil's circuit is not
	// known.
	Shorted []Shorted
}

// shortedParts are the parts of the turns for which the effect of shorted turns
// is shown.
var shortedParts = []float64{0, 0.001, 0.003, 0.01, 0.03, 0.1}

// NewSheet checks a coil by its result; nil: it has none, and the resistance
// alone is checked. The error says what is missing from the winding.
func NewSheet(coil capture.Coil, result *fit.Result) (Sheet, error) {
	s := Sheet{Coil: coil.Name}
	var err error
	if s.Plan, err = PlanOf(coil); err != nil {
		return s, err
	}
	if result != nil {
		if alone, _, err := result.Circuit(); err == nil {
			for _, part := range shortedParts {
				s.Shorted = append(s.Shorted, ShortTurns(alone, part))
			}
		}
	}
	s.Check, err = CheckCoil(s.Plan, coil, result)
	return s, err
}
