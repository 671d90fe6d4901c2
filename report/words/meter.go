package words

import (
	"fmt"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
)

// MeterUnit is the unit of a meter's quantity.
func MeterUnit(what string) quantity.Unit {
	switch what {
	case "L":
		return quantity.Henry
	case "C":
		return quantity.Farad
	case "R":
		return quantity.Ohm
	}
	return quantity.Ratio
}

// MeterPlace is what was read, and how: "L at 1 kHz, series".
func MeterPlace(m fit.MeterResult) string {
	if m.AtHz == 0 {
		return notation.Visible(m.What) + ", " + notation.Visible(m.Mode)
	}
	return fmt.Sprintf("%s at %s, %s",
		notation.Visible(m.What), notation.Nominal(m.AtHz, quantity.Hertz), notation.Visible(m.Mode))
}

// Effects leads from the coil's own value to the reading: "2.40 H at low
// frequency; eddy currents −3.1 %, self-capacitance +1.2 %".
func Effects(m fit.MeterResult) string {
	e := m.Explanation
	if len(e.Effects) == 0 {
		return ""
	}
	from := map[string]string{
		"L": "at low frequency", "R": "at the takes' temperature", "C": "the coil's own",
		"Q": "by L and R alone", "D": "by L and R alone",
	}[m.What]
	var parts []string
	for _, effect := range e.Effects {
		parts = append(parts, notation.Visible(effect.What)+" "+notation.Change(effect.Percent))
	}
	return fmt.Sprintf("%s %s; %s", quantity.Format(e.From, MeterUnit(m.What), 4), from, strings.Join(parts, ", "))
}
