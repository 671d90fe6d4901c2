package main

import (
	"fmt"

	"coilsweep/excite/quantity"
)

// The flags below hold values as people write them; value is nil until the
// flag is given.
type (
	resistanceFlag  struct{ value *quantity.Resistance }
	capacitanceFlag struct{ value *quantity.Capacitance }
	inductanceFlag  struct{ value *quantity.Inductance }
)

func (f *resistanceFlag) Set(text string) error {
	v, err := quantity.ParseResistance(text)
	if err == nil {
		f.value = &v
	}
	return err
}

func (f *capacitanceFlag) Set(text string) error {
	v, err := quantity.ParseCapacitance(text)
	if err == nil {
		f.value = &v
	}
	return err
}

func (f *inductanceFlag) Set(text string) error {
	v, err := quantity.ParseInductance(text)
	if err == nil {
		f.value = &v
	}
	return err
}

func (f *resistanceFlag) String() string  { return given(f.value) }
func (f *capacitanceFlag) String() string { return given(f.value) }
func (f *inductanceFlag) String() string  { return given(f.value) }

func (*resistanceFlag) Type() string  { return "ohm" }
func (*capacitanceFlag) Type() string { return "farad" }
func (*inductanceFlag) Type() string  { return "henry" }

// given is v as typed, nothing for one that was not given.
func given[T fmt.Stringer](v *T) string {
	if v == nil {
		return ""
	}
	return (*v).String()
}

// hertzFlag is a frequency in Hz, secondsFlag a time in s.
type (
	hertzFlag   float64
	secondsFlag float64
)

func (f *hertzFlag) Set(text string) error {
	v, err := quantity.ParseHertz(text)
	*f = hertzFlag(v)
	return err
}

func (f *secondsFlag) Set(text string) error {
	v, err := quantity.ParseSeconds(text)
	*f = secondsFlag(v)
	return err
}

func (f *hertzFlag) String() string   { return fmt.Sprintf("%g Hz", float64(*f)) }
func (f *secondsFlag) String() string { return fmt.Sprintf("%g s", float64(*f)) }

func (*hertzFlag) Type() string   { return "Hz" }
func (*secondsFlag) Type() string { return "s" }
