package excite

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// ErrChecksum: the samples made from a description do not have its checksum.
var ErrChecksum = errors.New("the stimulus does not match its checksum")

// The bounds of a stimulus. maxSamples keeps a description from outside from
// asking for more memory than a long measurement needs (700 s at 48 kHz).
const (
	minRateHz, maxRateHz = 44100, 192000
	minFromHz            = 1
	// maxOfRate leaves the sound card's filters a little room; it lets 20 kHz
	// pass at 44.1 kHz.
	maxOfRate           = 0.455
	maxRepeats          = 1000
	minLevelDBFS        = -90
	minLeadInS, minGapS = 0.5, 0.05
	maxSamples          = 1 << 25
)

// Validate checks every number, that they fit together, and the checksum. The
// error says which number is wrong; it is ErrChecksum (errors.Is) where only
// that does not agree.
func (s Stimulus) Validate() error {
	if err := s.check(); err != nil {
		return err
	}
	if got := s.checksum(); got != s.SHA256 {
		return fmt.Errorf("%w: its numbers give %.12s..., sha256 says %.12s...; one of its numbers was changed, or "+
			"another version made it: make the stimulus again", ErrChecksum, got, s.SHA256)
	}
	return nil
}

// checkBasics checks the numbers that a request carries too.
func (s Stimulus) checkBasics() error {
	top := maxOfRate * float64(s.RateHz)
	return inRange(
		bounds{"the sample rate", float64(s.RateHz), minRateHz, maxRateHz, "Hz"},
		bounds{"the lower end of the sweep", s.FromHz, minFromHz, top / 2, "Hz"},
		bounds{fmt.Sprintf("the upper end of the sweep (at a rate of %d Hz)", s.RateHz), s.ToHz, 2 * s.FromHz, top,
			"Hz"},
		bounds{"the number of repeats", float64(s.Repeats), 1, maxRepeats, ""},
		bounds{"the level", s.LevelDBFS, minLevelDBFS, 0, "dBFS"},
	)
}

// check is Validate without the checksum.
func (s Stimulus) check() error {
	if s.Schema != StimulusSchema {
		return fmt.Errorf("schema is %q, not %q: not a stimulus description, or one of another version", s.Schema,
			StimulusSchema)
	}
	if err := s.checkBasics(); err != nil {
		return err
	}
	rate, sweep := float64(s.RateHz), float64(s.SweepSamples)
	if err := inRange(
		bounds{"cycles", float64(s.Cycles), 1, maxSamples, ""},
		bounds{"sweep_samples", sweep, 1, maxSamples, ""},
		bounds{"period_samples", float64(s.PeriodSamples), sweep + minGapS*rate, maxSamples, ""},
		bounds{"lead_in_samples", float64(s.LeadInSamples), minLeadInS * rate, maxSamples, ""},
		bounds{"tail_samples", float64(s.TailSamples), 0, maxSamples, ""},
		bounds{"fade_in_samples", float64(s.FadeInSamples), 0, sweep / 2, ""},
		bounds{"fade_out_samples", float64(s.FadeOutSamples), 0, sweep / 2, ""},
	); err != nil {
		return err
	}
	if err := checkShape(s.Shape, s.FromHz, s.ToHz); err != nil {
		return err
	}
	if len(s.Shape) > 0 {
		if mean := meanWeight(s.Shape); math.Abs(mean-1) > meanTolerance {
			return fmt.Errorf("the mean weight of the shape is %.6g, not 1", mean)
		}
	}
	if want := s.sweepLength(); s.SweepSamples != want {
		return fmt.Errorf("sweep_samples is %d, but from_hz, to_hz, cycles, rate_hz and the shape give %d",
			s.SweepSamples, want)
	}
	if !IsTransform(s.PeriodSamples) {
		return fmt.Errorf("period_samples is %d, a length that cannot be analysed (it has prime factors above 5, or too "+
			"many of 2, 3 and 5): make the stimulus again", s.PeriodSamples)
	}
	total := float64(s.LeadInSamples) + float64(s.Repeats)*float64(s.PeriodSamples) + float64(s.TailSamples)
	if total > maxSamples {
		return fmt.Errorf("the stimulus would be %.0f samples long; at most %d are made: ask for fewer or shorter "+
			"sweeps", total, maxSamples)
	}
	return nil
}

// bounds are a number and the range it must be in, by name and unit.
type bounds struct {
	name        string
	x, min, max float64
	unit        string
}

// inRange refuses the first number that is out of its range.
func inRange(numbers ...bounds) error {
	for _, n := range numbers {
		if n.x >= n.min && n.x <= n.max {
			continue
		}
		unit := strings.TrimRight(" "+n.unit, " ")
		return fmt.Errorf("%s is %.10g%s; it must be from %.10g to %.10g%s", n.name, n.x, unit, n.min, n.max, unit)
	}
	return nil
}
