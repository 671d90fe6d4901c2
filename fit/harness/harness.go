// Package harness describes the wiring of a guitar as people do, with pots, cable
// and amplifier, and predicts the response of measured coils in it, with the
// uncertainty of both.
package harness

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"coilsweep/excite/quantity"
	"coilsweep/fit/circuit"
)

// Harness is a guitar from its coils to the amplifier. Parts that are nil are
// not there.
type Harness struct {
	Schema string `toml:"schema"` // "coilsweep.harness/1"
	Name   string `toml:"name,omitempty"`
	// Wiring of two coils: "series", "parallel" or "split" (the second coil
	// bridged); "" for one coil.
	Wiring string `toml:"wiring,omitempty"`
	// Phase of the second coil: "in" (default) or "out".
	Phase string `toml:"phase,omitempty"`
	// Coupling factor of the two coils' inductances, -1 to 1.
	Coupling  float64   `toml:"coupling,omitempty"`
	Volume    *Pot      `toml:"volume,omitempty"`
	Tone      *Tone     `toml:"tone,omitempty"`
	Bleed     *Bleed    `toml:"bleed,omitempty"`
	Cable     *Cable    `toml:"cable,omitempty"`
	Amplifier Amplifier `toml:"amplifier"`
}

// Pot is a potentiometer.
type Pot struct {
	Resistance *quantity.Resistance `toml:"resistance"`
	// Taper is a law as circuit.ParseTaper reads it; "" is "log".
	Taper string `toml:"taper,omitempty"`
	// Position of the knob, 0 to 10; nil is 10.
	Position *float64 `toml:"position,omitempty"`
}

// Tone is a tone control.
type Tone struct {
	Pot
	Capacitance *quantity.Capacitance `toml:"capacitance"`
	// AtOutput puts it at the volume pot's wiper.
	AtOutput bool `toml:"at_output,omitempty"`
	// OpenAtFull: the pot leaves its track at 10.
	OpenAtFull bool `toml:"open_at_full,omitempty"`
}

// Bleed lets treble past the volume pot.
type Bleed struct {
	Capacitance *quantity.Capacitance `toml:"capacitance"`
	Parallel    *quantity.Resistance  `toml:"parallel,omitempty"`
	Series      *quantity.Resistance  `toml:"series,omitempty"`
}

// Cable is stated by its capacitance, or by its length.
type Cable struct {
	Capacitance *quantity.Capacitance `toml:"capacitance,omitempty"`
	LengthM     float64               `toml:"length_m,omitempty"`
	// PerMetre is the capacitance of a metre of it.
	PerMetre *quantity.Capacitance `toml:"per_metre,omitempty"`
}

// Amplifier is the input that the cable ends in.
type Amplifier struct {
	Resistance  *quantity.Resistance  `toml:"resistance,omitempty"`
	Capacitance *quantity.Capacitance `toml:"capacitance,omitempty"`
}

// Names of the parts of a harness.
const (
	VolumePot     = "volume pot"
	TonePot       = "tone pot"
	ToneCapacitor = "tone capacitor"
	BleedC        = "bleed capacitor"
	BleedParallel = "bleed parallel resistor"
	BleedSeries   = "bleed series resistor"
	CableC        = "cable"
	AmplifierR    = "amplifier resistance"
	AmplifierC    = "amplifier capacitance"
)

// Values assumed where nothing is stated (common practice).
const (
	cablePerMetre     = "100p 30%"
	amplifierInput    = "1M 20%"
	fullPosition      = 10.0
	unstatedPot       = 0.20 // limits of parts without a tolerance
	unstatedPart      = 0.10
	assumedTaperWords = "log"
)

// Part is one part with its size; U is never zero: parts without a stated
// tolerance have a usual one.
type Part struct {
	Name  string
	Value quantity.Value
}

// Parts lists the parts of h, and what is assumed of them.
func (h Harness) Parts() (parts []Part, assumed []string) {
	assume := func(format string, args ...any) { assumed = append(assumed, fmt.Sprintf(format, args...)) }
	add := func(name string, v quantity.Value, usual float64) {
		if v.Basis == quantity.Unstated {
			v.Basis, v.Half = quantity.Limit, usual*v.SI
			assume("%s %s: a tolerance of %g %% is assumed", name, v.Text, 100*usual)
		}
		parts = append(parts, Part{name, v})
	}
	resistor := func(name string, r *quantity.Resistance, usual float64) {
		if r != nil {
			add(name, r.Value, usual)
		}
	}
	capacitor := func(name string, c *quantity.Capacitance) {
		if c != nil {
			add(name, c.Value, unstatedPart)
		}
	}
	if h.Volume != nil {
		resistor(VolumePot, h.Volume.Resistance, unstatedPot)
	}
	if h.Tone != nil {
		resistor(TonePot, h.Tone.Resistance, unstatedPot)
		capacitor(ToneCapacitor, h.Tone.Capacitance)
	}
	if b := h.Bleed; b != nil {
		capacitor(BleedC, b.Capacitance)
		resistor(BleedParallel, b.Parallel, unstatedPart)
		resistor(BleedSeries, b.Series, unstatedPart)
	}
	if c := h.Cable; c != nil {
		if c.Capacitance != nil {
			capacitor(CableC, c.Capacitance)
		} else {
			per := c.PerMetre
			if per == nil {
				usual, _ := quantity.ParseCapacitance(cablePerMetre)
				per = &usual
				assume("cable: %s per metre is assumed", cablePerMetre)
			}
			v := per.Value
			v.SI, v.Half, v.Text = v.SI*c.LengthM, v.Half*c.LengthM, fmt.Sprintf("%g m of %s per metre", c.LengthM, per)
			add(CableC, v, unstatedPart)
		}
	}
	if r := h.Amplifier.Resistance; r != nil {
		resistor(AmplifierR, r, unstatedPart)
	} else {
		usual, _ := quantity.ParseResistance(amplifierInput)
		resistor(AmplifierR, &usual, 0)
		assume("amplifier: an input of %s is assumed", amplifierInput)
	}
	capacitor(AmplifierC, h.Amplifier.Capacitance)
	return parts, assumed
}

// Check is the first mistake in h, and the number of coils that h wants.
func (h Harness) Check() (coils int, err error) {
	coils = 2
	if h.Wiring == "" {
		coils = 1
	}
	switch t, b, c := h.Tone, h.Bleed, h.Cable; {
	case coils == 1 && (h.Phase != "" || h.Coupling != 0):
		return 0, errors.New("phase and coupling are for two coils: give their wiring")
	case !slices.Contains([]string{"", "series", "parallel", "split"}, h.Wiring):
		return 0, fmt.Errorf("wiring %q: want series, parallel or split", h.Wiring)
	case h.Phase != "" && h.Phase != "in" && h.Phase != "out":
		return 0, fmt.Errorf("phase %q: want in or out", h.Phase)
	case !(math.Abs(h.Coupling) < 1):
		return 0, fmt.Errorf("coupling %g: want more than -1 and less than 1", h.Coupling)
	case t != nil && t.Capacitance == nil:
		return 0, errors.New("tone: a tone control needs its capacitor")
	case t != nil && t.AtOutput && h.Volume == nil:
		return 0, errors.New("tone: at_output is for a harness with a volume pot")
	case b != nil && h.Volume == nil:
		return 0, errors.New("bleed: a treble bleed needs a volume pot")
	case b != nil && b.Capacitance == nil:
		return 0, errors.New("bleed: the capacitance is missing")
	case c != nil && c.Capacitance != nil && (c.LengthM != 0 || c.PerMetre != nil):
		return 0, errors.New("cable: give its capacitance, or its length and the capacitance per metre, not both")
	case c != nil && c.Capacitance == nil && !(c.LengthM >= 0.001 && c.LengthM <= 1000):
		return 0, fmt.Errorf("cable: a length of %g m: want 0.001 to 1000", c.LengthM)
	}
	if h.Volume != nil {
		err = h.Volume.check("volume")
	}
	if err == nil && h.Tone != nil {
		err = h.Tone.check("tone")
	}
	return coils, err
}

func (p Pot) check(what string) error {
	if p.Resistance == nil {
		return fmt.Errorf("%s: the pot's resistance is missing", what)
	}
	if at := p.position(); !(at >= 0 && at <= fullPosition) {
		return fmt.Errorf("%s: knob at %g: want 0 to 10", what, at)
	}
	if _, err := p.taper(); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	return nil
}

func (p Pot) position() float64 {
	if p.Position == nil {
		return fullPosition
	}
	return *p.Position
}

func (p Pot) taper() (circuit.Taper, error) {
	return circuit.ParseTaper(cmp.Or(p.Taper, assumedTaperWords))
}

// sizes are the parts' sizes in SI units by name.
type sizes map[string]float64

// circuit is h as a circuit, with coils as measured and the parts at sizes;
// every coil gives the same EMF. A part without a size is not there.
func (h Harness) circuit(coils []circuit.Coil, size sizes) circuit.Harness {
	out := circuit.Harness{Amplifier: circuit.Load{ResistanceOhm: math.Inf(1)}, Coupling: h.Coupling}
	out.Wiring = map[string]circuit.Wiring{"": circuit.OneCoil, "series": circuit.InSeries,
		"parallel": circuit.InParallel, "split": circuit.Split}[h.Wiring]
	for i, c := range coils {
		out.Coils = append(out.Coils, circuit.HarnessCoil{Coil: c, EMF: 1, Reversed: i == 1 && h.Phase == "out"})
	}
	pot := func(p Pot, ohm float64) circuit.Potentiometer {
		law, _ := p.taper()
		return circuit.Potentiometer{ResistanceOhm: ohm, Taper: law, Position: p.position() / fullPosition}
	}
	if ohm, ok := size[VolumePot]; ok {
		out.Volume = new(pot(*h.Volume, ohm))
	}
	if ohm, ok := size[TonePot]; ok {
		out.Tone = &circuit.Tone{Pot: pot(h.Tone.Pot, ohm), CapacitanceF: size[ToneCapacitor],
			AtOutput: h.Tone.AtOutput, OpenAtFull: h.Tone.OpenAtFull}
	}
	if farad, ok := size[BleedC]; ok && out.Volume != nil {
		out.Bleed = &circuit.Bleed{CapacitanceF: farad, ParallelOhm: size[BleedParallel], SeriesOhm: size[BleedSeries]}
	}
	out.CableCapacitanceF = size[CableC]
	if ohm, ok := size[AmplifierR]; ok {
		out.Amplifier.ResistanceOhm = ohm
	}
	out.Amplifier.CapacitanceF = size[AmplifierC]
	return out
}

// at is h with the knobs at positions 0 to 10.
func (h Harness) at(volume, tone float64) Harness {
	if h.Volume != nil {
		v := *h.Volume
		v.Position = &volume
		h.Volume = &v
	}
	if h.Tone != nil {
		t := *h.Tone
		t.Position = &tone
		h.Tone = &t
	}
	return h
}
