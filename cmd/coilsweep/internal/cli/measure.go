package cli

import (
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/capture/device"
	"coilsweep/capture/record"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/quantity"
)

func newMeasure(c *console) *cobra.Command {
	options := workbench.NewMeasurement(programName())
	var json bool
	cmd := &cobra.Command{
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

Start at a low level. Never listen to the sweep through headphones. Switch
phantom power off. Make sure that exciter and amplifier stay cool.`,
		Example: `  coilsweep measure bridge --take bare --input "line in" --output "line out"
  coilsweep measure bridge --take C470p --added-c "470p 1%" --reference current --sense-r 10
  coilsweep measure bridge --take fine --until 0.05%
  coilsweep measure bridge --take finer --after bare`,
		Args: oneArg("the coil folder DIR"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			plan, err := options.Plan(args[0])
			if err != nil {
				return err
			}
			hears := c.hears()
			if err := plan.Shape(cmd.Context(), hears); err != nil {
				return err
			}
			var take capture.Take
			var extras workbench.Extras
			err = c.on(plan.Source, func(recorder record.Recorder) error {
				take, extras, err = plan.Run(cmd.Context(), recorder, hears, nil)
				return err
			})
			if err != nil {
				return err
			}
			return reportTake(c, plan.Folder, take, extras, json)
		}),
	}
	bind(cmd, append(options.Options, output(asJSON("the take", &json))...))
	return cmd
}

// on opens a source for do, and gives its devices back after it.
func (c *console) on(source device.Source, do func(record.Recorder) error) error {
	err, released := workbench.On(source, do)
	if released != nil {
		c.warn("%v", released)
	}
	return err
}

// reportTake prints a finished take. One that is not usable is a
// *capture.UnfitError.
func reportTake(c *console, folder *capture.Folder, take capture.Take, extras workbench.Extras, json bool) error {
	for _, note := range take.Bench.Notes {
		if take.Bench.Source == "import" {
			c.warn("%s: %s", take.Bench.File, note)
		}
	}
	for _, advice := range workbench.TakeAdvice(take) {
		c.warn("%s", workbench.ForCommands(advice, flagName))
	}
	var err error
	if json {
		err = c.json(workbench.NewTakeRecord(folder, take, extras))
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
		return fmt.Errorf("take %s is kept but not usable: %w", take.Name, &capture.UnfitError{What: capture.FlagNames(take.Unfit())})
	}
	return err
}

// printExtras prints what was asked for besides a take.
func printExtras(c *console, take string, e workbench.Extras) error {
	if u := e.Until; u != nil && u.Percent != nil {
		if _, err := fmt.Fprintf(c.out, "take %s: U95 of the resonance %.2g %% after %d sweeps\n", take, *u.Percent, u.Sweeps); err != nil {
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
	_, err := fmt.Fprintf(c.out, "take %s: %s between %s and %s dBFS: the responses differ by at most %.3f ± %.3f dB, near %.0f Hz\n",
		take, verdict, workbench.Signed(l.LevelsDBFS[1]), workbench.Signed(l.LevelsDBFS[0]), math.Abs(l.DeviationDB), quantity.Coverage95*l.UDB, l.AtHz)
	return err
}
