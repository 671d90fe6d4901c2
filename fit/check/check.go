// Package check judges a bench before a take, by one quiet sweep (a scout) and
// the silence before it: levels, noise, mains, what the coil's channel will
// reach at the level planned, losses, drift, distortion, and the load that the
// input puts on the coil. It gives findings in plain words, and a level.
package check

import (
	"fmt"
	"math"
	"slices"

	"coilsweep/capture"
	"coilsweep/capture/quality"
	"coilsweep/excite/quantity"
	"coilsweep/fit/response"
)

const (
	// headroomDB is left between the highest peak expected and full scale.
	headroomDB = 6
	// leastHeadroomDB: below it a take is likely to clip.
	leastHeadroomDB = 1
	// quietDBFS: a peak below it leaves too much of the input unused.
	quietDBFS = -30
	// highestLevelDBFS is the highest level proposed: converters distort at
	// their brim (common practice).
	highestLevelDBFS = -3
	// humLimitDB: hum less than this far below the coil's plateau costs
	// precision at the low end.
	humLimitDB = 20
	lowSNRDB   = 30
)

// Scout is a quiet sweep and what was made of it.
type Scout struct {
	Recording capture.Recording
	Take      capture.Take
	// Response is nil where none could be estimated.
	Response *response.Response
	// AtLevel is the response by a second sweep, at the level planned; nil where
	// none was played.
	AtLevel *response.Response
	// PlannedDBFS is the level of the take to come.
	PlannedDBFS float64
	// DCROhm is the coil's DC resistance; 0: not known.
	DCROhm float64
}

// Grade is how bad a finding is.
type Grade string

// The grades.
const (
	Stop Grade = "stop" // a take would not be usable
	Warn Grade = "warn" // a take would be worse than it could be
)

// Finding is something wrong and what to do about it.
type Finding struct {
	Grade  Grade  `json:"grade"`
	What   string `json:"what"`   // a fixed word
	Text   string `json:"text"`   // what was seen
	Advice string `json:"advice"` // what to do
}

// Channel is what one channel holds. Levels are in dBFS (AES17).
type Channel struct {
	Name      string  `json:"name"`
	PeakDBFS  float64 `json:"peak_dbfs"` // of the scout
	RMSDBFS   float64 `json:"rms_dbfs"`
	NoiseDBFS float64 `json:"noise_dbfs"`
	// ExpectedPeakDBFS is the peak of a take at the level planned.
	ExpectedPeakDBFS float64 `json:"expected_peak_dbfs"`
}

// Report is the judgement.
type Report struct {
	ScoutDBFS    float64        `json:"scout_dbfs"`
	PlannedDBFS  float64        `json:"planned_dbfs"`
	ProposedDBFS *float64       `json:"proposed_dbfs"` // nil: nothing to go by
	Channels     []Channel      `json:"channels"`
	Noise        []quality.Band `json:"noise"` // of the coil's channel
	Mains        *Mains         `json:"mains"` // nil: none stands out
	PeakHz       *float64       `json:"peak_hz"`
	// MarginDB is between the highest peak expected and full scale.
	MarginDB       *float64   `json:"margin_db"`
	SNRDB          *float64   `json:"snr_db"`
	DriftPPM       float64    `json:"drift_ppm"`
	DamagedRepeats int        `json:"damaged_repeats"`
	Xruns          int        `json:"xruns"`
	Harmonics      []Harmonic `json:"harmonics"`
	// InputOhm is about what loads the coil, where that is far too little.
	InputOhm  *float64  `json:"input_ohm"`
	Findings  []Finding `json:"findings"`
	FitToTake bool      `json:"fit_to_take"`
}

// Harmonic is a harmonic over the fundamental, as measured by the loudest sweep
// there was, and about what it is at the level planned: the n-th grows by n-1 dB
// for each dB.
type Harmonic struct {
	Order    int     `json:"order"`
	Ratio    float64 `json:"ratio"`
	Expected float64 `json:"expected"`
	Seen     bool    `json:"seen"` // it stands out of the noise
}

// Judge judges a scout.
func Judge(s Scout) Report {
	q := s.Take.Quality
	r := Report{
		ScoutDBFS: s.Take.Stimulus.LevelDBFS, PlannedDBFS: s.PlannedDBFS,
		DriftPPM: q.DriftPPM, DamagedRepeats: len(q.DamagedRepeats), Xruns: len(q.Xruns),
		Channels: []Channel{}, Noise: []quality.Band{}, Harmonics: []Harmonic{}, Findings: []Finding{},
	}
	quiet := s.silence()
	for i, x := range s.Recording.Samples {
		r.Channels = append(r.Channels, s.channel(i, x, x[quiet.From:quiet.To]))
	}
	if len(r.Channels) > 0 {
		silence := s.Recording.Samples[0][quiet.From:quiet.To]
		r.Noise = append(r.Noise, quality.Octaves(silence, s.Recording.RateHz)...)
		r.Mains = s.mains(quiet)
	}
	unfit := q.Flags
	switch {
	case slices.Contains(unfit, capture.NoStimulus) && q.PeakDBFS <= quality.FloorDBFS:
		r.add(Stop, "no-stimulus", "the coil's channel gives nothing but zeros, not even noise", quality.ZeroAdvice)
	case slices.Contains(unfit, capture.NoStimulus):
		r.add(Stop, "no-stimulus", "the sweep does not come back on the coil's channel",
			"check the wiring, the devices and channels, and that the output is not muted")
	case slices.Contains(unfit, capture.TooShort):
		r.add(Stop, "too-short", "no whole sweep came back", "see that nothing else uses the sound device, and try a "+
			"larger buffer")
	default:
		r.judgeLevels(s)
		r.judgeNoise(s)
		r.judgeTime(q)
		if hz := quality.Ceiling(s.Recording.Samples[0][quiet.From:quiet.To], s.Recording.RateHz); hz > 0 {
			r.add(Warn, "resampled", fmt.Sprintf("what is recorded at %d Hz has next to nothing above %.3g kHz",
				s.Recording.RateHz, hz/1000), "it was resampled from a lower rate: choose the rate of the hardware, or the "+
				"hardware itself in place of a sound server's device")
		}
		r.judgeResponse(s)
	}
	r.FitToTake = !slices.ContainsFunc(r.Findings, func(f Finding) bool { return f.Grade == Stop })
	return r
}

func (r *Report) add(g Grade, what, text, advice string) {
	r.Findings = append(r.Findings, Finding{g, what, text, advice})
}

// rise is by how many dB the take will be louder than the scout.
func (s Scout) rise() float64 { return s.PlannedDBFS - s.Take.Stimulus.LevelDBFS }

// channel measures one channel over the whole recording; peak and rms of the
// coil's are replaced by those of its sweeps.
func (s Scout) channel(i int, x []float64, silence []float64) Channel {
	q := s.Take.Quality
	c := Channel{Name: "coil", PeakDBFS: q.PeakDBFS, RMSDBFS: q.RMSDBFS,
		NoiseDBFS: quality.DBFS(quality.Variance(silence))}
	if i > 0 {
		c.Name = "reference"
		c.PeakDBFS, c.RMSDBFS = quality.LevelOf(x).Kept()
	}
	c.ExpectedPeakDBFS = s.expected(c.PeakDBFS, quality.LevelOf(silence).Peak)
	return c
}

// expected is the peak in the take: what the sweep adds to a silence with peak
// quiet grows with the level, the silence does not.
func (s Scout) expected(peakDBFS, quiet float64) float64 {
	peak := math.Pow(10, peakDBFS/20)
	return quality.DBFS(math.Pow(math.Max(peak-quiet, 0)*math.Pow(10, s.rise()/20)+quiet, 2) / 2)
}

// judgeLevels finds the margin to full scale, and the level to take.
func (r *Report) judgeLevels(s Scout) {
	highest, at := math.Inf(-1), ""
	channels := r.Channels
	if k := s.Take.Reference.Kind; k == "" || k == "none" {
		channels = channels[:1] // what is on the second is of no use
	}
	for _, c := range channels {
		if c.ExpectedPeakDBFS > highest {
			highest, at = c.ExpectedPeakDBFS, c.Name
		}
	}
	r.PeakHz = s.peakHz()
	margin := -highest
	r.MarginDB = &margin
	proposed := math.Min(math.Floor(r.PlannedDBFS+margin-headroomDB), highestLevelDBFS)
	r.ProposedDBFS = &proposed
	if slices.Contains(s.Take.Quality.Flags, capture.Clipped) {
		proposed = math.Floor(r.ScoutDBFS - headroomDB)
		r.add(Stop, "clipped", fmt.Sprintf("the input clips already at %.0f dBFS", r.ScoutDBFS),
			"turn the gain down by 20 dB and check again")
		return
	}
	if margin < headroomDB/2 {
		text := fmt.Sprintf("at %.0f dBFS the %s's channel reaches %+.1f dBFS", r.PlannedDBFS, at, highest)
		if at == "coil" && r.PeakHz != nil {
			text += " at about " + quantity.Format(*r.PeakHz, quantity.Hertz, 2)
		}
		grade, what := Warn, "little-headroom"
		if margin < leastHeadroomDB {
			grade, what = Stop, "will-clip"
		}
		r.add(grade, what, text, fmt.Sprintf("turn the gain down %.0f dB, or play at %.0f dBFS",
			math.Ceil(headroomDB-margin), proposed))
	}
	if coil := r.Channels[0]; coil.ExpectedPeakDBFS < quietDBFS {
		advice := fmt.Sprintf("turn the gain up %.0f dB", math.Floor(-headroomDB-coil.ExpectedPeakDBFS))
		if proposed > r.PlannedDBFS {
			advice += fmt.Sprintf(", or play at %.0f dBFS", proposed)
		}
		r.add(Warn, "quiet", fmt.Sprintf("at %.0f dBFS the coil's channel reaches only %.0f dBFS", r.PlannedDBFS,
			coil.ExpectedPeakDBFS), advice+", or bring the exciter closer")
	}
	if k := s.Take.Reference.Kind; (k == "current" || k == "loopback") && len(r.Channels) > 1 &&
		r.Channels[1].PeakDBFS < r.Channels[1].NoiseDBFS+30 {
		r.add(Stop, "no-reference", "nothing of the sweep is on the reference channel",
			"check its wiring and channel, or measure without a reference")
	}
}

// judgeNoise sets noise and hum against the coil's signal, as they will be in
// the take.
func (r *Report) judgeNoise(s Scout) {
	q := s.Take.Quality
	if q.SNRDB != 0 {
		snr := q.SNRDB + s.rise()
		r.SNRDB = &snr
		if snr < lowSNRDB {
			r.add(Warn, "low-snr", fmt.Sprintf("the sweep is only %.0f dB over the noise", snr),
				"bring the exciter closer, raise the level, or take more sweeps")
		}
	}
	if r.Mains == nil || q.SNRDB == 0 {
		return
	}
	// The sweep's level between 500 Hz and 2 kHz, on the scale of the noise.
	signal := q.SNRDB + quality.DBFS(r.Mains.rest) + s.rise()
	if over := signal - r.Mains.DBFS; over < humLimitDB {
		r.add(Warn, "hum", fmt.Sprintf("mains hum at %.3f Hz and its harmonics is only %.0f dB under the sweep",
			r.Mains.Hz,
			over),
			"move the transformer, lamp or amplifier away, turn the coil, or shield it")
	}
}

// judgeTime judges lost samples and clocks.
func (r *Report) judgeTime(q capture.Quality) {
	if lost := len(q.LostRepeats()); lost > 0 || r.Xruns > 0 {
		r.add(Warn, "dropout", fmt.Sprintf("samples were lost in %d sweeps (the device reports %d losses)", lost,
			r.Xruns),
			"close other programs, and use a larger buffer")
	}
	if slices.Contains(q.Flags, capture.Drift) {
		r.add(Warn, "drift", fmt.Sprintf("playback and recording run at different speeds, %.1f ppm", r.DriftPPM),
			"use one device for both directions if you can; the drift is corrected")
	}
}
