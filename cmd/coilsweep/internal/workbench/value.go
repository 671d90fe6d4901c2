package workbench

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"coilsweep/excite/quantity"
)

// Value reads and shows what an option holds.
type Value interface {
	Set(text string) error
	String() string // as it was given, or the default; empty: nothing
	Type() string   // its unit or kind, for the help
	at() any        // points to it
}

// value is a Value by functions.
type value[T any] struct {
	it    *T
	kind  string
	parse func(string) (T, error)
	show  func(T) string
}

func (v value[T]) Set(text string) error {
	x, err := v.parse(text)
	if err == nil {
		*v.it = x
	}
	return err
}

func (v value[T]) String() string {
	if v.it == nil { // a zero value that somebody compares with
		return ""
	}
	return v.show(*v.it)
}

func (v value[T]) Type() string { return v.kind }
func (v value[T]) at() any      { return v.it }

// Text holds any text.
func Text(at *string) Value {
	return value[string]{at, "text", func(s string) (string, error) { return s, nil },
		func(s string) string { return s }}
}

// Switch is on or off.
func Switch(at *bool) Value {
	return value[bool]{at, "bool", func(s string) (bool, error) {
		v, err := strconv.ParseBool(s)
		return v, plainNumber("true or false", err)
	}, strconv.FormatBool}
}

// Whole holds a whole number.
func Whole(at *int) Value {
	return value[int]{at, "n", func(s string) (int, error) {
		v, err := strconv.Atoi(s)
		return v, plainNumber("a whole number", err)
	}, strconv.Itoa}
}

// Counting holds a whole number that is not negative.
func Counting(at *uint64) Value {
	return value[uint64]{at, "n", func(s string) (uint64, error) {
		v, err := strconv.ParseUint(s, 0, 64)
		return v, plainNumber("a whole number, not negative", err)
	}, func(v uint64) string { return strconv.FormatUint(v, 10) }}
}

// Number holds a number.
func Number(at *float64) Value {
	return value[float64]{at, "number", func(s string) (float64, error) {
		v, err := strconv.ParseFloat(s, 64)
		return v, plainNumber("a number, such as -12 or 0.5", err)
	}, func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }}
}

// plainNumber is what is wrong with a number that strconv could not read.
func plainNumber(want string, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, strconv.ErrRange):
		return fmt.Errorf("want %s that is not so large", want)
	}
	return fmt.Errorf("want %s", want)
}

// List holds a text for each time that the option is given.
type List struct{ it *[]string }

// TextList is a List.
func TextList(at *[]string) *List { return &List{at} }

// Set adds a text.
func (l *List) Set(text string) error {
	*l.it = append(*l.it, text)
	return nil
}

func (l *List) String() string { return "" }

// Type is that of one text.
func (l *List) Type() string { return "text" }
func (l *List) at() any      { return l.it }

// choiceError is a word that is not among those that an option takes.
type choiceError struct {
	want   string
	quoted bool
}

func (e *choiceError) Error() string { return "want " + e.want }

// oneOf is "a, b or c".
func oneOf(words []string) string {
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " or " + words[n-1]
	}
	return strings.Join(words, "")
}

// Choice holds one of some words.
func Choice(at *string, words ...string) Value {
	return choice{value[string]{at, "word", func(s string) (string, error) {
		if !slices.Contains(words, s) {
			return "", &choiceError{want: oneOf(words)}
		}
		return s, nil
	}, func(s string) string { return s }}, words}
}

type choice struct {
	value[string]
	words []string
}

// Words are those that an option can be, where they are known.
func (o *Option) Words() []string {
	if c, ok := o.Value.(choice); ok {
		return c.words
	}
	if o.Name == "model" {
		return formNames()
	}
	return nil
}

// stated holds a value as people write them; nil until it is given.
func stated[T fmt.Stringer](at **T, kind string, parse func(string) (T, error)) Value {
	return value[*T]{at, kind, func(s string) (*T, error) {
		v, err := parse(s)
		if err != nil {
			return nil, err
		}
		return &v, nil
	}, textOf[T]}
}

// textOf is v as it was typed; nothing for one that was not given.
func textOf[T fmt.Stringer](v *T) string {
	if v == nil {
		return ""
	}
	return (*v).String()
}

// Resistance holds a resistance with its tolerance.
func Resistance(at **quantity.Resistance) Value { return stated(at, "ohm", quantity.ParseResistance) }

// SeriesResistance holds a resistance that may be none.
func SeriesResistance(at **quantity.SeriesResistance) Value {
	return stated(at, "ohm", quantity.ParseSeriesResistance)
}

// Capacitance holds a capacitance with its tolerance.
func Capacitance(at **quantity.Capacitance) Value {
	return stated(at, "farad", quantity.ParseCapacitance)
}

// parallel holds parts in parallel: each time that the option is given, one more.
type parallel struct{ Value }

// Parallel is the value of an option for parts in parallel.
func Parallel(v Value) Value { return &parallel{v} }

// Inductance holds an inductance with its tolerance.
func Inductance(at **quantity.Inductance) Value {
	return stated(at, "henry", quantity.ParseInductance)
}

// in holds a plain size in unit, as show writes it; 0 shows as nothing.
func in(at *float64, unit quantity.Unit, parse func(string) (float64, error),
	show func(float64, quantity.Unit) string) Value {
	return value[float64]{at, string(unit), parse, func(v float64) string {
		if v == 0 {
			return ""
		}
		return show(v, unit)
	}}
}

// whole writes all digits, short two of them, with a prefix.
func whole(v float64, unit quantity.Unit) string {
	return strconv.FormatFloat(v, 'g', -1, 64) + " " + string(unit)
}

func short(v float64, unit quantity.Unit) string { return quantity.Format(v, unit, 2) }

// Hertz holds a frequency in Hz.
func Hertz(at *float64) Value { return in(at, quantity.Hertz, quantity.ParseHertz, whole) }

// Seconds holds a time in s.
func Seconds(at *float64) Value { return in(at, quantity.Second, quantity.ParseSeconds, whole) }

// Metres holds a length in m that may be given without its unit.
func Metres(at *float64) Value { return in(at, quantity.Metre, quantity.ParseMetres, whole) }

// MetresBelow holds a length in m below a limit: a number without its unit means
// metres, and is usually a mistake.
func MetresBelow(at *float64, limitM float64) Value {
	return in(at, quantity.Metre, func(s string) (float64, error) {
		v, err := quantity.ParseMetres(s)
		if err == nil && v >= limitM {
			err = fmt.Errorf("%s would be %g metres long: give the unit, as in \"12mm\"", s, v)
		}
		return v, err
	}, short)
}

// Volts holds a voltage in V.
func Volts(at *float64) Value { return in(at, quantity.Volt, quantity.ParseVolts, short) }

// quantityOf is what an option holds of the kinds that have a range; false: nothing or
// something else.
func quantityOf(v Value) (quantity.Value, bool) {
	switch at := v.at().(type) {
	case **quantity.Resistance:
		if *at != nil {
			return (*at).Value, true
		}
	case **quantity.Capacitance:
		if *at != nil {
			return (*at).Value, true
		}
	case **quantity.Inductance:
		if *at != nil {
			return (*at).Value, true
		}
	case *float64:
		if v.Type() == string(quantity.Metre) && *at > 0 {
			return quantity.Value{SI: *at, Unit: quantity.Metre}, true
		}
	}
	return quantity.Value{}, false
}

// Ohms holds a plain resistance in ohm, without a tolerance of its own.
func Ohms(at *float64) Value {
	return in(at, quantity.Ohm, func(s string) (float64, error) {
		r, err := quantity.ParseResistance(s)
		return r.SI, err
	}, func(ohm float64, unit quantity.Unit) string {
		return quantity.Resistance{Value: quantity.Value{SI: ohm, Unit: unit}}.String()
	})
}

// Rate holds a sample rate: a whole number of Hz; 0: not stated.
func Rate(at *int) Value {
	return value[int]{at, string(quantity.Hertz), func(s string) (int, error) {
		hz, err := quantity.ParseHertz(s)
		if err == nil && (hz != float64(int(hz)) || hz < 1 || hz > 1e9) {
			err = errors.New("want a whole number of Hz")
		}
		return int(hz), err
	}, func(v int) string {
		if v == 0 {
			return ""
		}
		return strconv.Itoa(v) + " Hz"
	}}
}

// Day holds a day of the local calendar.
func Day(at *time.Time) Value {
	return value[time.Time]{at, "text", func(s string) (time.Time, error) {
		day, err := time.ParseInLocation(time.DateOnly, s, time.Local)
		if err != nil {
			err = errors.New("want a day such as 2026-01-31")
		}
		return day, err
	}, func(day time.Time) string {
		if day.IsZero() {
			return ""
		}
		return day.Format(time.DateOnly)
	}}
}

// Percent holds a part of a hundred, "0.05%"; 0: not given.
func Percent(at *float64) Value {
	return value[float64]{at, "percent", func(s string) (float64, error) {
		number, ok := strings.CutSuffix(strings.TrimSpace(s), "%")
		x, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if !ok || err != nil || !(x > 0 && x < 100) {
			return 0, fmt.Errorf(`%q: want a percentage such as "0.05%%"`, s)
		}
		return x, nil
	}, percentText}
}

func percentText(v float64) string {
	if v == 0 {
		return ""
	}
	return strconv.FormatFloat(v, 'g', -1, 64) + "%"
}
