package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/capture/atomicfile"
	"coilsweep/capture/benchfile"
	"coilsweep/fit/response"
)

// plainLevelDBFS is the level into an input without a coil between: line
// outputs are many times louder than coils.
const plainLevelDBFS = -24

// cableLimitDB is how far the response of a sound card may be off that at
// 1 kHz between 200 Hz and 5 kHz; a coil between output and input is off more.
const cableLimitDB = 3

func newCalibrate(c *console) *cobra.Command {
	var flags takeFlags
	var stimulus stimulusFlags
	var bench benchFlags
	var file benchFileFlags
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "calibrate DIR",
		Short: "Measure the sound card itself by a cable from output to input",
		Long: `Measure the sound card itself: put a cable from its output to the input that the
coil goes to, exciter and coil off. The response is kept beside bench.toml, and
takes without a reference channel are rid of it for as long as rate, devices and
channels stay the same. Do not touch the gain between this and 'fixture'.`,
		Example: `  coilsweep calibrate .`,
		Args:    oneArg("the folder DIR of the bench or of a coil"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			if err := bench.check(cmd); err != nil {
				return err
			}
			if err := file.apply(cmd, args[0]); err != nil {
				return err
			}
			if file.found == nil {
				return fmt.Errorf("a calibration is kept with a bench: make one first with 'coilsweep bench %s --new'", args[0])
			}
			flags.reference, flags.drive = "none", "current"
			take := capture.Take{
				Program: programName(), Drive: capture.Drive{Kind: "direct"}, Reference: capture.Reference{Kind: "none"},
			}
			var err error
			if take.Stimulus, err = stimulus.designAt(cmd, plainLevelDBFS); err != nil {
				return err
			}
			recorder, release, err := bench.open(take, &flags, wiring{cable: true})
			if err != nil {
				return err
			}
			r, take, err := c.scout(cmd.Context(), recorder, take)
			if err = errors.Join(err, release()); err != nil {
				return err
			}
			calibration := response.Calibrate(r, take)
			calibration.OutputChannel = bench.outputChannel
			if off := unevenDB(calibration, 200, 5000); off > cableLimitDB {
				return unfitError{fmt.Errorf("that is no cable: the response is %.1f dB off between 200 Hz and 5 kHz; take exciter and coil off, and connect output and input", off)}
			}
			name, err := keepCalibration(file.found.Path, calibration)
			if err != nil {
				return err
			}
			record := newCalibrationRecord(calibration, name)
			if asJSON {
				return c.json(record)
			}
			fmt.Fprintf(c.out, "sound card at %d Hz: %+.2f dB at 1 kHz; against that %+.2f dB at %.0f Hz, %+.2f dB at %.1f kHz\n%s: its response, in use from now on\n",
				record.RateHz, record.GainDB, record.LowDB, record.LowHz, record.HighDB, record.HighHz/1000, name)
			return nil
		}),
	}
	f := cmd.Flags()
	f.IntVar(&flags.coilChannel, "coil-channel", 1, "channel with the coil, from 1")
	stimulus.add(f)
	f.Lookup("level").DefValue = fmt.Sprint(plainLevelDBFS)
	bench.add(f)
	file.add(f)
	f.BoolVar(&asJSON, "json", false, "print what was found as JSON")
	return cmd
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

// keepCalibration writes the calibration beside the bench.toml at benchPath
// and names it there.
func keepCalibration(benchPath string, c capture.Calibration) (path string, err error) {
	text, err := capture.EncodeCalibration(c)
	if err != nil {
		return "", err
	}
	name := fmt.Sprintf("card-%d.toml", c.RateHz)
	path = filepath.Join(filepath.Dir(benchPath), name)
	if err := atomicfile.Write(path, text); err != nil {
		return "", err
	}
	sum := sha256.Sum256(text)
	return path, benchfile.SetCalibration(benchPath, benchfile.Calibration{
		File: name, SHA256: hex.EncodeToString(sum[:]), Date: benchfile.DateOf(c.Made),
	})
}
