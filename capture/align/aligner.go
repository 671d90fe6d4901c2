package align

import (
	"fmt"
	"slices"

	"coilsweep/capture/internal/effort"
	"coilsweep/excite"
)

const (
	// aheadS and aheadPPM are how much later than by its period the next sweep
	// may begin to be found at once.
	aheadS, aheadPPM = 0.03, maxDriftPPM
	// ringS is recorded beyond a sweep before it is looked for.
	ringS = 0.05
	// againS is how far the stretches in which sweeps are looked for overlap.
	againS = 0.01
)

// Aligner finds a stimulus in a recording that grows. Each sweep is looked for,
// and taken apart by bands, once, when its period is recorded; where it is
// looked for depends on what was recorded alone, and not on how the recording
// came in.
type Aligner struct {
	comparison
	checked  int       // samples that are known to be numbers
	from, to int       // sweeps that begin between are looked for next
	found    []*repeat // in order
}

// New is an aligner without a recording. Its error is for a stimulus that is none.
func New(stim excite.Stimulus) (*Aligner, error) {
	if err := checkStimulus(stim); err != nil {
		return nil, err
	}
	a := &Aligner{comparison: *newComparison(nil, stim)}
	a.from, a.to = -stim.SweepSamples, stim.LeadInSamples+a.ahead()
	return a, nil
}

func (a *Aligner) ahead() int {
	return int(aheadS*float64(a.stim.RateHz) + aheadPPM*1e-6*float64(a.stim.PeriodSamples))
}

// Extend takes in what was recorded since the last call: samples is the whole
// recording until now, begins with what it was then, and must not be changed.
func (a *Aligner) Extend(samples []float64) error {
	for ; a.checked < len(samples); a.checked++ {
		if x := samples[a.checked]; x-x != 0 {
			return fmt.Errorf("sample %d of the recording is not a finite number: export the recording again",
				a.checked)
		}
	}
	a.samples = samples
	period := a.stim.PeriodSamples
	ringing := a.stim.SweepSamples + int(ringS*float64(a.stim.RateHz))
	for a.to+max(period, ringing) < len(samples) {
		found := a.search(a.from, a.to, a.to+ringing)
		if len(found) == 0 {
			a.from, a.to = a.to-int(againS*float64(a.stim.RateHz)), a.to+period/2
			continue
		}
		a.found = append(a.found, found...)
		last := found[len(found)-1].cut
		a.from, a.to = last+int(apartPeriods*float64(period)), last+period+a.ahead()
	}
	return nil
}

// search finds the sweeps that begin in [from, to) of what was recorded before
// end.
func (a *Aligner) search(from, to, end int) (found []*repeat) {
	begin := max(0, from)
	if end-begin < a.stim.RateHz/10 {
		return nil
	}
	effort.Searches.Add(1)
	for _, p := range findPulses(a.samples[begin:end], a.stim, a.course, DecisionThreshold) {
		if p.start += float64(begin); p.start < float64(from) || p.start >= float64(to) {
			continue
		}
		if r := a.transform(p); a.isSweep(r) {
			found = append(found, r)
		}
	}
	return found
}

// Alignment says where the repeats lie in what was recorded until now. Errors
// are those of Align.
func (a *Aligner) Alignment() (Alignment, error) {
	n, stim := len(a.samples), a.stim
	if n < stim.SweepSamples {
		return Alignment{}, fmt.Errorf("%w (%.2f s recorded, one sweep is %.2f s)", ErrTooShort,
			float64(n)/float64(stim.RateHz), float64(stim.SweepSamples)/float64(stim.RateHz))
	}
	return a.align(append(slices.Clip(a.found), a.search(a.from, n, n)...), stim.Repeats)
}

// Playing is the alignment of a recording under way that began before the
// playing did: StartSample ends with the last repeat found, and none is said to
// be missing.
func (a *Aligner) Playing() (Alignment, error) {
	n, found := len(a.samples), a.found
	// The end is searched only where it may hold a whole sweep.
	if edge := int(edgeS * float64(a.stim.RateHz)); a.from+a.stim.SweepSamples <= n+edge {
		found = append(slices.Clip(found), a.search(a.from, n, n)...)
	}
	return a.align(found, 0)
}

// align is the alignment by the sweeps found, of which there are repeats; 0: as
// many as were found.
func (a *Aligner) align(found []*repeat, repeats int) (Alignment, error) {
	if len(found) == 0 {
		return Alignment{}, ErrNoStimulus
	}
	n, stim := len(a.samples), a.stim
	whole, before, after := sortRepeats(found, n, stim)
	if len(whole) == 0 {
		return Alignment{}, fmt.Errorf("%w (parts of sweeps were found)", ErrTooShort)
	}
	a.repeats = oneTrain(whole, stim)
	at, index, err := a.comparison.align()
	if err != nil {
		return Alignment{}, err
	}
	if repeats == 0 {
		repeats = index[len(index)-1] + 1
	}
	stim.Repeats = repeats
	at.Method = Method
	at.number(index, n, len(before) > 0, len(after) > 0, stim)
	return at, nil
}
