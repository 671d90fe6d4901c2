// Package tryout tries one pair of sound devices without a coil in mind: it plays quietly,
// records what comes, and says what that is. The stimulus comes back through a coil, a
// cable, the air or inside the computer, or does not come; and something on the way may
// have altered it.
package tryout

import (
	"context"
	"fmt"
	"math"
	"slices"

	"coilsweep/capture"
	"coilsweep/capture/align"
	"coilsweep/capture/quality"
	"coilsweep/capture/record"
	"coilsweep/excite"
	"coilsweep/excite/quantity"
)

// LevelDBFS is how loud the sweeps are: below what a check of a bench begins with.
const LevelDBFS = -36

const (
	// copyDB: what an analogue way leaves of the stimulus differs from it by more than this,
	// by its noise, its corners or its delay of a fraction of a sample; where nothing but
	// zeros comes before, by more than silentCopyDB, since a copy of 16 bits has their steps.
	copyDB, silentCopyDB = -100, -50
	nearSamples          = 64 // an alignment is right to some samples only
	// flatDB is how far the octaves from flatFromHz to flatToHz of a cable may be apart.
	flatDB, flatFromHz, flatToHz = 1.5, 160, 10000
	// answerDB is how much louder it gets where sweeps are answered by anything.
	answerDB = 20
	// gainDB is how far sweeps may be apart in level: a sound card holds 0.01 dB.
	gainDB = 0.3
)

// Kind is a short fixed word for something that was found.
type Kind string

// What can be found. Those that Unfit names make the pair useless for takes as it is.
const (
	Heard     Kind = "heard"     // with a response that is not flat: a coil, the air
	Cable     Kind = "cable"     // flat: a cable, or the card's own monitoring
	Copy      Kind = "copy"      // sample for sample: it never left the computer
	Zeros     Kind = "zeros"     // nothing but zeros comes
	Silent    Kind = "silent"    // noise comes, but not the stimulus
	Clipped   Kind = "clipped"   // although it was played so quietly
	Same      Kind = "same"      // both channels carry one signal
	Gain      Kind = "gain"      // changes by itself
	Processed Kind = "processed" // noise suppression, a gate, lossy coding
	Resampled Kind = "resampled" // from a lower rate
	Clocks    Kind = "clocks"    // two of them, or a resampler between two
	Lost      Kind = "lost"      // samples are
)

// Unfit tells whether takes are of no use while that is so.
func (k Kind) Unfit() bool {
	return slices.Contains([]Kind{Copy, Zeros, Silent, Clipped, Gain, Processed}, k)
}

// Finding is one thing that was found, in words, with what to do; Channel is 0 where it is
// not of one.
type Finding struct {
	Kind    Kind   `json:"kind"`
	Channel int    `json:"channel,omitempty"` // of those recorded, from 1
	Text    string `json:"text"`
}

// Level is what a channel holds, in dBFS; nil: nothing.
type Level struct {
	PeakDBFS  *float64 `json:"peak_dbfs"`  // while the stimulus plays; all through, where it is not heard
	NoiseDBFS *float64 `json:"noise_dbfs"` // before it plays
}

// Outcome is what came of a trial.
type Outcome struct {
	Input       string    `json:"input"` // devices by name
	Output      string    `json:"output"`
	RateHz      int       `json:"rate_hz"`
	PlayedDBFS  float64   `json:"played_dbfs"`
	DelayS      *float64  `json:"delay_s"`   // from playing to recording, buffers included; nil: not heard
	DriftPPM    *float64  `json:"drift_ppm"` // of the recording's clock against the playback's
	Channels    []Level   `json:"channels"`
	Findings    []Finding `json:"findings"`
	FitToRecord bool      `json:"fit_to_record"`
}

// Stimulus is what is played at a sample rate: three short sweeps after a second of silence.
func Stimulus(rateHz int) (excite.Stimulus, error) {
	return excite.Design(excite.Request{RateHz: rateHz, FromHz: 50, ToHz: math.Min(20000, 0.42*float64(rateHz)),
		SweepS: 0.7, Repeats: 3, LevelDBFS: LevelDBFS, LeadInS: 1, GapS: 0.3, TailS: 0.3})
}

// Run tries the pair of devices behind recorder; what it hears is gone afterwards.
func Run(ctx context.Context, recorder record.Recorder, meters func([]record.Meter)) (Outcome, error) {
	stimulus, err := Stimulus(recorder.Format().RateHz)
	if err != nil {
		return Outcome{}, err
	}
	take := capture.Take{Drive: capture.Drive{Kind: "direct"}, Reference: capture.Reference{Kind: "none"},
		Stimulus: stimulus}
	recording, take, err := record.Scout(ctx, recorder, take, meters)
	if err != nil {
		return Outcome{}, err
	}
	o, err := Judge(recording, take.Stimulus, take.Quality.Xruns)
	o.Input, o.Output = take.Bench.InputDevice, take.Bench.OutputDevice
	return o, err
}

// Judge says what the recording of the stimulus holds; xruns are what the device reported.
func Judge(r capture.Recording, s excite.Stimulus, xruns []capture.Xrun) (Outcome, error) {
	o := Outcome{RateHz: r.RateHz, PlayedDBFS: s.LevelDBFS, Channels: []Level{}, Findings: []Finding{}}
	if len(xruns) > 0 {
		o.add(Lost, 0, "the device reports lost samples (%d times): the machine is busy, or the buffer small", len(xruns))
	}
	heard := false
	same := len(r.Samples) == 2 && slices.Equal(r.Samples[0], r.Samples[1]) && !zeros(r.Samples[0])
	for c := range r.Samples {
		if c == 1 && same {
			o.Channels = append(o.Channels, o.Channels[0])
			break
		}
		come, err := o.judge(c+1, capture.Recording{RateHz: r.RateHz, Samples: r.Samples[c : c+1], FullScale: r.FullScale}, s)
		if err != nil {
			return o, err
		}
		heard = heard || come
	}
	if same && heard {
		o.add(Same, 0, "both channels carry one signal, sample for sample: the input is mono, or something mixes it. A "+
			"reference on the second channel is not possible so; choose a stereo input, or the stereo profile of the "+
			"card in the system's sound settings")
	}
	// A channel that nothing is connected to takes nothing from the other.
	o.FitToRecord = heard && !slices.ContainsFunc(o.Findings, func(f Finding) bool {
		return f.Kind.Unfit() && f.Kind != Zeros && f.Kind != Silent
	})
	return o, nil
}

func (o *Outcome) add(kind Kind, channel int, format string, args ...any) {
	o.Findings = append(o.Findings, Finding{kind, channel, quantity.Minus(fmt.Sprintf(format, args...))})
}

// judge judges one channel, and tells whether the stimulus came.
func (o *Outcome) judge(channel int, r capture.Recording, s excite.Stimulus) (heard bool, err error) {
	x := r.Samples[0]
	if zeros(x) {
		o.Channels = append(o.Channels, Level{})
		o.add(Zeros, channel, "nothing but zeros comes: the input is muted or its gain is at zero, another program holds "+
			"it, or %s", quality.ZeroAdvice)
		return false, nil
	}
	take, err := quality.Assess(r, capture.Take{Stimulus: s, Reference: capture.Reference{Kind: "none"}})
	if err != nil {
		return false, err
	}
	q, at := take.Quality, take.Alignment
	level := Level{PeakDBFS: finite(q.PeakDBFS), NoiseDBFS: finite(q.NoiseDBFS)}
	if q.NoiseDBFS == 0 {
		level.NoiseDBFS = nil
	}
	o.Channels = append(o.Channels, level)
	if q.ClippedSamples > 0 {
		o.add(Clipped, channel, "clipped, although played at %g dBFS only: turn the input's gain down, choose line and not "+
			"microphone level, switch phantom power and microphone boost off", s.LevelDBFS)
	}
	if before := x[:min(len(x), s.LeadInSamples*3/4)]; at == nil &&
		quality.DBFS(quality.Variance(x)) > quality.DBFS(quality.Variance(before))+answerDB {
		o.add(Processed, channel, "something comes when the sweeps are played, but not as they were: noise suppression, "+
			"echo cancelling or other effects for calls are on the way, or much else is heard. Switch \"enhancements\" "+
			"off in the system's sound settings, and choose another input")
		return false, nil
	}
	if at == nil {
		o.add(Silent, channel, "the sweeps are not heard, only noise of %.0f dBFS: nothing is connected, the output is "+
			"muted or turned down, or it plays on another device", quality.DBFS(quality.Variance(x)))
		return false, nil
	}
	k := slices.IndexFunc(at.StartSample, func(start float64) bool { return !math.IsNaN(start) })
	start := at.StartSample[k] - float64(k*s.PeriodSamples)
	begin := int(math.Round(start))
	if o.DelayS == nil {
		o.DelayS = finite((start - float64(s.LeadInSamples)) / float64(s.RateHz))
		o.DriftPPM = finite(at.DriftPPM)
	}
	if o.judgeWay(channel, x, begin, s) {
		return true, nil
	}
	o.judgeGain(channel, x, at.StartSample, s)
	gated := slices.ContainsFunc(o.Findings, func(f Finding) bool { return f.Kind == Processed && f.Channel == channel })
	shifted := slices.ContainsFunc(at.Jumps, func(j align.Jump) bool { return j.Samples != 0 })
	if len(q.LostRepeats()) > 0 && shifted {
		o.add(Lost, channel, "samples are lost in %d of the sweeps: the machine is busy, or the buffer small",
			len(q.LostRepeats()))
	}
	altered := slices.Contains(q.Flags, capture.Processed) || len(q.LostRepeats()) > 0 && !shifted
	if altered && !gated {
		o.add(Processed, channel, "the sweeps are altered: noise suppression, echo cancelling, effects or lossy coding are "+
			"on the way. Switch \"enhancements\" off in the system's sound settings, and choose an input that no call uses")
	}
	if slices.Contains(q.Flags, capture.Drift) {
		o.add(Clocks, channel, "playback and recording run apart by %.0f ppm: two devices with a clock each, or a resampler "+
			"between two. Takes are corrected for it; one interface for both is better", at.DriftPPM)
	}
	if hz := quality.Ceiling(x[:max(0, min(begin-nearSamples, len(x)))], r.RateHz); hz > 0 {
		o.add(Resampled, channel, "what is recorded at %d Hz has next to nothing above %.3g kHz: it comes from a lower rate "+
			"and was resampled. Choose the rate of the hardware, or the hardware itself in place of a sound server's device",
			r.RateHz, hz/1000)
	}
	return true, nil
}

// judgeWay says by which way the stimulus came, and whether it is a copy of what was played.
func (o *Outcome) judgeWay(channel int, x []float64, begin int, s excite.Stimulus) (copied bool) {
	played := s.Samples()[s.LeadInSamples : s.LeadInSamples+s.SweepSamples]
	got := x[max(0, begin):min(len(x), begin+len(played))]
	if begin < 0 || len(got) < len(played) {
		return false
	}
	silent := zeros(x[:max(0, begin-s.LeadInSamples/4)])
	for shift := -nearSamples; shift <= nearSamples && !copied; shift++ {
		if from := begin + shift; from >= 0 && from+len(played) <= len(x) {
			left := apart(x[from:from+len(played)], played)
			copied = left < copyDB || silent && left < silentCopyDB
		}
	}
	if copied {
		o.add(Copy, channel, "your own output comes back sample for sample: the input is a monitor of the output, and no "+
			"socket. Choose the input that the coil is connected to")
		return true
	}
	if silent {
		o.add(Processed, channel, "nothing but zeros comes before the sweeps, and no analogue input is that silent: a noise "+
			"gate or noise suppression is on the way, as for calls. Switch \"enhancements\" off in the system's sound "+
			"settings, and choose another input")
	}
	want, have := quality.Octaves(played, s.RateHz), quality.Octaves(got, s.RateHz)
	least, most := math.Inf(1), math.Inf(-1)
	for i := range min(len(want), len(have)) {
		if want[i].FromHz >= flatFromHz && want[i].ToHz <= flatToHz*1.05 {
			gain := have[i].DBFS - want[i].DBFS
			least, most = min(least, gain), max(most, gain)
		}
	}
	gain := gainWords(got, played)
	if most-least < flatDB {
		o.add(Cable, channel, "the output comes back, %s and flat within %.1f dB: through a cable, or by the card's direct "+
			"monitoring or its mixer. For a coil, this is not what should come", gain, most-least)
	} else {
		o.add(Heard, channel, "the output comes back, %s, and not flat (%.0f dB between octaves): through a coil, or "+
			"through the air", gain, most-least)
	}
	return false
}

func zeros(x []float64) bool { return !slices.ContainsFunc(x, func(v float64) bool { return v != 0 }) }

func gainWords(got, played []float64) string {
	gain := quality.DBFS(quality.Variance(got)) - quality.DBFS(quality.Variance(played))
	switch {
	case math.Abs(gain) < 0.5:
		return "as strong as it was played"
	case gain < 0:
		return fmt.Sprintf("%.0f dB weaker", -gain)
	}
	return fmt.Sprintf("%.0f dB stronger", gain)
}

// apart is what is left of got when the best multiple of played is taken off, in dB to it.
func apart(got, played []float64) float64 {
	gp, pp := 0.0, 0.0
	for i, p := range played {
		gp += got[i] * p
		pp += p * p
	}
	g, left, all := gp/pp, 0.0, 0.0
	for i, p := range played {
		left += (got[i] - g*p) * (got[i] - g*p)
		all += got[i] * got[i]
	}
	return 10 * math.Log10(math.Max(left, 1e-300)/math.Max(all, 1e-300))
}

// judgeGain compares the levels of the sweeps.
func (o *Outcome) judgeGain(channel int, x []float64, starts []float64, s excite.Stimulus) {
	least, most := math.Inf(1), math.Inf(-1)
	for _, start := range starts {
		if begin := int(start); start >= 0 && begin+s.SweepSamples <= len(x) {
			level := quality.DBFS(quality.Variance(x[begin : begin+s.SweepSamples]))
			least, most = min(least, level), max(most, level)
		}
	}
	if most-least > gainDB {
		o.add(Gain, channel, "sweeps that were played alike differ by %.1f dB: the gain changes by itself. Switch automatic "+
			"gain control and \"enhancements\" off in the system's or the card's settings", most-least)
	}
}

func finite(x float64) *float64 {
	if math.IsInf(x, 0) || math.IsNaN(x) {
		return nil
	}
	return &x
}
