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
	return c.command(&cobra.Command{
		Use:   "devices",
		Short: "List sound devices, their channels and rates",
		Long: `List the sound devices with the number or name that 'measure --input' and
'--output' take. A device marked "mixed" is not the hardware itself: a sound
server may resample what passes through it.`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			devices, err := soundcard.Devices(cmd.Context())
			if err != nil {
				return err
			}
			if c.asJSON {
				return c.json(workbench.DeviceRecords(devices))
			}
			return printDevices(c, devices)
		},
	}, output(c.jsonOption("the list")))
}

func printDevices(c *console, devices []soundcard.Device) error {
	w := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "no.\tdevice\tsystem\tin\tout\trates in kHz\tremarks")
	for _, d := range devices {
		fmt.Fprintf(w, "%d\t%s\t%s\t%d\t%d\t%s\t%s\n", d.Number, d.Name, d.HostAPI,
			d.InputChannels, d.OutputChannels, kilohertz(d.RatesHz), strings.Join(deviceRemarks(d), ", "))
	}
	return w.Flush()
}

func kilohertz(ratesHz []int) string {
	if len(ratesHz) == 0 {
		return "–"
	}
	return strings.Join(notation.Each(ratesHz, func(hz int) string { return fmt.Sprint(float64(hz) / 1000) }), " ")
}

func deviceRemarks(d soundcard.Device) []string {
	var remarks []string
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
