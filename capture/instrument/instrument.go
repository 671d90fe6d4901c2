// Package instrument says by which instruments a measurement can be traced: what they are
// called, and until when their calibration is valid. Nothing of it enters a number.
package instrument

import (
	"fmt"
	"strings"
	"time"
)

// Day is a day as in ISO 8601, "2026-11-25"; empty where none was given.
type Day string

// DayOf is the day of t in its zone.
func DayOf(t time.Time) Day { return Day(t.Format(time.DateOnly)) }

// Check reports what is no day, by the key that holds it.
func (d Day) Check(key string) error {
	if _, err := time.Parse(time.DateOnly, string(d)); d != "" && err != nil {
		return fmt.Errorf(`%s is %q: want a day such as "2026-11-25"`, key, d)
	}
	return nil
}

// Instrument is a measuring instrument, or a part that stands for one, as its owner states
// it.
type Instrument struct {
	Name   string `toml:"instrument,omitempty" json:"instrument,omitempty"` // maker and type
	Serial string `toml:"serial,omitempty" json:"serial,omitempty"`
	// Certificate of its last calibration: a number, and who issued it.
	Certificate string `toml:"certificate,omitempty" json:"certificate,omitempty"`
	// CalibrationDue is the last day on which its calibration is valid.
	CalibrationDue Day `toml:"calibration_due,omitempty" json:"calibration_due,omitempty"`
}

// Check reports the first thing wrong with what is stated.
func (i Instrument) Check() error { return i.CalibrationDue.Check("calibration_due") }

// Entry is one key of an instrument's table, with what is stated ("": nothing) and an
// example.
type Entry struct{ Key, Value, Example string }

// Entries are the keys of an instrument's table, in the order of the file.
func (i Instrument) Entries() []Entry {
	return []Entry{
		{"instrument", i.Name, "multimeter, 6 digits"},
		{"serial", i.Serial, "12345"},
		{"certificate", i.Certificate, "K-4711 of 2026-03-01"},
		{"calibration_due", string(i.CalibrationDue), "2027-03-01"},
	}
}

// Words are the instrument in words: "multimeter, serial 12345, calibration due
// 2027-03-01"; empty: nothing is stated.
func (i Instrument) Words() string {
	var said []string
	for _, e := range i.Entries() {
		switch {
		case e.Value == "":
		case e.Key == "instrument":
			said = append(said, e.Value)
		default:
			said = append(said, strings.ReplaceAll(e.Key, "_", " ")+" "+e.Value)
		}
	}
	return strings.Join(said, ", ")
}

// What an instrument is used for.
const (
	Card       = "sound card"
	Reference  = "sense resistor"
	BenchMeter = "meter of the bench"
	PartsMeter = "meter of the added parts"
	DCRMeter   = "meter of the DC resistance"
	Readings   = "meter of the readings"
)

// Roles are all of these, in the order in which they are told.
func Roles() []string {
	return []string{Card, Reference, BenchMeter, PartsMeter, DCRMeter, Readings}
}

// Used is an instrument and what it was used for.
type Used struct {
	Role string `toml:"role" json:"role"`
	Instrument
}

// Lapsed says that the calibration of the instrument was not valid any more when a take
// was made; empty: it was, or nothing is stated.
func (u Used) Lapsed(take string, at time.Time) string {
	day := DayOf(at)
	if u.CalibrationDue == "" || at.IsZero() || day <= u.CalibrationDue {
		return ""
	}
	which := u.Instrument
	which.CalibrationDue, which.Certificate = "", ""
	name := u.Role
	if words := which.Words(); words != "" {
		name += " (" + words + ")"
	}
	return fmt.Sprintf("the %s was due for calibration on %s, and take %q was made on %s", name, u.CalibrationDue, take,
		day)
}
