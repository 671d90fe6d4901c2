package response

import (
	"context"
	"fmt"
	"math"
	"slices"

	"coilsweep/capture"
	"coilsweep/capture/align"
	"coilsweep/excite"
)

// guardS is how much earlier than the alignment's start a period is cut: the
// alignment counts the coil's own delay, the sweep began a little before.
const guardS = 0.005

// ringOutS is how long after a sweep the coil may still be heard.
const ringOutS = 0.03

// Estimate makes the response of a take from its recording: channel 1 the
// coil, channel 2 the reference where the take has one. Only whole, undamaged
// repeats of the stimulus are used; align.ErrNoStimulus and align.ErrTooShort
// (wrapped) where there are none. One repeat is enough: its noise is then found
// where its impulse response has died away.
func Estimate(ctx context.Context, rec capture.Recording, take capture.Take) (*Response, error) {
	if len(rec.Samples) == 0 {
		return nil, fmt.Errorf("take %s: the recording has no channels", take.Name)
	}
	if err := sameRate(rec, take); err != nil {
		return nil, err
	}
	at, err := align.Align(rec.Samples[0], take.Stimulus)
	if err != nil {
		return nil, fmt.Errorf("take %s: %w", take.Name, err)
	}
	return EstimateAligned(ctx, rec, take, at)
}

func sameRate(rec capture.Recording, take capture.Take) error {
	if rec.RateHz == take.Stimulus.RateHz {
		return nil
	}
	return fmt.Errorf("take %s: recorded at %d Hz, but its stimulus is for %d Hz: record again at that rate", take.Name, rec.RateHz, take.Stimulus.RateHz)
}

// EstimateAligned is Estimate with the repeats of the coil's channel found
// already.
func EstimateAligned(ctx context.Context, rec capture.Recording, take capture.Take, at align.Alignment) (*Response, error) {
	stim := take.Stimulus
	if err := sameRate(rec, take); err != nil {
		return nil, err
	}
	slope, err := driveSlope(take.Drive, take.Reference)
	if err != nil {
		return nil, fmt.Errorf("take %s: %w", take.Name, err)
	}
	if take.Calibration != nil && (take.Reference.Kind == "" || take.Reference.Kind == "none") {
		slope = withCard(slope, take.Calibration)
	}
	channels := 1
	switch take.Reference.Kind {
	case "", "none":
	case "current", "loopback":
		channels = 2
	default:
		return nil, fmt.Errorf("take %s: reference %q is not known: give none, current or loopback", take.Name, take.Reference.Kind)
	}
	if len(rec.Samples) < channels {
		return nil, fmt.Errorf("take %s: %d channels recorded, %d needed (reference %q): record the reference on channel 2 or take it off", take.Name, len(rec.Samples), channels, take.Reference.Kind)
	}
	coil := rec.Samples[0]
	at.Damaged = append(slices.Clone(at.Damaged), take.Quality.DamagedRepeats...)
	if err := ctx.Err(); err != nil {
		return nil, err
	}

	m := &material{
		rateHz: float64(stim.RateHz), fromHz: stim.FromHz, toHz: stim.ToHz, course: stim.Course(), shaped: len(stim.Shape) > 0,
		stimulus: stim.Sweep(), slope: slope,
	}
	clock := newClock(at.Jumps, m.rateHz)
	silent := silentSpans(stim, at, len(coil))
	var hum *mains
	cut := func(samples []float64) (periods [][]float64, quiet []float64, err error) {
		found := findMains(samples, m.rateHz, silent, clock)
		if found != nil {
			samples = found.removed(samples)
			if hum == nil {
				hum = found
			}
		}
		early := at
		early.StartSample = slices.Clone(at.StartSample)
		for k := range early.StartSample {
			early.StartSample[k] -= math.Round(guardS * m.rateHz)
		}
		periods, _, err = align.Periods(samples, stim, early)
		return periods, align.Silence(samples, stim, at), err
	}
	if m.coil, m.coilSilence, err = cut(coil); err != nil {
		return nil, fmt.Errorf("take %s: %w", take.Name, err)
	}
	if channels == 2 {
		if m.reference, m.referenceSilence, err = cut(rec.Samples[1]); err != nil {
			return nil, fmt.Errorf("take %s, reference channel: %w", take.Name, err)
		}
	}
	r, err := m.estimate(ctx)
	if err != nil {
		return nil, fmt.Errorf("take %s: %w", take.Name, err)
	}
	if channels == 1 {
		r.ExtraDelayS -= math.Round(guardS*m.rateHz) / m.rateHz
	}
	if hum != nil {
		r.MainsHz = hum.hz()
		r.HumLinesHz = mergeLines(hum.ordersFound(), r.HumLinesHz, 2*m.rateHz/float64(len(m.stimulus)))
	}
	return r, nil
}

// silentSpans are the parts of a recording of n samples in which nothing of
// the stimulus is heard: the lead-in, the gaps, the tail.
func silentSpans(stim excite.Stimulus, at align.Alignment, n int) []span {
	rate := float64(stim.RateHz)
	guard, ring := int(guardS*rate), int(ringOutS*rate)
	var out []span
	add := func(begin, end int) {
		begin, end = max(begin, 0), min(end, n)
		for _, j := range at.Jumps {
			if s := int(j.Sample); s > begin-ring && s < end+ring {
				return // where just it lies is not known
			}
		}
		if end > begin {
			out = append(out, span{begin, end})
		}
	}
	first := true
	for k, start := range at.StartSample {
		if math.IsNaN(start) {
			continue
		}
		if first && k == 0 {
			add(int(start)-stim.LeadInSamples, int(start)-guard)
		}
		first = false
		end := int(start) + stim.PeriodSamples - guard
		if k == len(at.StartSample)-1 || k == stim.Repeats-1 {
			end += stim.TailSamples
		}
		add(int(start)+stim.SweepSamples+ring, end)
	}
	return out
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
