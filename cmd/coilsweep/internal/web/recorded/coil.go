package recorded

import (
	"fmt"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/report/notation"
)

// Reading is a meter reading in words.
type Reading struct{ What, Reading, At, Mode, Celsius, Use string }

// Readings are meter readings in words.
func Readings(meter []capture.MeterReading) (rows []Reading) {
	for _, m := range meter {
		none := notation.None
		row := Reading{notation.Visible(m.What), notation.Visible(m.Reading), none, none, none, none}
		if m.AtHz > 0 {
			row.At = notation.Tied(notation.Nominal(m.AtHz, quantity.Hertz))
		}
		if m.Mode != "" {
			row.Mode = notation.Visible(m.Mode)
		}
		if m.Celsius != nil {
			row.Celsius = quantity.Minus(fmt.Sprintf("%g\u00a0°C", *m.Celsius))
		}
		if m.UseInFit {
			row.Use = "part of the fit"
		}
		rows = append(rows, row)
	}
	return rows
}

// Values are the single values of coil.toml as texts.
func Values(c capture.Coil) map[string]string {
	v := map[string]string{"name": c.Name, "wire": c.Wire, "notes": c.Notes, "dcr": Text(c.DCR),
		"serial": c.Serial, "lot": c.Lot, "customer": c.Customer}
	if c.CelsiusAtTakes != nil {
		v["celsius_at_takes"] = fmt.Sprint(*c.CelsiusAtTakes)
	}
	if c.PartsScale > 0 {
		v["parts_scale_percent"] = fmt.Sprint(c.PartsScale)
	}
	if n := c.Winding; n != nil {
		v["winding.wire"], v["winding.core_length"] = n.Wire, n.CoreLength
		v["winding.core_width"], v["winding.height"] = n.CoreWidth, n.Height
		v["winding.room"] = n.Room
		if n.Grade > 0 {
			v["winding.grade"] = fmt.Sprint(n.Grade)
		}
		if n.Turns > 0 {
			v["winding.turns"] = fmt.Sprint(n.Turns)
		}
	}
	for key, text := range v {
		if text == "" {
			delete(v, key)
		}
	}
	return v
}
