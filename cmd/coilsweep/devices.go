package main

import (
	"fmt"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"coilsweep/capture/soundcard"
)

func newDevices(c *console) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "devices",
		Short: "List sound devices, their channels and rates",
		Long: `List the sound devices with the number or name that 'measure --input' and
'--output' take. A device marked "mixed" is not the hardware itself: a sound
server may resample what passes through it.`,
		Args: noArgs,
		RunE: c.body(func(cmd *cobra.Command, _ []string) error {
			devices, err := soundcard.Devices(cmd.Context())
			if err != nil {
				return err
			}
			if asJSON {
				return c.json(deviceRecords(devices))
			}
			return printDevices(c, devices)
		}),
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the list as JSON")
	return cmd
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
		return "-"
	}
	var s []string
	for _, r := range ratesHz {
		s = append(s, strconv.FormatFloat(float64(r)/1000, 'g', -1, 64))
	}
	return strings.Join(s, " ")
}

func deviceRemarks(d soundcard.Device) []string {
	var remarks []string
	if d.DefaultInput {
		remarks = append(remarks, "default input")
	}
	if d.DefaultOutput {
		remarks = append(remarks, "default output")
	}
	if d.MayResample {
		remarks = append(remarks, "mixed")
	}
	if d.Trouble != "" {
		remarks = append(remarks, d.Trouble)
	}
	return remarks
}

// deviceRecord is one device of 'devices --json'.
type deviceRecord struct {
	Number         int     `json:"number"`
	Name           string  `json:"name"`
	System         string  `json:"system"`
	InputChannels  int     `json:"input_channels"`
	OutputChannels int     `json:"output_channels"`
	DefaultRateHz  float64 `json:"default_rate_hz"`
	RatesHz        []int   `json:"rates_hz"`
	DefaultInput   bool    `json:"default_input"`
	DefaultOutput  bool    `json:"default_output"`
	MayResample    bool    `json:"may_resample"`
	Trouble        string  `json:"trouble,omitempty"`
}

func deviceRecords(devices []soundcard.Device) []deviceRecord {
	records := []deviceRecord{} // an empty list, not null
	for _, d := range devices {
		records = append(records, deviceRecord{
			Number: d.Number, Name: d.Name, System: d.HostAPI,
			InputChannels: d.InputChannels, OutputChannels: d.OutputChannels,
			DefaultRateHz: d.DefaultRateHz, RatesHz: append([]int{}, d.RatesHz...),
			DefaultInput: d.DefaultInput, DefaultOutput: d.DefaultOutput,
			MayResample: d.MayResample, Trouble: d.Trouble,
		})
	}
	return records
}
