package workbench

import (
	"math"

	"coilsweep/capture/soundcard"
	"coilsweep/report/notation"
)

// Measured is Finite for values whose 0 means that they could not be measured.
func Measured(x float64) *float64 {
	if x == 0 {
		return nil
	}
	return Finite(x)
}

// Finite is x, or nil where JSON has no number for it.
func Finite(x float64) *float64 {
	if math.IsInf(x, 0) || math.IsNaN(x) {
		return nil
	}
	return &x
}

// DeviceRecord is a sound device for programs.
type DeviceRecord struct {
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
	// Monitor: it records what is played. About is what it is, in words; empty: nothing tells.
	Monitor bool   `json:"monitor"`
	About   string `json:"about,omitempty"`
	// LikelyInput and LikelyOutput say why it is used where nobody says which; empty: it is not.
	LikelyInput  string `json:"likely_input,omitempty"`
	LikelyOutput string `json:"likely_output,omitempty"`
}

// DeviceRecords are the records of devices; an empty list, not null, of none.
func DeviceRecords(devices []soundcard.Device) []DeviceRecord {
	in, out := soundcard.Likely(devices)
	why := func(c *soundcard.Choice, d soundcard.Device) string {
		if c == nil || c.Number != d.Number {
			return ""
		}
		return c.Why
	}
	return notation.Each(devices, func(d soundcard.Device) DeviceRecord {
		return DeviceRecord{
			Monitor: d.Monitor(), About: d.About(), LikelyInput: why(in, d), LikelyOutput: why(out, d),
			Number: d.Number, Name: d.Name, System: d.HostAPI,
			InputChannels: d.InputChannels, OutputChannels: d.OutputChannels,
			DefaultRateHz: d.DefaultRateHz, RatesHz: append([]int{}, d.RatesHz...),
			DefaultInput: d.DefaultInput, DefaultOutput: d.DefaultOutput,
			MayResample: d.MayResample, Trouble: d.Trouble,
		}
	})
}
