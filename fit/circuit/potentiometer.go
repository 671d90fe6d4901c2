package circuit

import (
	"fmt"
	"math"
	"strings"
)

// Taper is a potentiometer's resistance law: how the resistance between the
// wiper and the end that it leaves when turned up grows with the position.
type Taper struct {
	// HalfWay is the part of the whole resistance at the middle of the
	// rotation: 0.5 for a linear law, less for a logarithmic one, more for a
	// reverse logarithmic one.
	HalfWay float64
}

// The usual laws; 15 % at half way is typical of the audio taper, the logarithmic one
// (10 to 30 % are made).
var (
	Linear             = Taper{HalfWay: 0.5}
	Logarithmic        = Taper{HalfWay: 0.15}
	ReverseLogarithmic = Taper{HalfWay: 0.85}
)

// Ratio is the part of the resistance below the wiper at a position between 0
// and 1. A logarithmic law is taken as the exponential (b^x - 1)/(b - 1) that
// goes through HalfWay; real tracks are made of two or three straight pieces
// near it.
func (t Taper) Ratio(position float64) float64 {
	x := min(max(position, 0), 1)
	root := 1/t.HalfWay - 1 // sqrt b
	if math.Abs(root-1) < 1e-9 {
		return x
	}
	logB := 2 * math.Log(root)
	return math.Expm1(x*logB) / math.Expm1(logB)
}

// ParseTaper reads a resistance law: "linear", "audio" (or "log") and
// "reverse-log". The letters A and B are refused: in some parts of the world A is
// the audio taper and B the linear one, in others they are the other way about.
func ParseTaper(text string) (Taper, error) {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "linear", "lin":
		return Linear, nil
	case "audio", "log", "logarithmic":
		return Logarithmic, nil
	case "reverse-log", "reverse log", "reverse-logarithmic":
		return ReverseLogarithmic, nil
	case "a", "b":
		return Taper{}, fmt.Errorf("taper %q means opposite things by region: write audio or linear", text)
	}
	return Taper{}, fmt.Errorf("taper %q: want linear, audio (log) or reverse-log", text)
}

// Potentiometer is a potentiometer at a position.
type Potentiometer struct {
	ResistanceOhm float64
	Taper         Taper
	Position      float64 // 0 to 1; the knob's 10 is 1
}

// Below and Above are the resistances between the wiper and the two ends in
// ohm; at position 1 all of it is below.
func (p Potentiometer) Below() float64 { return p.ResistanceOhm * p.Taper.Ratio(p.Position) }

// Above is the resistance between the wiper and the upper end.
func (p Potentiometer) Above() float64 {
	if p.Position >= 1 {
		return 0
	}
	return p.ResistanceOhm - p.Below()
}

func (p Potentiometer) check(what string) error {
	switch {
	case !(p.ResistanceOhm > 0) || math.IsInf(p.ResistanceOhm, 0):
		return fmt.Errorf("%s pot of %g ohm: want more than 0", what, p.ResistanceOhm)
	case !(p.Position >= 0 && p.Position <= 1):
		return fmt.Errorf("%s pot at position %g: want 0 to 1", what, p.Position)
	case !(p.Taper.HalfWay > 0 && p.Taper.HalfWay < 1):
		return fmt.Errorf("%s pot's taper passes %g of its resistance half way: want more than 0 and less than 1", what,
			p.Taper.HalfWay)
	}
	return nil
}
