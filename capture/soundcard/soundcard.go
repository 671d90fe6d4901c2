// Package soundcard plays the stimulus and records the coil with a sound card
// through PortAudio. Card is a record.Recorder.
//
// Only this package needs cgo and the PortAudio library. Built without cgo it
// has the same functions, and they say so.
//
// Samples cross from the driver's thread to ours in a ring buffer without
// locks: see engine. Text that the C libraries write to their error stream is
// kept from the terminal and quoted in errors: see chatter.
package soundcard

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// UsualRatesHz are the sample rates that Devices asks each device for.
var UsualRatesHz = []int{44100, 48000, 88200, 96000, 176400, 192000}

// ErrNoCgo is what Devices and Open return in a program built without cgo.
var ErrNoCgo = errors.New("this coilsweep was built without sound card support: build it with CGO_ENABLED=1, " +
	"a C compiler and PortAudio's development files (Debian: portaudio19-dev, pkg-config), " +
	"or record with another program and use coilsweep stimulus and coilsweep import")

// Device is a sound device as PortAudio shows it.
type Device struct {
	Number         int
	Name           string
	HostAPI        string
	InputChannels  int // the most that can be recorded; 0: output only
	OutputChannels int // the most that can be played; 0: input only
	DefaultRateHz  float64
	// InputLatency and OutputLatency are the driver's "high" defaults, those
	// meant for robust streaming.
	InputLatency, OutputLatency time.Duration
	DefaultInput, DefaultOutput bool // the system's default
	// RatesHz are those of UsualRatesHz that the device takes in every
	// direction that works.
	RatesHz []int
	// Trouble says which direction cannot be used now, and why; usually empty.
	Trouble string
	// MayResample: the name is not that of hardware, so that a mixer or sound
	// server between us and the converter may change the rate behind our back.
	MayResample bool
}

// Options says what to open.
type Options struct {
	// Input and Output are part of a device's name, case ignored, alone or after
	// its host API ("wasapi: line in"), or its number, which moves when something
	// is plugged in; empty means the likeliest that can be opened: see Likely.
	Input, Output string
	// CoilChannel and ReferenceChannel are channels of the input device, from
	// 1. CoilChannel 0 means 1; ReferenceChannel 0 means that none is recorded.
	CoilChannel, ReferenceChannel int
	// Pair: where ReferenceChannel is 0 and the input has two channels, it is 2.
	Pair bool
	// OutputChannel is the channel of the output device that drives the
	// exciter, from 1; 0 means 1. The other channels stay silent.
	OutputChannel int
	RateHz        int // 0: 48000
	// BufferS is the latency to ask the driver for, in each direction, in s.
	// 0: 0.2 s, or 0.5 s where a sound server may be on the way (see
	// Device.MayResample), or the driver's own robust default if that is longer.
	BufferS float64
	// KeepRunning leaves the device running, silent and unheard, between one
	// Record and the next, which then begins within a block of the driver
	// instead of after a new start and its run-in. It is for a program that
	// listens between its takes.
	KeepRunning bool
	// Verbose lets the text of the C libraries through to the terminal.
	Verbose bool
}

// The latency that can be asked for. Below the least, drop-outs are certain;
// above the most, a device that has stalled could not be told in 3 s from one
// that fills its buffer.
const (
	leastBufferS    = 0.005
	mostBufferS     = 1.0
	hardwareBufferS = 0.2
	serverBufferS   = 0.5
)

// withDefaults fills in what was left zero and refuses what no device can do.
func (o Options) withDefaults() (Options, error) {
	o.CoilChannel, o.OutputChannel = cmp.Or(o.CoilChannel, 1), cmp.Or(o.OutputChannel, 1)
	o.RateHz = cmp.Or(o.RateHz, 48000)
	switch {
	case o.CoilChannel < 0 || o.ReferenceChannel < 0 || o.OutputChannel < 0:
		return o, errors.New("channels of a sound device are numbered from 1")
	case o.CoilChannel == o.ReferenceChannel:
		return o, fmt.Errorf("coil and reference cannot both be input channel %d", o.CoilChannel)
	case o.RateHz < 0:
		return o, fmt.Errorf("a sample rate of %d Hz is impossible", o.RateHz)
	case o.BufferS != 0 && !(o.BufferS >= leastBufferS && o.BufferS <= mostBufferS):
		return o, fmt.Errorf("a buffer of %g s is outside %g to %g s", o.BufferS, leastBufferS, mostBufferS)
	}
	return o, nil
}

// direction is the way a device is to be used.
type direction string

const (
	input  direction = "input"
	output direction = "output"
)

// oneWay is what a device is in one direction.
type oneWay struct {
	channels  int
	isDefault bool // the system's
	latency   time.Duration
}

func (d Device) in(way direction) oneWay {
	if way == input {
		return oneWay{d.InputChannels, d.DefaultInput, d.InputLatency}
	}
	return oneWay{d.OutputChannels, d.DefaultOutput, d.OutputLatency}
}

// candidates are the devices that wanted may mean, the likeliest first: one, unless it is
// empty.
func candidates(devices []Device, wanted string, way direction) ([]Device, error) {
	if wanted != "" {
		d, err := choose(devices, wanted, way)
		return []Device{d}, err
	}
	able := likely(devices, way)
	if len(able) == 0 {
		with := keep(devices, func(d Device) bool { return d.in(way).channels > 0 })
		return nil, fmt.Errorf("no %s device is likely to be the right one: choose one by name\n%s", way,
			list(devices, with))
	}
	return able, nil
}

// choose finds the device that the user means by wanted (see Options.Input).
// A number is one only if it is nothing but digits. A name that is matched as
// a whole wins over names of which it is a part, and of host APIs that all have
// the device the best (rank).
func choose(devices []Device, wanted string, way direction) (Device, error) {
	able := keep(devices, func(d Device) bool { return d.in(way).channels > 0 })
	if number, err := strconv.Atoi(wanted); err == nil {
		i := slices.IndexFunc(devices, func(d Device) bool { return d.Number == number })
		switch {
		case i < 0:
			return Device{}, fmt.Errorf("there is no sound device number %d; with %s channels there are\n%s", number,
				way, list(devices, able))
		case devices[i].in(way).channels == 0:
			return Device{}, fmt.Errorf("sound device %d (%s) has no %s channels", number, devices[i].Name, way)
		}
		return devices[i], nil
	}
	among, want := able, strings.ToLower(wanted)
	if api, name, found := strings.Cut(want, ":"); found {
		if of := keep(able, func(d Device) bool { return shortAPI(d.HostAPI) == api }); len(of) > 0 {
			among, want = of, strings.TrimSpace(name)
		}
	}
	whole := keep(among, func(d Device) bool { return strings.ToLower(d.Name) == want })
	part := keep(among, func(d Device) bool { return strings.Contains(strings.ToLower(d.Name), want) })
	if len(whole) > 0 {
		part = whole
	}
	part = best(part)
	switch len(part) {
	case 0:
		return Device{}, fmt.Errorf("no sound device with %s channels has %q in its name; there are\n%s", way, wanted,
			list(devices, able))
	case 1:
		return part[0], nil
	}
	return Device{}, fmt.Errorf("%q is part of the name of %d sound devices with %s channels: give more of the name\n%s",
		wanted, len(part), way, list(devices, part))
}

func keep(from []Device, of func(Device) bool) []Device {
	return slices.DeleteFunc(slices.Clone(from), func(d Device) bool { return !of(d) })
}

// shortAPI is what people call a host API: "wasapi" of "Windows WASAPI".
func shortAPI(hostAPI string) string {
	name := strings.TrimPrefix(strings.ToLower(hostAPI), "windows ")
	if strings.HasPrefix(name, "jack") {
		return "jack"
	}
	return strings.ReplaceAll(name, " ", "")
}

// rank is the place of a host API among those that show one device, 0 the best: on
// Windows WASAPI has whole names and 32-bit samples, DirectSound goes through it, MME
// has 16 bits and the first 31 characters of a name, and WDM-KS takes a device from
// all other programs.
func rank(hostAPI string) int {
	return max(0, slices.Index([]string{"wasapi", "directsound", "mme", "wdm-ks"}, shortAPI(hostAPI)))
}

// best is the devices of the best host API among them.
func best(devices []Device) []Device {
	if len(devices) == 0 {
		return nil
	}
	least := rank(slices.MinFunc(devices, func(a, b Device) int { return rank(a.HostAPI) - rank(b.HostAPI) }).HostAPI)
	return keep(devices, func(d Device) bool { return rank(d.HostAPI) == least })
}

// Once is the devices without what other host APIs show of the same hardware.
func Once(devices []Device) []Device {
	is := func(way direction) []Device {
		return best(keep(devices, func(d Device) bool { return d.in(way).channels > 0 }))
	}
	once := slices.Concat(is(input), is(output))
	return keep(devices, func(d Device) bool {
		return slices.ContainsFunc(once, func(o Device) bool { return o.Number == d.Number })
	})
}

// Called is what chooses d among all devices of its direction: its name where no other
// has it, else with its host API; where that has two of that name, only its number does.
func (d Device) Called(all []Device) string {
	alike := keep(all, func(o Device) bool {
		rivals := o.InputChannels > 0 && d.InputChannels > 0 || o.OutputChannels > 0 && d.OutputChannels > 0
		return rivals && strings.EqualFold(o.Name, d.Name)
	})
	switch same := keep(alike, func(o Device) bool { return o.HostAPI == d.HostAPI }); {
	case len(alike) == 1:
		return d.Name
	case len(same) == 1:
		return shortAPI(d.HostAPI) + ": " + d.Name
	}
	return strconv.Itoa(d.Number)
}

// twoClocks tells whether two devices are known to run on two clocks. Of most nobody
// can know: systems show the two sides of one interface as two devices.
func twoClocks(in, out Device) bool {
	card := func(d Device) string {
		_, address, _ := strings.Cut(d.Name, "(hw:")
		number, _, _ := strings.Cut(address, ",")
		return number
	}
	return card(in) != "" && card(out) != "" && card(in) != card(out)
}

// list is some of all devices a line each, for the end of an error.
func list(all, devices []Device) string {
	if len(devices) == 0 {
		return "  (none)"
	}
	lines := make([]string, len(devices))
	for i, d := range devices {
		lines[i] = "  " + d.Called(all)
		if called := d.Called(all); !strings.HasSuffix(called, d.Name) {
			lines[i] += "  " + d.Name
		}
		lines[i] += " (" + d.HostAPI + ")"
	}
	return strings.Join(lines, "\n")
}

// refusedRate says which rates a device takes instead, and of a mixer at whose rate
// all programs run where that is set.
func refusedRate(d Device, way direction, rateHz int, takes []int) error {
	if shortAPI(d.HostAPI) == "wasapi" {
		return fmt.Errorf("%s (%s) does not take %d Hz: Windows mixes all its sound at %.0f Hz; choose that rate, or set "+
			"the device to %d Hz in Windows' sound settings (its properties, Advanced)", d.Name, way, rateHz,
			d.DefaultRateHz, rateHz)
	}
	return fmt.Errorf("sound device %d (%s, %s) does not take %d Hz as %s; it takes %s: choose one of these or "+
		"another device", d.Number, d.Name, d.HostAPI, rateHz, way, rateList(takes))
}

// rateList is rates for a sentence: "44100, 48000 Hz".
func rateList(rates []int) string {
	if len(rates) == 0 {
		return "none of the usual rates"
	}
	texts := make([]string, len(rates))
	for i, r := range rates {
		texts[i] = strconv.Itoa(r)
	}
	return strings.Join(texts, ", ") + " Hz"
}

// mayResample judges by host API and name whether something that converts
// rates sits between us and the converter.
//
// ALSA: only names that end in the card and device number, "(hw:1,0)", are the
// hardware; all else (default, pulse, pipewire, dmix, sysdefault, plug...) is
// a plug-in. The shared modes of desktop systems mix at a rate of their own;
// JACK, ASIO and kernel streaming run at the device's rate or refuse.
func mayResample(hostAPI, name string) bool {
	switch {
	case strings.HasPrefix(hostAPI, "ALSA"):
		return !strings.Contains(name, "(hw:")
	case strings.HasPrefix(hostAPI, "JACK"), strings.HasPrefix(hostAPI, "ASIO"), strings.Contains(hostAPI, "WDM-KS"):
		return false
	}
	return true
}

// common is the rates that are in both lists.
func common(a, b []int) []int {
	return slices.DeleteFunc(slices.Clone(a), func(r int) bool { return !slices.Contains(b, r) })
}
