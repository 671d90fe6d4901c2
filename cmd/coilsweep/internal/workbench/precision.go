package workbench

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/fit"
	"coilsweep/fit/joint"
	"coilsweep/fit/response"
	"coilsweep/report/notation"
)

// Seen receives what a take under way shows by as many repeats as t has.
type Seen func(g Glance, t capture.Take)

// Precision is the outcome of a take that was to end once U95 of its resonance
// was small enough.
type Precision struct {
	WantedPercent float64  `json:"wanted_percent"`
	Percent       *float64 `json:"resonance_u95_percent"` // null: not known
	Sweeps        int      `json:"sweeps"`
	Reached       bool     `json:"reached"`
	// LowestPercent is what U95 cannot fall below by more sweeps, as far as that
	// is known; HeldBy are the sources that hold it above what was wanted, as a
	// result's budget names them.
	LowestPercent *float64 `json:"lowest_percent"`
	HeldBy        []string `json:"held_by,omitempty"`
}

// precision is how well the resonance of a take is known.
type precision struct {
	percent float64  // U95; NaN: not known
	floor   float64  // of that, what more sweeps do not lower
	holders []string // what makes most of floor, the largest first
	model   string
	why     string // why it is not known
}

// precisionOf tells what of the uncertainty of the only take's resonance more
// sweeps do not lower: all but the noise, and what better data may tell.
func precisionOf(r *fit.Result) precision {
	q := r.Takes[0].Resonance
	if !q.Known() {
		return precision{percent: math.NaN(), why: q.Why}
	}
	p := precision{percent: 100 * q.U95 / q.Value, model: r.Model.Name}
	var held []fit.BudgetLine // the largest first
	sum := 0.0
	for _, b := range r.Budget {
		if b.Quantity != "resonance_hz of "+r.Takes[0].Name {
			continue
		}
		for _, line := range b.Shares {
			if !slices.Contains([]string{fit.NoiseSource, fit.ModelSource, fit.WeakSource}, line.Source) {
				held, sum = append(held, line), sum+line.Percent
			}
		}
	}
	for _, line := range held {
		if line.Percent > 0.1*sum {
			p.holders = append(p.holders, line.Source)
		}
	}
	p.floor = p.percent * math.Sqrt(sum/100)
	return p
}

// near is how near to the floor of U95 sweeping goes where it cannot come down
// to what was wanted, and settledFall the least fall of U95 over twice the sweeps
// while noise matters: noise alone falls to 0.71.
const (
	near        = 1.05
	settledFall = 0.9
)

// watch follows a take under way: it shows the response to see, and checks
// whether U95 of the resonance is small enough.
type watch struct {
	hears   Ears
	coil    capture.Coil
	target  float64 // percent; 0: all sweeps
	see     Seen    // nil: nobody
	reached bool
	last    precision // the last judgement
	repeats int       // behind it
	// heldBy are the sources that keep U95 above target, as a budget names them;
	// nil: none that is known of.
	heldBy    []string
	estimator response.Estimator
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
	g := Glance{Sweep: n, LevelDBFS: t.Stimulus.LevelDBFS, PeakDBFS: t.Quality.PeakDBFS}
	g.say(ctx, w.coil, t, estimating(ctx, &w.estimator, r, t))
	if ctx.Err() != nil {
		return 0, ctx.Err()
	}
	if w.see != nil {
		w.see(g, t)
	}
	if t.Unfit() != nil {
		w.repeats, w.last = n, precision{percent: math.NaN()}
		return n + 1, nil // the take's flags will say why
	}
	if w.target == 0 {
		return n + 1, nil
	}
	return w.judge(g, t), nil
}

// judge is the number of repeats at which to judge again; 0: it is enough, or
// more sweeps do not help. What noise there is in the uncertainty falls with the
// square root of the repeats, which tells how many are needed.
func (w *watch) judge(g Glance, t capture.Take) int {
	n, before, beforeAt, now := t.Stimulus.Repeats, w.last, w.repeats, g.precision()
	sweeps := notation.Count(n, "sweep")
	w.repeats, w.last = n, now
	if now.why != "" {
		w.hears.warn("after %s the resonance is not known yet: %s", sweeps, now.why)
		return n + 1
	}
	if now.percent <= w.target {
		w.reached = true
		w.hears.warn("after %s U95 of the resonance is %.2g %%: enough", sweeps, now.percent)
		return 0
	}
	w.heldBy = nil
	if now.floor >= w.target {
		w.heldBy = now.holders
	}
	if beforeAt > 0 && 2*beforeAt <= n && now.model == before.model && now.percent > settledFall*before.percent &&
		settled(before.percent, beforeAt, now.percent, n) > w.target {
		if !slices.Contains(w.heldBy, cardSource) {
			w.heldBy = append([]string{cardSource}, w.heldBy...)
		}
		w.hears.warn("after %s U95 of the resonance is %.2g %%, after %d it was %.2g %%: "+
			"more sweeps hardly lower it, because of %s",
			sweeps, now.percent, beforeAt, before.percent, holderWords(w.heldBy))
		return 0
	}
	goal, goalText := w.target, percentText(w.target)
	if w.heldBy != nil {
		goal = near * now.floor
		goalText = fmt.Sprintf("%.2g%%, the limit set by %s", goal, holderWords(w.heldBy))
		if now.percent <= goal {
			w.hears.warn("after %s U95 of the resonance is %.2g %%: more sweeps do not lower it, because of %s",
				sweeps, now.percent, holderWords(w.heldBy))
			return 0
		}
	}
	need := int(math.Ceil(float64(n) * (square(now.percent) - square(now.floor)) / (square(goal) - square(now.floor))))
	left := float64(need-n) * t.Stimulus.PeriodS()
	w.hears.warn("after %s U95 of the resonance is %.2g %%: about %.0f s more to %s", sweeps, now.percent, left,
		goalText)
	// Not all of the way at once: the estimate is rough at first.
	return min(need, max(n+1, 2*n))
}

// settled is what U95 would come to with all noise gone, by two numbers of
// sweeps: the square of one part falls with their number, that of the other stays.
func settled(u float64, n int, later float64, more int) float64 {
	return math.Sqrt(max(0, (float64(more)*square(later)-float64(n)*square(u))/float64(more-n)))
}

func square(x float64) float64 { return x * x }

// cardSource is the sound card as a source of uncertainty, where a budget does
// not tell it from noise.
const cardSource = "sound card"

// holderWords are what people call sources of uncertainty that sweeps do not
// lower.
func holderWords(sources []string) string {
	words := make([]string, len(sources))
	for i, source := range sources {
		words[i] = "the " + source
		switch source {
		case fit.ClockSource:
			words[i] = "the sound card's clock"
		case cardSource:
			words[i] = "the sound card's own response"
		}
	}
	return strings.Join(words, " and ")
}

// remedy is what helps against such sources; empty: nothing simple.
func remedy(sources []string, t capture.Take) string {
	var words []string
	if slices.Contains(sources, cardSource) && !t.Referenced() {
		words = append(words, "use a reference, or calibrate the sound card")
	}
	if slices.Contains(sources, fit.ClockSource) {
		words = append(words, "state how wrong the clock can be if you know it better[[ ({clock}, in ppm)]]")
	}
	if words == nil {
		return ""
	}
	return "; " + strings.Join(words, "; ")
}

// precision is how well the resonance is known by the sweeps of the take alone.
func (g Glance) precision() precision {
	if g.result == nil {
		return precision{percent: math.NaN(), why: g.Why}
	}
	return precisionOf(g.result)
}

// end is the outcome: if sweeps came after the last judgement, it judges all of
// them once more, by what estimate gives.
func (w *watch) end(ctx context.Context, t capture.Take, estimate func(context.Context, capture.Take) joint.Take) (
	*Precision, error) {
	if n := t.Stimulus.Repeats; n != w.repeats && t.Unfit() == nil {
		var g Glance
		g.say(ctx, w.coil, t, func() (*response.Response, error) {
			in := estimate(ctx, t)
			if in.Response == nil {
				return nil, &capture.UnfitError{What: in.Unfit}
			}
			return in.Response, nil
		})
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		w.judge(g, t)
	}
	switch {
	case w.reached:
	case w.heldBy != nil:
		w.hears.warn("U95 of the resonance cannot come down to %s by more sweeps: it is held up by %s%s",
			percentText(w.target), holderWords(w.heldBy), remedy(w.heldBy, t))
	default:
		w.hears.warn("U95 of the resonance did not come down to %s within %s: raise the level, bring the "+
			"exciter closer, or allow more sweeps[[ with {repeats}]]", percentText(w.target),
			notation.Count(t.Stimulus.Repeats, "sweep"))
	}
	p := &Precision{WantedPercent: w.target, Sweeps: t.Stimulus.Repeats, Reached: w.reached}
	if w.repeats > 0 && !math.IsNaN(w.last.percent) {
		p.Percent, p.LowestPercent = &w.last.percent, &w.last.floor
	}
	if !w.reached {
		p.HeldBy = w.heldBy
	}
	return p, nil
}
