package notation

import (
	"strings"

	"coilsweep/excite/quantity"
)

// QuantityName is a key of result.json ("inductance_h", "resonance_hz of
// bare") in words, with its unit.
func QuantityName(key string) (words string, unit quantity.Unit) {
	name, take, ofTake := strings.Cut(key, " of ")
	unit = quantity.Ratio
	for _, u := range []struct {
		suffix string
		unit   quantity.Unit
	}{{"_hz", quantity.Hertz}, {"_ohm", quantity.Ohm}, {"_h", quantity.Henry}, {"_f", quantity.Farad}} {
		if stem, ok := strings.CutSuffix(name, u.suffix); ok {
			name, unit = stem, u.unit
			break
		}
	}
	switch name {
	case "q":
		name = "Q"
	case "bare_q":
		name = "Q of the coil alone"
	case "bare_resonance":
		name = "resonance of the coil alone"
	case "capacitance_coil":
		name = "self-capacitance"
	case "branch_resonance_resistance":
		name = "AC resistance at the resonance with nothing added"
	default:
		name = strings.ReplaceAll(name, "_", " ")
	}
	if ofTake {
		name += " of " + Visible(take)
	}
	return name, unit
}
