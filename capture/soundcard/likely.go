package soundcard

import (
	"cmp"
	"slices"
	"strings"
)

// evidence is what words in a device's name say of it, as systems and makers of drivers name
// devices (common practice). weight is for or against it at a bench.
var evidence = []struct {
	words  []string
	weight int
	is     string
}{
	{[]string{"usb", "interface", "thunderbolt", "firewire"}, 3, "by its name an interface made for recording"},
	{[]string{"line in", "line-in", "line (", "line out"}, 2, "a line socket"},
	{[]string{"camera", "webcam"}, -6, "the microphone of a camera"},
	{[]string{"microphone array", "mic array", "internal mic", "built-in mic"}, -3, "a built-in microphone"},
	{[]string{"bluetooth", "hands-free", "headset"}, -5, "a headset: wireless ones code the sound, others process it"},
	{[]string{"hdmi", "displayport"}, -5, "the sound of a screen"},
	{[]string{"iec958", "spdif", "s/pdif"}, -3, "a digital socket"},
}

// Monitor tells whether the device is known to record what the computer itself plays, and no
// socket: by its name, as sound servers and systems give it.
func (d Device) Monitor() bool {
	name := strings.ToLower(d.Name)
	return d.InputChannels > 0 && slices.ContainsFunc(
		[]string{"monitor of", "monitor_of", ".monitor", "[loopback]", "stereo mix", "what u hear", "wave out mix"},
		func(words string) bool { return strings.Contains(name, words) })
}

// serverChannels is how many channels a sound server offers that mixes them all: no card for
// a bench has as many.
const serverChannels = 32

// About says in a sentence what a device is, where its name and figures tell; else it is empty.
func (d Device) About() string {
	switch {
	case d.Monitor():
		return "records what this computer plays, not a socket: of no use for a coil"
	case d.MayResample && max(d.InputChannels, d.OutputChannels) >= serverChannels:
		return "a sound server: its many channels are no sockets. It plays and records on the devices that the " +
			"system's sound settings name, and mixes and may resample on the way"
	}
	if _, is := weigh(d, input); is != "" {
		return is
	}
	return ""
}

// weigh is what speaks for a device in one direction, and what it is by its name.
func weigh(d Device, way direction) (weight int, is string) {
	name := strings.ToLower(d.Name)
	strongest := 0
	for _, e := range evidence {
		if !slices.ContainsFunc(e.words, func(w string) bool { return strings.Contains(name, w) }) {
			continue
		}
		weight += e.weight
		if e.weight*e.weight > strongest*strongest {
			strongest, is = e.weight, e.is
		}
	}
	if !d.MayResample {
		weight++
	}
	if d.in(way).isDefault {
		weight += 2
	}
	return weight, is
}

// likely are the devices that can be meant where nobody said which, the likeliest first.
// One that records what is played is none, nor is one with trouble.
func likely(devices []Device, way direction) []Device {
	able := best(keep(devices, func(d Device) bool {
		return d.in(way).channels > 0 && d.Trouble == "" && (way == output || !d.Monitor())
	}))
	slices.SortStableFunc(able, func(a, b Device) int {
		of, with := weightOf(a, way), weightOf(b, way)
		return cmp.Compare(with, of)
	})
	return able
}

func weightOf(d Device, way direction) int {
	weight, _ := weigh(d, way)
	return weight
}

// Choice is a device that is used where nobody said which.
type Choice struct {
	Device
	Why string // in words
}

// Likely are the input and the output that are used where nobody said which; nil: none can
// be. The judgement is by names, figures and the system's defaults alone: nothing is heard.
func Likely(devices []Device) (in, out *Choice) {
	of := func(way direction) *Choice {
		able := likely(devices, way)
		if len(able) == 0 {
			return nil
		}
		return &Choice{able[0], why(able[0], way)}
	}
	return of(input), of(output)
}

// why says what speaks for a device.
func why(d Device, way direction) string {
	var reasons []string
	if weight, is := weigh(d, way); is != "" && weight > 0 {
		reasons = append(reasons, is)
	}
	if !d.MayResample {
		reasons = append(reasons, "the hardware itself, which nothing mixes or resamples")
	}
	if d.in(way).isDefault {
		reasons = append(reasons, "the system's default "+string(way))
	}
	if len(reasons) == 0 {
		return "nothing speaks for it but that there is no better one"
	}
	return strings.Join(reasons, "; ")
}
