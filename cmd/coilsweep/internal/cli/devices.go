package cli

import (
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"coilsweep/capture/soundcard"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/notation"
)

func newDevices(c *console) *cobra.Command {
	all := false
	return c.command(&cobra.Command{
		Use:   "devices",
		Short: "List sound devices, their channels and rates",
		Long: `List the sound devices: 'measure --input' and '--output' take part of the name,
alone or after the sound system ("wasapi: line in"). A device marked "mixed" is not
the hardware itself: a sound server may resample what passes through it.

Where several sound systems show the same hardware, as on Windows, it is listed once,
under the best of them; --all lists all.`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
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
	}, workbench.Options{on("all", "list the same hardware under each sound system", &all)},
		output(c.jsonOption("the list")))
}

// printDevices lists some of all devices. The number is told where nothing else
// names the device: it moves when something is plugged in.
func printDevices(c *console, all, devices []soundcard.Device) error {
	w := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "device\tsystem\tin\tout\trates in kHz\tremarks")
	for _, d := range devices {
		fmt.Fprintf(w, "%s\t%s\t%d\t%d\t%s\t%s\n", d.Name, d.HostAPI,
			d.InputChannels, d.OutputChannels, kilohertz(d.RatesHz), strings.Join(deviceRemarks(d, all), ", "))
	}
	return w.Flush()
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
		{d.Trouble != "", d.Trouble}} {
		if r.holds {
			remarks = append(remarks, r.words)
		}
	}
	return remarks
}
