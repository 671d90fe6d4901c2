package harness

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
)

// Path is how a recording gets to the amplifier's input: what it holds is taken for the
// signal of the coil Without in the guitar, which is undone, and made that of the coil
// Through in the same guitar. Both are indexes into the coils; -1 is none.
type Path struct{ Through, Without int }

// AsItIs tells whether a path changes nothing.
func (p Path) AsItIs() bool { return p.Through == p.Without }

// Gains are the magnitudes of p at the frequencies, with coils and parts as they are
// thought to be. h is the guitar for one coil.
func (h Harness) Gains(coils []Coil, p Path, hz []float64) ([]float64, error) {
	bare, parts, _, err := h.forOne(coils)
	if err != nil {
		return nil, err
	}
	return h.gains(bare, nominal(parts), p, hz)
}

// forOne is ready for coils that are each alone in the guitar.
func (h Harness) forOne(coils []Coil) (bare []circuit.Coil, parts []Part, assumed []string, err error) {
	for _, c := range coils {
		_, one, _, err := h.ready([]Coil{c})
		if err != nil {
			return nil, nil, nil, err
		}
		bare = append(bare, one...)
	}
	parts, assumed = h.Parts()
	return bare, parts, assumed, nil
}

func (h Harness) gains(coils []circuit.Coil, size sizes, p Path, hz []float64) ([]float64, error) {
	gains := slices.Repeat([]float64{1}, len(hz))
	if p.AsItIs() {
		return gains, nil
	}
	for _, of := range []struct {
		coil  int
		power float64
	}{{p.Through, 1}, {p.Without, -1}} {
		if of.coil < 0 {
			continue
		}
		r, err := h.circuit(coils[of.coil:of.coil+1], size).Response()
		if err != nil {
			return nil, err
		}
		for i, f := range hz {
			v, err := r.Transfer(complex(0, 2*math.Pi*f))
			if err != nil {
				return nil, err
			}
			gains[i] *= math.Pow(cmplx.Abs(v), of.power)
		}
	}
	return gains, nil
}

// Weight is what a recording has at a frequency: Power is its share there, Loudness the
// factor of power with which hearing counts it.
type Weight struct{ Hz, Power, Loudness float64 }

// Octave is a difference of two sounds in an octave.
type Octave struct {
	CentreHz   float64      `json:"centre_hz"`
	Difference fit.Quantity `json:"difference_db"`
}

// Heard is how the sounds of two paths differ.
type Heard struct {
	// Octaves are the levels of b minus those of a in dB, at the same loudness of the whole.
	Octaves []Octave `json:"octaves"`
	// Assumptions are what nobody stated; Warnings what is wrong with the recording.
	Assumptions []string `json:"assumptions"`
	Warnings    []string `json:"warnings"`
	// LouderDB is by how much b was louder than a, and is taken off in Octaves.
	LouderDB float64 `json:"-"`
}

// Matched takes off by how much b was found to be louder in place of what the weights
// say of it: a measurement of loudness passes over pauses. u in dB is the standard
// uncertainty of an octave that comes from having the recording as weights alone.
func (h *Heard) Matched(louderDB, u float64) {
	for i := range h.Octaves {
		if d := &h.Octaves[i].Difference; d.Known() {
			d.Value += h.LouderDB - louderDB
			d.U, d.U95 = math.Hypot(d.U, u), math.Hypot(d.U95, quantity.Coverage95*u)
		}
	}
	h.LouderDB = louderDB
}

// Told are the octaves in which the difference is more than its uncertainty, |En| > 1.
func (h Heard) Told() (told []Octave) {
	for _, o := range h.Octaves {
		if d := o.Difference; d.Known() && math.Abs(d.Value) > d.U95 {
			told = append(told, o)
		}
	}
	return told
}

// The octaves that are told apart: those of IEC 61260-1, whose centres are 1 kHz times
// powers of 10^(3/10), by their nominal centres; the last one ends with hearing.
var nominalHz = []float64{63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000}

const (
	leastOctave = -4
	faintest    = 1e-6 // of the strongest octave's power: below it a recording has nothing there
)

// octaveEnds are the ends of the octave with index i of nominalHz, in Hz.
func octaveEnds(i int) (fromHz, toHz float64) {
	at := func(n float64) float64 { return 1000 * math.Pow(10, 0.3*n) }
	n := float64(i + leastOctave)
	return at(n - 0.5), min(at(n+0.5), shownToHz)
}

// Differ tells how the sounds of paths a and b of a recording differ, by what the
// recording has at the frequencies, with the uncertainties of the coils and the parts of
// the guitar, which both have in common.
func (h Harness) Differ(coils []Coil, a, b Path, recording []Weight) (*Heard, error) {
	if a == b || a.AsItIs() && b.AsItIs() {
		return nil, errors.New("both sounds are the same")
	}
	_, parts, assumed, err := h.forOne(coils)
	if err != nil {
		return nil, err
	}
	if len(coils) > 1 {
		assumed = append(assumed, "the coils count as independent: an error that they share, such as that of a "+
			"capacitor they were both measured with, does not cancel in the difference")
	}
	assumed = append(assumed, "strings are taken to induce the same signal in each coil: how strong it is, and which "+
		"overtones its place picks up, is not in the response")
	hz := make([]float64, len(recording))
	octaves := make([][]int, len(nominalHz)) // indexes into recording
	power := make([]float64, len(nominalHz))
	for k, w := range recording {
		hz[k] = w.Hz
		for i := range octaves {
			if from, to := octaveEnds(i); w.Hz >= from && w.Hz < to {
				octaves[i] = append(octaves[i], k)
				power[i] += w.Power
			}
		}
	}
	all := make([]int, len(recording))
	for k := range all {
		all[k] = k
	}
	// The last one is the change of loudness.
	sought := slices.Repeat([]fit.Sought{{Missing: "the recording has nothing in this octave", Decibel: true}},
		len(octaves)+1)
	quantities, err := propagate(coils, parts, sought, func(c []circuit.Coil, values, dst []float64) {
		size := sizesOf(parts, values)
		fill(dst, math.NaN())
		of, errA := h.gains(c, size, a, hz)
		to, errB := h.gains(c, size, b, hz)
		if errA != nil || errB != nil {
			return
		}
		// change is the difference in dB over some of the frequencies.
		change := func(at []int, weight func(Weight) float64) float64 {
			before, after := 0.0, 0.0
			for _, k := range at {
				before += weight(recording[k]) * of[k] * of[k]
				after += weight(recording[k]) * to[k] * to[k]
			}
			return 10 * math.Log10(after/before)
		}
		loudness := change(all, func(w Weight) float64 { return w.Power * w.Loudness })
		dst[len(octaves)] = loudness
		for i, at := range octaves {
			if power[i] > faintest*slices.Max(power) {
				dst[i] = change(at, func(w Weight) float64 { return w.Power }) - loudness
			}
		}
	})
	if err != nil {
		return nil, fmt.Errorf("difference: %w", err)
	}
	heard := &Heard{Assumptions: assumed, LouderDB: quantities[len(octaves)].Value}
	for i, q := range quantities[:len(octaves)] {
		heard.Octaves = append(heard.Octaves, Octave{CentreHz: nominalHz[i], Difference: q})
	}
	return heard, nil
}

func fill(dst []float64, v float64) {
	for i := range dst {
		dst[i] = v
	}
}
