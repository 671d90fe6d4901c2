package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/capture/soundcard"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/notation"
)

func newDevices(c *console) *cobra.Command {
	all, try := false, false
	trial := workbench.NewTrial(programName())
	for _, o := range trial.Options {
		o.Group = "With --try"
	}
	return c.command(&cobra.Command{
		Use:   "devices",
		Short: "List sound devices, say which is likely the right one, try a pair",
		Long: `List the sound devices: 'measure --input' and '--output' take part of the name,
alone or after the sound system ("wasapi: line in"). A device marked "mixed" is not
the hardware itself: a sound server may resample what passes through it. Below stand
the devices that are used where nobody says which, and why: an interface comes before
the system's default, and what records the computer's own output is never used.

Where several sound systems show the same hardware, as on Windows, it is listed once,
under the best of them; --all lists all.

With --try three short sweeps are played at -36 dBFS, which is quiet, and recorded. Then
it is said what came: how loud, how late, through a coil, a cable or inside the computer,
or nothing and why that may be; and whether something on the way alters the sound. Keep
headphones off. The exit status is 3 if a take on that pair would not be usable.`,
		Example: `  coilsweep devices
  coilsweep devices --try
  coilsweep devices --try --input "line in" --output "line out"`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if name := trial.AnyGiven(); name != "" && !try {
				return usagef("--%s belongs to --try", name)
			}
			if try {
				return tryDevices(cmd.Context(), c, trial)
			}
			devices, err := soundcard.Devices(cmd.Context())
			if err != nil {
				return err
			}
			if c.asJSON {
				return c.json(workbench.DeviceRecords(devices))
			}
			if all {
				return printDevices(c, devices, devices)
			}
			return printDevices(c, devices, soundcard.Once(devices))
		},
	}, workbench.Options{on("all", "list the same hardware under each sound system", &all),
		on("try", "play quietly on a pair of devices and say what comes", &try)}, trial.Options,
		output(c.jsonOption("the list, or what came")))
}

// tryDevices prints what comes of a trial.
func tryDevices(ctx context.Context, c *console, trial *workbench.Trial) error {
	source, err := trial.Source()
	if err != nil {
		return err
	}
	outcome, err := onBench(ctx, c, source, trial.Run)
	if _, unfit := errors.AsType[*capture.UnfitError](err); err != nil && !unfit {
		return err
	}
	c.format = "devices-try"
	return c.showRecord(outcome, func(w io.Writer) error {
		for _, l := range workbench.TrialLines(outcome) {
			if _, err := fmt.Fprintf(w, "%-10s %s\n", l.Name, l.Text); err != nil {
				return err
			}
		}
		return nil
	}, err)
}

// printDevices lists some of all devices, and those that are likely the right ones. The
// number is told where nothing else names the device: it moves when something is plugged in.
func printDevices(c *console, all, devices []soundcard.Device) error {
	w := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "device\tsystem\tin\tout\trates in kHz\tremarks")
	var about []string
	said := map[string][]string{} // by what it is: several devices of a sound server
	for _, d := range devices {
		fmt.Fprintf(w, "%s\t%s\t%d\t%d\t%s\t%s\n", d.Name, d.HostAPI,
			d.InputChannels, d.OutputChannels, kilohertz(d.RatesHz), strings.Join(deviceRemarks(d, all), ", "))
		if text := d.About(); text != "" {
			said[text] = append(said[text], d.Name)
		}
	}
	for _, text := range slices.Sorted(maps.Keys(said)) {
		about = append(about, strings.Join(said[text], ", ")+": "+text)
	}
	in, out := soundcard.Likely(all)
	for _, l := range []struct {
		way string
		*soundcard.Choice
	}{{"input", in}, {"output", out}} {
		if l.Choice == nil {
			about = append(about, "likely "+l.way+": none; name one that you know")
		} else {
			about = append(about, fmt.Sprintf("likely %s: %s (%s)", l.way, l.Called(all), l.Why))
		}
	}
	if err := w.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(c.out, "\n%s\n", strings.Join(about, "\n"))
	return err
}

func kilohertz(ratesHz []int) string {
	if len(ratesHz) == 0 {
		return "–"
	}
	return strings.Join(notation.Each(ratesHz, func(hz int) string { return fmt.Sprint(float64(hz) / 1000) }), " ")
}

func deviceRemarks(d soundcard.Device, all []soundcard.Device) []string {
	var remarks []string
	if called := d.Called(all); !strings.HasSuffix(called, d.Name) {
		remarks = append(remarks, "number "+called)
	}
	for _, r := range []struct {
		holds bool
		words string
	}{{d.DefaultInput, "default input"}, {d.DefaultOutput, "default output"}, {d.MayResample, "mixed"},
		{d.Monitor(), "monitor"}, {d.Trouble != "", d.Trouble}} {
		if r.holds {
			remarks = append(remarks, r.words)
		}
	}
	return remarks
}
