package workbench

import (
	"fmt"

	"coilsweep/capture"
	"coilsweep/capture/quality"
	"coilsweep/excite/quantity"
	"coilsweep/report/notation"
)

// flagAdvice says what a flag means and what to do.
var flagAdvice = map[capture.Flag]string{
	capture.Clipped: "the input was overdriven: lower its gain or the level and record again",
	capture.ClippedRepeat: "some sweeps overdrove the input and are left out: something knocked or switched, or the " +
		"level is at its limit",
	capture.NoStimulus: "the stimulus is not in the recording: check cables, devices and channels",
	capture.TooShort:   "no whole sweep was recorded: record longer",
	capture.Dropout:    "samples were lost: the damaged sweeps are left out; a larger buffer helps[[ ({buffer})]]",
	capture.Drift:      "playback and recording ran at different speeds: this was corrected",
	capture.Hum:        "strong hum: turn the coil, or take it away from transformers",
	capture.LowSNR:     "the signal is close to the noise: raise the level or bring the exciter closer",
	capture.Distorted:  "strong distortion: lower the level",
}

// FlagAdvice says what a flag means for a take of quality q, and what to do;
// empty: there is nothing to do.
func FlagAdvice(flag capture.Flag, q capture.Quality) string {
	if flag == capture.Dropout && len(q.LostRepeats()) == 0 && len(q.Xruns) > 0 {
		return fmt.Sprintf("the device reports lost samples (%d times), but no sweep lacks any, and none is left out "+
			"for that; a larger buffer helps[[ ({buffer})]]", len(q.Xruns))
	}
	if flag == capture.NoStimulus && q.PeakDBFS <= quality.FloorDBFS {
		return "the input gives nothing but zeros: " + quality.ZeroAdvice
	}
	return flagAdvice[flag]
}

// TakeAdvice says what is wrong with a take, and what to do.
func TakeAdvice(take capture.Take) []string {
	said := []string{}
	for _, flag := range take.Quality.Flags {
		words := string(flag)
		if advice := FlagAdvice(flag, take.Quality); advice != "" {
			words += ": " + advice
		}
		said = append(said, words)
	}
	if take.Drive.Fall.Matters() {
		said = append(said, "the drive is not a current source, and this is not corrected: state it as a voltage "+
			"with the same values[[ ({drive} voltage)]], record the current as a reference[[ ({reference} "+
			"current)]], or use a larger series resistor")
	}
	return said
}

// DriveLine is a line on the drive of a take; empty where its fall is not known.
func DriveLine(f *capture.DriveFall) string {
	if f == nil {
		return ""
	}
	state := "not corrected"
	if f.Corrected {
		state = "corrected"
	}
	return fmt.Sprintf("the exciter's current is %.2g dB lower at %s than that of a current source: %s",
		f.DB, quantity.Format(f.AtHz, quantity.Hertz, 2), state)
}

// TakeLine is a take in one line.
func TakeLine(take capture.Take) string {
	q := take.Quality
	noise := "not measured"
	if q.NoiseDBFS != 0 {
		noise = fmt.Sprintf("%s, recording S/N %.0f dB", notation.Level(q.NoiseDBFS), q.SNRDB)
	}
	return fmt.Sprintf("peak %s; noise %s; flags: %s", notation.Level(q.PeakDBFS), noise, capture.FlagNames(q.Flags))
}

// Signed is x with a minus sign, for people.
func Signed(x float64) string { return quantity.Minus(fmt.Sprintf("%g", x)) }
