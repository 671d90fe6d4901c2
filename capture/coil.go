package capture

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"strings"

	"coilsweep/capture/instrument"
	"coilsweep/capture/tomlkey"
	"coilsweep/excite/quantity"
)

const CoilSchema = "coilsweep.coil/1"

// Coil is coil.toml, edited by hand: what is known of the coil apart from its
// takes.
type Coil struct {
	Schema string `toml:"schema"` // "coilsweep.coil/1"
	Name   string `toml:"name"`
	// State is what was done to the coil since it was first measured ("potted"); empty:
	// nothing. Coils of one name in different states are one coil.
	State string `toml:"state,omitempty"`
	// Serial, Lot and Customer are the coil's serial number, the production run it is of,
	// and who it is for.
	Serial   string `toml:"serial,omitempty"`
	Lot      string `toml:"lot,omitempty"`
	Customer string `toml:"customer,omitempty"`
	Notes    string `toml:"notes,omitempty"`
	Wire     string `toml:"wire,omitempty"`
	// DCR is the DC resistance with temperature and accuracy, as typed
	// ("7.85k@22C 0.5%").
	DCR *quantity.Resistance `toml:"dcr,omitempty"`
	// DCRMeter is the meter by which it was read; nil: not stated.
	DCRMeter *instrument.Instrument `toml:"dcr_meter,omitempty"`
	// CelsiusAtTakes is the coil's temperature during the takes, °C.
	CelsiusAtTakes *float64 `toml:"celsius_at_takes,omitempty"`
	// PartsScale is the limit, in percent, of the scale error that all added
	// parts share because they were valued with one meter; 0: none.
	PartsScale float64 `toml:"parts_scale_percent,omitempty"`
	// Winding is how the coil was wound; nil: not stated.
	Winding *Winding `toml:"winding,omitempty"`
	// Meter holds readings of an LCR meter.
	Meter []MeterReading `toml:"meter,omitempty"`
}

// check reports the first thing wrong with c.
func (c Coil) check() error {
	t, w, p := c.CelsiusAtTakes, c.Winding, c.PartsScale
	switch {
	case c.Schema != CoilSchema:
		return fmt.Errorf("schema is %q, this program reads %q", c.Schema, CoilSchema)
	case strings.TrimSpace(c.Name) == "":
		return errors.New("the coil has no name: set name")
	case checkState(c.State) != nil:
		return checkState(c.State)
	case c.DCR != nil && !(c.DCR.SI > 0):
		return fmt.Errorf("dcr is %s: a DC resistance is above zero", c.DCR.Text)
	case t != nil && !(*t > -100 && *t < 300):
		return fmt.Errorf("celsius_at_takes is %g: want the coil's temperature in °C", *t)
	case w != nil && w.Turns < 0:
		return fmt.Errorf("winding: %d turns", w.Turns)
	case w != nil && (w.Grade < 0 || w.Grade > 2):
		return fmt.Errorf("winding: grade is %d: want the wire's insulation build, 1 or 2", w.Grade)
	case !(p >= 0 && p <= 50):
		return fmt.Errorf("parts_scale_percent is %g: want the limit of a common scale error, 0 to 50 percent", p)
	}
	if c.DCRMeter != nil {
		if err := c.DCRMeter.Check(); err != nil {
			return fmt.Errorf("dcr_meter: %w", err)
		}
	}
	if c.DCR != nil {
		if err := quantity.Plausible("dcr", c.DCR.Value); err != nil {
			return fmt.Errorf("dcr: %w", err)
		}
	}
	for i, m := range c.Meter {
		if err := m.check(); err != nil {
			return fmt.Errorf("meter reading %d: %w", i+1, err)
		}
	}
	return nil
}

// usualCelsius are the temperatures of a room in which coils are measured (typical, no
// source).
var usualCelsius = [2]float64{10, 35}

// Unusual are remarks on what is stated of the coil and is plausible but not usual.
func (c Coil) Unusual() (remarks []string) {
	add := func(key, text string) {
		if text != "" {
			remarks = append(remarks, key+": "+text)
		}
	}
	if c.DCR != nil {
		add("dcr", quantity.Unusual("dcr", c.DCR.Value))
	}
	if t := c.CelsiusAtTakes; t != nil && (*t < usualCelsius[0] || *t > usualCelsius[1]) {
		add("celsius_at_takes", fmt.Sprintf("%s °C is unusual for a coil during its takes",
			quantity.Minus(fmt.Sprintf("%g", *t))))
	}
	for _, m := range c.Meter {
		if v, err := m.Value(); err == nil && v.SI > 0 {
			add("a meter's "+m.What, quantity.Unusual("meter-"+strings.ToLower(m.What), v))
		}
	}
	return remarks
}

// decodeCoil reads coil.toml. A key that does not exist is an error with its
// line: a misspelt dcr must not get lost.
func decodeCoil(data []byte) (Coil, error) {
	return tomlkey.DecodeChecked(data, Coil.check)
}

// encodeCoil writes coil.toml with a word on each key for whoever edits it;
// what is not known stands there as a commented example.
func encodeCoil(c Coil) []byte {
	var b bytes.Buffer
	b.WriteString("# What is known of this coil. Edit it by hand: everything else in this folder\n" +
		"# is written by coilsweep. Values take SI prefixes, marking codes (4k7, 2n2) and\n" +
		"# a tolerance: \"470p 1%\" is a limit, \"470p 0.3% U95\" an expanded uncertainty.\n")
	key := func(comment, name string, value any, given bool) {
		line := tomlkey.Setting(name, value)
		if !given {
			line = "# " + line
		}
		if comment != "" {
			b.WriteByte('\n')
		}
		b.WriteString(comment + line)
	}
	b.WriteString(tomlkey.Setting("schema", CoilSchema))
	b.WriteString(tomlkey.Setting("name", c.Name))
	if c.State != "" {
		key("# What was done to the coil since it was first measured: these takes are of it since.\n", "state",
			c.State, true)
	}
	key("# Its serial number, the production run (lot) it is of, and who it is for.\n", "serial",
		cmp.Or(c.Serial, "2026-014"), c.Serial != "")
	key("", "lot", cmp.Or(c.Lot, "spring 2026"), c.Lot != "")
	key("", "customer", cmp.Or(c.Customer, "the shop round the corner"), c.Customer != "")
	key("# Anything worth remembering.\n", "notes", c.Notes, c.Notes != "")
	key("# The wire, in your own words.\n", "wire", cmp.Or(c.Wire, "0.063 mm enamelled copper"), c.Wire != "")
	dcr := "7.85k@22C 0.5%"
	if c.DCR != nil {
		dcr = c.DCR.Text
	}
	key("# DC resistance, with the temperature of the reading and the meter's accuracy.\n", "dcr", dcr, c.DCR != nil)
	celsius := 22.0
	if c.CelsiusAtTakes != nil {
		celsius = *c.CelsiusAtTakes
	}
	key("# Temperature of the coil during the takes, in °C: copper gains 0.39 % per degree.\n", "celsius_at_takes",
		celsius, c.CelsiusAtTakes != nil)
	key("# Limit, in percent, of the scale error that all added parts share because one\n# meter valued them; it "+
		"comes on top of their own tolerances.\n", "parts_scale_percent", cmp.Or(c.PartsScale, 1), c.PartsScale > 0)
	b.WriteString("\n# The meter by which dcr was read. calibration_due is the last day on which its\n" +
		"# calibration is valid: a later take is told of.\n" + encodeDCRMeter(c.DCRMeter))
	b.WriteString("\n# How it was wound, for 'coilsweep winding' and 'coilsweep turns'. The core is that on\n" +
		"# which the first turn lies; a round one is as wide as it is long. Leave turns out if they\n" +
		"# were not counted. grade: the wire's insulation build, 1 or 2; room: how deep a winding may\n" +
		"# be, from the core to the flanges' edge.\n")
	if c.Winding != nil {
		b.WriteString(encodeWinding(*c.Winding))
	} else {
		example := encodeWinding(Winding{Wire: "AWG 42", Turns: 8000, CoreLength: "58mm", CoreWidth: "5mm",
			Height: "11mm", Grade: 1, Room: "5mm"})
		b.WriteString("# " + strings.TrimSuffix(strings.ReplaceAll(example, "\n", "\n# "), "# "))
	}
	b.WriteString("\n# Readings of an LCR meter on the coil alone, one [[meter]] for each.\n" +
		"# what: \"L\", \"C\", \"R\", \"Q\" or \"D\". mode: \"series\" or \"parallel\".\n" +
		"# reading: as displayed, with the meter's accuracy; celsius: the coil's temperature then.\n" +
		"# The meter itself may be stated in each as dcr_meter has it.\n" +
		"# use_in_fit = true makes a reading part of the fit; it is then not checked against it.\n")
	for _, m := range c.Meter {
		b.WriteString("\n" + encodeMeter(m))
	}
	if len(c.Meter) == 0 {
		example := encodeMeter(MeterReading{What: "L", Reading: "2.31H 0.5% + 2 digits", AtHz: 1000, Mode: "series"})
		b.WriteString("#\n# " + strings.TrimSuffix(strings.ReplaceAll(example, "\n", "\n# "), "# "))
	}
	return b.Bytes()
}
