package workbench

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"path/filepath"
	"slices"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/benchfile"
	"coilsweep/capture/quality"
	"coilsweep/capture/record"
	"coilsweep/excite/quantity"
	"coilsweep/fit/response"
)

// cableLimitDB is how far the response of a sound card may be off that at
// 1 kHz between 200 Hz and 5 kHz; a coil between output and input is off more.
const cableLimitDB = 3

// Calibration are the options of a calibration of the sound card.
type Calibration struct {
	job
	Stimulus Stimulus
}

// NewCalibration has the defaults.
func NewCalibration(program string) *Calibration {
	k := &Calibration{newJob(program), defaultStimulus()}
	k.Stimulus.LevelDBFS = plainLevelDBFS
	k.Options = slices.Concat(k.Stimulus.options(), k.Take.options("none").only("coil-channel"), k.Bench.options())
	return k
}

// ErrNoBench: there is no bench.toml to keep the result in.
var ErrNoBench = errors.New("there is no bench.toml to keep it in")

// ErrNoCalibration: the sound card was not calibrated.
var ErrNoCalibration = errors.New("the sound card is not calibrated")

// CalibrationPlan is a calibration that is about to be made.
type CalibrationPlan struct{ directPlan }

// Plan makes a plan of the options and the bench of dir. The error wraps
// ErrNoBench where there is none.
func (k *Calibration) Plan(dir string) (*CalibrationPlan, error) {
	take, err := k.beginDirect(dir, "none", &k.Stimulus)
	if err != nil {
		return nil, err
	}
	return &CalibrationPlan{k.directPlan(take, wiring{cable: true})}, nil
}

// Run measures the sound card and keeps the result with the bench. A response
// that no cable can have is a *capture.UnfitError.
func (p *CalibrationPlan) Run(ctx context.Context, recorder record.Recorder, hears Ears) (CalibrationResult, error) {
	recording, take, err := listen(ctx, recorder, p.take, hears)
	if err != nil {
		return CalibrationResult{}, err
	}
	return keepCalibration(ctx, p.benchPath, take, recording, p.outputChannel)
}

// Again works the calibration of the bench of dir out again from its recording.
// The error wraps ErrNoCalibration where there is none.
func (k *Calibration) Again(ctx context.Context, dir string) (CalibrationResult, error) {
	if err := k.Bench.find(dir); err != nil {
		return CalibrationResult{}, err
	}
	old, err := k.Bench.calibration()
	if err != nil {
		return CalibrationResult{}, err
	}
	if old == nil {
		return CalibrationResult{}, fmt.Errorf("there is nothing to work out again: %w", ErrNoCalibration)
	}
	path := k.Bench.found.Path
	recording, err := capture.CalibrationAudio(filepath.Dir(path), *old)
	if err != nil {
		return CalibrationResult{}, err
	}
	if err := old.Stimulus.Validate(); err != nil {
		return CalibrationResult{}, fmt.Errorf("%s: %w", k.Bench.found.Calibration.File, err)
	}
	take := direct("none", k.Program)
	take.Started, take.Stimulus = old.Made, *old.Stimulus
	take.Bench = capture.Bench{InputDevice: old.InputDevice, OutputDevice: old.OutputDevice, HostAPI: old.HostAPI,
		CoilChannel: old.CoilChannel}
	if take, err = quality.Assess(recording, take); err != nil {
		return CalibrationResult{}, err
	}
	return keepCalibration(ctx, path, take, recording, old.OutputChannel)
}

// keepCalibration writes the calibration and its recording beside the
// bench.toml at benchPath and names it there.
func keepCalibration(ctx context.Context, benchPath string, take capture.Take, recording capture.Recording,
	outputChannel int) (CalibrationResult, error) {
	r, err := estimate(ctx, new(response.Estimator), recording, take)
	if err != nil {
		return CalibrationResult{}, err
	}
	c := response.Calibrate(r, take)
	c.OutputChannel = outputChannel
	if off := unevenDB(c, 200, 5000); off > cableLimitDB {
		return CalibrationResult{}, &capture.UnfitError{What: fmt.Sprintf("that is not a cable: the response is %.1f "+
			"dB off between 200 Hz and 5 kHz; disconnect exciter and coil, and connect output and input", off)}
	}
	path, sum, err := capture.KeepCalibration(filepath.Dir(benchPath), c, recording)
	if err != nil {
		return CalibrationResult{}, err
	}
	return NewCalibrationResult(c, path), benchfile.SetCalibration(benchPath, benchfile.Calibration{
		File: filepath.Base(path), SHA256: sum, Date: benchfile.DateOf(c.Made),
	})
}

// CalibrationResult is what a calibration found.
type CalibrationResult struct {
	File   string    `json:"file"`
	Made   time.Time `json:"made"`
	RateHz int       `json:"rate_hz"`
	GainDB float64   `json:"gain_db"` // recorded over played full scale, at 1 kHz
	LowHz  float64   `json:"low_hz"`
	LowDB  float64   `json:"low_db"` // against 1 kHz
	HighHz float64   `json:"high_hz"`
	HighDB float64   `json:"high_db"`
}

// NewCalibrationResult is what the calibration in file says.
func NewCalibrationResult(c capture.Calibration, file string) CalibrationResult {
	low, high := c.FrequencyHz[0], c.FrequencyHz[len(c.FrequencyHz)-1]
	gain := gainDB(c, 1000)
	return CalibrationResult{
		File: filepath.ToSlash(file), Made: c.Made, RateHz: c.RateHz, GainDB: gain,
		LowHz: low, LowDB: gainDB(c, low) - gain, HighHz: high, HighDB: gainDB(c, high) - gain,
	}
}

// Line is what was found in one line.
func (r CalibrationResult) Line() string {
	return quantity.Minus(fmt.Sprintf(
		"sound card at %d Hz: %+.2f dB at 1 kHz; relative to that %+.2f dB at %.0f Hz, %+.2f dB at %.1f kHz",
		r.RateHz, r.GainDB, r.LowDB, r.LowHz, r.HighDB, r.HighHz/1000))
}

func gainDB(c capture.Calibration, hz float64) float64 {
	h, _ := c.At(hz)
	return 20 * math.Log10(cmplx.Abs(h))
}

// unevenDB is the most that the response is off that at 1 kHz.
func unevenDB(c capture.Calibration, fromHz, toHz float64) float64 {
	off := 0.0
	for _, hz := range c.FrequencyHz {
		if hz >= fromHz && hz <= toHz {
			off = max(off, math.Abs(gainDB(c, hz)-gainDB(c, 1000)))
		}
	}
	return off
}
