package sound

import (
	"context"
	"fmt"
	"math"
	"slices"

	"coilsweep/report/loudness"
)

// QuietLUFS is the loudness that sounds are brought to, that of EBU R 128: nobody is
// startled by it.
const QuietLUFS = -23.0

const mostPeak = 0.89 // of full scale: −1 dBFS, room for players that resample

// Sound is one channel of sound, full scale ±1.
type Sound struct {
	Samples []float64
	LUFS    float64 // its loudness by ITU-R BS.1770-5; −Inf: nothing to hear
}

// Pair are two sounds of the same loudness, and what is left of b when a is taken off.
type Pair struct {
	RateHz           int
	A, B, Difference Sound
	LouderDB         float64 // by how much b was louder than a before
}

// NewPair sends a recording through the filters of a and b; nil is no filter. Sounds
// whose peaks would pass full scale are all quieter than QuietLUFS, by the same factor.
// The error wraps loudness.ErrSilent, or is that of ctx.
func NewPair(ctx context.Context, x []float64, rateHz int, a, b Filter) (*Pair, error) {
	p := &Pair{RateHz: rateHz}
	peak := 0.0
	for _, of := range []struct {
		filter Filter
		sound  *Sound
	}{{a, &p.A}, {b, &p.B}} {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		y := x
		if of.filter != nil {
			y = of.filter.Apply(x)
		}
		lufs, err := loudness.Integrated([][]float64{y}, rateHz)
		if err != nil {
			return nil, fmt.Errorf("the recording is too quiet or too short: %w", err)
		}
		p.LouderDB = lufs - p.LouderDB
		of.sound.Samples = scaled(y, math.Pow(10, (QuietLUFS-lufs)/20))
		peak = max(peak, slices.Max(of.sound.Samples), -slices.Min(of.sound.Samples))
	}
	p.Difference.Samples = make([]float64, len(x))
	for i, v := range p.B.Samples {
		p.Difference.Samples[i] = v - p.A.Samples[i]
	}
	for _, v := range p.Difference.Samples {
		peak = max(peak, math.Abs(v))
	}
	for _, s := range []*Sound{&p.A, &p.B, &p.Difference} {
		s.Samples = scaled(s.Samples, min(1, mostPeak/peak))
		var err error
		if s.LUFS, err = loudness.Integrated([][]float64{s.Samples}, rateHz); err != nil {
			s.LUFS = math.Inf(-1)
		}
	}
	return p, nil
}

func scaled(x []float64, factor float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = v * factor
	}
	return out
}
