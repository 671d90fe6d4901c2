package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/excite"
	"coilsweep/fit/check"
	"coilsweep/fit/response"
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

func newCheck(c *console) *cobra.Command {
	var flags takeFlags
	var stimulus stimulusFlags
	var bench benchFlags
	var file benchFileFlags
	var scoutLevel float64
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
			if err := bench.check(cmd); err != nil {
				return err
			}
			if err := file.apply(cmd, args[0]); err != nil {
				return err
			}
			take, err := flags.plan(cmd)
			if err != nil {
				return err
			}
			folder, err := capture.OpenFolder(args[0])
			if err != nil {
				return err
			}
			planned := stimulus.levelDBFS
			if !cmd.Flags().Changed("scout-level") {
				scoutLevel = planned - scoutDB
			}
			if scoutLevel > planned {
				return usagef("--scout-level %g is above the level planned, %g dBFS", scoutLevel, planned)
			}
			if take.Stimulus, err = stimulus.scout(cmd, scoutLevel); err != nil {
				return err
			}
			if planned > 0 {
				return usagef("--level %g: want at most 0 dBFS", planned)
			}
			recorder, release, err := bench.open(take, &flags, wiring{})
			if err != nil {
				return err
			}
			scout := check.Scout{PlannedDBFS: planned}
			if dcr := folder.Coil.DCR; dcr != nil {
				scout.DCROhm = dcr.SI
			}
			judgement, err := c.check(cmd.Context(), recorder, take, scout)
			if err = errors.Join(err, release()); err != nil {
				return err
			}
			return reportCheck(c, judgement, asJSON)
		}),
	}
	f := cmd.Flags()
	flags.addWiring(f)
	stimulus.add(f)
	f.Lookup("duration").DefValue = fmt.Sprintf("%g s", scoutSweepS)
	f.Lookup("repeats").DefValue = fmt.Sprint(scoutRepeats)
	f.Lookup("level").Usage = "level planned for the take, in dBFS"
	f.Float64Var(&scoutLevel, "scout-level", 0, fmt.Sprintf("level of the sweep of the check, in dBFS (default: %d below --level)", scoutDB))
	bench.add(f)
	file.add(f)
	f.BoolVar(&asJSON, "json", false, "print what was found as JSON")
	return cmd
}

// check plays the scout of take and, where that shows that nothing will clip,
// a second sweep at the level planned, for the distortion.
func (c *console) check(ctx context.Context, recorder capture.Recorder, take capture.Take, scout check.Scout) (check.Report, error) {
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
	for _, ch := range r.Channels {
		fmt.Fprintf(c.out, "%-10s peak %s, rms %s, noise %s; at %.0f dBFS peak %s\n", ch.Name,
			level(ch.PeakDBFS), level(ch.RMSDBFS), level(ch.NoiseDBFS), r.PlannedDBFS, level(ch.ExpectedPeakDBFS))
	}
	if len(r.Noise) > 0 {
		var bands []string
		for _, b := range r.Noise {
			bands = append(bands, fmt.Sprintf("%s %.0f", shortHertz(b.FromHz), b.DBFS))
		}
		fmt.Fprintf(c.out, "noise      in dBFS by octave from Hz: %s\n", strings.Join(bands, ", "))
	}
	if m := r.Mains; m != nil {
		var lines []string
		for _, l := range m.Lines {
			if l.DBFS > m.DBFS-30 {
				lines = append(lines, fmt.Sprintf("%d: %.0f", l.Order, l.DBFS))
			}
		}
		fmt.Fprintf(c.out, "mains      %.3f Hz, %.0f dBFS in all; harmonics in dBFS: %s\n", m.Hz, m.DBFS, strings.Join(lines, ", "))
	} else {
		fmt.Fprintln(c.out, "mains      none stands out")
	}
	if r.MarginDB != nil {
		at := ""
		if r.PeakHz != nil {
			at = fmt.Sprintf(", loudest at %.0f Hz", *r.PeakHz)
		}
		fmt.Fprintf(c.out, "margin     %.1f dB to clipping at %.0f dBFS%s\n", *r.MarginDB, r.PlannedDBFS, at)
	}
	if r.SNRDB != nil {
		fmt.Fprintf(c.out, "signal     %.0f dB over the noise at %.0f dBFS\n", *r.SNRDB, r.PlannedDBFS)
	}
	fmt.Fprintf(c.out, "time       drift %.1f ppm, %d damaged sweeps\n", r.DriftPPM, r.DamagedRepeats)
	for _, h := range r.Harmonics {
		if h.Seen {
			fmt.Fprintf(c.out, "harmonic %d about %.2g %% at %.0f dBFS\n", h.Order, 100*h.Expected, r.PlannedDBFS)
		}
	}
	for _, f := range r.Findings {
		fmt.Fprintf(c.out, "%-10s %s: %s\n", f.Grade+":", f.Text, f.Advice)
	}
	if len(r.Findings) == 0 {
		fmt.Fprintln(c.out, "all is well")
	}
	if p := r.ProposedDBFS; p != nil && math.Abs(*p-r.PlannedDBFS) >= 1 {
		fmt.Fprintf(c.out, "proposed   --level %.0f\n", *p)
	}
}

func shortHertz(hz float64) string {
	if hz >= 1000 {
		return fmt.Sprintf("%.3gk", hz/1000)
	}
	return fmt.Sprintf("%.0f", hz)
}
