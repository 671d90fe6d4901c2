package workbench

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"coilsweep/capture"
	"coilsweep/capture/align"
	"coilsweep/capture/quality"
	"coilsweep/excite/quantity"
	"coilsweep/report/notation"
)

// flagAdvice says what a flag means and what to do.
var flagAdvice = map[capture.Flag]string{
	capture.Clipped: "the input was overdriven: lower its gain or the level and record again",
	capture.ClippedRepeat: "some sweeps overdrove the input and are left out: something knocked or switched, or the " +
		"level is at its limit",
	capture.Drift:  "playback and recording ran at different speeds: this was corrected",
	capture.Hum:    "strong hum: turn the coil, or take it away from transformers",
	capture.LowSNR: "the signal is close to the noise: raise the level or bring the exciter closer",
	capture.Processed: "there is more noise in the sweeps than between them: lossy coding (MP3, AAC), noise reduction " +
		"or a loose contact; record to WAV or FLAC without any processing",
	capture.Resampled: "the recording has next to nothing in the upper part of its band, as where it was resampled " +
		"from a lower rate, or coded with loss: record at the rate of the hardware, and by the hardware itself in " +
		"place of a sound server's device[[: 'devices' tells which are; {rate}]]",
	capture.Distorted: "strong distortion: lower the level",
	capture.SwappedChannels: "the coil's and the reference's channel are swapped: swap the plugs, or state the " +
		"channels[[ ({coil-channel}, {reference-channel})]]",
	capture.SameSignal: "both channels carry the same signal: record coil and reference on two inputs, in stereo " +
		"and not mixed down to mono",
	capture.NoCoil: "the output itself was recorded, without exciter and coil: record the input that the coil is " +
		"connected to, not what the computer plays, and switch direct monitoring off",
	capture.NoReference: "the sweep is not on the reference channel: check its cable, its channel and the exciter " +
		"circuit, or record without a reference[[ ({reference} none)]]",
	capture.Cancels: "the response rises to its peak without a plateau: the two halves of a hum-cancelling pickup " +
		"cancel each other (put the exciter over one of them), or the exciter is not connected and crosstalk is heard",
	capture.Crosstalk: "the sweep is heard faintly and without a resonance, as by crosstalk: the coil is not " +
		"connected, or the input is shorted or muted",
}

// FlagAdvice says what a flag means for a take, and what to do; empty: there is
// nothing to do.
func FlagAdvice(flag capture.Flag, take capture.Take) string {
	switch flag {
	case capture.Dropout:
		return dropoutAdvice(take)
	case capture.Changed:
		return changedAdvice(take.Quality)
	case capture.TooShort:
		return tooShortAdvice(take)
	case capture.NoStimulus:
		return noStimulusAdvice(take.Quality)
	}
	return flagAdvice[flag]
}

// dropoutAdvice tells samples that a device lost from those that something altered.
func dropoutAdvice(take capture.Take) string {
	q := take.Quality
	shifts := func(j align.Jump) bool { return j.Samples != 0 }
	switch {
	case len(q.LostRepeats()) == 0 && len(q.Xruns) > 0:
		return fmt.Sprintf("the device reports lost samples (%d times), but no sweep lacks any, and none is left out "+
			"for that; a larger buffer helps[[ ({buffer})]]", len(q.Xruns))
	case take.Bench.Source == "import" || slices.Contains(q.Flags, capture.Processed):
		return "samples were lost or altered: the damaged sweeps are left out; record to WAV or FLAC, without noise " +
			"reduction, echo cancelling or lossy coding (MP3, AAC)"
	case take.Alignment != nil && len(q.Xruns) == 0 && !slices.ContainsFunc(take.Alignment.Jumps, shifts):
		return "samples were overwritten or silenced: the damaged sweeps are left out; switch noise reduction and " +
			"echo cancelling off; a larger buffer may help[[ ({buffer})]]"
	}
	return "samples were lost: the damaged sweeps are left out; a larger buffer helps[[ ({buffer})]]"
}

// tooShortAdvice tells a recording that lacks the ends of its sweeps from one in which each
// sweep was damaged.
func tooShortAdvice(take capture.Take) string {
	q := take.Quality
	lost, clipped, changed := len(q.LostRepeats()) > 0, len(q.ClippedRepeats) > 0, len(q.ChangedRepeats) > 0
	if take.Alignment == nil {
		switch {
		case take.Bench.Source == "import":
			return "no sweep lies wholly in the recording: record from before the first sweep until after the last"
		case len(q.Xruns) > 0:
			return "no whole sweep came back, and the device reports lost samples: see that nothing else uses it, and " +
				"try a larger buffer[[ ({buffer})]]"
		}
		return "no whole sweep came back, as where the device lost samples or stopped: see that nothing else uses it, " +
			"and try a larger buffer[[ ({buffer})]]"
	}
	var how []string
	for _, h := range []struct {
		so   bool
		text string
	}{{lost, "lost samples or had some altered"}, {clipped, "overdrove the input"},
		{changed, "differed in its response"}} {
		if h.so {
			how = append(how, h.text)
		}
	}
	return "no sweep is left, since each " + strings.Join(how, " or ") + ": mend that and record again; a longer " +
		"recording would not help"
}

// quietInputDBFS is the noise of an input to which nothing is connected, or which is
// shorted, at most (typical, no source).
const quietInputDBFS = -90

// noStimulusAdvice says what the recording holds instead.
func noStimulusAdvice(q capture.Quality) string {
	const missing = "the stimulus is not in the recording"
	switch {
	case q.PeakDBFS <= quality.FloorDBFS:
		return missing + ", which is digital silence: the input is muted, or another one was recorded, or " +
			quality.ZeroAdvice
	case q.HumDBFS < 0:
		return missing + ", but hum is: the exciter is not connected, or the output is muted or another one"
	case q.RMSDBFS < quietInputDBFS && q.RMSDBFS < 0:
		return missing + ", nor is hum: the coil is not connected, the input is shorted, or another one was recorded"
	}
	return missing + ": check cables, devices and channels; what records for calls may alter the sound (noise " +
		"suppression, automatic gain)[[: 'devices --try' tells]]"
}

// changedAdvice says which sweeps differ, where that is clear.
func changedAdvice(q capture.Quality) string {
	const remedy = "a part, a clip or the coil moved, a contact is loose, or automatic gain or noise " +
		"suppression is on"
	if len(q.ChangedRepeats) == 0 {
		return "the sweeps differ in their response, and it is not clear which of them are right: " + remedy +
			"; fasten everything and record again"
	}
	names := notation.Each(q.ChangedRepeats, func(k int) string { return strconv.Itoa(k + 1) })
	if len(names) == 1 {
		return "sweep " + names[0] + " differs from the others in its response and is left out: " + remedy
	}
	return "sweeps " + strings.Join(names, ", ") + " differ from the others in their response and are left out: " +
		remedy
}

// TakeAdvice says what is wrong with a take, and what to do.
func TakeAdvice(take capture.Take) []string {
	said := []string{}
	for _, flag := range take.Quality.Flags {
		words := string(flag)
		if advice := FlagAdvice(flag, take); advice != "" {
			words += ": " + advice
		}
		said = append(said, words)
	}
	if take.Drive.Fall.Matters() {
		said = append(said, "the drive is not a current source, and this is not corrected: state it as a voltage "+
			"with the same values[[ ({drive} voltage)]], record the current as a reference[[ ({reference} "+
			"current)]], or use a larger series resistor")
	}
	if q := take.Quality; take.Bench.Source != Virtual && take.Alignment != nil && q.NoiseDBFS != 0 &&
		q.NoiseDBFS <= quality.FloorDBFS {
		said = append(said, "nothing but zeros comes between the sweeps, and no analogue input is that silent: a noise "+
			"gate, noise suppression or automatic gain as for calls is on the way, or the computer's own output was "+
			"recorded[[: 'devices --try' tells]]")
	}
	if why := take.Audio.StaysWAV; why != "" {
		said = append(said, "the audio is kept as WAV, not as FLAC: "+why)
	}
	return append(said, take.Lapsed()...)
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
