package excite

import (
	"fmt"
	"math"
	"slices"
)

// Request is what a stimulus is designed from. The zero value is not usable;
// start from DefaultRequest.
type Request struct {
	RateHz int
	// FromHz and ToHz are the ends of the sweep.
	FromHz, ToHz float64
	// SweepS is the wanted length of one sweep in s. The design takes the
	// nearest length at which the sweep begins at zero phase: the steps are
	// ln(ToHz/FromHz)/FromHz, 0.35 s for 20 Hz to 20 kHz.
	SweepS float64
	// Repeats of the sweep, from 1.
	Repeats int
	// LevelDBFS is the sweep's level; a full-scale sine is 0 dBFS (AES17).
	LevelDBFS float64
	// LeadInS is the silence before the first sweep, GapS the least silence
	// after every sweep, TailS the silence after the last gap, in s.
	LeadInS, GapS, TailS float64
	// Shape is how long the sweep stays at each frequency, from FromHz to
	// ToHz, on any scale; nil for the exponential sweep. The length and the
	// peak level stay those of the exponential sweep.
	Shape []Knot
}

// DefaultRequest is 20 Hz to 20 kHz at 48 kHz, four sweeps of about 2.8 s at
// -12 dBFS, within 15 s as a whole.
func DefaultRequest() Request {
	return Request{
		RateHz: 48000, FromHz: 20, ToHz: 20000, SweepS: 2.8, Repeats: 4,
		LevelDBFS: -12, LeadInS: 0.6, GapS: 0.4, TailS: 0.3,
	}
}

const (
	// The faded ends, in octaves of the sweep: the fade-in reaches full level
	// a third of an octave above FromHz (20 Hz: at 25.2 Hz), the fade-out
	// begins 1/24 octave below ToHz (20 kHz: at 19.43 kHz). The default's
	// spectrum is within 0.2 dB of the law between 36 Hz and 19.43 kHz and
	// 2 dB down at 25 Hz; at the very ends, 20 Hz and 20 kHz, it is 11 dB and
	// 31 dB down.
	fadeInOctaves  = 1.0 / 3
	fadeOutOctaves = 1.0 / 24
	// periodSlack is how much longer than necessary a period may be, so that
	// one is found at which hum cancels.
	periodSlack = 1.10
)

// Design makes a stimulus. Its error names the number of the request that is not
// possible, and a possible one.
//
// The repeat period is the product of powers of 2, 3 and 5 (what FFTs like)
// at which 50 Hz and 60 Hz hum and their harmonics add up least over the
// repeats: averaging then takes them down, and the spread between the repeats
// sees them. A period of whole mains cycles would do neither.
func Design(r Request) (Stimulus, error) {
	if err := r.check(); err != nil {
		return Stimulus{}, err
	}
	ratio := math.Log(r.ToHz / r.FromHz)
	cycles := math.Round(r.FromHz * r.SweepS / ratio)
	if !(cycles >= 1) {
		return Stimulus{}, fmt.Errorf("a sweep of %g s is too short to begin at %g Hz: at least %.3g s are needed",
			r.SweepS, r.FromHz, ratio/r.FromHz)
	}
	s := Stimulus{
		Schema: StimulusSchema, RateHz: r.RateHz, FromHz: r.FromHz, ToHz: r.ToHz,
		Cycles: int(cycles), Repeats: r.Repeats, LevelDBFS: r.LevelDBFS,
		LeadInSamples: samples(r.LeadInS, r.RateHz), TailSamples: samples(r.TailS, r.RateHz),
		Shape: normalised(r.Shape),
	}
	if err := checkShape(s.Shape, s.FromHz, s.ToHz); err != nil {
		return Stimulus{}, err
	}
	s.SweepSamples = s.sweepLength()
	s.FadeInSamples, s.FadeOutSamples = s.fadeLengths()
	least := s.SweepSamples + samples(r.GapS, r.RateHz)
	if float64(least)*float64(s.Repeats) > maxSamples {
		return Stimulus{}, fmt.Errorf(
			"%d sweeps of %g s at %d Hz are too long for one stimulus: ask for fewer or shorter ones", r.Repeats,
			r.SweepS, r.RateHz)
	}
	s.PeriodSamples = quietPeriod(least, r.RateHz, r.Repeats)
	return s.described()
}

// check refuses numbers that no stimulus can have; Stimulus.check tests them
// together.
func (r Request) check() error {
	if err := inRange(
		bounds{"the length of a sweep", r.SweepS, 0.05, 120, "s"},
		bounds{"the silence before the first sweep", r.LeadInS, minLeadInS, 10, "s"},
		bounds{"the gap after a sweep", r.GapS, minGapS, 10, "s"},
		bounds{"the silence at the end", r.TailS, 0, 10, "s"},
	); err != nil {
		return err
	}
	s := Stimulus{RateHz: r.RateHz, FromHz: r.FromHz, ToHz: r.ToHz, Repeats: r.Repeats, LevelDBFS: r.LevelDBFS}
	return s.checkBasics()
}

func samples(seconds float64, rateHz int) int { return int(math.Ceil(seconds * float64(rateHz))) }

// fadeLengths are those of the faded ends, in samples.
func (s Stimulus) fadeLengths() (in, out int) {
	if len(s.Shape) == 0 {
		perOctave := s.SweepRateS() * math.Ln2 * float64(s.RateHz)
		return int(fadeInOctaves * perOctave), int(fadeOutOctaves * perOctave)
	}
	c := s.Course()
	first := c.TimeOf(s.FromHz * math.Exp2(fadeInOctaves))
	last := c.lengthS() - c.TimeOf(s.ToHz/math.Exp2(fadeOutOctaves))
	return int(first * float64(s.RateHz)), int(last * float64(s.RateHz))
}

// sweepLength is the number of samples at which the sweep is at or below ToHz.
func (s Stimulus) sweepLength() int {
	length := s.Course().lengthS() * float64(s.RateHz)
	// A length that is whole but for rounding must come out the same on every
	// machine.
	return int(math.Floor(length+1e-6)) + 1
}

// quietPeriod is the length of a transform between least and least*periodSlack (or
// the next above) with the smallest humLeft.
func quietPeriod(least, rateHz, repeats int) int {
	best, bestLeft := 0, math.Inf(1)
	list := transforms()
	from, _ := slices.BinarySearch(list, least)
	for _, n := range list[from:] {
		if best > 0 && n > int(float64(least)*periodSlack) {
			break
		}
		left := humLeft(float64(n)/float64(rateHz), repeats)
		// The margin makes the choice the same on every machine.
		if left < bestLeft-1e-9 {
			best, bestLeft = n, left
		}
	}
	return best
}

const (
	humHarmonics = 20
	// mainsDeviation is how far the mains frequency may be off: ±0.1 % (0.05 Hz
	// at 50 Hz) is ordinary (common practice).
	mainsDeviation = 1e-3
)

// humLeft is the mean over 50 Hz and 60 Hz and their harmonics (weight 1/h)
// and over the mains' deviation of |1/R sum_r exp(2 pi i f r P)|^2: the power
// of hum that averaging over R repeats of period P leaves. Lines at random
// phases would leave 1/R. The mean over the deviation, uniform in ±e, is
//
//	1/R + 2/R^2 sum over d of (R-d) cos(2 pi f P d) sinc(2 e f P d).
func humLeft(periodS float64, repeats int) float64 {
	var sum, weights float64
	r := float64(repeats)
	for _, mains := range []float64{50, 60} {
		for h := 1; h <= humHarmonics; h++ {
			f := mains * float64(h)
			left := 1 / r
			for d := 1; d < repeats; d++ {
				turns := f * periodS * float64(d)
				spread := 2 * math.Pi * mainsDeviation * turns
				left += 2 / (r * r) * (r - float64(d)) * math.Cos(2*math.Pi*math.Mod(turns,
					1)) * math.Sin(spread) / spread
			}
			sum += left / float64(h)
			weights += 1 / float64(h)
		}
	}
	return sum / weights
}
