package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture"
	"coilsweep/capture/benchfile"
)

// benchFileFlags choose the bench.toml whose values stand for options that are
// not given.
type benchFileFlags struct {
	path         string
	uncalibrated bool
	found        *benchfile.Found // nil: none
}

const noBenchFile = "none"

func (b *benchFileFlags) add(f *pflag.FlagSet) {
	f.StringVar(&b.path, "bench-file", "", "the bench.toml to use (default: that in DIR or in the folder above; none: none)")
}

// find reads the bench.toml for dir; where there is none and none was asked
// for, found stays nil.
func (b *benchFileFlags) find(dir string) error {
	var found benchfile.Found
	var err error
	switch b.path {
	case noBenchFile:
		return nil
	case "":
		if found, err = benchfile.Find(dir); errors.Is(err, benchfile.ErrNone) {
			return nil
		}
	default:
		found, err = benchfile.Read(b.path)
	}
	if err == nil {
		b.found = &found
	}
	return err
}

// apply finds the bench.toml for dir and sets the options of cmd that were not
// given from it, as if they had been. What is said on the command line about
// drive or reference stands for all that the bench says of that.
func (b *benchFileFlags) apply(cmd *cobra.Command, dir string) error {
	if err := b.find(dir); err != nil || b.found == nil {
		return err
	}
	f := cmd.Flags()
	set := func(name, text string) error {
		if text == "" || f.Lookup(name) == nil || f.Changed(name) {
			return nil
		}
		if err := f.Set(name, text); err != nil {
			return fmt.Errorf("%s: %w", b.found.Path, flagError(cmd, err))
		}
		return nil
	}
	type setting struct{ name, text string }
	var settings []setting
	bench := b.found.Bench
	if !f.Changed("drive") {
		settings = append(settings, setting{"drive", bench.Drive.Kind},
			setting{"exciter-r", given(bench.Drive.ExciterR)}, setting{"exciter-l", given(bench.Drive.ExciterL)})
	}
	if !f.Changed("reference") {
		settings = append(settings, setting{"reference", bench.Reference.Kind}, setting{"sense-r", given(bench.Reference.SenseR)})
	}
	settings = append(settings, setting{"fixture-c", given(bench.Fixture.Capacitance)}, setting{"fixture-r", given(bench.Fixture.Resistance)})
	// The card is that of a sound card's takes; what was recorded elsewhere
	// has channels and a rate of its own.
	if kind := f.Lookup("bench"); kind != nil {
		card := bench.Card
		if f.Lookup("stimulus") == nil || !f.Changed("stimulus") {
			settings = append(settings, setting{"rate", digits(card.RateHz)})
			if card.LevelDBFS != nil {
				settings = append(settings, setting{"level", strconv.FormatFloat(*card.LevelDBFS, 'g', -1, 64)})
			}
		}
		if kind.Value.String() == "soundcard" {
			settings = append(settings, setting{"input", card.Input}, setting{"output", card.Output},
				setting{"coil-channel", digits(card.CoilChannel)}, setting{"output-channel", digits(card.OutputChannel)})
			if card.BufferS > 0 {
				settings = append(settings, setting{"buffer", strconv.FormatFloat(card.BufferS, 'g', -1, 64)})
			}
		}
	}
	for _, s := range settings {
		if err := set(s.name, s.text); err != nil {
			return err
		}
	}
	if r, kind := f.Lookup("reference"), f.Lookup("bench"); r != nil && r.Value.String() != "none" && kind != nil && kind.Value.String() == "soundcard" {
		return set("reference-channel", digits(bench.Card.ReferenceChannel))
	}
	return nil
}

// digits is n as an option; 0 is none.
func digits(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// complete puts into the take which bench.toml it comes from and, where it has
// no reference of its own, the calibration of the sound card.
func (b *benchFileFlags) complete(take capture.Take) (capture.Take, error) {
	if b.found == nil {
		return take, nil
	}
	take.BenchFile = &capture.BenchFile{Path: filepath.ToSlash(b.found.Path), SHA256: b.found.SHA256}
	if b.uncalibrated || take.Reference.Kind != "none" {
		return take, nil
	}
	calibration, err := b.calibration()
	if err != nil || calibration == nil {
		return take, err
	}
	if err := calibration.Covers(take); err != nil {
		return take, fmt.Errorf("%w, or measure without it: --uncalibrated", err)
	}
	take.Calibration = calibration
	return take, nil
}

// calibration reads the calibration that the bench names; nil where it names
// none.
func (b *benchFileFlags) calibration() (*capture.Calibration, error) {
	if b.found == nil || b.found.Calibration.File == "" {
		return nil, nil
	}
	path := filepath.Join(filepath.Dir(b.found.Path), b.found.Calibration.File)
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read the sound card's calibration: %w", err)
	}
	if sum := sha256.Sum256(text); hex.EncodeToString(sum[:]) != b.found.Calibration.SHA256 {
		return nil, fmt.Errorf("%s is not the calibration that %s names: it was changed; calibrate again with 'coilsweep calibrate'", path, b.found.Path)
	}
	c, err := capture.DecodeCalibration(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return &c, nil
}

// calibrationMatches refuses a calibration of another bench.
func calibrationMatches(take capture.Take, bench capture.Bench, outputChannel int) error {
	if take.Calibration == nil {
		return nil
	}
	if err := take.Calibration.Matches(bench, outputChannel); err != nil {
		return fmt.Errorf("%w, or measure without it: --uncalibrated", err)
	}
	return nil
}
