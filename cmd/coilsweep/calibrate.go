package main

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture"
	"coilsweep/capture/benchfile"
	"coilsweep/capture/device"
	"coilsweep/capture/quality"
	"coilsweep/capture/record"
	"coilsweep/fit/response"
)

// plainLevelDBFS is the level into an input without a coil between: line
// outputs are many times louder than coils.
const plainLevelDBFS = -24

// cableLimitDB is how far the response of a sound card may be off that at
// 1 kHz between 200 Hz and 5 kHz; a coil between output and input is off more.
const cableLimitDB = 3

// calibrating are the options of 'calibrate'.
type calibrating struct {
	take     takeFlags
	stimulus stimulusFlags
	bench    benchFlags
	file     benchFileFlags
}

func (k *calibrating) add(f *pflag.FlagSet) {
	f.IntVar(&k.take.coilChannel, "coil-channel", 1, "channel with the coil, from 1")
	k.stimulus.add(f)
	f.Lookup("level").DefValue = fmt.Sprint(plainLevelDBFS)
	k.bench.add(f)
	k.file.add(f)
}

func newCalibrate(c *console) *cobra.Command {
	var options calibrating
	var again, asJSON bool
	cmd := &cobra.Command{
		Use:   "calibrate DIR",
		Short: "Measure the sound card itself by a cable from output to input",
		Long: `Measure the sound card itself: put a cable from its output to the input that the
coil goes to, exciter and coil off. The response is kept beside bench.toml, and
takes without a reference channel are rid of it for as long as rate, devices and
channels stay the same. Do not touch the gain between this and 'fixture'.

The recording is kept beside the response; with --again the response is worked
out from it once more, without a device.`,
		Example: `  coilsweep calibrate .`,
		Args:    oneArg("the folder DIR of the bench or of a coil"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			var found calibrationRecord
			if again {
				var err error
				if found, err = options.again(cmd.Context(), c, args[0]); err != nil {
					return err
				}
			} else {
				plan, err := options.plan(cmd, args[0])
				if err != nil {
					return err
				}
				if err := c.on(plan.source, func(recorder record.Recorder) error {
					found, err = plan.run(cmd.Context(), c, recorder)
					return err
				}); err != nil {
					return err
				}
			}
			if asJSON {
				return c.json(found)
			}
			fmt.Fprintf(c.out, "%s\n%s: its response, in use from now on\n", found.words(), found.File)
			return nil
		}),
	}
	options.add(cmd.Flags())
	cmd.Flags().BoolVar(&again, "again", false, "work the response out again from the recording that was kept")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print what was found as JSON")
	return cmd
}

// calibrationPlan is a calibration that is about to be made.
type calibrationPlan struct {
	take          capture.Take
	outputChannel int
	benchPath     string
	source        device.Source
}

func (k *calibrating) plan(cmd *cobra.Command, dir string) (*calibrationPlan, error) {
	if err := k.bench.check(cmd); err != nil {
		return nil, err
	}
	if err := k.file.apply(cmd, dir); err != nil {
		return nil, err
	}
	if k.file.found == nil {
		return nil, fmt.Errorf("a calibration is kept with a bench: make one first with 'coilsweep bench %s --new'", dir)
	}
	k.take.reference, k.take.drive = "none", "current"
	take := capture.Take{
		Program: programName(), Drive: capture.Drive{Kind: "direct"}, Reference: capture.Reference{Kind: "none"},
	}
	var err error
	if take.Stimulus, err = k.stimulus.designAt(cmd, plainLevelDBFS); err != nil {
		return nil, err
	}
	return &calibrationPlan{take, k.bench.outputChannel, k.file.found.Path, k.bench.source(take, &k.take, wiring{cable: true})}, nil
}

// run measures the sound card and keeps what it finds with the bench.
func (p *calibrationPlan) run(ctx context.Context, c *console, recorder record.Recorder) (calibrationRecord, error) {
	recording, take, err := c.listen(ctx, recorder, p.take)
	if err != nil {
		return calibrationRecord{}, err
	}
	r, err := c.estimate(ctx, recording, take)
	if err != nil {
		return calibrationRecord{}, err
	}
	calibration := response.Calibrate(r, take)
	calibration.OutputChannel = p.outputChannel
	return keepCalibration(p.benchPath, calibration, recording)
}

// again works the calibration of the bench out again from its recording.
func (k *calibrating) again(ctx context.Context, c *console, dir string) (calibrationRecord, error) {
	if err := k.file.find(dir); err != nil {
		return calibrationRecord{}, err
	}
	old, err := k.file.calibration()
	if err != nil {
		return calibrationRecord{}, err
	}
	if old == nil {
		return calibrationRecord{}, fmt.Errorf("there is no calibration to be worked out again: make one with 'coilsweep calibrate %s'", dir)
	}
	path := k.file.found.Path
	recording, err := capture.CalibrationAudio(filepath.Dir(path), *old)
	if err != nil {
		return calibrationRecord{}, err
	}
	if err := old.Stimulus.Validate(); err != nil {
		return calibrationRecord{}, fmt.Errorf("%s: %w", k.file.found.Calibration.File, err)
	}
	take := capture.Take{
		Started: old.Made, Program: programName(), Stimulus: *old.Stimulus,
		Drive: capture.Drive{Kind: "direct"}, Reference: capture.Reference{Kind: "none"},
		Bench: capture.Bench{InputDevice: old.InputDevice, OutputDevice: old.OutputDevice, HostAPI: old.HostAPI, CoilChannel: old.CoilChannel},
	}
	if take, err = quality.Assess(recording, take); err != nil {
		return calibrationRecord{}, err
	}
	r, err := c.estimate(ctx, recording, take)
	if err != nil {
		return calibrationRecord{}, err
	}
	calibration := response.Calibrate(r, take)
	calibration.OutputChannel = old.OutputChannel
	return keepCalibration(path, calibration, recording)
}

// calibrationRecord is what 'calibrate --json' prints.
type calibrationRecord struct {
	File   string    `json:"file"`
	Made   time.Time `json:"made"`
	RateHz int       `json:"rate_hz"`
	GainDB float64   `json:"gain_db"` // recorded over played full scale, at 1 kHz
	LowHz  float64   `json:"low_hz"`
	LowDB  float64   `json:"low_db"` // against 1 kHz
	HighHz float64   `json:"high_hz"`
	HighDB float64   `json:"high_db"`
}

func newCalibrationRecord(c capture.Calibration, file string) calibrationRecord {
	low, high := c.FrequencyHz[0], c.FrequencyHz[len(c.FrequencyHz)-1]
	gain := gainDB(c, 1000)
	return calibrationRecord{
		File: file, Made: c.Made, RateHz: c.RateHz, GainDB: gain,
		LowHz: low, LowDB: gainDB(c, low) - gain, HighHz: high, HighDB: gainDB(c, high) - gain,
	}
}

func (r calibrationRecord) words() string {
	return fmt.Sprintf("sound card at %d Hz: %+.2f dB at 1 kHz; against that %+.2f dB at %.0f Hz, %+.2f dB at %.1f kHz",
		r.RateHz, r.GainDB, r.LowDB, r.LowHz, r.HighDB, r.HighHz/1000)
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

// keepCalibration writes the calibration and its recording beside the bench.toml
// at benchPath and names it there; what cannot be that of a cable is an
// unfitError.
func keepCalibration(benchPath string, c capture.Calibration, recording capture.Recording) (calibrationRecord, error) {
	if off := unevenDB(c, 200, 5000); off > cableLimitDB {
		return calibrationRecord{}, unfitError{fmt.Errorf("that is no cable: the response is %.1f dB off between 200 Hz and 5 kHz; take exciter and coil off, and connect output and input", off)}
	}
	path, sum, err := capture.KeepCalibration(filepath.Dir(benchPath), c, recording)
	if err != nil {
		return calibrationRecord{}, err
	}
	return newCalibrationRecord(c, path), benchfile.SetCalibration(benchPath, benchfile.Calibration{
		File: filepath.Base(path), SHA256: sum, Date: benchfile.DateOf(c.Made),
	})
}
