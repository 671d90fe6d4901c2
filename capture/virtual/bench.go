// Package virtual is a simulated bench: sound card, exciter, coil, load, noise
// and faults, as a record.Recorder that needs no hardware. Benches that it
// plays are invented.
//
// The bench is a simulation in time, built from circuit elements: inductances,
// mutual inductances, resistances and capacitances make a state space that is
// stepped exactly at 192 kHz or more. It knows nothing of the formulas that a fit
// uses, so that the two can be held against each other.
//
//	played samples -> limit, band-limited interpolation -> distortion
//	  -> output: high-pass corners, roll-off, full-scale voltage
//	  -> exciter, coil, rings, cover, load, hum, thermal noise
//	  -> input: high-pass corners, roll-off, soft clipping
//	  -> anti-alias filter, latency, clock drift -> input noise
//	  -> clipping, quantising, lost samples -> recorded samples
//
// The linear chain meets the exact response of the circuit within 0.001 dB and
// 0.01 degree up to 20 kHz (or 5/12 of the rate, if that is higher).
package virtual

import (
	"cmp"
	"math"
	"strconv"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
)

// Schema names the format of a bench's TOML file.
const Schema = "coilsweep.virtual-bench/1"

// Bench describes a simulated bench. Default and Load make one; a Bench may
// then be changed field by field, and Recorder checks it again.
//
// A quantity that was not given (its SI is 0 and its Text empty) means the part
// is not there.
type Bench struct {
	Schema string `toml:"schema"`
	Name   string `toml:"name"`
	Notes  string `toml:"notes"`
	Coil   Coil   `toml:"coil"`
	// Second is the other coil of a hum-cancelling pickup; nil: there is none.
	Second    *Second   `toml:"second"`
	Cover     *Cover    `toml:"cover"`
	Fixture   Fixture   `toml:"fixture"`
	Added     Added     `toml:"added"`
	Exciter   Exciter   `toml:"exciter"`
	Output    Output    `toml:"output"`
	Input     Input     `toml:"input"`
	Reference Reference `toml:"reference"`
	Noise     Noise     `toml:"noise"`
	Hum       *Hum      `toml:"hum"`
	Clock     Clock     `toml:"clock"`
	Faults    Faults    `toml:"faults"`
	Pace      Pace      `toml:"pace"`
	source    fileMark  // where it was read
}

// fileMark is the file behind a bench.
type fileMark struct{ path, sha256 string }

// Coil is the coil under test.
type Coil struct {
	Name       string              `toml:"name"`
	Inductance quantity.Inductance `toml:"inductance"` // low-frequency value
	// Resistance of the copper, with its temperature (20 °C where none is
	// given); during a take it has the temperature Noise.Celsius.
	Resistance quantity.Resistance  `toml:"resistance"`
	WindingC   quantity.Capacitance `toml:"winding_c"`
	// WindingLoss is the dissipation factor of WindingC at 1 kHz and, within 1 %,
	// from 10 Hz to 100 kHz; 0: none.
	WindingLoss float64 `toml:"winding_loss"`
	Rings       []Ring  `toml:"ring"`
	// Mutual couples rings with each other.
	Mutual []Mutual `toml:"mutual"`
}

// Ring is a shorted ring of Inductance and Resistance, coupled to the coil by
// the coefficient Coupling, -1 … 1.
type Ring struct {
	Name       string              `toml:"name"`
	Inductance quantity.Inductance `toml:"inductance"`
	Resistance quantity.Resistance `toml:"resistance"`
	Coupling   float64             `toml:"coupling"`
}

// Mutual is the coupling coefficient between two rings.
type Mutual struct {
	Between  []string `toml:"between"` // names of two rings
	Coupling float64  `toml:"coupling"`
}

// Cover is a conducting cover: a shorted ring that the exciter meets before the
// coil does. Shielding 1 takes all the field away at high frequency and makes
// the EMF fall by 1/(1 + s Inductance/Resistance); 0.5 takes half of it. Being
// a ring, a cover also takes the share Coupling^2 off the coil's inductance:
// the looser the Coupling the purer the shield.
type Cover struct {
	Inductance quantity.Inductance `toml:"inductance"`
	Resistance quantity.Resistance `toml:"resistance"`
	Coupling   float64             `toml:"coupling"` // to the coil, above 0
	Shielding  float64             `toml:"shielding"`
}

// Fixture is what is always across the coil: cable, clips and input.
type Fixture struct {
	Capacitance quantity.Capacitance `toml:"capacitance"`
	Resistance  quantity.Resistance  `toml:"resistance"`
}

// Added says how far parts that the user clips on are from what is written on
// them. Where an error is not stated it is drawn from the seed within the
// part's tolerance: evenly for a limit, normally for an expanded uncertainty,
// none for a part without tolerance. One seed gives one part one error,
// whatever else changes.
type Added struct {
	CError *float64 `toml:"true_added_c_error"` // relative, 0.004 is +0.4 %
	RError *float64 `toml:"true_added_r_error"`
	// CLoss is the true dissipation factor of an added capacitor, as WindingLoss;
	// 0: none, whatever its dielectric is stated to be.
	CLoss float64 `toml:"c_loss"`
}

// Exciter is the exciter coil and what drives it.
type Exciter struct {
	// Drive is "voltage" (the output jack drives series_r, the exciter and the
	// sense resistor in series) or "current" (an ideal current source).
	Drive      string              `toml:"drive"`
	Resistance quantity.Resistance `toml:"resistance"`
	Inductance quantity.Inductance `toml:"inductance"`
	SeriesR    quantity.Resistance `toml:"series_r"`
	Mutual     quantity.Inductance `toml:"mutual"` // to the coil
	// FullScaleA is the peak current in A of a full-scale sine from a current
	// source.
	FullScaleA float64 `toml:"full_scale_a"`
}

// RollOff is a Butterworth low-pass of the given order (1 … 4) that is DB down
// at AtHz; DB 0 means none.
type RollOff struct {
	DB    float64 `toml:"db"`
	AtHz  float64 `toml:"at_hz"`
	Order int     `toml:"order"`
}

// Output is the output of the sound card.
type Output struct {
	FullScaleV float64             `toml:"full_scale_v"` // peak, open circuit
	Resistance quantity.Resistance `toml:"resistance"`
	HighPassHz []float64           `toml:"high_pass_hz"` // first-order corners
	RollOff    RollOff             `toml:"roll_off"`
	// Harmonics of a full-scale sine in dB over the fundamental; 0: none. The
	// n-th falls by n-1 dB for each dB of level.
	SecondHarmonicDB float64 `toml:"second_harmonic_db"`
	ThirdHarmonicDB  float64 `toml:"third_harmonic_db"`
}

// Input is the input of the sound card, the same for both channels but for
// Inverted and the soft knee, which only the coil's channel has.
type Input struct {
	FullScaleV float64   `toml:"full_scale_v"` // peak, of the coil's channel
	HighPassHz []float64 `toml:"high_pass_hz"`
	RollOff    RollOff   `toml:"roll_off"`
	// SoftKnee, 0 … 1 of full scale, is where soft clipping begins; the level
	// then bends towards full scale. 0: none.
	SoftKnee float64 `toml:"soft_knee"`
	// ClipAt, of full scale, is where the signal is cut hard; 0: at full scale.
	ClipAt float64 `toml:"clip_at"`
	// Bits of the converter, 8 … 24; 0: none, samples are rounded to float32.
	Bits int `toml:"bits"`
	// Dither adds triangular noise of two steps peak to peak before quantising.
	Dither   bool `toml:"dither"`
	Inverted bool `toml:"inverted"`
}

// Reference is the second channel.
type Reference struct {
	// Kind is "none", "current" (voltage over SenseR, in the exciter's loop)
	// or "loopback" (voltage at the output jack).
	Kind       string              `toml:"kind"`
	SenseR     quantity.Resistance `toml:"sense_r"`
	FullScaleV float64             `toml:"full_scale_v"` // peak
}

// Noise of the bench. Densities are one-sided.
type Noise struct {
	Thermal           bool     `toml:"thermal"` // of coil, rings and load
	Celsius           *float64 `toml:"celsius"` // of everything; 20 where not given
	InputVPerRtHz     float64  `toml:"input_v_per_rthz"`
	ReferenceVPerRtHz float64  `toml:"reference_v_per_rthz"`
}

// Hum is what mains fields induce in the coil.
type Hum struct {
	MainsHz float64 `toml:"mains_hz"`
	// StartDeg is the phase of the mains when the first sample is played; drawn
	// from the seed where not given.
	StartDeg *float64  `toml:"start_deg"`
	Lines    []HumLine `toml:"line"`
}

// HumLine is one harmonic, a sine: EMF in the coil in V rms, phase at phase 0
// of the mains.
type HumLine struct {
	Harmonic int     `toml:"harmonic"`
	EMFRMSV  float64 `toml:"emf_rms_v"`
	PhaseDeg float64 `toml:"phase_deg"`
}

// Clock is how the recording lies against what is played.
type Clock struct {
	// LatencySamples is where the first played sample lies in the recording;
	// it may have a fraction.
	LatencySamples float64 `toml:"latency_samples"`
	// DriftPPM is how much faster the recording clock runs: what is played in
	// one period takes 1 + DriftPPM/10^6 periods of the recording.
	DriftPPM float64 `toml:"drift_ppm"`
}

// Faults of a recording.
type Faults struct {
	DropOuts []DropOut `toml:"dropout"`
	// StallAfterS is when the device stops delivering, in s from the start.
	StallAfterS *float64 `toml:"stall_after_s"`
}

// DropOut is a place where Lost samples are missing from the recording, or
// Inserted samples of silence are too many.
type DropOut struct {
	AtS      float64 `toml:"at_s"`
	Lost     int     `toml:"lost"`
	Inserted int     `toml:"inserted"`
	// Reported: the device says so (Session.Xruns).
	Reported bool `toml:"reported"`
}

// Pace is how fast blocks arrive.
type Pace struct {
	RealTime bool `toml:"realtime"`
}

// Quiet is the bench without anything that is not linear and exact: no noise,
// hum, distortion, clipping knee, quantising, drift or fault.
func (b Bench) Quiet() Bench {
	b.Noise = Noise{Celsius: b.Noise.Celsius}
	b.Hum = nil
	b.Output.SecondHarmonicDB, b.Output.ThirdHarmonicDB = 0, 0
	b.Input.SoftKnee, b.Input.ClipAt, b.Input.Bits, b.Input.Dither = 0, 0, 0, false
	b.Clock.DriftPPM = 0
	b.Faults = Faults{}
	return b
}

// Setup is what the owner of the bench would write down of its exciter and its
// second channel: nominal values without tolerance. The resistance is all that
// lies between the voltage that is known (of the source, or with a loopback at
// the jack) and the exciter's inductance.
func (b Bench) Setup() (capture.Drive, capture.Reference) {
	reference := capture.Reference{Kind: cmp.Or(b.Reference.Kind, "none")}
	if reference.Kind == "current" {
		reference.SenseR = new(b.Reference.SenseR)
	}
	drive := capture.Drive{Kind: b.Exciter.Drive}
	if drive.Kind == "voltage" {
		r := b.Exciter.SeriesR.SI + b.Exciter.Resistance.SI + b.senseR()
		if reference.Kind != "loopback" {
			r += b.Output.Resistance.SI
		}
		drive.ExciterR = &quantity.Resistance{Value: quantity.Value{SI: r, Unit: quantity.Ohm,
			Text: strconv.FormatFloat(r, 'g', -1, 64)}}
		drive.ExciterL = new(b.Exciter.Inductance)
	}
	return drive, reference
}

// celsius is the temperature of the bench.
func (b Bench) celsius() float64 {
	if b.Noise.Celsius == nil {
		return 20
	}
	return *b.Noise.Celsius
}

// copperAlpha is the temperature coefficient of annealed copper at 20 °C, per
// kelvin (IEC 60028).
const copperAlpha = 0.00393

// copper is the resistance of c at the temperature of the bench.
func (b Bench) copper(c Coil) float64 {
	at := 20.0
	if c.Resistance.Celsius != nil {
		at = *c.Resistance.Celsius
	}
	return c.Resistance.SI * (1 + copperAlpha*(b.celsius()-20)) / (1 + copperAlpha*(at-20))
}

// corner is the -3 dB corner of the roll-off in Hz.
func (r RollOff) corner() float64 {
	return r.AtHz / math.Pow(math.Pow(10, r.DB/10)-1, 1/float64(2*r.Order))
}
