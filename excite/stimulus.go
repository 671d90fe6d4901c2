// Package excite designs the stimulus that is played into the exciter: a train of
// sine sweeps, described by a few numbers from which it is made again bit for
// bit. The plain sweep is the synchronised exponential one; a shaped sweep
// (Course) stays longer at some frequencies than at others.
//
// Sweep: A. Novak, P. Lotton, L. Simon, "Synchronized Swept-Sine: Theory,
// Application, and Implementation", J. Audio Eng. Soc. 63(10), 2015, on
// A. Farina, AES 108th Convention, preprint 5093, 2000:
//
//	x(t) = A sin(2 pi f1 L exp(t/L)),  L = round(f1 T/ln(f2/f1))/f1
//
// It begins at zero phase, its frequency is f1 exp(t/L), and the n-th harmonic
// of a distortion comes earlier by L ln n with its phase kept. Its spectrum
// falls by 3 dB an octave: |X(f)| = A/2 sqrt(L/f).
package excite

import (
	"math"
)

// StimulusSchema names the format of Stimulus.
const StimulusSchema = "coilsweep.stimulus/1"

// Stimulus describes a stimulus completely; Samples makes it. All lengths are
// whole samples at RateHz, so that the description carries no rounding.
//
//	| LeadIn | sweep | gap | sweep | gap | ... | sweep | gap | Tail |
//	         |<- Period ->|
type Stimulus struct {
	Schema         string  `toml:"schema"` // StimulusSchema
	RateHz         int     `toml:"rate_hz"`
	FromHz         float64 `toml:"from_hz"`
	ToHz           float64 `toml:"to_hz"`
	SweepSamples   int     `toml:"sweep_samples"`   // one sweep, faded ends included
	PeriodSamples  int     `toml:"period_samples"`  // sweep and gap: 2^a 3^b 5^c
	LeadInSamples  int     `toml:"lead_in_samples"` // silence before the first sweep, at least 0.5 s
	TailSamples    int     `toml:"tail_samples"`    // silence after the last period
	FadeInSamples  int     `toml:"fade_in_samples"`
	FadeOutSamples int     `toml:"fade_out_samples"`
	Cycles         int     `toml:"cycles"` // f1 L: with FromHz it gives the sweep rate L = Cycles/FromHz in s
	Repeats        int     `toml:"repeats"`
	LevelDBFS      float64 `toml:"level_dbfs"` // AES17: a full-scale sine is 0 dBFS
	// SHA256 is the hex SHA-256 of the samples as 24-bit little-endian PCM.
	SHA256 string `toml:"sha256"`
	// Shape is how long the sweep stays at each frequency, from FromHz to
	// ToHz; empty for the exponential sweep. With a shape, Cycles and L are
	// those of the exponential sweep of the same length.
	Shape []Knot `toml:"shape,omitempty"`
}

// TotalSamples is the length of Samples.
func (s Stimulus) TotalSamples() int {
	return s.LeadInSamples + s.Repeats*s.PeriodSamples + s.TailSamples
}

// DurationS is the length of the whole stimulus in seconds.
func (s Stimulus) DurationS() float64 { return float64(s.TotalSamples()) / float64(s.RateHz) }

// PeriodS is the repeat period in seconds.
func (s Stimulus) PeriodS() float64 { return float64(s.PeriodSamples) / float64(s.RateHz) }

// RepeatStart is the index in Samples at which repeat k (from 0) begins.
func (s Stimulus) RepeatStart(k int) int { return s.LeadInSamples + k*s.PeriodSamples }

// SweepRateS is L in seconds: the frequency rises by the factor e in that time
// (with a shape: on average).
func (s Stimulus) SweepRateS() float64 { return float64(s.Cycles) / s.FromHz }

// TimeOf is when, in seconds from its beginning, the sweep passes a frequency.
func (s Stimulus) TimeOf(frequencyHz float64) float64 { return s.Course().TimeOf(frequencyHz) }

// Amplitude is the sweep's peak on the scale where full scale is 1.
func (s Stimulus) Amplitude() float64 { return portableExp(s.LevelDBFS * (math.Ln10 / 20)) }
