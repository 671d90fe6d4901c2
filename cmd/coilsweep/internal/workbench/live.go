package workbench

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"

	"coilsweep/capture"
	"coilsweep/capture/device"
	"coilsweep/capture/record"
	"coilsweep/excite"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/joint"
	"coilsweep/fit/response"
)

// Short sweeps over and over are heard by whoever works beside them: they begin
// quietly, and become louder step by step.
const (
	liveFirstDBFS = -30
	liveStepDB    = 6
)

// liveSweep is one short sweep, with as much silence before it as tells the noise.
// Coils resonate far above its lower end.
var liveSweep = excite.Request{FromHz: 40, ToHz: 20000, SweepS: 0.35, Repeats: 1, LeadInS: 0.5, GapS: 0.06}

// Live are the options of short sweeps over and over, of which nothing is kept.
type Live struct {
	job
	LevelDBFS float64
	rateHz    int
}

// NewLive has the defaults.
func NewLive(program string) *Live {
	l := &Live{job: newJob(program), LevelDBFS: liveFirstDBFS, rateHz: excite.DefaultRequest().RateHz}
	l.Options = append(l.Take.options(anyReference...)[2:], // it is not kept
		&Option{Name: "rate", Group: groupStimulus, Page: true, Value: Rate(&l.rateHz), Bench: at("card", "rate_hz"),
			Help: "sample rate"},
		&Option{Name: "level", Group: groupStimulus, Page: true, Value: Number(&l.LevelDBFS),
			Help: "level in dBFS that is reached step by step"})
	l.Options = append(l.Options, l.Bench.options()...)
	return l
}

// LivePlan is live mode that is about to begin.
type LivePlan struct {
	Source device.Source
	take   capture.Take
}

// Plan makes a plan of the options and the bench of dir.
func (l *Live) Plan(dir string) (*LivePlan, error) {
	if err := l.begin(dir); err != nil {
		return nil, err
	}
	take, err := l.Take.plan(l.Options, l.Program)
	if err != nil {
		return nil, err
	}
	if err := CheckLiveLevel(l.LevelDBFS); err != nil {
		return nil, err
	}
	take.Name = "live"
	request := liveSweep
	request.RateHz, request.LevelDBFS = l.rateHz, liveFirstDBFS
	if take.Stimulus, err = excite.Design(request); err != nil {
		return nil, &UsageError{err}
	}
	return &LivePlan{l.Bench.source(take, &l.Take, wiring{}), take}, nil
}

// CheckLiveLevel refuses levels that live mode does not play.
func CheckLiveLevel(dBFS float64) error {
	if !(dBFS >= -60 && dBFS <= 0) {
		return WrongValue("level", fmt.Sprintf("%g", dBFS), "want a level from -60 to 0 dBFS")
	}
	return nil
}

// Glance is what a short sweep shows, or the sweeps so far of a take under way.
type Glance struct {
	Sweep        int     // the latest, from 1
	LevelDBFS    float64 // at which it was played
	PeakDBFS     float64 // heard on the coil's channel
	Resonance, Q fit.Quantity
	Response     *response.Response // nil: there is none
	Why          string             // no response, or no resonance; empty: both are there
	result       *fit.Result        // nil: there is none
}

// Run plays short sweeps until ctx ends, which is no error, and shows what each of them
// says. wanted is the level in dBFS to be reached: the first sweep is played at -30 dBFS
// or below, the following ones are louder by 6 dB at most.
func (p *LivePlan) Run(ctx context.Context, recorder record.Recorder, hears Ears, wanted func() float64,
	show func(Glance)) error {
	playing(hears, p.take, recorder.Describe())
	level := float64(liveFirstDBFS - liveStepDB)
	var estimator response.Estimator
	for n := 1; ; n++ {
		level = min(wanted(), level+liveStepDB)
		take := p.take
		var err error
		if take.Stimulus, err = take.Stimulus.AtLevel(level); err != nil {
			return err
		}
		recording, take, err := record.Scout(ctx, recorder, take, hears.Meters)
		if err != nil && ctx.Err() == nil {
			return err
		}
		g := Glance{Sweep: n, LevelDBFS: level, PeakDBFS: take.Quality.PeakDBFS}
		if err == nil {
			g.say(ctx, capture.Coil{}, take, estimating(ctx, &estimator, recording, take))
		}
		if ctx.Err() != nil {
			return nil
		}
		show(g)
	}
}

// say is what a take of the coil says by the response that estimate gives, or why it says
// nothing.
func (g *Glance) say(ctx context.Context, coil capture.Coil, take capture.Take,
	estimate func() (*response.Response, error)) {
	err := func() (err error) {
		if g.Response, err = estimate(); err != nil {
			return err
		}
		in := evaluation.InputOf(take)
		in.Response = g.Response
		g.result, err = joint.Analyse(ctx, coil, []joint.Take{in}, fit.Options{})
		return err
	}()
	var unfit *capture.UnfitError
	if err != nil {
		g.Why = err.Error()
		if errors.As(err, &unfit) && len(unfit.Flags) > 0 {
			g.Why = cmp.Or(FlagAdvice(unfit.Flags[0], take), string(unfit.Flags[0]))
		}
		g.Resonance, g.Q = fit.Unknown(g.Why), fit.Unknown(g.Why)
		return
	}
	g.Resonance, g.Q = g.result.Takes[0].Resonance, g.result.Takes[0].Q
	if !g.Resonance.Known() {
		g.Why = g.Resonance.Why
	}
}

// Heard says what the level of a sweep that was heard means; empty: it is good.
func (g Glance) Heard() string {
	switch {
	case g.PeakDBFS > -3:
		return "close to clipping: quieter, or the gain down"
	case g.PeakDBFS < -50:
		return "faint: louder, the gain up, or the exciter closer"
	}
	return ""
}

// Sentence is what keeps the sweep from showing a resonance, as a sentence.
func (g Glance) Sentence() string {
	if g.Why == "" {
		return ""
	}
	return "No resonance is seen: " + strings.TrimSuffix(g.Why, ".")
}
