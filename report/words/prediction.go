package words

import (
	"fmt"
	"math"
	"strings"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/notation"
)

// Peak compares a loaded peak with guitars and their cables: 2 kHz to 5 kHz
// (typical values, no source).
func Peak(peak fit.Quantity) string {
	switch {
	case !peak.Known():
		return ""
	case peak.Value+peak.U95 < 2000:
		return "lower than typical (2 kHz to 5 kHz)"
	case peak.Value-peak.U95 > 5000:
		return "higher than typical (2 kHz to 5 kHz)"
	}
	return "typical range: 2 kHz to 5 kHz"
}

// Prediction say what a prediction says, for somebody who does not
// measure coils.
func Prediction(p harness.Prediction, target *harness.Solution) []string {
	var said []string
	verb, whose := " is", "its"
	if len(p.Coils) > 1 {
		verb, whose = " are", "their"
	}
	names := InHarness(p.Coils, "")
	switch {
	case notation.Lacking(p.Peak.Why) == "no peak":
		said = append(said, "With these parts, "+names+" show"+map[bool]string{true: "s"}[len(p.Coils) == 1]+" no peak.")
	case !p.Peak.Known():
		said = append(said, "The peak frequency of "+names+" has no value: "+notation.Typeset(p.Peak.Why)+".")
	default:
		above := ""
		if p.PeakDB.Known() {
			above = fmt.Sprintf(", %s above %s level at low frequencies", notation.Rounded(p.PeakDB, quantity.Decibel),
				whose)
		}
		said = append(said, fmt.Sprintf("With these parts, %s%s loudest at %s%s; %s.",
			names, verb, notation.Rounded(p.Peak, quantity.Hertz), above, Peak(p.Peak)))
	}
	var most harness.Removal
	moved := 0.0
	for _, r := range p.Without {
		if r.Peak.Known() && p.Peak.Known() {
			if by := math.Abs(math.Log(r.Peak.Value / p.Peak.Value)); by > moved {
				most, moved = r, by
			}
		}
	}
	if moved > 0.01 {
		said = append(said, fmt.Sprintf("The %s moves the peak most of all parts: without it the peak would be at %s.",
			most.Part, notation.Rounded(most.Peak, quantity.Hertz)))
	}
	if target != nil && target.Farad.Known() {
		s := fmt.Sprintf("For a peak at %s the %s needs %s", notation.Nominal(target.TargetHz, quantity.Hertz),
			target.Part, notation.Rounded(target.Farad, quantity.Farad))
		if target.LengthM != nil {
			s += fmt.Sprintf(": %s of it", quantity.Format(*target.LengthM, quantity.Metre, 2))
		}
		said = append(said, s+".")
	}
	return said
}

// Target says what a part was asked for: "for a peak at 3.2 kHz; 7.90 m of this
// cable".
func Target(s harness.Solution) string {
	note := "for a peak at " + notation.Nominal(s.TargetHz, quantity.Hertz)
	if s.LengthM != nil {
		note += fmt.Sprintf("; %.2f m of this cable", *s.LengthM)
	}
	return note
}

// Knob is the position of the knob that differs from how a guitar is set:
// "volume 5"; empty where none does.
func Knob(at harness.Position) string {
	switch {
	case at.Volume != nil:
		return fmt.Sprintf("volume %g", *at.Volume)
	case at.Tone != nil:
		return fmt.Sprintf("tone %g", *at.Tone)
	}
	return ""
}

// InHarness names coils and the guitar that they are in.
func InHarness(coils []string, harness string) string {
	title := strings.Join(notation.Each(coils, notation.Visible), " and ")
	if harness != "" {
		title += " in " + notation.Visible(harness)
	}
	return title
}

// Sounds are what a guitar does in several cases, each with its name.
type Sounds struct {
	Names  []string
	Sounds []harness.Sound
}

func (s *Sounds) add(name string, sound harness.Sound) {
	s.Names, s.Sounds = append(s.Names, name), append(s.Sounds, sound)
}

// Positions are the sounds at other positions of the knobs, Without those
// without each part.
func Positions(p harness.Prediction) (s Sounds) {
	for _, at := range p.Positions {
		s.add(Knob(at), at.Sound)
	}
	return s
}

// Without are the sounds without each part, called by the part.
func Without(p harness.Prediction) (s Sounds) {
	for _, r := range p.Without {
		s.add(notation.Visible(r.Part), r.Sound)
	}
	return s
}
