package cli

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/capture/device"
	"coilsweep/capture/record"
	"coilsweep/cmd/coilsweep/internal/desk"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/quantity"
	"coilsweep/fit/evaluation"
	"coilsweep/report/data"
	"coilsweep/report/notation"
)

func newMeasure(c *console) *cobra.Command {
	options := workbench.NewMeasurement(programName())
	var all string
	allTakes := text("all-takes", "make the takes with nothing added and with each of these capacitors in turn, "+
		`"220p 1%, 470p 1%", then fit and report (without a value: those of my parts)`, &all)
	allTakes.Group, allTakes.Bare = workbench.GroupTake, desk.AtHand
	return c.command(&cobra.Command{
		Use:   "measure DIR",
		Short: "Play the stimulus, record the coil and keep it as a take",
		Long: `Play the stimulus into the exciter, record the coil and keep the recording as a
take of the coil folder. Ctrl-C stops. A recording that is cut short, by you or by
the device, is kept as takes/NAME.partial. Options that are not given come from
bench.toml; see 'coilsweep bench'.

With --until 0.05% sweeps are played until U95 of the resonance is that small, at
most 32 or --repeats. With --levels the stimulus is played once more, lower. The two
responses differ if coil or bench is driven too hard.

With --after TAKE the sweep stays longest where it tells most about the coil as
TAKE of the folder shows it. In the same time and at the same peak level the
variance of resonance and Q from noise falls to less than half. Harmonics are not
measured then.

A take is never overwritten. With --redo the new take replaces one of that name
once it is complete; the old one is kept as takes/NAME.aside, and is not used any
more.

With --all-takes you are told what to connect, press Enter, and go on to the next
take: nothing added, then each capacitor. Then the coil is fitted and reported. Takes
that are there already are kept.

With --state potted the take is of the coil after it was potted: another state than
that in which it was first measured, with a result of its own, below DIR/states.
'coilsweep compare DIR --states' says what changed.

Start at a low level. Never listen to the sweep through headphones. Switch
phantom power off. Make sure that exciter and amplifier stay cool.`,
		Example: `  coilsweep measure bridge --take bare --input "line in" --output "line out"
  coilsweep measure bridge --take C470p --added-c "470p 1%" --reference current --sense-r 10
  coilsweep measure bridge --all-takes="220p 1%, 470p 1%"
  coilsweep measure bridge --take fine --until 0.05%
  coilsweep measure bridge --take finer --after bare`,
		Args: oneArg("the coil folder DIR"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if all != "" {
				return c.allTakes(cmd, options, args[0], all)
			}
			plan, err := options.Plan(args[0])
			if err != nil {
				return err
			}
			c.tellBench(&options.Bench, options.Options)
			if err := plan.Shape(cmd.Context(), c.hears()); err != nil {
				return err
			}
			var extras workbench.Extras
			take, err := onBench(cmd.Context(), c, plan.Source,
				func(ctx context.Context, recorder record.Recorder, hears workbench.Ears) (take capture.Take,
					err error) {
					take, extras, err = plan.Run(ctx, recorder, hears, nil)
					return take, err
				})
			if err != nil {
				return err
			}
			return reportTake(cmd.Context(), c, plan.Folder, take, extras, plan.Seen())
		},
	}, options.Options, workbench.Options{allTakes}, output(c.jsonOption("the take")))
}

// onBench opens a source for a job, and gives its devices back after it.
func onBench[T any](ctx context.Context, c *console, source device.Source,
	job func(context.Context, record.Recorder, workbench.Ears) (T, error)) (found T, err error) {
	recorder, release, err := source.Open()
	if err != nil {
		return found, err
	}
	found, err = job(ctx, recorder, c.hears())
	if release != nil {
		if err := release(); err != nil {
			c.warn("%v", err)
		}
	}
	return found, err
}

// reportTake prints a finished take. One that is not usable, or that the other takes
// of the folder contradict, is a *capture.UnfitError, as are stated facts that all of
// them contradict. before, if not nil, knows responses.
func reportTake(ctx context.Context, c *console, folder *capture.Folder, take capture.Take,
	extras workbench.Extras, before *evaluation.Evaluation) error {
	for _, note := range take.Bench.Notes {
		if take.Bench.Source == "import" {
			c.warn("%s: %s", take.Bench.File, note)
		}
	}
	for _, advice := range workbench.TakeAdvice(take) {
		c.warn("%s", forCommands(advice))
	}
	contradictions, seen, err := evaluation.Contradictions(ctx, folder, take.Name, before)
	if err != nil {
		return err
	}
	for _, said := range contradictions {
		c.warn("%s", said)
	}
	switch other, compared := seen.OnOtherFixture(take.Name); {
	case other && compared:
		c.warn("take %s has another fixture than the others: they are compared by what is stated of each", take.Name)
	case other:
		c.warn("take %s is not compared with the others: the fixture's capacitance is stated of one and not of the other; "+
			"state it of both (--fixture-c, or [fixture] of bench.toml)", take.Name)
	}
	// Both are said; the take comes first.
	return cmp.Or(printTake(c, folder, take, extras, contradictions), c.contradicted(ctx, take.Name, seen))
}

// printTake is the part of reportTake that goes to the output, and the error that it
// makes of the take by itself.
func printTake(c *console, folder *capture.Folder, take capture.Take, extras workbench.Extras,
	contradictions []string) (err error) {
	if c.asJSON {
		err = c.json(append(takeRecord(folder, take, extras), data.Object{{"contradictions", append([]string{},
			contradictions...)}}...))
	} else {
		_, err = fmt.Fprintf(c.out, "take %s: %s\n", take.Name, workbench.TakeLine(take))
		if line := workbench.DriveLine(take.Drive.Fall); err == nil && line != "" {
			_, err = fmt.Fprintf(c.out, "take %s: %s\n", take.Name, line)
		}
		if err == nil {
			err = printExtras(c, take.Name, extras)
		}
	}
	if err == nil && take.Unfit() != nil {
		return fmt.Errorf("take %s is kept but not usable: %w", take.Name,
			&capture.UnfitError{What: capture.FlagNames(take.Unfit())})
	}
	if err == nil && contradictions != nil {
		return fmt.Errorf("take %s is kept: %w", take.Name,
			&capture.UnfitError{What: "what is stated of it contradicts the other takes"})
	}
	return err
}

// contradicted warns of what was stated and the takes of a folder contradict, as soon
// as there are enough of them to tell: a *capture.UnfitError. Whatever else keeps the
// takes from being fitted is for the fit to say.
func (c *console) contradicted(ctx context.Context, take string, seen *evaluation.Evaluation) error {
	facts, said := seen.Doubted(ctx, take, programName())
	if facts == nil {
		return nil
	}
	c.warn("%s", said)
	return fmt.Errorf("the take is kept: %w",
		&capture.UnfitError{What: "the takes contradict " + strings.Join(facts, "; ")})
}

// printExtras prints what was asked for besides a take.
func printExtras(c *console, take string, e workbench.Extras) error {
	if u := e.Until; u != nil && u.Percent != nil {
		if _, err := fmt.Fprintf(c.out, "take %s: U95 of the resonance %.2g %% after %s\n", take, *u.Percent,
			notation.Count(u.Sweeps, "sweep")); err != nil {
			return err
		}
	}
	l := e.Linearity
	if l == nil {
		return nil
	}
	verdict := "linear"
	if !l.Linear {
		verdict = "not linear"
	}
	_, err := fmt.Fprintf(c.out, "take %s: %s between %s and %s dBFS: the responses differ by at most %.3f ± %.3f "+
		"dB, near %.0f Hz\n",
		take, verdict, workbench.Signed(l.LevelsDBFS[1]), workbench.Signed(l.LevelsDBFS[0]), math.Abs(l.DeviationDB),
		quantity.Coverage95*l.UDB, l.AtHz)
	return err
}

// takeRecord is a take for programs. Where a number is null it is not known, or
// nothing of its kind stands out.
func takeRecord(folder *capture.Folder, t capture.Take, extras workbench.Extras) data.Object {
	q := t.Quality
	var fall data.Object
	if f := t.Drive.Fall; f != nil {
		fall = data.Object{{"db", f.DB}, {"at_hz", f.AtHz}, {"corrected", f.Corrected}}
	}
	var bench any // null: none
	if t.BenchFile != nil {
		bench = t.BenchFile.Path
	}
	record := data.Object{{"take", t.Name}, {"folder", filepath.ToSlash(folder.TakeDir(t.Name))},
		{"fit_for_use", t.Unfit() == nil}, {"bench_file", bench},
		{"flags", append([]capture.Flag{}, q.Flags...)}, {"peak_dbfs", workbench.Finite(q.PeakDBFS)},
		{"rms_dbfs", workbench.Finite(q.RMSDBFS)}, {"noise_dbfs", workbench.Measured(q.NoiseDBFS)},
		{"hum_dbfs", workbench.Measured(q.HumDBFS)}, {"mains_hz", workbench.Measured(q.MainsHz)},
		{"snr_db", workbench.Measured(q.SNRDB)}, {"clipped_samples", q.ClippedSamples},
		{"drift_ppm", workbench.Finite(q.DriftPPM)}, {"polarity", q.Polarity},
		{"alignment_quality", workbench.Finite(q.AlignmentQuality)},
		{"damaged_repeats", append([]int{}, q.DamagedRepeats...)},
		{"clipped_repeats", append([]int{}, q.ClippedRepeats...)}, // of the damaged ones
		{"changed_repeats", append([]int{}, q.ChangedRepeats...)},
		{"drive_fall", fall}}
	if extras.Until != nil {
		record = append(record, data.Object{{"until", extras.Until}}...)
	}
	if extras.Linearity != nil {
		record = append(record, data.Object{{"linearity", extras.Linearity}}...)
	}
	return record
}
