package workbench

import "strings"

// labels are what people call options whose names do not say it.
var labels = map[string]string{
	"take":              "name of the take",
	"added-c":           "added capacitor",
	"added-r":           "added resistor",
	"fixture-c":         "fixture's capacitance",
	"fixture-r":         "fixture's resistance",
	"drive":             "how the exciter is driven",
	"exciter-r":         "resistance of the exciter circuit",
	"exciter-l":         "inductance of the exciter",
	"sense-r":           "sense resistor",
	"reference":         "reference",
	"coil-channel":      "coil's channel",
	"reference-channel": "reference's channel",
	"rate":              "sample rate",
	"level":             "level",
	"from":              "lower end",
	"to":                "upper end",
	"duration":          "length of one sweep",
	"repeats":           "number of sweeps",
	"input":             "input device",
	"output":            "output device",
	"output-channel":    "output channel",
	"buffer":            "latency",
	"ripple":            "unevenness of the sound card's response",
	"ripple-take":       "change of that between takes",
	"clock":             "error of the sample clock",
	"volume":            "volume pot", "volume-at": "volume knob", "volume-taper": "volume taper",
	"tone": "tone pot", "tone-at": "tone knob", "tone-taper": "tone taper", "tone-c": "tone capacitor",
	"tone-at-output": "tone control behind the volume", "tone-open": "no-load tone pot",
	"bleed-c": "treble bleed's capacitor", "bleed-parallel": "treble bleed's parallel resistor",
	"bleed-series": "treble bleed's series resistor",
	"cable":        "cable's capacitance", "cable-length": "cable's length", "cable-per-metre": "capacitance of a metre of cable",
	"amp": "amplifier's resistance", "amp-c": "amplifier's capacitance",
	"target": "wanted peak frequency", "solve": "part to find",
	"dcr": "DC resistance", "scout-level": "level of the trial sweep", "series": "series resistor",
	"montecarlo": "number of trials", "same-bench": "same parts and fixture for all", "redo": "replace the take",
}

// labelOf is what a person calls the option.
func labelOf(option string) string {
	if label, ok := labels[option]; ok {
		return label
	}
	return strings.ReplaceAll(option, "-", " ")
}
