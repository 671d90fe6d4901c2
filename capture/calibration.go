package capture

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"sort"
	"time"

	"coilsweep/capture/tomlkey"
	"coilsweep/excite"
)

const calibrationSchema = "coilsweep.card/1"

// Calibration is the response of a sound card from its output to the coil's
// input, as a cable between the two shows it. It holds for the rate, devices,
// channels and gain it was made with.
type Calibration struct {
	Schema        string    `toml:"schema"` // "coilsweep.card/1"
	Made          time.Time `toml:"made"`
	Program       string    `toml:"program,omitempty"`
	RateHz        int       `toml:"rate_hz"`
	InputDevice   string    `toml:"input_device"`
	OutputDevice  string    `toml:"output_device"`
	HostAPI       string    `toml:"host_api,omitempty"`
	CoilChannel   int       `toml:"coil_channel"`
	OutputChannel int       `toml:"output_channel"`
	// FromHz and ToHz are the ends of the sweep.
	FromHz    float64 `toml:"from_hz"`
	ToHz      float64 `toml:"to_hz"`
	LevelDBFS float64 `toml:"level_dbfs"`
	// FrequencyHz ascends. MagnitudeDB is recorded full scale over played full
	// scale, PhaseDeg the phase without the delay, unwrapped, U the standard
	// uncertainty of the response relative to its magnitude, real and imaginary
	// part each.
	FrequencyHz []float64 `toml:"frequency_hz"`
	MagnitudeDB []float64 `toml:"magnitude_db"`
	PhaseDeg    []float64 `toml:"phase_deg"`
	U           []float64 `toml:"u"`
	// Audio is the recording that the table was made from, Stimulus what was
	// played, so that it can be made again; nil where they were not kept.
	Audio    *Audio           `toml:"audio,omitempty"`
	Stimulus *excite.Stimulus `toml:"stimulus,omitempty"`
}

// WithResponse fills the table from a response h, recorded full scale over
// played full scale, with relative standard uncertainties u, on ascending
// frequencies; the other fields are the caller's.
func (c Calibration) WithResponse(frequencyHz []float64, h []complex128, u []float64) Calibration {
	c.Schema = calibrationSchema
	c.FrequencyHz, c.MagnitudeDB, c.PhaseDeg, c.U = nil, nil, nil, nil
	last := 0.0
	for i, f := range frequencyHz {
		phase := cmplx.Phase(h[i]) * 180 / math.Pi
		if i > 0 {
			phase -= 360 * math.Round((phase-last)/360)
		}
		last = phase
		c.FrequencyHz = append(c.FrequencyHz, f)
		c.MagnitudeDB = append(c.MagnitudeDB, 20*math.Log10(cmplx.Abs(h[i])))
		c.PhaseDeg = append(c.PhaseDeg, phase)
		c.U = append(c.U, u[i])
	}
	return c
}

// At is the response at hz: a straight line in dB and degrees over log
// frequency between two points of the table, its end beyond the table. u is
// its relative standard uncertainty.
func (c Calibration) At(hz float64) (h complex128, u float64) {
	i := sort.SearchFloat64s(c.FrequencyHz, hz)
	low, high := max(i-1, 0), min(i, len(c.FrequencyHz)-1)
	w := 0.0
	if low < high {
		w = math.Log(hz/c.FrequencyHz[low]) / math.Log(c.FrequencyHz[high]/c.FrequencyHz[low])
	}
	between := func(column []float64) float64 { return column[low] + w*(column[high]-column[low]) }
	db, deg := between(c.MagnitudeDB), between(c.PhaseDeg)
	return cmplx.Rect(math.Pow(10, db/20), deg*math.Pi/180), max(c.U[low], c.U[high])
}

// check reports the first thing wrong with a calibration that was read.
func (c Calibration) check() error {
	if c.Schema != calibrationSchema {
		return fmt.Errorf("schema is %q, this program reads %q", c.Schema, calibrationSchema)
	}
	n := len(c.FrequencyHz)
	if n < 2 || len(c.MagnitudeDB) != n || len(c.PhaseDeg) != n || len(c.U) != n {
		return fmt.Errorf("the table of the response has columns of %d, %d, %d and %d points: calibrate again",
			n, len(c.MagnitudeDB), len(c.PhaseDeg), len(c.U))
	}
	last := 0.0
	for i, f := range c.FrequencyHz {
		if !(f > last && f < 1e6 && math.Abs(c.MagnitudeDB[i]) < 300 && math.Abs(c.PhaseDeg[i]) < 1e6 && c.U[i] >= 0 &&
			c.U[i] < 1e3) {
			return fmt.Errorf("point %d of the response (%g Hz, %g dB, %g degrees, u %g) cannot be: calibrate again",
				i+1, f, c.MagnitudeDB[i], c.PhaseDeg[i], c.U[i])
		}
		last = f
	}
	if !(c.FromHz > 0 && c.ToHz > c.FromHz && c.ToHz < 1e6) || c.RateHz <= 0 {
		return fmt.Errorf("a sweep from %g Hz to %g Hz at %d Hz cannot be", c.FromHz, c.ToHz, c.RateHz)
	}
	return nil
}

// Covers reports why the calibration cannot be used for a take with the rate
// and sweep of t; nil where it can.
func (c Calibration) Covers(t Take) error {
	if err := c.check(); err != nil {
		return fmt.Errorf("calibration of the sound card: %w", err)
	}
	s := t.Stimulus
	switch {
	case s.RateHz != c.RateHz:
		return fmt.Errorf("the sound card was calibrated on %s at %d Hz, and the take is at %d Hz: calibrate again at "+
			"this rate", c.day(), c.RateHz, s.RateHz)
	case s.FromHz < c.FromHz || s.ToHz > c.ToHz:
		return fmt.Errorf("the sound card was calibrated on %s from %g Hz to %g Hz, and the sweep is from %g Hz to %g "+
			"Hz: calibrate again with that",
			c.day(), c.FromHz, c.ToHz, s.FromHz, s.ToHz)
	}
	return nil
}

// Matches reports in what the bench that is about to record differs from the
// one that was calibrated; nil where it is the same.
func (c Calibration) Matches(b Bench, outputChannel int) error {
	for _, d := range []struct {
		what      string
		then, now any
	}{
		{"input device", c.InputDevice, b.InputDevice},
		{"output device", c.OutputDevice, b.OutputDevice},
		{"sound system", c.HostAPI, b.HostAPI},
		{"coil's channel", c.CoilChannel, max(1, b.CoilChannel)},
		{"output channel", c.OutputChannel, max(1, outputChannel)},
	} {
		if d.then != d.now {
			return fmt.Errorf("the sound card was calibrated on %s with %s %v, and now it is %v: calibrate again", c.day(),
				d.what, d.then, d.now)
		}
	}
	return nil
}

func (c Calibration) day() string { return c.Made.Format("2006-01-02") }

// EncodeCalibration writes the file that bench.toml names.
func EncodeCalibration(c Calibration) ([]byte, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	table, err := tomlkey.Encode(c)
	return append([]byte("# The response of a sound card from its output to its input, by a cable between\n"+
		"# the two. Written by 'coilsweep calibrate'; bench.toml knows its checksum.\n"), table...), err
}

// maxCalibration is more than any table needs.
const maxCalibration = 1 << 20

// DecodeCalibration reads what EncodeCalibration writes.
func DecodeCalibration(text []byte) (Calibration, error) {
	if len(text) > maxCalibration {
		return Calibration{}, errors.New("too long for the calibration of a sound card")
	}
	return tomlkey.DecodeChecked(text, Calibration.check)
}
