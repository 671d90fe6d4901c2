package capture

import (
	"fmt"
	"strings"

	"coilsweep/capture/instrument"
	"coilsweep/capture/tomlkey"
	"coilsweep/excite/quantity"
)

// MeterReading is one reading of an LCR meter on the coil alone.
type MeterReading struct {
	What string `toml:"what"` // "L", "C", "R", "Q" or "D"
	// Reading is the value as displayed, with the meter's accuracy ("2.31H
	// 0.5% + 2 digits", "2.28 3%"); L, C, Q and D may be negative.
	Reading string  `toml:"reading"`
	AtHz    float64 `toml:"at_hz"`
	Mode    string  `toml:"mode,omitempty"` // "series" (default) or "parallel"
	// Celsius is the coil's temperature at the reading, °C. An R may have it
	// in its reading instead ("7.85k@22C").
	Celsius *float64 `toml:"celsius,omitempty"`
	// UseInFit makes the reading prior knowledge of the fit; it is then not
	// scored against that fit.
	UseInFit bool `toml:"use_in_fit,omitempty"`
	// The meter itself.
	instrument.Instrument
}

func (m MeterReading) check() error {
	if !strings.Contains("LCRQD", m.What) || len(m.What) != 1 {
		return fmt.Errorf(`what is %q: want "L", "C", "R", "Q" or "D"`, m.What)
	}
	if m.Mode != "" && m.Mode != "series" && m.Mode != "parallel" {
		return fmt.Errorf(`mode is %q: want "series" or "parallel"`, m.Mode)
	}
	if !(m.AtHz > 0 && m.AtHz <= 1e7) {
		return fmt.Errorf("at_hz is %g: want the meter's test frequency in Hz", m.AtHz)
	}
	if err := m.Instrument.Check(); err != nil {
		return err
	}
	v, err := m.Value()
	if err != nil {
		return fmt.Errorf("reading: %w", err)
	}
	if v.SI > 0 {
		if err := quantity.Plausible("meter-"+strings.ToLower(m.What), v); err != nil {
			return fmt.Errorf("reading: %w", err)
		}
	}
	switch t := m.Celsius; {
	case t == nil:
	case !(*t > -100 && *t < 300):
		return fmt.Errorf("celsius is %g: want the coil's temperature in °C", *t)
	case v.Celsius != nil && *v.Celsius != *t:
		return fmt.Errorf("the reading says %g °C, celsius says %g", *v.Celsius, *t)
	}
	return nil
}

// Value is the reading in SI units, Q and D as plain numbers. It is negative
// where a meter reads an inductance above the coil's own resonance, or a
// capacitance below it.
func (m MeterReading) Value() (quantity.Value, error) {
	unit := map[string]quantity.Unit{"L": quantity.Henry, "C": quantity.Farad, "R": quantity.Ohm}[m.What]
	size, negative := strings.CutPrefix(strings.TrimSpace(m.Reading), "-")
	if m.What == "R" {
		size, negative = m.Reading, false
	}
	v, err := quantity.Parse(size, unit)
	if err != nil {
		return quantity.Value{}, err
	}
	if negative {
		v.SI, v.Text = -v.SI, m.Reading
	}
	return v, nil
}

// Temperature of the coil at the reading in °C; nil where it is not stated.
func (m MeterReading) Temperature() *float64 {
	if m.Celsius != nil {
		return m.Celsius
	}
	v, err := m.Value()
	if err != nil {
		return nil
	}
	return v.Celsius
}

func encodeMeter(m MeterReading) string {
	s := "[[meter]]\n" + tomlkey.Setting("what", m.What) + tomlkey.Setting("reading", m.Reading) +
		tomlkey.Setting("at_hz", m.AtHz)
	if m.Mode != "" {
		s += tomlkey.Setting("mode", m.Mode)
	}
	if m.Celsius != nil {
		s += tomlkey.Setting("celsius", *m.Celsius)
	}
	return s + tomlkey.Setting("use_in_fit", m.UseInFit) + encodeInstrument(m.Instrument)
}

// encodeInstrument are the keys of an instrument that are stated.
func encodeInstrument(i instrument.Instrument) (text string) {
	for _, e := range i.Entries() {
		if e.Value != "" {
			text += tomlkey.Setting(e.Key, e.Value)
		}
	}
	return text
}

// encodeDCRMeter is the meter of the DC resistance as a table of coil.toml; nil: an example.
func encodeDCRMeter(i *instrument.Instrument) string {
	const head = "[dcr_meter]\n"
	if i != nil {
		return head + encodeInstrument(*i)
	}
	text := "# " + head
	for _, e := range (instrument.Instrument{}).Entries() {
		text += "# " + tomlkey.Setting(e.Key, e.Example)
	}
	return text
}
