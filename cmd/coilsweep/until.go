package main

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"

	"coilsweep/capture"
	"coilsweep/fit"
	"coilsweep/fit/joint"
	"coilsweep/fit/response"
)

// percentFlag is a part of a hundred, "0.05%"; 0: not given.
type percentFlag float64

func (p *percentFlag) Set(text string) error {
	number, ok := strings.CutSuffix(strings.TrimSpace(text), "%")
	x, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if !ok || err != nil || !(x > 0 && x < 100) {
		return fmt.Errorf(`%q: want a percentage such as "0.05%%"`, text)
	}
	*p = percentFlag(x)
	return nil
}

func (p *percentFlag) String() string {
	if *p == 0 {
		return ""
	}
	return strconv.FormatFloat(float64(*p), 'g', -1, 64) + "%"
}

func (*percentFlag) Type() string { return "percent" }

// boundRepeats is how many sweeps --until plays at most, unless --repeats says
// otherwise.
const boundRepeats = 32

// precision watches a take until U95 of its resonance is small enough.
type precision struct {
	c       *console
	coil    capture.Coil
	target  percentFlag
	reached bool
	percent float64 // the last U95 of the resonance, in percent; NaN: not known
	repeats int     // behind it
}

// enough is a capture.Enough.
func (p *precision) enough(ctx context.Context, r capture.Recording, t capture.Take) (int, error) {
	if t.Unfit() != nil {
		p.repeats, p.percent = t.Stimulus.Repeats, math.NaN()
		return p.repeats + 1, nil // the take's flags will say why
	}
	estimate, err := response.Estimate(ctx, r, t)
	return p.judge(ctx, estimate, err, t)
}

// judge is enough for a response that was estimated, or failed to be. The
// uncertainty falls with the square root of the repeats, which tells how many
// will do.
func (p *precision) judge(ctx context.Context, estimate *response.Response, failed error, t capture.Take) (int, error) {
	n := t.Stimulus.Repeats
	p.repeats, p.percent = n, math.NaN()
	resonance, err := resonanceOf(ctx, p.coil, estimate, failed, t)
	if err != nil {
		return 0, err
	}
	if !resonance.Known() {
		p.c.warn("after %d sweeps the resonance is not known yet: %s", n, resonance.Why)
		return n + 1, nil
	}
	p.percent = 100 * resonance.U95 / resonance.Value
	if p.percent <= float64(p.target) {
		p.reached = true
		p.c.warn("after %d sweeps U95 of the resonance is %.2g %%: enough", n, p.percent)
		return 0, nil
	}
	need := int(math.Ceil(float64(n) * math.Pow(p.percent/float64(p.target), 2)))
	left := float64(need-n) * t.Stimulus.PeriodS()
	p.c.warn("after %d sweeps U95 of the resonance is %.2g %%: about %.0f s more to %s", n, p.percent, left, p.target.String())
	// Not all of the way at once: the estimate is rough at first.
	return min(need, max(n+1, 2*n)), nil
}

// resonanceOf is the resonance by one take alone, from its response or the
// reason why there is none.
func resonanceOf(ctx context.Context, coil capture.Coil, estimate *response.Response, failed error, t capture.Take) (fit.Quantity, error) {
	if ctx.Err() != nil {
		return fit.Quantity{}, ctx.Err()
	}
	if failed != nil {
		return fit.Unknown(failed.Error()), nil
	}
	result, err := joint.Analyse(ctx, coil, []joint.Take{{
		Name: t.Name, Load: t.Load, Response: estimate, Referenced: referenced(t),
	}}, fit.Options{})
	if ctx.Err() != nil {
		return fit.Quantity{}, ctx.Err()
	}
	if err != nil {
		return fit.Unknown(err.Error()), nil
	}
	return result.Takes[0].Resonance, nil
}

// referenced tells whether the sound card is out of the take's response.
func referenced(t capture.Take) bool {
	return t.Reference.Kind == "current" || t.Reference.Kind == "loopback" || t.Calibration != nil
}

// precisionRecord is what 'measure --until --json' adds.
type precisionRecord struct {
	WantedPercent float64  `json:"wanted_percent"`
	Percent       *float64 `json:"resonance_u95_percent"` // null: not known
	Sweeps        int      `json:"sweeps"`
	Reached       bool     `json:"reached"`
}

// end says how it ended: where the bound was met, all sweeps are looked at
// once more.
func (p *precision) end(ctx context.Context, folder *capture.Folder, t capture.Take) (*precisionRecord, error) {
	if n := t.Stimulus.Repeats; n != p.repeats && t.Unfit() == nil {
		audio, err := folder.Audio(t)
		if err != nil {
			return nil, err
		}
		if _, err := p.enough(ctx, audio, t); err != nil {
			return nil, err
		}
	}
	if !p.reached {
		p.c.warn("U95 of the resonance did not come down to %s within %d sweeps: raise the level, bring the exciter closer, or allow more with --repeats", p.target.String(), t.Stimulus.Repeats)
	}
	return &precisionRecord{WantedPercent: float64(p.target), Percent: finite(p.percent), Sweeps: t.Stimulus.Repeats, Reached: p.reached}, nil
}
