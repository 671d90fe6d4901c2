package workbench

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"coilsweep/capture"
	"coilsweep/capture/device"
	"coilsweep/capture/quality"
	"coilsweep/capture/record"
	"coilsweep/excite/quantity"
	"coilsweep/fit/check"
	"coilsweep/fit/response"
	"coilsweep/report/notation"
)

const (
	// scoutDB is by how much the trial sweep is below the level planned: a
	// coil's peak rises 10 to 20 dB.
	scoutDB = 18
	// scoutLeadInS is the silence before it, for noise and hum.
	scoutLeadInS = 1.5
	// What a trial sweep plays, unless its options say otherwise.
	scoutSweepS  = 1.4
	scoutRepeats = 3
)

// Check are the options of a trial sweep that is not kept.
type Check struct {
	job
	Stimulus   Stimulus
	ScoutLevel float64
	// NoCoil: the folder is a bench's, and whatever coil is there is not known.
	NoCoil bool
}

// NewCheck has the defaults.
func NewCheck(program string) *Check {
	k := &Check{job: newJob(program), Stimulus: defaultStimulus()}
	k.Stimulus.SweepS, k.Stimulus.Repeats = scoutSweepS, scoutRepeats
	k.Options = append(k.Take.options(anyReference...)[2:], k.Stimulus.options()...) // it is not kept
	k.Find("level").Help = "planned level of the take, in dBFS"
	k.Options = slices.Concat(k.Options, Options{{
		Name: "scout-level", Group: groupStimulus, Page: true, Value: Number(&k.ScoutLevel), Default: "-",
		Help: fmt.Sprintf("level of the trial sweep, in dBFS (default: %d dB below the planned level)", scoutDB),
	}}, k.Bench.options())
	return k
}

// CheckPlan is a check that is about to be made.
type CheckPlan struct {
	Source device.Source
	take   capture.Take
	scout  check.Scout
}

// Plan makes a plan of the options, the bench of dir and the coil in it.
func (k *Check) Plan(dir string) (*CheckPlan, error) {
	if err := k.begin(dir); err != nil {
		return nil, err
	}
	take, err := k.Take.plan(k.Options, k.Program)
	if err != nil {
		return nil, err
	}
	folder := &capture.Folder{Dir: dir}
	if !k.NoCoil {
		if folder, err = capture.OpenFolder(dir); err != nil {
			return nil, err
		}
	}
	planned := k.Stimulus.LevelDBFS
	quiet := k.Stimulus
	if quiet.LevelDBFS = k.ScoutLevel; !k.Given("scout-level") {
		quiet.LevelDBFS = planned - scoutDB
	}
	if quiet.LevelDBFS > planned {
		return nil, Wrong("scout-level", "{scout-level} %g is above the planned level, %s dBFS", quiet.LevelDBFS,
			Signed(planned))
	}
	quiet.LeadInS = scoutLeadInS
	if take.Stimulus, err = quiet.design(); err != nil {
		return nil, err
	}
	if planned > 0 {
		return nil, WrongValue("level", fmt.Sprintf("%g", planned), "want at most 0 dBFS")
	}
	scout := check.Scout{PlannedDBFS: planned}
	if dcr := folder.Coil.DCR; dcr != nil {
		scout.DCROhm = dcr.SI
	}
	return &CheckPlan{k.Bench.source(take, &k.Take, wiring{}), take, scout}, nil
}

// Run plays a quiet sweep and, where that shows that nothing will clip, one at
// the level planned, for the distortion. A bench on which a take would not be
// usable is a *capture.UnfitError beside the report.
func (p *CheckPlan) Run(ctx context.Context, recorder record.Recorder, hears Ears) (check.Report, error) {
	report, err := p.run(ctx, recorder, hears)
	if err != nil || report.FitToTake {
		return report, err
	}
	var stops []string
	for _, f := range report.Findings {
		if f.Grade == check.Stop {
			stops = append(stops, f.What)
		}
	}
	return report, &capture.UnfitError{What: "a take would not be usable: " + strings.Join(stops, ", ")}
}

func (p *CheckPlan) run(ctx context.Context, recorder record.Recorder, hears Ears) (check.Report, error) {
	scout, take := p.scout, p.take
	var err error
	if scout.Recording, scout.Take, err = listen(ctx, recorder, take, hears); err != nil {
		return check.Report{}, err
	}
	// The findings tell why a response cannot be estimated.
	scout.Response, err = response.Estimate(ctx, scout.Recording, scout.Take)
	if ctx.Err() != nil {
		return check.Report{}, err
	}
	judgement := check.Judge(scout)
	if err := judgeWiring(&judgement, scout); err != nil || !judgement.FitToTake {
		return judgement, err
	}
	if take.Stimulus, err = take.Stimulus.AtLevel(scout.PlannedDBFS); err != nil {
		return judgement, err
	}
	recording, loud, err := listen(ctx, recorder, take, hears)
	if err != nil || loud.Unfit() != nil {
		return judgement, err
	}
	if scout.AtLevel, err = response.Estimate(ctx, recording, loud); err != nil {
		return judgement, err
	}
	return check.Judge(scout), nil
}

// judgeWiring puts what is connected wrongly in place of the other findings, which
// are of something that is no coil then.
func judgeWiring(r *check.Report, s check.Scout) error {
	known := len(s.Take.Quality.Flags)
	take, err := quality.AssessWiring(s.Recording, s.Take)
	if err != nil {
		return err
	}
	for _, flag := range take.Quality.Flags[known:] {
		text, advice, _ := strings.Cut(FlagAdvice(flag, take), ": ")
		r.Findings = []check.Finding{{Grade: check.Stop, What: string(flag), Text: text, Advice: advice}}
		r.FitToTake = false
	}
	return nil
}

// CheckLine is one finding of a check, under its name.
type CheckLine struct{ Name, Text string }

// CheckLines are the findings of a check, one to a line; the advice comes last.
func CheckLines(r check.Report) []CheckLine {
	return append(measuredLines(r), notation.Each(r.Findings, func(f check.Finding) CheckLine {
		return CheckLine{string(f.Grade) + ":", f.Text + ": " + f.Advice}
	})...)
}

// CheckSentences are the measurements of a check, without the advice.
func CheckSentences(r check.Report) []string {
	return notation.Each(measuredLines(r), func(l CheckLine) string {
		return strings.TrimPrefix(l.Name+": "+l.Text, ": ")
	})
}

func measuredLines(r check.Report) (lines []CheckLine) {
	add := func(name, format string, args ...any) {
		lines = append(lines, CheckLine{name, quantity.Minus(fmt.Sprintf(format, args...))})
	}
	for _, ch := range r.Channels {
		add(ch.Name, "peak %s, rms %s, noise %s; at %.0f dBFS peak %s",
			notation.Level(ch.PeakDBFS), notation.Level(ch.RMSDBFS), notation.Level(ch.NoiseDBFS), r.PlannedDBFS,
			notation.Level(ch.ExpectedPeakDBFS))
	}
	if len(r.Noise) > 0 {
		bands := notation.Each(r.Noise, func(b quality.Band) string {
			return fmt.Sprintf("%s %.0f", shortHertz(b.FromHz), b.DBFS)
		})
		add("noise", "in dBFS by octave from Hz: %s", strings.Join(bands, ", "))
	}
	if m := r.Mains; m != nil {
		var orders []string
		for _, l := range m.Lines {
			if l.DBFS > m.DBFS-30 {
				orders = append(orders, fmt.Sprintf("%d: %.0f", l.Order, l.DBFS))
			}
		}
		add("mains", "%.3f Hz, %.0f dBFS in all; harmonics in dBFS: %s", m.Hz, m.DBFS, strings.Join(orders, ", "))
	} else {
		add("mains", "none stands out")
	}
	if r.MarginDB != nil {
		at := ""
		if r.PeakHz != nil {
			at = fmt.Sprintf(", loudest at %.0f Hz", *r.PeakHz)
		}
		add("margin", "%.1f dB to clipping at %.0f dBFS%s", *r.MarginDB, r.PlannedDBFS, at)
	}
	if r.SNRDB != nil {
		add("signal", "recording S/N %.0f dB at %.0f dBFS", *r.SNRDB, r.PlannedDBFS)
	}
	add("time", "drift %.1f ppm, %d damaged sweeps", r.DriftPPM, r.DamagedRepeats)
	for _, h := range r.Harmonics {
		if h.Seen {
			add("", "harmonic %d: about %.2g %% at %.0f dBFS", h.Order, 100*h.Expected, r.PlannedDBFS)
		}
	}
	if len(r.Findings) == 0 {
		add("", "all is well")
	}
	return lines
}

// ProposedLevel is the level in dBFS to take instead of that planned; empty: that
// is good.
func ProposedLevel(r check.Report) string {
	if p := r.ProposedDBFS; p != nil && math.Abs(*p-r.PlannedDBFS) >= 1 {
		return fmt.Sprintf("%.0f", *p)
	}
	return ""
}

func shortHertz(hz float64) string {
	if hz >= 1000 {
		return fmt.Sprintf("%.3gk", hz/1000)
	}
	return fmt.Sprintf("%.0f", hz)
}

// SilenceWords judge an idle input by its noise and its hum in dBFS; nil: none was found.
func SilenceWords(noise, hum *float64) string {
	switch {
	case noise == nil && hum == nil:
		return "Nothing at all arrives: is the right input chosen, its gain up, the coil plugged in?"
	case hum != nil && *hum > -40:
		return "Much hum: turn the coil to where it hums least, keep transformers and lamps away, " +
			"check the ground of the input."
	case hum != nil && noise != nil && *hum > *noise+20:
		return "Hum stands out of the noise. Turning the coil helps; the sweep turns the rest against itself."
	case noise != nil && *noise > -50:
		return "Noisy: lower the gain, or look for a lamp dimmer or a switching supply nearby."
	}
	return "Quiet enough."
}
