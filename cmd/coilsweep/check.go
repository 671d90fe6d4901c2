package main

import (
	"context"
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture"
	"coilsweep/capture/device"
	"coilsweep/capture/record"
	"coilsweep/excite"
	"coilsweep/fit/check"
	"coilsweep/fit/response"
	"coilsweep/report/notation"
)

const (
	// scoutDB is by how much the scout is below the level planned: a coil's
	// peak rises 10 to 20 dB.
	scoutDB = 18
	// scoutLeadInS is the silence before it, for noise and hum.
	scoutLeadInS = 1.5
	// What a scout plays, unless its options say otherwise.
	scoutSweepS  = 1.4
	scoutRepeats = 3
)

// checking are the options of 'check'.
type checking struct {
	take       takeFlags
	stimulus   stimulusFlags
	bench      benchFlags
	file       benchFileFlags
	scoutLevel float64
	noCoil     bool // the folder is a bench's, and whatever coil is there is not known
}

func (k *checking) add(f *pflag.FlagSet) {
	k.take.addWiring(f)
	k.stimulus.add(f)
	f.Lookup("duration").DefValue = fmt.Sprintf("%g s", scoutSweepS)
	f.Lookup("repeats").DefValue = fmt.Sprint(scoutRepeats)
	f.Lookup("level").Usage = "level planned for the take, in dBFS"
	f.Float64Var(&k.scoutLevel, "scout-level", 0, fmt.Sprintf("level of the sweep of the check, in dBFS (default: %d below --level)", scoutDB))
	k.bench.add(f)
	k.file.add(f)
}

func newCheck(c *console) *cobra.Command {
	var options checking
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "check DIR",
		Short: "Look at levels, noise, hum, clipping, drift and load before a take",
		Long: `Play a quiet sweep and, where that shows that nothing will clip, one at --level,
and say what a take would be like: levels, noise and hum, the margin to clipping
at the resonance, lost samples, drift, distortion, and whether the input loads
the coil too much; then what to do about it, and a level. On a terminal the levels are shown while they come. Nothing is
kept. The exit status is 3 where a take would be unfit.`,
		Example: `  coilsweep check bridge
  coilsweep check bridge --level -6`,
		Args: oneArg("the coil folder DIR"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			plan, err := options.plan(cmd, args[0])
			if err != nil {
				return err
			}
			var judgement check.Report
			if err := c.on(plan.source, func(recorder record.Recorder) error {
				judgement, err = c.check(cmd.Context(), recorder, plan.take, plan.scout)
				return err
			}); err != nil {
				return err
			}
			return reportCheck(c, judgement, asJSON)
		}),
	}
	options.add(cmd.Flags())
	cmd.Flags().BoolVar(&asJSON, "json", false, "print what was found as JSON")
	return cmd
}

// checkPlan is a check that is about to be made.
type checkPlan struct {
	take   capture.Take
	scout  check.Scout
	source device.Source
}

// plan makes a plan of the options of cmd, the bench of dir and the coil in it.
func (k *checking) plan(cmd *cobra.Command, dir string) (*checkPlan, error) {
	if err := k.bench.check(cmd); err != nil {
		return nil, err
	}
	if err := k.file.apply(cmd, dir); err != nil {
		return nil, err
	}
	take, err := k.take.plan(cmd)
	if err != nil {
		return nil, err
	}
	folder := &capture.Folder{Dir: dir}
	if !k.noCoil {
		if folder, err = capture.OpenFolder(dir); err != nil {
			return nil, err
		}
	}
	planned := k.stimulus.levelDBFS
	if !cmd.Flags().Changed("scout-level") {
		k.scoutLevel = planned - scoutDB
	}
	if k.scoutLevel > planned {
		return nil, usagef("--scout-level %g is above the level planned, %g dBFS", k.scoutLevel, planned)
	}
	if take.Stimulus, err = k.stimulus.scout(cmd, k.scoutLevel); err != nil {
		return nil, err
	}
	if planned > 0 {
		return nil, usagef("--level %g: want at most 0 dBFS", planned)
	}
	scout := check.Scout{PlannedDBFS: planned}
	if dcr := folder.Coil.DCR; dcr != nil {
		scout.DCROhm = dcr.SI
	}
	return &checkPlan{take, scout, k.bench.source(take, &k.take, wiring{})}, nil
}

// check plays the scout of take and, where that shows that nothing will clip,
// a second sweep at the level planned, for the distortion.
func (c *console) check(ctx context.Context, recorder record.Recorder, take capture.Take, scout check.Scout) (check.Report, error) {
	var err error
	if scout.Recording, scout.Take, err = c.listen(ctx, recorder, take); err != nil {
		return check.Report{}, err
	}
	// What keeps a response from being estimated is among the findings.
	scout.Response, err = response.Estimate(ctx, scout.Recording, scout.Take)
	if ctx.Err() != nil {
		return check.Report{}, err
	}
	judgement := check.Judge(scout)
	if !judgement.FitToTake {
		return judgement, nil
	}
	if take.Stimulus, err = take.Stimulus.AtLevel(scout.PlannedDBFS); err != nil {
		return judgement, err
	}
	recording, loud, err := c.listen(ctx, recorder, take)
	if err != nil || loud.Unfit() != nil {
		return judgement, err
	}
	if scout.AtLevel, err = response.Estimate(ctx, recording, loud); err != nil {
		return judgement, err
	}
	return check.Judge(scout), nil
}

// scout is the stimulus of a check.
func (s *stimulusFlags) scout(cmd *cobra.Command, levelDBFS float64) (excite.Stimulus, error) {
	quiet := *s
	quiet.levelDBFS = levelDBFS
	if !cmd.Flags().Changed("duration") {
		quiet.duration = scoutSweepS
	}
	if !cmd.Flags().Changed("repeats") {
		quiet.repeats = scoutRepeats
	}
	return quiet.designAfter(scoutLeadInS)
}

// reportCheck prints a judgement. A bench on which a take would be unfit is an
// unfitError.
func reportCheck(c *console, r check.Report, asJSON bool) error {
	if asJSON {
		if err := c.json(r); err != nil {
			return err
		}
	} else {
		printCheck(c, r)
	}
	return checkUnfitness(r)
}

// checkUnfitness is the error of a bench on which a take would be unfit.
func checkUnfitness(r check.Report) error {
	if r.FitToTake {
		return nil
	}
	var stops []string
	for _, f := range r.Findings {
		if f.Grade == check.Stop {
			stops = append(stops, f.What)
		}
	}
	return unfitError{fmt.Errorf("a take would not be fit for use: %s", strings.Join(stops, ", "))}
}

func printCheck(c *console, r check.Report) {
	for _, l := range checkLines(r) {
		if l.name == "" {
			fmt.Fprintln(c.out, l.text)
		} else {
			fmt.Fprintf(c.out, "%-10s %s\n", l.name, l.text)
		}
	}
}

// checkLine is one thing that a check has found, under its name.
type checkLine struct{ name, text string }

func checkLines(r check.Report) (lines []checkLine) {
	add := func(name, format string, args ...any) {
		lines = append(lines, checkLine{name, fmt.Sprintf(format, args...)})
	}
	for _, ch := range r.Channels {
		add(ch.Name, "peak %s, rms %s, noise %s; at %.0f dBFS peak %s",
			notation.Level(ch.PeakDBFS), notation.Level(ch.RMSDBFS), notation.Level(ch.NoiseDBFS), r.PlannedDBFS, notation.Level(ch.ExpectedPeakDBFS))
	}
	if len(r.Noise) > 0 {
		var bands []string
		for _, b := range r.Noise {
			bands = append(bands, fmt.Sprintf("%s %.0f", shortHertz(b.FromHz), b.DBFS))
		}
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
		add("signal", "%.0f dB over the noise at %.0f dBFS", *r.SNRDB, r.PlannedDBFS)
	}
	add("time", "drift %.1f ppm, %d damaged sweeps", r.DriftPPM, r.DamagedRepeats)
	for _, h := range r.Harmonics {
		if h.Seen {
			add("", "harmonic %d about %.2g %% at %.0f dBFS", h.Order, 100*h.Expected, r.PlannedDBFS)
		}
	}
	for _, f := range r.Findings {
		add(string(f.Grade)+":", "%s: %s", f.Text, f.Advice)
	}
	if len(r.Findings) == 0 {
		add("", "all is well")
	}
	if p := proposedLevel(r); p != "" {
		add("proposed", "--level %s", p)
	}
	return lines
}

// proposedLevel is the level to take instead of that planned; empty: that is
// good.
func proposedLevel(r check.Report) string {
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
