package workbench

import (
	"context"
	"math"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/joint"
	"coilsweep/fit/response"
)

// Seen receives the response of a take under way, from as many repeats as t has;
// failed says why there is none.
type Seen func(r *response.Response, failed error, t capture.Take)

// Precision is the outcome of a take that was to end once U95 of its resonance
// was small enough.
type Precision struct {
	WantedPercent float64  `json:"wanted_percent"`
	Percent       *float64 `json:"resonance_u95_percent"` // null: not known
	Sweeps        int      `json:"sweeps"`
	Reached       bool     `json:"reached"`
}

// watch follows a take under way: it shows the response to see, and checks
// whether U95 of the resonance is small enough.
type watch struct {
	hears   Ears
	coil    capture.Coil
	target  float64 // percent; 0: all sweeps
	see     Seen    // nil: nobody
	reached bool
	percent float64 // the last U95 of the resonance; NaN: not known
	repeats int     // behind it
}

// options have the recording watched, if anything is to be watched.
func (w *watch) options(hears Ears, redo bool) record.Options {
	o := record.Options{Redo: redo, Progress: hears.Progress}
	if w.target > 0 || w.see != nil {
		// With a viewer the response may take its time; without one the recording
		// waits for the decision whether it is enough.
		o.See, o.Wait, o.From = w.look, w.see == nil, 1
		if o.Wait {
			o.From = 2
		}
	}
	return o
}

// look is a record.See.
func (w *watch) look(ctx context.Context, r capture.Recording, t capture.Take) (again int, err error) {
	n := t.Stimulus.Repeats
	if t.Unfit() != nil {
		w.repeats, w.percent = n, math.NaN()
		return n + 1, nil // the take's flags will say why
	}
	estimate, failed := response.Estimate(ctx, r, t)
	if ctx.Err() != nil {
		return 0, ctx.Err()
	}
	if w.see != nil {
		w.see(estimate, failed, t)
	}
	if w.target == 0 {
		return n + 1, nil
	}
	return w.judge(ctx, estimate, failed, t)
}

// judge is the number of repeats at which to judge again; 0: it is enough. The
// uncertainty falls with the square root of the repeats, which tells how many are
// needed.
func (w *watch) judge(ctx context.Context, estimate *response.Response, failed error, t capture.Take) (int, error) {
	n := t.Stimulus.Repeats
	w.repeats, w.percent = n, math.NaN()
	resonance, err := resonanceOf(ctx, w.coil, estimate, failed, t)
	if err != nil {
		return 0, err
	}
	if !resonance.Known() {
		w.hears.warn("after %d sweeps the resonance is not known yet: %s", n, resonance.Why)
		return n + 1, nil
	}
	w.percent = 100 * resonance.U95 / resonance.Value
	if w.percent <= w.target {
		w.reached = true
		w.hears.warn("after %d sweeps U95 of the resonance is %.2g %%: enough", n, w.percent)
		return 0, nil
	}
	need := int(math.Ceil(float64(n) * math.Pow(w.percent/w.target, 2)))
	left := float64(need-n) * t.Stimulus.PeriodS()
	w.hears.warn("after %d sweeps U95 of the resonance is %.2g %%: about %.0f s more to %s", n, w.percent, left, percentText(w.target))
	// Not all of the way at once: the estimate is rough at first.
	return min(need, max(n+1, 2*n)), nil
}

// resonanceOf is the resonance by one take alone, from its response or the
// reason why there is none.
func resonanceOf(ctx context.Context, coil capture.Coil, estimate *response.Response, failed error, t capture.Take) (fit.Quantity, error) {
	if failed != nil {
		return fit.Unknown(failed.Error()), nil
	}
	result, err := joint.Analyse(ctx, coil, []joint.Take{{
		Name: t.Name, Load: t.Load, Response: estimate, Referenced: t.Referenced(), Card: t.CardLimits(),
	}}, fit.Options{})
	if ctx.Err() != nil {
		return fit.Quantity{}, ctx.Err()
	}
	if err != nil {
		return fit.Unknown(err.Error()), nil
	}
	return result.Takes[0].Resonance, nil
}

// end is the outcome: if sweeps came after the last judgement, it judges all of
// them once more.
func (w *watch) end(ctx context.Context, folder *capture.Folder, t capture.Take) (*Precision, error) {
	if n := t.Stimulus.Repeats; n != w.repeats && t.Unfit() == nil {
		in := evaluation.Estimate(ctx, folder, t)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		var failed error
		if in.Response == nil {
			failed = &capture.UnfitError{What: in.Unfit}
		}
		if _, err := w.judge(ctx, in.Response, failed, t); err != nil {
			return nil, err
		}
	}
	if !w.reached {
		w.hears.warn("U95 of the resonance did not come down to %s within %d sweeps: raise the level, bring the exciter closer, or allow more sweeps[[ with {repeats}]]", percentText(w.target), t.Stimulus.Repeats)
	}
	p := &Precision{WantedPercent: w.target, Sweeps: t.Stimulus.Repeats, Reached: w.reached}
	if !math.IsNaN(w.percent) {
		p.Percent = &w.percent
	}
	return p, nil
}
