package response

import (
	"context"
	"fmt"
	"math"
	"slices"

	"coilsweep/capture"
	"coilsweep/capture/align"
	"coilsweep/capture/quality"
	"coilsweep/excite"
)

// guardS is how much earlier than the alignment's start a period is cut: the
// alignment counts the coil's own delay, the sweep began a little before.
const guardS = 0.005

// Estimate makes the response of a take from its recording: channel 1 the
// coil, channel 2 the reference where the take has one. Only whole, undamaged
// repeats of the stimulus are used; align.ErrNoStimulus and align.ErrTooShort
// (wrapped) where there are none. One repeat is enough: its noise is then found
// where its impulse response has died away.
//
// What quality.Assess found is taken from the take: its Alignment and, beside
// that, whether there is hum. Both are made anew where it has no Alignment.
func Estimate(ctx context.Context, rec capture.Recording, take capture.Take) (*Response, error) {
	return new(Estimator).EstimateCopy(ctx, rec, take)
}

// EstimateCopy is the function Estimate, with what e knows of the stimulus.
func (e *Estimator) EstimateCopy(ctx context.Context, rec capture.Recording, take capture.Take) (*Response, error) {
	rec.Samples = slices.Clone(rec.Samples)
	for i, x := range rec.Samples {
		rec.Samples[i] = slices.Clone(x)
	}
	return e.Estimate(ctx, rec, take)
}

// Estimate is the function of that name, but overwrites the samples of rec.
func (e *Estimator) Estimate(ctx context.Context, rec capture.Recording, take capture.Take) (*Response, error) {
	r, err := e.estimate(ctx, rec, take)
	if err != nil {
		return nil, fmt.Errorf("take %s: %w", take.Name, err)
	}
	return r, nil
}

func (e *Estimator) estimate(ctx context.Context, rec capture.Recording, take capture.Take) (*Response, error) {
	stim := take.Stimulus
	if rec.RateHz != stim.RateHz {
		return nil, fmt.Errorf("recorded at %d Hz, but its stimulus is for %d Hz: record again at that rate",
			rec.RateHz,
			stim.RateHz)
	}
	slope, err := driveSlope(take.Drive, take.Reference)
	if err != nil {
		return nil, err
	}
	channels := 1
	switch take.Reference.Kind {
	case "", "none":
		if take.Calibration != nil {
			slope = withCard(slope, take.Calibration)
		}
	case "current", "loopback":
		channels = 2
	default:
		return nil, fmt.Errorf("reference %q is not known: give none, current or loopback", take.Reference.Kind)
	}
	if len(rec.Samples) < channels {
		return nil, fmt.Errorf("%s recorded, %d needed (reference %q): record the reference on channel 2 or take it off",
			capture.ChannelCount(len(rec.Samples)), channels, take.Reference.Kind)
	}
	var at align.Alignment
	assessed := take.Alignment != nil && take.Quality.Polarity != 0
	if take.Alignment != nil {
		at = *take.Alignment
	} else if at, err = align.Align(rec.Samples[0], stim); err != nil {
		return nil, err
	}
	at.Damaged = append(slices.Clone(at.Damaged), take.Quality.DamagedRepeats...)
	if err := ctx.Err(); err != nil {
		return nil, err
	}

	m := &material{
		rateHz: float64(stim.RateHz), fromHz: stim.FromHz, toHz: stim.ToHz, course: stim.Course(),
		shaped: len(stim.Shape) > 0, slope: slope,
	}
	if m.masked, err = e.maskedOf(stim); err != nil {
		return nil, err
	}
	c := cutter{stim: stim, at: at, silent: quality.Silences(stim, at, rec.Frames())}
	if m.coil, m.coilSilence, err = c.cut(rec.Samples[0], take.Quality.MainsHz, !assessed); err != nil {
		return nil, err
	}
	if channels == 2 {
		mainsHz := 0.0
		if c.hum != nil {
			mainsHz = c.hum.Hz()
		}
		if m.reference, m.referenceSilence, err = c.cut(rec.Samples[1], mainsHz, mainsHz == 0); err != nil {
			return nil, fmt.Errorf("reference channel: %w", err)
		}
	}
	r, err := m.estimate(ctx, e)
	if err != nil {
		return nil, err
	}
	if channels == 1 {
		r.ExtraDelayS -= math.Round(guardS*m.rateHz) / m.rateHz
	}
	if c.hum != nil {
		r.MainsHz = c.hum.Hz()
		r.HumLinesHz = mergeLines(c.hum.LinesHz(), r.HumLinesHz, 2*m.masked.lineHz())
	}
	return r, nil
}

// cutter cuts channels into periods.
type cutter struct {
	stim   excite.Stimulus
	at     align.Alignment
	silent []quality.Span
	hum    *quality.Mains // of the first channel that has any
}

// cut takes the hum off a channel, overwriting it, and returns its periods and its
// silence. The hum has mainsHz (0: there is none), or else is to be searched for.
func (c *cutter) cut(samples []float64, mainsHz float64, search bool) (periods [][]float64, quiet []float64,
	err error) {
	var hum *quality.Mains
	if search {
		hum = quality.FindMains(samples, c.stim.RateHz, c.silent, c.at.Jumps)
	} else if mainsHz > 0 {
		hum = quality.MainsAt(mainsHz, samples, c.stim.RateHz, c.silent, c.at.Jumps)
	}
	if hum != nil {
		hum.Remove(samples, 0)
		if c.hum == nil {
			c.hum = hum
		}
	}
	early := c.at
	early.StartSample = slices.Clone(c.at.StartSample)
	for k := range early.StartSample {
		early.StartSample[k] -= math.Round(guardS * float64(c.stim.RateHz))
	}
	periods, _, err = align.Periods(samples, c.stim, early)
	from, to := align.Silence(c.stim, c.at)
	return periods, samples[from:to], err
}

// mergeLines joins two lists of frequencies in order, leaving out of the
// second what lies within nearHz of the first.
func mergeLines(a, b []float64, nearHz float64) []float64 {
	out := slices.Clone(a)
	for _, f := range b {
		if !slices.ContainsFunc(a, func(g float64) bool { return math.Abs(f-g) < nearHz }) {
			out = append(out, f)
		}
	}
	slices.Sort(out)
	return out
}
